"""What a fit gives: entries as a plan would have them, each with how much it explains, and what no entry says."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from timing.plan import Plan
from timing.plan.entry import Entry
from timing.plan.position import beat_name


@dataclass(frozen=True)
class FittedEntry:
    """One entry that a fit found: `entry` (keys and values as a plan writes them) of a `section` of the plan.

    `start` and `end` are the quarters of the performed order that it shapes where it is first heard, `begins` and
    `ends` the seconds at which those were played. `explains` is its share of all that is not steady in the playing (0
    to 1; the shares of entries that shape the same bars overlap), `sure` how probable it is that the place is shaped at
    all (0 to 1). `about`: its numbers are no finer than the steps in which they are written.
    """

    section: str
    entry: dict[str, Any]
    start: float
    end: float
    begins: float
    ends: float
    explains: float
    sure: float
    about: bool = False


@dataclass(frozen=True)
class Leftover:
    """A stretch that goes otherwise than entries say: `pace` is played against fitted pace (above 1: it hurries)."""

    bars: str
    passes: int  # the pass on which it was played
    start: float  # quarters
    end: float
    pace: float

    @property
    def message(self) -> str:
        """The same in words."""
        one = ":" not in self.bars and "-" not in self.bars
        subject = self.bars if ":" in self.bars else f"bar{'s' * (not one)} {self.bars}"
        verb = ("hurry", "drag")[self.pace < 1] + "s" * one
        verb = verb.replace("hurrys", "hurries")
        again = f" on pass {self.passes}" if self.passes > 1 else ""
        return f"{subject}{again} {verb} by {abs(self.pace - 1):.0%}, which no entry says"


@dataclass(frozen=True, eq=False)
class Fit:
    """The time of a plan that goes as somebody played.

    `plan` is the plan that was read, with the fitted time in the place of its own; `entries` says the same as entries
    to be chosen from, the basic tempo first. `standing` are the entries of the plan as it was that shape time within
    the fitted stretch. Of n pairs: `predicted` (n,) are the seconds that the fit has for them,
    `rest` (n-1,) the log of played against fitted length of each interval. `detail` is the standard deviation in log
    pace of what is left beyond the noise of the pairs; `explained` the share of what is not steady that all entries
    explain together. That number alone says little: shuffled beats are explained nearly as well.
    """

    plan: Plan
    entries: tuple[FittedEntry, ...]
    standing: tuple[Entry, ...]
    leftovers: tuple[Leftover, ...]
    predicted: np.ndarray
    rest: np.ndarray
    detail: float
    explained: float

    @property
    def tempo(self) -> float:
        """Quarters a minute at the beginning of the fitted stretch."""
        (first, *_) = self.plan.tempo
        assert isinstance(first.tempo, float)
        return first.tempo


@dataclass(frozen=True)
class Question:
    """A place that taps alone do not settle: one beat held `as long` as `beats` (the first choice), or so many beats of
    which taps are missing. `tap` is the row of the tap before it, `quarters` where that lies, `seconds` how long it
    lasted, `chosen` the number of beats that was taken meanwhile."""

    tap: int
    quarters: float
    place: str
    seconds: float
    beats: tuple[int, ...]
    chosen: int

    @property
    def message(self) -> str:
        """The same in words."""
        more = max(self.beats)
        missed = "a tap is" if more == 2 else f"{more - 1} taps are"
        return f"after {self.place} {self.seconds:.1f} s pass: is one beat held there, or {missed} missing?"


def place_of(bar: str, beat: float) -> str:
    """A place in a message."""
    return f"{bar}:{beat_name(beat)}"
