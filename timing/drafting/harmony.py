"""Keys and closes: which key a stretch of a score is in, and on which chord a phrase of it ends.

The chords are named by music21; whatever is not clear is left unsaid.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from timing.columns import NEAR, ROUNDING
from timing.drafting.keys import Tonality, find_key
from timing.score import Score

_DOMINANT = frozenset({7, 11})  # semitones over the keynote: root and leading note of the chord that leads home
_COMMON = re.compile(r"[iI]|ii6?|iio6|[iI][vV]6?|V[67]?|[vV][iI]|[iI]6|III")  # figures that one can be sure of


class WrittenNotes:
    """The notes of a score on one axis: quarters along the bars as written."""

    def __init__(self, score: Score):
        notes = score.notes[score.notes["length"] > 0]
        percussion = score.parts["percussion"][notes["part"]] if len(score.parts) else np.zeros(0, bool)
        notes = notes[~percussion]
        self.bar_starts = np.concatenate([[0.0], np.cumsum(score.bars["length"])])
        start = self.bar_starts[notes["bar"]] + notes["offset"]
        order = np.argsort(start, kind="stable")
        self.start, self.pitch = start[order], notes["pitch"][order].astype(int)
        self.end = self.start + notes["length"][order]
        self._longest = float(notes["length"].max()) if len(notes) else 0.0
        keys = score.marks_of("key")
        self._signatures = np.column_stack([self.bar_starts[keys["bar"]] + keys["offset"], keys["value"]])

    def at(self, bar: int, offset: float) -> float:
        """The quarter of a place in the score."""
        return float(self.bar_starts[bar] + offset)

    def signature(self, at: float) -> int | None:
        """The signature that holds at a quarter, in fifths; None where none is printed."""
        row = int(np.searchsorted(self._signatures[:, 0], at + NEAR, side="right")) - 1
        return int(self._signatures[row, 1]) if row >= 0 else None

    def first_bass(self, start: float, end: float) -> int | None:
        """The lowest note that begins with the first full bar of a stretch, or sounds there."""
        bar = int(np.searchsorted(self.bar_starts, start - NEAR))
        at = float(self.bar_starts[bar]) if bar < len(self.bar_starts) and self.bar_starts[bar] < end else start
        pitch = self.between(at, min(at + 1e-3, end))[1]
        return int(pitch.min()) if len(pitch) else None

    def bass(self, start: float, end: float) -> int | None:
        """The lowest of the notes that sound last in a stretch."""
        begin = _last_bass(self, start, end)
        pitch = self.between(begin, end)[1]
        return int(pitch.min()) if len(pitch) else None

    def between(self, start: float, end: float) -> tuple[np.ndarray, np.ndarray]:
        """(12,) quarters for which each pitch class sounds in a stretch, and the pitches themselves."""
        low, high = np.searchsorted(self.start, [start - self._longest, end - ROUNDING])
        begins, ends = np.maximum(self.start[low:high], start), np.minimum(self.end[low:high], end)
        here = ends > begins + ROUNDING
        pitch = self.pitch[low:high][here]
        return np.bincount(pitch % 12, (ends - begins)[here], minlength=12), pitch


def tonality(
    sounds: WrittenNotes, start: float, end: float, ends: Sequence[float] = (), whole: bool = False
) -> Tonality | None:
    """The key of a stretch (in quarters), or None where none is clear; `ends` are those of the phrases in it. A `whole`
    piece ends on its keynote."""
    durations, pitch = sounds.between(start, end)
    basses = [bass for stop in sorted(set(ends)) if (bass := sounds.bass(start, stop)) is not None]
    first, last = sounds.first_bass(start, end), sounds.bass(start, end) if whole else None
    return find_key(durations, len(pitch), sounds.signature(start), first, basses, last)


@dataclass(frozen=True)
class Close:
    """How a phrase ends: its last chord as a roman numeral, and what the trade calls such a close ("" for none)."""

    figure: str
    kind: str

    def __str__(self) -> str:
        return f"{self.kind} on {self.figure}" if self.kind else f"ends on {self.figure}"


def close_at(sounds: WrittenNotes, start: float, end: float, key: Tonality) -> Close | None:
    """How the phrase from `start` to `end` (quarters) closes in a key; None where its last chord is not plain."""
    begin = _last_bass(sounds, start, end)
    last = _chord(sounds, begin, end)
    if last is None:
        return None
    figure, degree = _roman(tuple(pitch - key.keynote for pitch in last), key.minor)
    if not _COMMON.fullmatch(figure):
        return None
    before = _last_bass(sounds, start, begin) if begin > start else begin
    steps = {(pitch - key.keynote) % 12 for pitch in sounds.between(before, begin)[1]}
    if degree == 1 and last[0] % 12 == key.keynote and steps >= _DOMINANT:
        return Close(figure, "full close")
    if figure in ("V", "V7"):
        return Close(figure, "half close")
    if degree == 6 and steps >= _DOMINANT:
        return Close(figure, "deceptive close")
    return Close(figure, "")


def _last_bass(sounds: WrittenNotes, start: float, end: float) -> float:
    """Where the lowest note begins that sounds until `end`, or the last to do so before."""
    low, high = np.searchsorted(sounds.start, [start - ROUNDING, end - ROUNDING])
    if high <= low:
        return start
    starts, ends, pitch = (column[low:high] for column in (sounds.start, sounds.end, sounds.pitch))
    latest = ends >= min(end, ends.max()) - NEAR
    lowest = pitch[latest].min()
    return float(starts[latest & (pitch == lowest)].max())


def _chord(sounds: WrittenNotes, start: float, end: float) -> tuple[int, ...] | None:
    """The three or four pitch classes, as pitches, bass first, that sound in a stretch; what sounds for less than an
    eighth of all is passing. None where there are more or fewer."""
    durations, pitch = sounds.between(start, end)
    essential = np.flatnonzero(durations >= durations.sum() / 8)
    pitches = tuple(sorted({int(p) for p in pitch if p % 12 in essential}))
    return pitches if len({p % 12 for p in pitches}) in (3, 4) else None


@lru_cache(1024)
def _roman(pitches: tuple[int, ...], minor: bool) -> tuple[str, int]:
    """The roman numeral of these pitches and its degree, in C; ("", 0) where they are no triad or seventh chord."""
    from music21.chord import Chord
    from music21.key import Key
    from music21.roman import romanNumeralFromChord

    key = Key("c" if minor else "C")
    chord = Chord(list(pitches)).simplifyEnharmonics(keyContext=key)
    if not (chord.isTriad() or chord.isSeventh()):
        return "", 0
    found = romanNumeralFromChord(chord, key)
    return found.figure, found.scaleDegree
