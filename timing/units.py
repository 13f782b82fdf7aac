"""Amounts as a musician writes them: 80%, 3 dB, 20 ms, dotted quarter = 54. Each reader says in words what is wrong."""

from __future__ import annotations

import math
import re
from collections.abc import Callable

_AMOUNT = re.compile(r"([+-]?\d{1,6}(?:\.\d{1,9})?)\s*([a-zA-Z%]*)")
_TEMPO = re.compile(r"(?P<dots>(?:double[ -])?dotted\s+|)(?P<note>[a-z-]+)(?:\s+note)?\s*=\s*(?P<count>\d{1,6}(?:\.\d{1,6})?)")

# Note values in quarters, by their American and British names.
NOTE_VALUES = {
    "whole": 4.0, "semibreve": 4.0, "half": 2.0, "minim": 2.0, "quarter": 1.0, "crotchet": 1.0,
    "eighth": 0.5, "quaver": 0.5, "sixteenth": 0.25, "semiquaver": 0.25,
}  # fmt: skip

SLOWEST, FASTEST = 5.0, 1000.0  # quarters a minute; a MIDI file cannot say less than 3.58 (24 bits of microseconds)


def amount(unit: str, low: float, high: float, example: str, scale: float = 1.0) -> Callable[[object], float]:
    """A reader of numbers with a unit between `low` and `high` (in that unit); the result is multiplied by `scale`."""

    def read(value: object) -> float:
        found = _AMOUNT.fullmatch(value.strip()) if isinstance(value, str) else None
        if found is None or found[2].lower() != unit.lower():
            bare = isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
            hint = f"write it with its unit: {value:g}{'' if unit == '%' else ' '}{unit}" if bare else f"write it as in {example}"
            raise ValueError(f"{_shown(value)} is not in {'per cent' if unit == '%' else unit}: {hint}")
        number = float(found[1])
        if not low <= number <= high:
            raise ValueError(f"{value.strip()} is out of range: it can be {low:g} to {high:g} {unit}")
        return number * scale

    return read


def number(low: float, high: float, what: str) -> Callable[[object], float]:
    """A reader of bare numbers between `low` and `high`."""

    def read(value: object) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
            raise ValueError(f"{_shown(value)} is not a number of {what}: write it as in {low:g} or {high:g}")
        if not low <= value <= high:
            raise ValueError(f"{value:g} {what} is out of range: it can be {low:g} to {high:g}")
        return float(value)

    return read


def tempo(value: object) -> float:
    """Quarters a minute from `63` (quarters) or `dotted quarter = 54`."""
    if isinstance(value, int | float) and not isinstance(value, bool):
        quarters, shown = float(value), f"{value:g}"
    else:
        found = _TEMPO.fullmatch(value.strip().lower()) if isinstance(value, str) else None
        if not found:
            raise ValueError(f"{_shown(value)} is not a tempo: write 63 (quarters a minute) or dotted quarter = 54")
        if found["note"] not in NOTE_VALUES:
            raise ValueError(f"{found['note']!r} is not a note value: {', '.join(NOTE_VALUES)}")
        dots = {"": 1.0, "dotted": 1.5}.get(found["dots"].strip(), 1.75)
        quarters, shown = float(found["count"]) * NOTE_VALUES[found["note"]] * dots, value.strip()
    if not SLOWEST <= quarters <= FASTEST:
        raise ValueError(f"a tempo of {shown} is out of range: it can be {SLOWEST:g} to {FASTEST:g} quarters a minute")
    return quarters


def _shown(value: object) -> str:
    if value is None:
        return "nothing"
    text = str(value)
    return repr(text if len(text) <= 40 else text[:37] + "...")
