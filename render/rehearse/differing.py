"""Where one reading sounds otherwise than another one of the same piece."""

from __future__ import annotations

import numpy as np

from timing.columns import NEAR, ROUNDING
from timing.performance import Performance

_APART = 0.125  # quarters between two looks at the pace
_HEARD = ("level", "tone", "pluck", "string", "technique", "attack", "pitch")


def differing(before: Performance, now: Performance) -> tuple[float, float] | None:
    """From which quarter to which one of `now` it sounds otherwise; None if it does not. Where the order of the bars is
    another one, what both begin and end with is left out."""
    older, newer = (np.column_stack([each.bars["row"], each.bars["length"]]) for each in (before, now))
    if not np.array_equal(older, newer):
        return _by_order(older, newer, now)
    spans = [*_by_pace(before, now), *_by_notes(before, now)]
    return (min(start for start, _ in spans), max(end for _, end in spans)) if spans else None


def _by_order(before: np.ndarray, now: np.ndarray, performance: Performance) -> tuple[float, float]:
    shared = min(len(before), len(now))
    begin = _alike(before[:shared], now[:shared])
    end = min(_alike(before[::-1][:shared], now[::-1][:shared]), shared - begin)
    starts = np.append(performance.bars["start"], performance.quarters)
    return float(starts[begin]), float(max(starts[len(now) - end], starts[begin]))


def _alike(one: np.ndarray, other: np.ndarray) -> int:
    """How many bars both begin with."""
    return int(np.cumprod((one == other).all(axis=1)).sum())


def _by_pace(before: Performance, now: Performance) -> list[tuple[float, float]]:
    knots = np.union1d(np.arange(0, now.quarters, _APART), np.append(now.time.knots, before.time.knots))
    knots = knots[(knots >= 0) & (knots <= now.quarters)]
    lengths = [np.diff(each.time.seconds(knots)) for each in (before, now)]
    rows = np.flatnonzero(np.abs(lengths[0] - lengths[1]) > NEAR * np.maximum(lengths[1], ROUNDING))
    return [(float(knots[rows[0]]), float(knots[rows[-1] + 1]))] if len(rows) else []


def _by_notes(before: Performance, now: Performance) -> list[tuple[float, float]]:
    """From the first to the last note that sounds otherwise, besides the pace."""
    one, other = (_facts(each) for each in (before, now))
    if len(one) != len(other):
        return [(0.0, now.quarters)]
    rows = np.flatnonzero(~np.isclose(one, other, rtol=0, atol=NEAR, equal_nan=True).all(axis=1))
    if not len(rows):
        return []
    notes = _in_order(now)[rows]
    return [(float(notes["score_onset"].min()), float((notes["score_onset"] + notes["score_length"]).max()))]


def _in_order(performance: Performance) -> np.ndarray:
    notes = performance.notes
    return notes[_order(notes)]


def _order(notes: np.ndarray) -> np.ndarray:
    return np.lexsort((notes["step"], notes["id"], notes["ordinal"]))


def _facts(performance: Performance) -> np.ndarray:
    """(notes, facts) by which a note is heard, whatever the pace: in quarters, where it begins and ends; how it sounds;
    how its level and its pitch move."""
    notes = performance.notes
    begins, ends = performance.time.quarters(notes["onset"]), performance.time.quarters(notes["end"])
    facts = [notes["id"], begins, ends, *(notes[name] for name in _HEARD), performance.lanes["program"][notes["lane"]]]
    for table, value in ((performance.curves, "level"), (performance.bends, "semitones")):
        at = performance.time.quarters(table["second"])
        facts += [_sums(table["note"], each, len(notes)) for each in (table[value], at * table[value], at)]
    return np.column_stack(facts)[_order(notes)]


def _sums(owner: np.ndarray, values: np.ndarray, count: int) -> np.ndarray:
    return np.bincount(owner, values, count) if len(owner) else np.zeros(count)
