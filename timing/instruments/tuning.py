"""How strings are tuned, and where capos lie: as the plan says, else the score, else the usual way.

A capo in the score's own <staff-details> raises the open strings, and the pitches of the score sound already (MusicXML
4.0). A capo of the plan moves the sound and not the hand: everything sounds higher by as many frets as it lies above
that of the score (common practice: guitarists write what the fingers play).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from timing.instruments.parts import of_parts, said_of
from timing.plan import Plan
from timing.plan.edits import added
from timing.plan.strings import TUNINGS
from timing.remarks import Place, Severity
from timing.score import Score
from timing.where.hearings import Hearings

FRETS = 19  # of the classical guitar (common practice)
GUITARS = range(24, 32)  # General MIDI 1 (MMA, 1991): programs of the guitars
_HIGHEST_RISE = 3  # semitones that a string can be tuned up from where it is; what would be more is tuned down to
_NAMES = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")


def pitch_name(pitch: int) -> str:
    """60 is C4."""
    return f"{_NAMES[pitch % 12]}{pitch // 12 - 1}"


@dataclass(frozen=True)
class Tuned:
    """`tunings`: (parts, 12) sounding pitches of the open strings, capo included, string 1 first, 0 where there is no
    string. `capos`: (parts,) the frets at which they lie. `raised`: (parts,) semitones from what the score has to what
    sounds, for the plan's own capo."""

    tunings: np.ndarray
    capos: np.ndarray
    raised: np.ndarray

    @property
    def of_score(self) -> np.ndarray:
        """(parts, 12) the open strings as the pitches of the score meet them."""
        return np.where(self.tunings > 0, self.tunings - self.raised[:, None], 0)


def tune(score: Score, plan: Plan, programs: np.ndarray, hearings: Hearings) -> Tuned:
    """A part has strings if its program is a guitar. A tuning or capo without a guitar gets a caution."""
    fretted = np.isin(programs, GUITARS) & ~score.parts["percussion"]
    asked = {key: of_parts(score, plan, key, hearings) for key in ("tuning", "capo")}
    words = "tuning" not in plan.marks.ignore
    tunings = np.zeros(score.parts["tuning"].shape, np.int64)
    for part in np.flatnonzero(fretted):
        row, wanted = score.parts[part], asked["tuning"][part][0]
        open_strings = row["tuning"].tolist() if row["tuning"].any() else TUNINGS["standard"]
        open_strings = wanted or (retuned(open_strings, row["retuned"].tolist()) if words else open_strings)
        tunings[part, : len(open_strings)] = open_strings
    for key, given in asked.items():
        _tell_without_guitar(key, given, fretted, score, plan, hearings)
    own = np.where(fretted, score.parts["capo"], 0).astype(np.int64)
    planned = [capo for capo, _ in asked["capo"]]
    capos = np.where(fretted, [mine if capo is None else capo for capo, mine in zip(planned, own, strict=True)], 0)
    if words:
        _tell_of_words([fret is None for fret in planned] & fretted & (own == 0), score, hearings)
    return Tuned(np.where(tunings > 0, tunings + capos[:, None], 0), capos.astype(np.int16), capos - own)


def retuned(open_strings: list[int] | tuple[int, ...], words: list[int]) -> list[int]:
    """(12,) the open strings, with those that words tune (1: to C ... 12: to B) taken down or a little up to that note.
    A string beyond those of the instrument lies under the one before."""
    made = [*open_strings, *[0] * (len(words) - len(open_strings))]
    for string, note in enumerate(words):
        if note and (made[string] or (string and made[string - 1])):
            highest = made[string] + _HIGHEST_RISE if made[string] else made[string - 1] - 1
            made[string] = highest - (highest - (note - 1)) % 12
    return made


def _tell_without_guitar(
    key: str, given: list[tuple], fretted: np.ndarray, score: Score, plan: Plan, hearings: Hearings
) -> None:
    said = [place for value, place in given if value]
    if said and not any(value and strung for (value, _), strung in zip(given, fretted, strict=True)):
        message = f"no part is played on a guitar: the {key} does nothing"
        alone = len(score.parts) == 1 and plan.instrument is None  # else the plan may mean what it says
        fix = (added("instrument", "classical guitar"),) if alone else ()
        suggestion = "instrument: classical guitar"
        hearings.remark(Severity.CAUTION, "no-strings", message, said[0], suggestion=suggestion, fix=fix)


def _tell_of_words(silent: np.ndarray, score: Score, hearings: Hearings) -> None:
    """Of capos that only words name, in parts for which the plan names none: whether the notes are written for the
    fingers or as they sound, the score does not say."""
    for mark in score.marks_of("capo"):
        if silent[mark["part"]]:
            fret = int(mark["value"])
            message = f"'{mark['text']}' stands over the music, and the notes sound as they are written: if they are "
            message += f"written for the fingers, all should sound {fret} semitone{'s' * (fret > 1)} higher"
            suggestion = said_of(score, int(mark["part"]), "capo", fret)
            more = {"bar_name": score.bar_name(int(mark["bar"])), "suggestion": suggestion}
            hearings.remark(Severity.ADVICE, "capo-in-words", message, Place(score.path), **more)
