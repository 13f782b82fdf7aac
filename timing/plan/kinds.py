"""What an entry of each kind does, what it is called on a page, and what it comes to where the plan gives no number.

Everything that asks what a kind does asks here, so that a new kind is added in one place.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum, auto


class Act(Enum):
    """What an entry does to the time or the level."""

    SLOWS = auto()  # the pace, until the end of its range
    HURRIES = auto()
    RETURNS = auto()  # to the basic tempo
    STRETCHES = auto()  # notes last longer
    SILENCES = auto()  # nothing sounds, and nothing begins
    DISPLACES = auto()  # notes leave the clock, which goes on
    SWAYS = auto()  # all voices steal time, and give it back
    PAIRS = auto()  # a long note and a short one are made more unequal, or less
    FLOWS = auto()  # beats go with the movement of the notes
    STANDS = auto()  # at a place, from which it holds
    SWELLS = auto()
    FADES = auto()


@dataclass(frozen=True)
class Kind:
    """One kind of entry."""

    act: Act
    label: str  # as a page has it (common practice), a sign as in SMuFL 1.4
    usual: float = 0.0  # its share, seconds or dB where the plan gives none; 0 where it must
    ends: bool = False  # whether it may end something
    arrives: bool = False  # on the end of its range, instead of when that is over
    at_once: bool = False  # the new pace is there as soon as its range begins
    grows: float | None = None  # dB by which the level grows meanwhile, where the plan gives no number
    same: str | None = None  # a kind that is the same in another word


SLOWINGS = {
    "rallentando": Kind(Act.SLOWS, "rall."),
    "ritardando": Kind(Act.SLOWS, "rit.", same="rallentando"),
    "ritenuto": Kind(Act.SLOWS, "riten.", at_once=True),
    "allargando": Kind(Act.SLOWS, "allarg.", grows=2.0),  # it broadens (common practice); the number is the house's own
    "accelerando": Kind(Act.HURRIES, "accel."),
    "stringendo": Kind(Act.HURRIES, "string.", same="accelerando"),
    "a tempo": Kind(Act.RETURNS, "a tempo"),
}

# Lengths and seconds: half as long again, a tenth longer, a short breath and a longer silence (common practice). The
# delay is the house's own value, twice the 20 ms from which the order of two onsets can be heard (I. J. Hirsh, JASA 31,
# 1959, from memory).
HOLDS = {
    "fermata": Kind(Act.STRETCHES, "\ue4c0", usual=1.5, ends=True),
    "breath": Kind(Act.SILENCES, "\ue4ce", usual=0.2, ends=True),
    "caesura": Kind(Act.SILENCES, "\ue4d1", usual=0.5, ends=True),
    "agogic": Kind(Act.STRETCHES, "agogic", usual=1.1),
    "delay": Kind(Act.DISPLACES, "delay", usual=0.040),
}

RUBATI = {
    "hurry": Kind(Act.SWAYS, "hurry"),
    "linger": Kind(Act.SWAYS, "linger"),
    "late": Kind(Act.DISPLACES, "late"),
    "early": Kind(Act.DISPLACES, "early"),
    "long short": Kind(Act.PAIRS, "long short"),
    "still beats": Kind(Act.FLOWS, "still beats"),
}

# A hairpin without a number is one dynamic mark.
DYNAMICS = {
    "at": Kind(Act.STANDS, ""),
    "crescendo": Kind(Act.SWELLS, "cresc.", usual=4.0, arrives=True),
    "diminuendo": Kind(Act.FADES, "dim.", usual=4.0, arrives=True),
    "decrescendo": Kind(Act.FADES, "dim.", usual=4.0, arrives=True, same="diminuendo"),
}
