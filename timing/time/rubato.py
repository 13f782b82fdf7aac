"""Time that is stolen and given back: all voices hurry and then hold back, or linger and then catch up.

Two parabolas in log pace, as arches have them (N. Todd 1985, 1992): one up and one down, each over half of a stretch of
score time. The first is as high as the plan says; the second gives back what the first has taken, with tempo marks,
arches, slowdowns and holds in place, so that the stretch ends exactly when it would have ended without. The pace is the
written one at both ends and in the middle, and so it has no steps.

This is the later of the two kinds that R. Hudson tells apart (Stolen Time: The History of Tempo Rubato, 1994); the
earlier one, in which a voice is displaced against the others, is in `timing.notes.displacement`.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from timing import timemap
from timing.columns import ROUNDING
from timing.plan.time import Rubato
from timing.remarks import Severity
from timing.where import Run, Where
from timing.where.hearings import Hearings

# A stretch of score time, in quarters, whose end is kept: the log of the pace at the height of its first half, and the
# entry in the plan's `rubato`.
CELL = np.dtype([("start", np.float64), ("end", np.float64), ("height", np.float64), ("entry", np.int32)])

MOST = math.log(4)  # what is given back never makes the pace more than four times as fast or slow
_CLOSE = 1e-14  # the log of a length against the one that is kept
_STEPS = 60


def rubato_cells(entries: tuple[Rubato, ...], hearings: Hearings, amount: float = 1.0) -> np.ndarray:
    """CELL table of all hearings of what hurries or lingers, sorted, no two overlapping: where they would, the entry
    that comes later in the plan counts, with a caution. `amount` scales the heights."""
    kept = np.zeros(0, CELL)
    for number, entry in reversed(list(enumerate(entries))):
        if entry.hurry is None and entry.linger is None:
            continue
        edges = [_edges(run, entry.keeps == "bar line", hearings.where) for run in hearings.runs_of(entry, "bars")]
        made = np.zeros(sum(len(each) - 1 for each in edges), CELL)
        if len(made):
            made["start"] = np.concatenate([each[:-1] for each in edges])
            made["end"] = np.concatenate([each[1:] for each in edges])
        made["height"] = amount * math.log1p(entry.hurry if entry.hurry is not None else -(entry.linger or 0.0))
        made["entry"] = number
        first = np.searchsorted(kept["end"], made["start"] + ROUNDING, side="right")
        met = first < np.searchsorted(kept["start"], made["end"] - ROUNDING)
        if met.any():
            row = np.flatnonzero(met)[0]
            later = kept[first[row]]
            at = float(max(made["start"][row], later["start"]))
            tell_overlap(entry, entries[later["entry"]], at, ONLY_LATER, hearings)
        kept = np.concatenate([kept, made[~met]])
        kept = kept[np.argsort(kept["start"])]
    return kept


def _edges(run: Run, bar_lines: bool, where: Where) -> np.ndarray:
    """The quarters between which time is given back: the ends of a run, and the bar lines in it if they are kept."""
    inside = np.arange(run.first + 1, run.last + 1) if bar_lines else np.zeros(0, np.int64)
    bars = where.bars
    split = (bars["shift"][inside] > 0) & (bars["number"][inside] == bars["number"][inside - 1])  # one bar in two parts
    split &= bars["suffix"][inside] == bars["suffix"][inside - 1]
    lines = bars["start"][inside[~split]]
    return np.array([run.start, *lines[(lines > run.start + ROUNDING) & (lines < run.end - ROUNDING)], run.end])


ONLY_LATER = "where they meet only the later entry acts"


def tell_overlap(older: Rubato, newer: Rubato, quarters: float, what: str, hearings: Hearings) -> None:
    """A caution where two entries meet; `what` says what happens there."""
    bar, beat, pass_ = hearings.where.beat(quarters)
    message = f"the rubato {newer.bars} overlaps the rubato {older.bars}: {what}"
    suggestion = "end the first one before the second begins, or give them different passes"
    hearings.remark(
        Severity.CAUTION, "rubato-overlap", message, newer.place("bars"),
        bar_name=bar, beat=beat, pass_=pass_, suggestion=suggestion,
    )  # fmt: skip


def add_rubato(pieces: np.ndarray, cells: np.ndarray, entries: tuple[Rubato, ...], hearings: Hearings) -> np.ndarray:
    """The pieces with the parabolas of all cells, each of which lasts as long as it did before.

    Where the second half cannot make up for the first, both are smaller, with a caution.
    """
    cells = cells[cells["height"] != 0]
    if not len(cells):
        return pieces
    middle = (cells["start"] + cells["end"]) / 2
    halves = np.stack([cells["start"], middle, cells["end"]])
    pieces = timemap.split(pieces, halves.ravel())
    before = _lasting(pieces, halves).sum(axis=0)
    height = np.stack([cells["height"], np.zeros(len(cells))])

    def given_back(half: int) -> np.ndarray:
        """The heights of one half at which both together last as long as before, as near as they may go."""
        other = _lasting(_bent(pieces, halves, height), halves)[1 - half]

        def too_long(tried: np.ndarray) -> np.ndarray:
            bent = height.copy()
            bent[half] = tried
            lasts = _lasting(_bent(pieces, halves, bent), halves)[half]
            with np.errstate(divide="ignore", invalid="ignore"):
                return np.where(other < before, np.log(lasts / (before - other)), np.inf)

        return _root(too_long, len(cells))

    height[1] = given_back(1)
    limited = np.abs(height[1]) > MOST - ROUNDING
    if limited.any():
        height[0] = np.where(limited, given_back(0), height[0])
        for number in np.unique(cells["entry"][limited]).tolist():
            cell = cells[np.flatnonzero(limited & (cells["entry"] == number))[0]]
            _tell_limit(entries[number], cell, hearings)
    return _bent(pieces, halves, height)


def _tell_limit(entry: Rubato, cell: np.void, hearings: Hearings) -> None:
    bar, beat, pass_ = hearings.where.beat(float(cell["start"]))
    message = f"the rubato {entry.bars} takes more time than it can give back before its end: there it is smaller"
    hearings.remark(
        Severity.CAUTION, "rubato-limited", message, entry.place(entry.kind), bar_name=bar, beat=beat, pass_=pass_,
        suggestion=f"a smaller '{entry.kind}', or a longer stretch to give it back in (keeps: end)",
    )  # fmt: skip


def _lasting(pieces: np.ndarray, halves: np.ndarray) -> np.ndarray:
    """(2, cells) seconds that the first and second halves last; `halves` are (3, cells), all of them cuts."""
    fine = timemap.finely_cut(pieces)
    edges = np.unique(np.append(0.0, halves))
    lasts = np.add.reduceat(timemap.durations(fine), np.searchsorted(fine["start"], edges[edges < fine["end"][-1]]))
    return lasts[np.searchsorted(edges, halves[:2])]


def _bent(pieces: np.ndarray, halves: np.ndarray, height: np.ndarray) -> np.ndarray:
    """The pieces with a parabola in log pace over each half, 0 at its ends and `height` (2, cells) in its middle."""
    order = np.argsort(halves[:2].ravel(), kind="stable")
    start, end, top = (column.ravel()[order] for column in (halves[:2], halves[1:], height))
    row = np.clip(np.searchsorted(start, pieces["start"], side="right") - 1, 0, None)
    top = np.where((pieces["start"] >= start[row]) & (pieces["start"] < end[row]), top[row], 0.0)
    span = end[row] - start[row]
    u, du = (pieces["start"] - start[row]) / span, (pieces["end"] - pieces["start"]) / span
    made = pieces.copy()
    made["a0"] += 4 * top * u * (1 - u)
    made["a1"] += 4 * top * du * (1 - 2 * u)
    made["a2"] -= 4 * top * du**2
    return made


def _root(function: Callable[[np.ndarray], np.ndarray], count: int) -> np.ndarray:
    """(count,) the places between -MOST and MOST at which a falling, nearly straight function of each is 0, or the end
    that comes nearest: secants, kept inside a bracket."""
    low, high = np.full(count, -MOST), np.full(count, MOST)
    last, x = np.zeros(count), np.zeros(count)
    value = function(x)
    last_value, x = value, np.clip(np.nan_to_num(value * 1.5, posinf=MOST), -MOST, MOST)  # the slope is about -2/3
    for _ in range(_STEPS):
        value = function(x)
        low, high = np.where(value > 0, x, low), np.where(value < 0, x, high)
        with np.errstate(divide="ignore", invalid="ignore"):
            straight = x - value * (x - last) / (value - last_value)
        inside = np.isfinite(straight) & (straight > low) & (straight < high)
        following = np.where(inside, straight, (low + high) / 2)
        done = (np.abs(value) <= _CLOSE) | (high - low <= 1e-15)
        following = np.where(done, x, following)
        last, last_value, x = x, value, following
        if done.all():
            break
    return x
