"""Repetition: whether what begins at a place was heard before, comes again, or only goes on as the bars before it.

Tunes are alike by their intervals and note values, bars by what begins in them, whatever the pitch of the lowest note.
"""

from __future__ import annotations

import numpy as np

from timing.finding.leading import Leading
from timing.finding.melody import TICKS, Melody, ticks
from timing.finding.texture import Texture

SHORT, LONG = 8, 16  # notes of a tune that is heard again


def tune_facts(melody: Melody) -> dict[str, np.ndarray]:
    """(n,) each, for every note: whether a tune that is heard twice begins just there, and not before it."""
    made = {}
    name, length = _named(np.column_stack([ticks(melody.steps), np.append(melody.intervals, TICKS)])), 1
    while length < LONG:  # a tune is named by the names of its halves
        size = max(len(name) - length, 0)
        name, length = _named(np.column_stack([name[:size], name[length:][:size]])), 2 * length
        if length not in (SHORT, LONG):
            continue
        _, first, times = np.unique(name, return_index=True, return_counts=True)
        heard = first[name] < np.arange(size) if size else np.zeros(0, bool)
        twice = times[name] > 1 if size else np.zeros(0, bool)
        which = "tune" if length == SHORT else "long tune"
        made[f"{which} heard before"] = _begins(heard, len(melody))
        made[f"{which} heard twice"] = _begins(twice, len(melody))
    return made


def bar_facts(texture: Texture, line: Leading, bar: np.ndarray, full: np.ndarray) -> dict[str, np.ndarray]:
    """(n,) each, for places given by the row of the bar with which what begins there begins, upbeats apart: whether
    this bar goes on as those before, and whether two bars that are heard twice begin just there. `full` (bars,) is the
    quarters of each bar by its metre."""
    kept = np.flatnonzero(~line.skipped)
    place = np.clip(np.searchsorted(kept, bar), 0, len(kept) - 1)
    begins = np.searchsorted(kept, texture.bar)
    offset, pitch = ticks(texture.offset / full[texture.bar]), texture.pitch
    lowest = np.full(len(kept), pitch.max())
    np.minimum.at(lowest, begins, pitch)
    under = ~texture.in_melody
    chords = _contents(len(kept), begins, offset, pitch - lowest[begins])
    rhythm = _contents(len(kept), begins, offset, np.zeros_like(pitch))
    figure = _contents(len(kept), begins[under], offset[under], np.zeros(int(under.sum()), int))
    made = {}
    for which, name in (("rhythm", rhythm), ("figure", figure)):
        made[f"{which} goes on"] = _as_before(name, 1)[place]
        made[f"{which} as two bars ago"] = _as_before(name, 2)[place]
    for which, name in (("bars", chords), ("rhythm", rhythm), ("figure", figure)):
        pair = _named(np.column_stack([name[:-1], name[1:]]))
        twice = np.bincount(pair)[pair] > 1 if len(pair) else np.zeros(0, bool)
        made[f"{which} heard twice"] = _begins(twice, len(name))[place]
    return made


def _named(rows: np.ndarray) -> np.ndarray:
    """(n,) a number for each row, the same for rows that are the same."""
    return np.unique(rows, axis=0, return_inverse=True)[1].ravel() if len(rows) else np.zeros(0, np.int64)


def _begins(found: np.ndarray, size: int) -> np.ndarray:
    """(size,) where something is found that is not found from one place earlier on as well."""
    made = np.zeros(size, bool)
    made[: len(found)] = found & ~np.append(False, found[:-1])
    return made


def _contents(count: int, bar: np.ndarray, offset: np.ndarray, pitch: np.ndarray) -> np.ndarray:
    """(count,) a number for each bar, the same for bars in which the same begins. Empty bars are like no other."""
    rows = np.column_stack([bar, offset, pitch])[np.lexsort((pitch, offset, bar))]
    rows = rows[np.append(True, (np.diff(rows, axis=0) != 0).any(axis=1))[: len(rows)]]
    cuts = np.searchsorted(rows[:, 0], np.arange(count + 1))
    known: dict[bytes, int] = {}
    begins = zip(cuts[:-1], cuts[1:], range(count), strict=True)
    return np.array([known.setdefault(rows[a:b, 1:].tobytes() or str(n).encode(), n) for a, b, n in begins], np.int64)


def _as_before(name: np.ndarray, bars: int) -> np.ndarray:
    """(n,) whether each bar has the same as the one so many bars before."""
    made = np.zeros(len(name), bool)
    made[bars:] = name[bars:] == name[:-bars]
    return made
