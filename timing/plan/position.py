"""Positions and ranges as a musician writes them, and how they are read.

    7          bar 7                       7:2        bar 7, beat 2
    7:2.5      half a beat later           7:2+1/3    a third of a beat later
    7:2 - 8:3  from beat 2 of bar 7 until beat 3 of bar 8 is over
    7-8        from the start of bar 7 until bar 8 is over

Musicians count both ends in. Where a range ends with a fraction (7:2 - 8:3.5, or 8:3.0), that instant is meant, and so
it is with what comes after a place.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from timing.columns import NEAR

_BEAT = r"(?P<beat>\d{1,4})(?P<part>\.\d{1,9}|\+\d{1,4}/\d{1,4})?"
_POSITION = re.compile(rf"(?P<bar>\d{{1,6}}[a-zA-Z]{{0,8}})(?:\s*:\s*{_BEAT})?", re.ASCII)
_DASH = re.compile(r"\s*[-–—]\s*")
_BAR_POINT_BEAT = re.compile(r"\d{1,4}\.\d{1,2}", re.ASCII)
_LONGEST = 60  # letters; no position needs more, and no pattern is tried on more


@dataclass(frozen=True)
class Position:
    """A bar as printed, and a beat counted from 1 (None: the bar as a whole)."""

    bar: str
    beat: Fraction | None = None
    instant: bool = False  # written with a fraction: where a range ends there, it ends at that instant
    row: int | None = None  # the bar itself, or the part of it, where no one wrote its name

    def __str__(self) -> str:
        if self.beat is None:
            return self.bar
        return f"{self.bar}:{_written(self.beat)}{'.0' if self.instant and self.beat.denominator == 1 else ''}"


@dataclass(frozen=True)
class Range:
    """From `start` until `end` is over."""

    start: Position
    end: Position
    printed: bool = False  # in the score; people are told only where it begins

    @property
    def lone(self) -> bool:
        """Whether it is written as one position alone."""
        return self.start == self.end

    def __str__(self) -> str:
        if self.printed:
            return f"printed at {self.start}"
        if self.lone:
            return str(self.start)
        apart = self.start.beat is not None or self.end.beat is not None
        apart |= self.start.bar[-1] in "eE"  # for YAML 1e-2 is a number
        return f"{self.start}{' - ' if apart else '-'}{self.end}"


def beat_of(beat: Fraction | float) -> Fraction:
    """The beat that is meant by a sum of roundings: to a 960th, or else to a millionth."""
    plain = Fraction(beat).limit_denominator(960)
    return plain if abs(float(plain - beat)) < NEAR else Fraction(round(beat * 1_000_000), 1_000_000)


def beat_name(beat: Fraction | float) -> str:
    """A beat as one writes it: 2, 2.5, 2+1/3."""
    return _written(beat_of(beat))


def parse_position(text: object) -> Position:
    """Read `7`, `7:2`, `7:2.5` or `7:2+1/3`. ValueError says what is wrong in words."""
    plain = _plain(text)
    found = _POSITION.fullmatch(plain)
    if not found:
        example = f"{plain.replace('.', ':')} with a colon" if _BAR_POINT_BEAT.fullmatch(plain) else "7:2"
        raise ValueError(f"{shown(text)} is not a position: write bar:beat, as in {example}, or a bar alone")
    if found["beat"] is None:
        return Position(found["bar"])
    part = Fraction(0)
    if found["part"]:
        try:
            part = Fraction(found["part"].lstrip("+"))
        except ZeroDivisionError:
            raise ValueError(f"{shown(text)} divides by zero") from None
    if part >= 1:
        raise ValueError(f"{shown(text)}: what is added to a beat is less than one")
    beat = int(found["beat"]) + part
    if beat < 1:
        raise ValueError(f"{shown(text)}: beats are counted from 1")
    return Position(found["bar"], beat, instant=bool(found["part"]))


def parse_range(text: object) -> Range:
    """Read `7:2 - 8:3`, `7-8`, or one position alone (a bar, a beat). ValueError says what is wrong in words."""
    ends = _DASH.split(_plain(text))
    if len(ends) > 2 or not all(ends):
        raise ValueError(f"{shown(text)} is not a range: write where it begins and ends, as in 7:2 - 8:3 or 7-8")
    return Range(parse_position(ends[0]), parse_position(ends[-1]))


def shown(value: object) -> str:
    """What a plan says, short enough for a message and in quotes."""
    if value is None:
        return "nothing"
    if isinstance(value, list | tuple | dict):
        return "a list" if isinstance(value, list | tuple) else "a group of settings"
    text = str(value).lower() if isinstance(value, bool) else str(value)
    text = text if len(text) <= 40 else text[:37] + "..."
    return f"'{text}'".replace("\n", " ")


def _plain(text: object) -> str:
    if isinstance(text, bool) or not isinstance(text, str | int | float) or len(plain := str(text).strip()) > _LONGEST:
        raise ValueError(f"{shown(text)} is not a position: write bar:beat, as in 7:2, or a bar alone")
    return plain


def _written(beat: Fraction) -> str:
    """The exact beat."""
    whole, rest = divmod(beat, 1)
    if not rest:
        return str(whole)
    if 1000 % rest.denominator == 0:
        return f"{whole}{f'{float(rest):g}'[1:]}"
    if rest.denominator < 10_000:
        return f"{whole}+{rest}"
    return f"{whole}{f'{Decimal(rest.numerator) / rest.denominator:f}'[1:]}"  # never as 1E-7
