"""Notes of one pitch on one channel: what one of them does, the others hear."""

from __future__ import annotations

import numpy as np


def let_go(notes: np.ndarray, start: np.ndarray, stop: np.ndarray) -> np.ndarray:
    """(n,) when each note (PLAYED) is let go, in the units of `start` and `stop` (ticks or samples), on its channel.

    A channel has one key for each pitch, and letting it go ends all that sounds there. So notes struck together share
    the longest end, and a note ends at the latest where the same key is struck again.
    """
    if not len(notes):
        return stop
    order = np.lexsort((start, notes["pitch"], notes["lane"]))
    key = np.stack([notes["lane"][order], notes["pitch"][order]]).astype(np.int64)
    new_key = np.append(True, np.any(np.diff(key, axis=1) != 0, axis=0))
    first = np.flatnonzero(new_key | np.append(True, np.diff(start[order]) != 0))
    longest = np.maximum.reduceat(stop[order], first)
    again = np.append(start[order][first][1:], np.iinfo(np.int64).max)
    again[np.append(new_key[first][1:], True)] = np.iinfo(np.int64).max
    made = np.empty_like(stop)
    made[order] = np.repeat(np.minimum(longest, again), np.diff(np.append(first, len(notes))))
    return made
