"""Positions and ranges as a musician writes them, and how they are read.

    7          bar 7                       7:2        bar 7, beat 2
    7:2.5      half a beat later           7:2+1/3    a third of a beat later
    7:2 - 8:3  from beat 2 of bar 7 until beat 3 of bar 8 is over
    7-8        from the start of bar 7 until bar 8 is over

Musicians count both ends in. An end that is written with a fraction is that instant.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

_POSITION = re.compile(r"(?P<bar>\d{1,6}[a-zA-Z]{0,2})(?:\s*:\s*(?P<beat>\d{1,4})(?P<part>\.\d{1,9}|\+\d{1,4}/\d{1,4})?)?")
_DASH = re.compile(r"\s*[-–—]\s*")


@dataclass(frozen=True)
class Position:
    """A bar as printed, and a beat counted from 1 (None: the bar as a whole)."""

    bar: str
    beat: Fraction | None = None
    instant: bool = False  # written with a fraction: a point in time even where a range ends

    def __str__(self) -> str:
        return self.bar if self.beat is None else f"{self.bar}:{beat_name(self.beat)}"


@dataclass(frozen=True)
class Range:
    """From `start` until `end` is over."""

    start: Position
    end: Position

    def __str__(self) -> str:
        if self.start == self.end:
            return str(self.start)
        between = "-" if self.start.beat is None and self.end.beat is None else " - "
        return f"{self.start}{between}{self.end}"


def beat_name(beat: Fraction | float) -> str:
    """A beat as one writes it: 2, 2.5, 2+1/3."""
    beat = Fraction(beat).limit_denominator(960)
    whole, rest = divmod(beat, 1)
    if not rest:
        return str(whole)
    if 1000 % rest.denominator == 0:
        return f"{float(beat):g}"
    return f"{whole}+{rest}"


def parse_position(text: str | int) -> Position:
    """Read `7`, `7:2`, `7:2.5` or `7:2+1/3`. ValueError says what is wrong in words."""
    found = _POSITION.fullmatch(_plain(text))
    if not found:
        raise ValueError(f"{_shown(text)} is not a position: write bar:beat, as in 7:2, or a bar alone")
    if found["beat"] is None:
        return Position(found["bar"])
    part = Fraction(0)
    if found["part"]:
        try:
            part = Fraction(found["part"].lstrip("+"))
        except ZeroDivisionError:
            raise ValueError(f"{_shown(text)} divides by nothing") from None
    beat = int(found["beat"]) + part
    if beat < 1:
        raise ValueError(f"{_shown(text)}: beats are counted from 1")
    return Position(found["bar"], beat, instant=bool(found["part"]))


def parse_range(text: str | int) -> Range:
    """Read `7:2 - 8:3`, `7-8`, or one position alone (a bar, a beat). ValueError says what is wrong in words."""
    ends = _DASH.split(_plain(text))
    if len(ends) > 2 or not all(ends):
        raise ValueError(f"{_shown(text)} is not a range: write it as in 7:2 - 8:3 or 7-8")
    start, end = parse_position(ends[0]), parse_position(ends[-1])
    return Range(start, end)


def _plain(text: str | int) -> str:
    if isinstance(text, bool) or not isinstance(text, str | int):
        raise ValueError(f"{_shown(text)} is not a position: write bar:beat, as in 7:2")
    return str(text).strip()


def _shown(value: object) -> str:
    text = str(value)
    return repr(text if len(text) <= 40 else text[:37] + "...")
