"""The score as plain numpy tables: notes, noteheads, bars, marks and parts.

Times are quarter notes (float64). Every offset inside a bar is the float nearest to the exact fraction, so two notes
that are written at the same moment have bitwise equal offsets. A bar is named by its row in `Score.bars` everywhere
in the code; its number and the letters after it are columns of that table and are used only to talk to people.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import IntEnum, IntFlag
from functools import cached_property
from pathlib import Path

import numpy as np

from timing.remarks import Remark


class Sign(IntFlag):
    """Written signs on a note, as bits of the column `signs`."""

    STACCATO = 1
    STACCATISSIMO = 2
    TENUTO = 4
    ACCENT = 8
    STRONG_ACCENT = 16
    SLURRED = 32  # under a slur and not its last note
    SLUR_END = 64  # the last note under a slur
    LET_RING = 128
    HARMONIC = 256
    PIZZICATO = 512
    LEFT_HAND = 1024  # hammer-on, pull-off: sounded by the left hand
    CUE = 4096  # small, as a cue, but part of its voice
    SILENT_CUE = 8192  # a cue of what another part plays
    TIED_IN = 2048  # at the beginning of a bar and tied from before, though not from the bar before (a second ending)


class Ornament(IntEnum):
    """Written ornaments, as codes in the column `ornament`. A mordent goes to the lower neighbour, an inverted one (a
    short trill) to the upper; a turn begins above, an inverted one below; a delayed one stands after its note."""

    NONE = 0
    TRILL = 1
    MORDENT = 2
    INVERTED_MORDENT = 3
    TURN = 4
    INVERTED_TURN = 5
    DELAYED_TURN = 6
    DELAYED_INVERTED_TURN = 7


# One row a sounding note; tied noteheads are one note. Sorted by (bar, offset, part, staff, voice, pitch).
NOTE = np.dtype(
    [
        ("bar", np.int32),  # row in bars
        ("offset", np.float64),  # quarters after the bar line
        ("length", np.float64),  # quarters, ties merged; 0 for a grace note
        ("pitch", np.int16),  # sounding MIDI pitch
        ("part", np.int16),  # row in parts
        ("staff", np.int16),  # 1 from the top of the part
        ("voice", np.int16),  # as numbered in the score, within the part
        ("grace", np.int16),  # 0: not a grace note; else its place counted back from the main note (1 is the last one)
        ("slashed", np.bool_),  # a grace note with a stroke (acciaccatura)
        ("after", np.bool_),  # a grace note that ends the note before it (its offset is that note's end)
        ("signs", np.uint32),  # bits of Sign
        ("roll", np.int8),  # arpeggio sign: 1 upwards, -1 downwards, 0 none (2, in a performance: a rasgueado)
        ("string", np.int8),  # 1 is the highest string; 0 not given
        ("fret", np.int8),  # -1 not given
        ("finger", np.int8),  # left-hand finger as written; -1 not given
        ("ornament", np.int8),  # an Ornament
        ("upper", np.int8),  # semitones up to the neighbour that the ornament touches; 0 where the note has no pitch
        ("lower", np.int8),  # semitones down to the other
        ("tremolo", np.float64),  # quarters from one stroke of a tremolo on this note to the next; 0 for none
        ("turn", np.int8),  # 1, 2: the first and the second note, or chord, of a tremolo between two
        ("head", np.int32),  # row of its first notehead in heads
    ]
)

# One row a notehead, in the order in which the score file has them; a tied note has several.
HEAD = np.dtype(
    [
        ("note", np.int32),  # row in notes
        ("bar", np.int32),
        ("offset", np.float64),
        ("length", np.float64),  # as written on this head
    ]
)

BAR = np.dtype(
    [
        ("number", np.int32),  # as printed; a pickup bar is 0
        ("suffix", "U8"),  # letters after it: as printed (12a), or so that no two bars are called alike (24b)
        ("length", np.float64),  # quarters that really stand in it
        ("shift", np.float64),  # quarters by which its first beat is late: a pickup of one beat in 4/4 has 3
        ("beats", np.int16),  # upper figure of the time signature (3+2 is 5)
        ("unit", np.int16),  # lower figure
        ("continued", np.bool_),  # not the beginning of a bar of the file, but what follows a cut in it
    ]
)

# One row a mark. `kind` is one of:
#   dynamic (text: mf), hairpin (value: +1 or -1, up to end), tempo (value: quarters a minute or nan, text: its words),
#   words (text), slur (up to end), fermata, breath, caesura, glissando (note, goal: rows in notes; text: its words),
#   pedal (up to end), repeat start, repeat end (value: times heard in all), ending (text: "1" or "1,2"; up to end),
#   segno, coda, to coda, fine, da capo (text), dal segno (text), double bar,
#   key (value: the signature as it sounds, in fifths: 1 for a sharp, -2 for two flats),
#   tuning (text; value: 1 at the beginning, where it holds, else 0), capo (text; value: its fret, in words)
MARK = np.dtype(
    [
        ("kind", "U12"),
        ("bar", np.int32),
        ("offset", np.float64),
        ("end_bar", np.int32),  # the bar in which it ends; for an ending its last bar, included
        ("end_offset", np.float64),
        ("part", np.int16),
        ("staff", np.int16),  # 0: the part as a whole
        ("note", np.int32),  # row in notes, -1 if none
        ("goal", np.int32),
        ("value", np.float64),
        ("hidden", np.bool_),  # of a tempo: its value is not printed
        ("text", "U80"),
    ]
)

PART = np.dtype(
    [
        ("name", "U60"),  # unique within the score
        ("instrument", "U60"),  # as the score names it
        ("program", np.int16),  # General MIDI, 0-127; -1 if the score does not say
        ("percussion", np.bool_),
        ("tuning", np.int16, (12,)),  # sounding MIDI pitch of the open strings, string 1 first; 0 where there is none
        ("retuned", np.int8, (12,)),  # what words at the beginning tune each string to: 1 for C to 12 for B; 0 nothing
        ("capo", np.int8),  # the fret of the capo that the pitches of the score are heard with; 0 none
        ("plain", np.bool_),  # in a plain treble clef throughout: nothing says in which octave it sounds
    ]
)


@dataclass(frozen=True)
class Score:
    """A score read from a file, with its visible cues. `remarks` are the faults that the reading passed over, for the
    user to know."""

    path: Path
    title: str
    notes: np.ndarray  # NOTE
    heads: np.ndarray  # HEAD
    bars: np.ndarray  # BAR
    marks: np.ndarray  # MARK
    parts: np.ndarray  # PART
    remarks: tuple[Remark, ...] = ()

    def marks_of(self, *kinds: str) -> np.ndarray:
        """The marks of these kinds, in the order of the score."""
        return self.marks[np.isin(self.marks["kind"], kinds)]

    def without(self, silent: np.ndarray) -> Score:
        """The score without the notes that are chosen, (n,) bool. Their noteheads stay in their places, as long as
        nothing and of no note (-1); slurs and slides from or to them go."""
        row = np.where(silent, -1, np.cumsum(~silent) - 1)
        heads, marks = self.heads.copy(), self.marks.copy()
        heads["note"] = row[heads["note"]]
        heads["length"][heads["note"] < 0] = 0
        lost = np.zeros(len(marks), bool)
        for column in ("note", "goal"):
            named = marks[column] >= 0
            marks[column][named] = row[marks[column][named]]
            lost |= named & (marks[column] < 0)
        lost &= np.isin(marks["kind"], ("slur", "glissando"))
        return replace(self, notes=self.notes[~silent], heads=heads, marks=marks[~lost])

    def beat(self, bar: np.ndarray | int, offset: np.ndarray | float) -> np.ndarray:
        """The beat (from 1, in the lower figure of the time signature) at `offset` quarters into bar row `bar`."""
        rows = self.bars[bar]
        return 1 + (np.asarray(offset) + rows["shift"]) * rows["unit"] / 4

    def bar_name(self, bar: int) -> str:
        """What the bar is called, as "12" or "12a"; the parts of a divided bar share their name, no other bars do."""
        return f"{self.bars['number'][bar]}{self.bars['suffix'][bar]}"

    @cached_property
    def whole_bars(self) -> np.ndarray:
        """(n, 2) the first and the last row of every bar, in order: rows that follow each other and share a name, in
        large or small letters, are the parts of one."""
        number, suffix = self.bars["number"], np.char.lower(self.bars["suffix"])
        begins = np.append(True, (number[1:] != number[:-1]) | (suffix[1:] != suffix[:-1]))
        first = np.flatnonzero(begins[: len(number)])
        return np.column_stack([first, np.append(first[1:], len(number)) - 1])
