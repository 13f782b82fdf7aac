"""In which octave each part sounds: what the score writes becomes what is heard.

Pitches of a score are sounding ones where it says so itself, by <transpose> or by the 8 of its clef. Guitar music in a
plain treble clef is written an octave higher than it sounds (common practice), though by the letter of its file it is
not: there the strings that the score names decide, else how low the notes go.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from timing.instruments.parts import of_parts, said_of
from timing.instruments.programs import guess_program, named_program
from timing.instruments.tuning import FRETS, GUITARS, Tuned, pitch_name
from timing.plan import Plan
from timing.plan.strings import OCTAVES
from timing.remarks import Place, Severity
from timing.score import Score, Sign
from timing.where.hearings import Hearings

LOWER, AS_WRITTEN = "an octave lower", "as written"
LOWEST_WRITTEN = 50  # D3: the lowest string taken down a tone, as guitar music writes it (common practice)

# Instruments of the guitar's programs that are written as they sound (common practice).
_AT_PITCH = ("mandolin", "ukulele", "lute", "banjo", "bandurria", "charango", "cavaquinho", "vihuela")


@dataclass(frozen=True)
class Octaves:
    """`semitones`: (parts,) whole octaves from the pitches of the score to those that sound. `assumed`: of the parts of
    which neither score nor plan says it, what a plan would say (OCTAVES), and why."""

    semitones: np.ndarray
    assumed: dict[int, tuple[str, str]]


def octaves_of(score: Score, plan: Plan, programs: np.ndarray, tuned: Tuned, hearings: Hearings) -> Octaves:
    """The octave of each part: as the plan says, else as guitar music is written. What is assumed is told."""
    asked = [said for said, _ in of_parts(score, plan, "sounds", hearings)]
    assumed = {}
    for part in np.flatnonzero(_in_doubt(score, plan, programs, hearings)).tolist():
        if asked[part] is None and (found := _found(score, part, tuned.of_score[part])):
            asked[part], why = assumed[part] = found
            lower = asked[part] == LOWER
            how = f"{asked[part]}, as guitar music sounds" if lower else asked[part]
            message = f"{score.parts['name'][part]} stands in a plain treble clef, and {why}: it is played {how}"
            suggestion = said_of(score, part, "sounds", AS_WRITTEN if lower else LOWER)
            hearings.remark(Severity.ADVICE, "octave-assumed", message, Place(score.path), suggestion=suggestion)
    semitones = np.array([OCTAVES.get(said, 0) for said in asked], np.int64)
    return Octaves(np.where(score.parts["percussion"], 0, semitones), assumed)


def sounding(score: Score, semitones: np.ndarray) -> Score:
    """The score with each part (parts,) so many semitones higher; what would leave the range of MIDI stays within by
    octaves."""
    if not semitones.any():
        return score
    notes = score.notes.copy()
    pitch = notes["pitch"] + semitones[notes["part"]]
    over = np.maximum(0, -((127 - pitch) // 12)) * (pitch > 127)
    under = np.maximum(0, -(pitch // 12)) * (pitch < 0)
    notes["pitch"] = pitch + 12 * (under - over)
    return replace(score, notes=notes)


def _in_doubt(score: Score, plan: Plan, programs: np.ndarray, hearings: Hearings) -> np.ndarray:
    """(parts,) which parts are guitars, to the score as to the plan, in a clef that does not say in which octave they
    sound. A part for which the score names no instrument may be one."""
    parts = score.parts
    doubtful = np.isin(programs, GUITARS) & parts["plain"] & ~parts["percussion"]
    planned = of_parts(score, plan, "instrument", hearings)
    for part in np.flatnonzero(doubtful):
        name = f"{parts['instrument'][part]} {parts['name'][part]}"
        own = parts["program"][part] in GUITARS or guess_program(name) in GUITARS
        unnamed = parts["program"][part] < 0 and named_program(name) < 0
        called = f"{name} {planned[part][0] or ''}".lower()
        doubtful[part] = (own or unnamed) and not any(other in called for other in _AT_PITCH)
    return doubtful


def _found(score: Score, part: int, open_strings: np.ndarray) -> tuple[str, str] | None:
    """The octave (OCTAVES) in which a guitar in a plain treble clef sounds, and what tells it; None without notes."""
    notes = score.notes[score.notes["part"] == part]
    if not len(notes):
        return None
    fits = {octave: _on_their_strings(notes, open_strings, OCTAVES[octave]) for octave in (LOWER, AS_WRITTEN)}
    if fits[LOWER] != fits[AS_WRITTEN]:
        return max(fits, key=lambda octave: fits[octave]), "its notes lie so on the strings that the score names"
    lowest = int(notes["pitch"].min())
    limit = min(int(open_strings[open_strings > 0].min()) + 12, LOWEST_WRITTEN)
    return AS_WRITTEN if lowest < limit else LOWER, f"its lowest note is {pitch_name(lowest)}"


def _on_their_strings(notes: np.ndarray, open_strings: np.ndarray, octave: int) -> int:
    """How many of the notes for which the score names string, fret or open string lie so in that octave."""
    plain = notes[notes["signs"] & Sign.HARMONIC == 0]
    stops = plain["pitch"].astype(np.int64)[:, None] + octave - open_strings
    possible = (open_strings > 0) & (stops >= 0) & (stops <= FRETS)
    string, fret = plain["string"].astype(np.int64)[:, None], plain["fret"].astype(np.int64)[:, None]
    fits = possible & ((string == 0) | (string == np.arange(1, len(open_strings) + 1))) & ((fret < 0) | (stops == fret))
    fits &= (plain["finger"] != 0)[:, None] | (stops == 0)
    said = (plain["string"] > 0) | (plain["fret"] >= 0) | (plain["finger"] == 0)
    return int((fits.any(axis=1) & said).sum())
