"""Slides that are hardly heard, for their note has died away; and what it takes to let swells be heard as planned."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from timing.cautions.open_strings import codes
from timing.cautions.rules import ADVICE, Sound, first_few, place_of, remark_at, rule, spot_of
from timing.instruments.programs import sustains
from timing.reading import Reading
from timing.remarks import CannotDo, Remark
from timing.slides.made_good import FAINT, Alone, bends_of, lost_before, made_good, sounds_that_slide

_NOTICED = 0.05  # dB: what is less is rounding


@rule(
    "slide-faint",
    "A slide that begins when its note has long died away is hardly heard, however much it swells.",
    example="""\
score: low-water.musicxml
tempo: dotted quarter = 40
glissandi: [{from: 23:4, to: 24:1, glide: 20%, swell: 3 dB}]
""",
    threshold=f"on a plucked string the note has lost more than {FAINT:g} dB where the slide of the plan begins (from "
    "0.1 s after it is struck, or from where a slide that is slurred into it arrives), and it is not `sung`",
    source="our own value: 10 dB less is heard as half as loud (S. S. Stevens, JASA 27, 1955, from memory)",
    listens=True,
)
def slide_faint(reading: Reading, sound: Sound | None) -> Iterator[Remark]:
    performance = reading.performance
    notes, glides = performance.notes, performance.glides
    lost = np.zeros(len(glides))
    if sound is not None:
        alone, known = _alone(reading, sound)
        for rows in sounds_that_slide(glides):
            struck = int(glides["note"][rows[0]])
            if known[struck]:
                lost[rows] = lost_before(glides[rows], struck, float(notes["onset"][struck]), alone)
    printed = np.array([reading.plan.glissandi[entry].printed for entry in glides["entry"].tolist()], bool)
    faint = np.flatnonzero((lost > FAINT + _NOTICED) & ~glides["sung"] & ~printed)

    def tell(row: int) -> Remark:
        n = faint[np.argmax(glides["note"][faint] == row)]
        message = (
            f"the slide from {place_of(notes[row], reading)} begins when its note has died away by {lost[n]:.0f} dB: "
            "however much it swells, it is hardly heard"
        )
        mend = "leave earlier, make the note shorter, pluck it again before it slides, or let it sing, by `sung: yes`"
        place = reading.plan.glissandi[glides["entry"][n]].place()
        return remark_at(ADVICE, "slide-faint", message, spot_of(notes[row], reading), place, mend)

    yield from first_few(glides["note"][faint], reading, tell)


def driven(reading: Reading, sound: Sound | None) -> np.ndarray:
    """CURVE table of what players have to do so that all is heard as planned, as far as it is known what the strings
    do by themselves."""
    if sound is None or not len(reading.performance.glides):
        return reading.performance.curves
    alone, known = _alone(reading, sound)
    glides = reading.performance.glides
    there = [rows for rows in sounds_that_slide(glides) if known[glides["note"][rows[0]]]]
    some = glides[np.concatenate([np.zeros(0, int), *there])]
    return made_good(replace(reading.performance, glides=some), alone)


def _alone(reading: Reading, sound: Sound) -> tuple[Alone, np.ndarray]:
    """What plucked strings do by themselves, and (n,) of which notes it is known."""
    performance = reading.performance
    notes, bend = performance.notes, bends_of(performance)
    plucked = np.array([not sustains(int(program)) for program in performance.lanes["program"]], bool)
    known = plucked[notes["lane"]] & (notes["string"] > 0)
    tunings = {int(part): _tuning(performance.tunings[part]) for part in np.unique(notes["part"][known])}
    for part, tuning in tunings.items():
        try:
            sound.loudness(1, 0, tuning, np.zeros(1, int))
        except CannotDo:
            known &= notes["part"] != part

    def alone(row: int, seconds: np.ndarray) -> np.ndarray:
        note, tuning = notes[row], tunings[int(notes["part"][row])]
        string, tone = int(note["string"]), int(codes(notes[row : row + 1])[0])
        cm = float(note["pluck"]) if np.isfinite(note["pluck"]) else None
        fret = int(note["pitch"]) - tuning[string - 1]
        return sound.fading(string, tone, tuning, fret, seconds - note["onset"], bend(row), cm)

    return alone, known


def _tuning(opened: np.ndarray) -> tuple[int, ...]:
    """MIDI pitches of the open strings, string 1 first."""
    return tuple(int(pitch) for pitch in opened if pitch > 0)
