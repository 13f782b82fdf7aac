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
    than a slowdown of some beats would earn; `slow` is what was played."""
    low, high = np.quantile(slow, (0.02, 0.98))
    levels = np.arange(low - STEP, high + 2 * STEP, STEP)
    away = np.minimum(((slow[:, None] - levels) / USUAL) ** 2, AT_MOST**2)
    opens = np.append(True, np.diff(course.ordinals) > 0)
    value, came = away[0].copy(), np.zeros(away.shape, np.int64)
    stay = np.arange(len(levels))
    for k in range(1, len(slow)):
        best = int(np.argmin(value))
        jump = opens[k] & (value[best] + A_CHANGE < value)
        came[k] = np.where(jump, best, stay)
        value = np.minimum(value, value[best] + A_CHANGE) if opens[k] else value
        value = value + away[k]
    path = np.empty(len(slow), np.int64)
    path[-1] = int(np.argmin(value))
    for k in range(len(slow) - 1, 0, -1):
        path[k - 1] = came[k, path[k]]
    made = levels[path]
    for start, end in _stretches(path):  # nearer than the steps of the walk
        here = slow[start:end]
        near = np.abs(here - made[start]) < AT_MOST * USUAL
        made[start:end] = np.median(here[near]) if near.any() else np.median(here)
    return made


def _stretches(path: np.ndarray) -> list[tuple[int, int]]:
    cuts = [0, *(np.flatnonzero(np.diff(path)) + 1).tolist(), len(path)]
    return list(zip(cuts[:-1], cuts[1:], strict=True))


def tempo_marks(course: Course, levels: np.ndarray) -> tuple[TempoMark, ...]:
    """The tempo marks of a plan that make these levels: the first for the whole stretch, the others where one begins.
    Where the order goes back a tempo comes back by itself."""
    where, ordinals = course.where, course.ordinals
    wanted = {int(ordinal): float(level) for ordinal, level in zip(ordinals[::-1], levels[::-1], strict=True)}
    first = float(levels[0])
    marks = [TempoMark.model_validate({"tempo": _number(first)})]
    returns = {where.ordinal(here): where.ordinal(there) for here, there in where.returns}
    now, entered, said = first, {}, set()
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
