"""The performance: one table of timed, levelled, coloured notes, its time map, and what changes while a note sounds.

This is what MIDI and sound are made from; they need neither the plan nor the score.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from timing.timemap import TimeMap

MELODY, INNER, BASS = 0, 1, 2
ROLES = ("melody", "inner", "bass")

# How a note begins: plucked (bowed, blown, struck); sounded by the left hand alone; not begun at all, since the sound
# before it in its lane goes on (the goal of a slide that is not plucked again).
PLUCKED, SLURRED, CARRIED = 0, 1, 2
ATTACKS = ("plucked", "slurred", "carried")
ORDINARY, PIZZICATO, HARMONIC = 0, 1, 2
TECHNIQUES = ("ordinary", "pizzicato", "harmonic")

MOST_PLAYED = 1_000_000  # notes, those of ornaments among them: ten times as many as in a long symphony

# One row a performed note, sorted by onset (then lane, then pitch).
PLAYED = np.dtype(
    [
        ("id", np.int32),  # row in Score.notes
        ("ordinal", np.int32),  # row in Performance.bars
        ("bar", np.int32),  # as printed
        ("beat", np.float64),
        ("pass", np.int16),
        ("part", np.int16),  # row in Score.parts
        ("staff", np.int16),
        ("voice", np.int16),
        ("role", np.int8),  # index into ROLES
        ("pitch", np.int16),
        ("step", np.int32),  # place among the notes of an ornament, from 0; 0 for a note that has none
        ("score_onset", np.float64),  # quarters along the performed order
        ("score_length", np.float64),
        ("onset", np.float64),  # seconds
        ("end", np.float64),  # seconds at which the sound is let go
        ("level", np.float64),  # dB below velocity 127
        ("tone", np.int8),  # index into TONES
        ("pluck", np.float64),  # plucking point in cm from the bridge; nan: the usual one of the tone
        ("string", np.int8),  # 1 is the highest; 0 where there are none, or none that the note can lie on
        ("fret", np.int8),  # from the capo, if there is one; -1 where there is no string
        ("technique", np.int8),  # index into TECHNIQUES
        ("attack", np.int8),  # PLUCKED, SLURRED or CARRIED
        ("lane", np.int32),  # row in Performance.lanes
    ]
)

TONES = ("naturale", "sul tasto", "sul ponticello", "dark", "plain", "bright")
# cm from the bridge at which each is plucked; on a guitar dark is over the fingerboard, bright at the bridge (common
# practice for a string of 65 cm; the modelled guitar has the same).
POINTS = dict(zip(TONES, (12.6, 20.5, 4.5, 20.5, 12.6, 4.5), strict=True))

# What must sound by itself: a voice of a part (a string, a sliding voice). Writers map lanes to ports and channels.
LANE = np.dtype(
    [
        ("part", np.int16),
        ("staff", np.int16),
        ("voice", np.int16),
        ("program", np.int16),  # General MIDI, 0-127
        ("string", np.int8),  # 1 is the highest; 0 where the lane is no string
        ("sliding", np.bool_),  # kept for notes that slide, since a slide bends all that sounds in its lane
        ("name", "U80"),  # for people: "Violin, voice 1"
    ]
)

# A performed bar. (bar, pass) is its identity.
PASSAGE = np.dtype(
    [
        ("row", np.int32),  # row in Score.bars
        ("number", np.int32),  # as printed
        ("suffix", "U8"),  # letters after it, as in 12a
        ("pass", np.int16),  # 1, 2, ...
        ("last", np.bool_),  # not heard again
        ("returned", np.bool_),  # after a da capo or dal segno
        ("start", np.float64),  # quarters along the performed order
        ("length", np.float64),
        ("beats", np.int16),
        ("unit", np.int16),
        ("shift", np.float64),
    ]
)

# The level of a sounding note away from its own level, point by point and linear in between (in dB and seconds), as it
# is to be heard: in a slide that swells, what the sound loses by itself is still to be given back.
CURVE = np.dtype([("lane", np.int32), ("note", np.int32), ("second", np.float64), ("level", np.float64)])

# The pitch of a sliding lane away from the note that was struck in it, point by point and linear in between (a step has
# two points at one second). No two points are further apart than 5 cents, steps aside.
BEND = np.dtype([("lane", np.int32), ("note", np.int32), ("second", np.float64), ("semitones", np.float64)])

# A slide from one performed note into another.
GLIDE = np.dtype(
    [
        ("note", np.int32),  # rows in Performance.notes
        ("goal", np.int32),
        ("leave", np.float64),  # seconds
        ("arrive", np.float64),
        ("swell", np.float64),  # dB that are heard from leaving to arriving
        ("sung", np.bool_),  # whether the note dies away more slowly before it, so that the slide is heard
        ("attack", np.int8),  # how the goal sounds: PLUCKED or CARRIED
        ("entry", np.int32),  # that shapes it, in the plan's `glissandi`
    ]
)

# A phrase as performed, for markers and for judging: from start to end in quarters, depth 0 is the outermost.
PHRASE = np.dtype(
    [("start", np.float64), ("end", np.float64), ("depth", np.int16), ("entry", np.int32), ("name", "U60")]
)


@dataclass(frozen=True)
class Performance:
    """Score and plan brought together. `time` maps quarters along the performed order to seconds and back:
    `time.seconds(s)`, `time.quarters(t)`, `time.tempo(s)` (quarters a minute), each on arrays."""

    title: str
    notes: np.ndarray  # PLAYED
    lanes: np.ndarray  # LANE
    tunings: np.ndarray  # (parts, 12) sounding pitches of the open strings, string 1 first; 0 where there is none
    bars: np.ndarray  # PASSAGE
    time: TimeMap
    curves: np.ndarray  # CURVE
    glides: np.ndarray  # GLIDE
    bends: np.ndarray  # BEND
    phrases: np.ndarray  # PHRASE
    room: str | None = None  # in which it is heard; None: dry
    whole: Performance | None = None  # what it is a part of; writers set up for that, so that a part sounds as there

    @property
    def quarters(self) -> float:
        """Length in quarters along the performed order."""
        return float(self.bars["start"][-1] + self.bars["length"][-1])
