"""What had better ring on, and what is slurred on one string: the sound that a guitarist chooses strings for.

On the page a broken chord is a row of short notes, but it is fingered so that they ring together: each on a string of
its own, an open string only where no neighbour needs it (common practice).
"""

from __future__ import annotations

import numpy as np

from timing.score import Sign

RINGS = 1.0  # seconds after which a note has been heard, and may lose its string (the house's own value)
_STEPS = (-2, -1, 1, 2)  # semitones: what goes on by step takes the place of the note before
_LIGADO_NOTES = 3  # of a slur that the left hand plays; a longer one is a phrase (the house's own value)
_LIGADO_FRETS = 5  # as far as the fingers reach


def rings_until(
    moment: np.ndarray, start: np.ndarray, end: np.ndarray, pitch: np.ndarray, longest: float
) -> np.ndarray:
    """(n,) quarters until which sounds had better ring, never before their written `end`.

    The sounds are sorted by moment. A note belongs to the harmony of the longest note that sounds when it begins, and
    rings until that ends or a step away from it another note begins, `longest` quarters at most. Staccato (whose `end`
    is 0) does not ring.
    """
    last = np.searchsorted(moment, moment, side="right") - 1
    harmony = np.minimum(np.maximum.accumulate(end)[last], start + longest)
    for step in _STEPS:
        harmony = np.minimum(harmony, _next_at(pitch + step, moment, start, pitch))
    return np.where(end > 0, np.maximum(end, harmony), end)


def _next_at(wanted: np.ndarray, moment: np.ndarray, start: np.ndarray, pitch: np.ndarray) -> np.ndarray:
    """(n,) when after each sound's moment the next one of the pitch that it wants begins; inf if none does."""
    width = int(moment[-1]) + 2
    known, first = np.unique(pitch.astype(np.int64) * width + moment, return_index=True)
    place = np.searchsorted(known, wanted.astype(np.int64) * width + moment, side="right")
    found = first[np.minimum(place, len(first) - 1)]
    there = (place < len(known)) & (pitch[found] == wanted)
    return np.where(there, start[found], np.inf)


def ligados(moment: np.ndarray, voice: np.ndarray, signs: np.ndarray, pitch: np.ndarray) -> np.ndarray:
    """(n,) which sounds are slurred to the one before in their voice by a short slur: ligado, played by the left hand
    on one string (common practice). `signs` are bits of Sign."""
    order = np.lexsort((pitch, moment, voice))
    signs, height = signs[order], pitch[order].astype(np.int64)
    follows = np.append(False, (np.diff(voice[order]) == 0) & (np.diff(moment[order]) > 0))
    slurred = np.append(0, signs[:-1]) & Sign.SLURRED != 0
    joined = follows & slurred
    begins = ~joined | (np.append(0, signs[:-1]) & Sign.SLUR_END != 0)  # one slur may begin where another ends
    slur = np.cumsum(begins)
    short = np.bincount(slur, joined)[slur] < _LIGADO_NOTES
    apart = np.abs(np.diff(height, prepend=height[:1]))
    made = np.zeros(len(order), bool)
    made[order] = joined & short & (apart > 0) & (apart <= _LIGADO_FRETS)
    return made
