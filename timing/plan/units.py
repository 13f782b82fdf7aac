"""Amounts as a musician writes them: 80%, 3 dB, 20 ms, dotted quarter = 54. Each reader says in words what is wrong."""

from __future__ import annotations

import math
import re
from collections.abc import Callable

from timing.plan.position import shown

_DIGITS = r"[+-]?(?:\d{1,30}(?:\.\d{0,30})?|\.\d{1,30})"
_NUMBER = re.compile(_DIGITS, re.ASCII)
_AMOUNT = re.compile(rf"({_DIGITS})\s*([a-zA-Z%]*)", re.ASCII)
_COMMA = re.compile(r"[+-]?\d{1,9},\d{1,9}\s*[a-zA-Z%]{0,3}", re.ASCII)
_NOTE = r"(?P<dots>(?:(?:double[ -])?dotted[ -]+)?)(?P<note>[a-z-]+)(?: note)?"
_TEMPO = re.compile(rf"{_NOTE}\s*=\s*(?P<count>{_DIGITS})", re.ASCII)
_LONGEST = 60  # letters; no amount needs more, and no pattern is tried on more

# Note values in quarters, by their American and British names.
NOTE_VALUES = {
    "whole": 4.0, "semibreve": 4.0, "half": 2.0, "minim": 2.0, "quarter": 1.0, "crotchet": 1.0,
    "eighth": 0.5, "quaver": 0.5, "sixteenth": 0.25, "semiquaver": 0.25,
}  # fmt: skip

SLOWEST, FASTEST = 5.0, 1000.0  # quarters a minute; a MIDI file cannot say less than 3.58 (24 bits of microseconds)

_NAMES = {"%": "per cent", "dB": "decibels (dB)", "ms": "milliseconds (ms)", "cm": "centimetres (cm)"}


def amount(unit: str, low: float, high: float, example: str, per: float = 1.0) -> Callable[[object], float]:
    """A reader of numbers with a unit between `low` and `high` (in that unit); the result is divided by `per`."""

    def read(value: object) -> float:
        text = _plain(value)
        found = _AMOUNT.fullmatch(text)
        if found is None or found[2].lower() != unit.lower():
            raise ValueError(f"{shown(value)} is not in {_NAMES[unit]}: {_hint(text, unit, low, high, example)}")
        number = float(found[1])
        if not low <= number <= high:
            raise ValueError(f"{text} is out of range: it can be {_with(low, unit)} to {_with(high, unit)}")
        return number / per

    return read


def number(low: float, high: float, what: str) -> Callable[[object], float]:
    """A reader of bare numbers between `low` and `high`; `what` completes "a number ..."."""

    def read(value: object) -> float:
        text = _plain(value)
        if not _NUMBER.fullmatch(text):
            point = f": write {text.replace(',', '.')}" if _COMMA.fullmatch(text) else ""
            raise ValueError(f"{shown(value)} is not a number {what}{point}")
        if not low <= float(text) <= high:
            raise ValueError(f"{text} is out of range: it can be {low:g} to {high:g}")
        return float(text)

    return read


def tempo(value: object) -> float:
    """Quarters a minute from `63` (quarters) or `dotted quarter = 54`."""
    text = _plain(value)
    found = _TEMPO.fullmatch(text.lower())
    if _NUMBER.fullmatch(text):
        quarters = float(text)
    elif not found:
        raise ValueError(f"{shown(value)} is not a tempo: write 63 (quarters a minute) or dotted quarter = 54")
    elif found["note"] not in NOTE_VALUES:
        raise ValueError(f"'{found['note']}' is not a note value known here: {', '.join(NOTE_VALUES)}")
    else:
        dots = 1.75 if "double" in found["dots"] else 1.5 if found["dots"] else 1.0
        quarters = float(found["count"]) * NOTE_VALUES[found["note"]] * dots
    if not SLOWEST <= quarters <= FASTEST:
        raise ValueError(f"a tempo of {text} is out of range: it can be {SLOWEST:g} to {FASTEST:g} quarters a minute")
    return quarters


def _plain(value: object) -> str:
    """The amount as text, with an ordinary minus; empty for what cannot be an amount."""
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        return ""
    if isinstance(value, float) and not isinstance(value, str) and math.isfinite(value):
        return f"{min(max(value, -1e15), 1e15):.12f}".rstrip("0").rstrip(".")  # nothing is as large as that
    text = str(value).strip().replace("\u2212", "-")  # a minus sign
    return text if len(text) <= _LONGEST else ""


def _hint(text: str, unit: str, low: float, high: float, example: str) -> str:
    """How to write what was probably meant: 4 is 4 dB, 0.8 is 80%."""
    if _COMMA.fullmatch(text):
        return f"write the number with a point, as in {text.replace(',', '.')}"
    if not _NUMBER.fullmatch(text):
        return f"write it as in {example}"
    number = float(text)
    if unit == "%" and number != round(number) and low <= 100 * number <= high:
        return f"write {_with(100 * number, unit)}"
    return f"write it with its unit, as in {_with(number, unit) if low <= number <= high else example}"


def _with(number: float, unit: str) -> str:
    return f"{number:g}%" if unit == "%" else f"{number:g} {unit}"
