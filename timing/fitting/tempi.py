"""The basic tempi of a stretch: steps at bar lines, found under whatever shapes lie over them."""

from __future__ import annotations

import numpy as np

from timing.columns import NEAR
from timing.fitting.course import Course
from timing.plan.time import TempoMark
from timing.where.naming import start_of_range

STEP = 0.025  # of log tempo, between the levels that are tried
USUAL = 0.06  # of log pace: how far beats lie from their tempo
AT_MOST = 3.0  # a beat that is further away than so many of these says no more against a tempo
A_CHANGE = 60.0  # what a new tempo has to earn
LEAST_CHANGE = 0.04  # of log tempo: less is a shade


def tempo_levels(course: Course, slow: np.ndarray) -> np.ndarray:
    """(intervals,) log of the seconds a quarter of the basic tempo, by a walk over levels in which a step costs more
    than a slowdown of some beats would earn; `slow` is what was played, as a mean of all hearings. A bar has one tempo
    whenever it is heard."""
    low, high = np.quantile(slow, (0.02, 0.98))
    levels = np.arange(low - STEP, high + 2 * STEP, STEP)
    away = np.minimum(((slow[:, None] - levels) / USUAL) ** 2, AT_MOST**2)
    path = _agreed(_walk(away, np.append(True, np.diff(course.ordinals) > 0)), away, course)
    made = levels[path]
    for level in np.unique(path):  # nearer than the steps of the walk
        here = path == level
        near = here & (np.abs(slow - levels[level]) < AT_MOST * USUAL)
        made[here] = np.median(slow[near if near.any() else here])
    return made


def _walk(away: np.ndarray, opens: np.ndarray) -> np.ndarray:
    """(intervals,) the row of levels of the least cost: how far `away` (intervals, levels) each is, and a price
    for each step, where one may be."""
    value, came = away[0].copy(), np.zeros(away.shape, np.int64)
    stay = np.arange(away.shape[1])
    for k in range(1, len(away)):
        best = int(np.argmin(value))
        jump = opens[k] & (value[best] + A_CHANGE < value)
        came[k] = np.where(jump, best, stay)
        value = np.where(jump, value[best] + A_CHANGE, value) + away[k]
    path = np.empty(len(away), np.int64)
    path[-1] = int(np.argmin(value))
    for k in range(len(away) - 1, 0, -1):
        path[k - 1] = came[k, path[k]]
    return path


def _agreed(path: np.ndarray, away: np.ndarray, course: Course) -> np.ndarray:
    """The same levels in all hearings of a bar: of those that it has, the one with which the whole costs least."""
    rows = course.where.bars["row"][course.ordinals]
    said: dict[tuple[int, ...], list[int]] = {}
    for row in np.unique(rows).tolist():
        levels = np.unique(path[rows == row])
        if len(levels) > 1:
            said.setdefault(tuple(levels.tolist()), []).append(row)
    for choice, bars in said.items():
        here = np.isin(rows, bars)
        tried = [np.where(here, level, path) for level in choice]
        path = tried[int(np.argmin([_cost(each, away) for each in tried]))]
    return path


def _cost(path: np.ndarray, away: np.ndarray) -> float:
    return float(away[np.arange(len(path)), path].sum()) + A_CHANGE * int(np.sum(np.diff(path) != 0))


def with_passes(course: Course, levels: np.ndarray, rest: np.ndarray) -> np.ndarray:
    """The levels, where a line of bars that is heard again goes at another tempo each time: `rest` is what is left of
    each hearing, log seconds a quarter."""
    made = levels.copy()
    again = course.heard > 1
    for line in np.unique(course.lines[again]):
        here = again & (course.lines == line)
        shift = float(np.median(rest[here]))
        if abs(shift) > LEAST_CHANGE and here.sum() * (shift / USUAL) ** 2 > A_CHANGE:
            made[here] += shift
    return made


def tempo_marks(course: Course, levels: np.ndarray) -> tuple[TempoMark, ...]:
    """The tempo marks of a plan that make these levels: the first for the whole stretch, the others where one begins.
    Where the order goes back a tempo comes back by itself."""
    where, ordinals = course.where, course.ordinals
    wanted = {int(ordinal): float(level) for ordinal, level in zip(ordinals[::-1], levels[::-1], strict=True)}
    first = float(levels[0])
    marks = [TempoMark.model_validate({"tempo": _number(first)})]
    returns = {where.ordinal(here): where.ordinal(there) for here, there in where.returns}
    now, said = first, set()
    entered: dict[int, float] = {}  # the tempo with which each bar was entered
    for ordinal in sorted(wanted):
        if ordinal in returns:
            now = entered.get(returns[ordinal], now)
        entered.setdefault(ordinal, now)
        if abs(wanted[ordinal] - now) < LEAST_CHANGE:
            continue
        now = wanted[ordinal]
        row = int(where.bars["row"][ordinal])
        again = [k for k in where.hearings(row).tolist() if k in wanted]
        alike = all(abs(wanted[k] - now) < LEAST_CHANGE for k in again)
        passes = None if alike else int(where.bars["pass"][ordinal])
        if (row, passes) in said or (row, None) in said:
            continue
        said.add((row, passes))
        place = str(start_of_range(where.score, row, 0.0))
        entry = {"at": place, "tempo": _number(now)} | ({} if passes is None else {"pass": passes})
        marks.append(TempoMark.model_validate(entry))
    return tuple(marks)


def _number(level: float) -> float:
    return float(np.clip(60 * np.exp(-level), 5.0 + NEAR, 1000.0))
