"""The table of bars: what is printed over them, how long they really are, and where their beats count from.

How long a bar is. A bar lasts what stands in its fullest part. A bar that holds less than its metre keeps its real
length where music means it so: at the beginning (a pickup), at the end, beside a repeat sign, an ending or a double
bar, where its number is not printed (MusicXML's implicit="yes"), and where two short neighbours make one whole bar.
Anywhere else a short bar is a slip of the pen, and its metre is kept: the beats of the other bars stay where they are
and the missing ones are silent. A bar that holds more than its metre lasts as long as its notes, with a remark.

Where beats count from. A pickup counts to the end of its bar (one beat before a bar of 4/4 is beat 4), the second part
of a divided bar goes on where the first stopped, and carries the same number unless the file prints another.
`numbering` then gives every bar a name of its own.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

import numpy as np

from timing.reader.guard import MOST_BEATS, SMALLEST_UNIT, Raw
from timing.reader.musicxml import LONGEST_BAR, note_number
from timing.reader.numbering import name_bars
from timing.reader.walk import Parsed, layers, of_class, walk_bars
from timing.remarks import Remark, Severity
from timing.score import BAR

CLOSE = Fraction(1, 10_000)  # two lengths nearer than this are one: some files round their tuplets


@dataclass
class _Bar:
    number: int
    suffix: str
    beats: int
    unit: int
    held: Fraction  # what the fullest part holds
    measured: bool  # it has a metre at all
    implicit: bool
    padded: bool  # <forward> goes on to its end
    opens: bool = False  # a repeat sign or ending begins here
    closes: bool = False  # a repeat sign, ending or double bar ends here
    ending: bool = False  # an ending begins here
    length: Fraction = Fraction(0)
    shift: Fraction = Fraction(0)

    @property
    def metre(self) -> Fraction:
        return Fraction(4 * self.beats, self.unit)

    @property
    def short(self) -> bool:
        return self.measured and 0 < self.held < self.metre - CLOSE


def read_bars(parsed: Parsed, marks: np.ndarray) -> tuple[np.ndarray, list[Remark]]:
    """BAR rows and what is to be said of them. `marks` are needed for the repeat signs, endings and double bars."""
    bars = _collect(parsed)
    _mark_edges(bars, marks)
    said = _measure(bars)
    _print_numbers(bars, parsed.kind)
    remarks = [*name_bars(bars, CLOSE), *(say() for say in said)]
    rows = np.zeros(len(bars), BAR)
    for row, bar in zip(rows, bars, strict=True):
        row["number"], row["suffix"] = bar.number, bar.suffix
        row["length"], row["shift"] = float(bar.length), float(bar.shift)
        row["beats"], row["unit"] = bar.beats, bar.unit
    return rows, remarks


def _collect(parsed: Parsed) -> list[_Bar]:
    bars: list[_Bar] = []
    metres: dict[tuple[int, int], tuple[int, int]] = {}
    measured = {}
    facts = parsed.facts
    for part, staff, place, measure in walk_bars(parsed):
        here, later, free = _metres(measure, parsed.raw)
        metre = here or metres.get((part, staff), (4, 4))
        metres[part, staff] = later or metre
        measured[part, staff] = not free if (here or later or free) else measured.get((part, staff), False)
        if place == len(bars):
            counted = bars[-1].number + 1 if bars else 1
            named = abs(measure.number) < 2**31 and not (facts and place in facts.unnumbered)
            number = measure.number if named else counted
            implicit = bool(facts) and place in facts.implicit
            padded = bool(facts) and facts.filled.get(place, 0) >= Fraction(4 * metre[0], metre[1])
            suffix = (measure.numberSuffix or "") if named else ""
            bars.append(_Bar(number, suffix, *metre, Fraction(0), measured[part, staff], implicit, padded))
        bars[place].held = max(bars[place].held, _held(measure, bool(facts)))
        if bars[place].held > LONGEST_BAR:
            name = f"{bars[place].number}{bars[place].suffix}"
            raise parsed.raw.refuse("score-unsafe", f"has a bar longer than {LONGEST_BAR:,} quarters (bar {name})")
    return bars


def _held(measure, numbered: bool) -> Fraction:
    """How far the notes and rests of a bar reach. In MusicXML, rests that music21 put in for <forward> do not count:
    programs write it to fill up bars that are meant to be short."""
    ends = [Fraction(0)]
    for _, layer, start in layers(measure):
        for element in of_class(layer, "GeneralNote"):
            if "Rest" in element.classSet and numbered and note_number(element) is None and not element.fullMeasure:
                continue
            if "Harmony" not in element.classSet:
                ends.append(Fraction(layer.elementOffset(element)) + Fraction(start) + Fraction(element.quarterLength))
    return max(ends)


def _metres(measure, raw: Raw) -> tuple[tuple[int, int] | None, tuple[int, int] | None, bool]:
    """The time signature at the beginning of a bar, the last one in it, and whether the music is free of metre."""
    here = later = None
    free = False
    for sign in of_class(measure, "TimeSignatureBase"):
        if "SenzaMisuraTimeSignature" in sign.classSet:
            free = True
            continue
        beats, unit = sign.numerator, sign.denominator
        if not (0 < beats <= MOST_BEATS and 0 < unit <= SMALLEST_UNIT):
            raise raw.refuse("score-unsafe", f"has a time signature of {beats}/{unit}; no music needs that")
        later = (beats, unit)
        if measure.elementOffset(sign) == 0:
            here = later
    return here, later, free


def _mark_edges(bars: list[_Bar], marks: np.ndarray) -> None:
    for mark in marks:
        bar, end = int(mark["bar"]), int(mark["end_bar"])
        if mark["kind"] == "repeat start":
            bars[bar].opens = True
        elif mark["kind"] in ("repeat end", "double bar"):
            bars[bar].closes = True
        elif mark["kind"] == "ending":
            bars[bar].opens = bars[bar].ending = bars[end].closes = True
        elif mark["kind"] in ("fine", "da capo", "dal segno"):
            bars[bar].closes = True


def _measure(bars: list[_Bar]) -> list[Callable[[], Remark]]:
    remarks = []
    last = len(bars) - 1
    for place, bar in enumerate(bars):
        before = bars[place - 1] if place else None
        after = bars[place + 1] if place < last else None
        bar.length = bar.held if bar.held else bar.metre
        if not bar.measured or not bar.short:
            if bar.measured and bar.held > bar.metre + CLOSE:
                remarks.append(_remark(bar, "overfull-bar", "holds more than its metre and lasts as long as its notes"))
            continue
        if before is None:
            bar.shift = bar.metre - bar.held if after else Fraction(0)
            continue
        if _goes_on(before, bar):
            bar.shift = before.shift + before.length
            continue
        if after is None or _goes_on(bar, after) or bar.closes or after.opens:
            continue
        if bar.opens or before.closes:
            bar.shift = Fraction(0) if bar.ending else bar.metre - bar.held
            continue
        if not bar.implicit:
            bar.length = bar.metre
            if not bar.padded:
                remarks.append(_remark(bar, "short-bar", "holds less than its metre; the missing beats are silent"))
    return remarks


def _goes_on(before: _Bar, bar: _Bar) -> bool:
    """Whether a bar is the rest of the one before it: both make a whole bar, or the file gives it no number."""
    filled = before.shift + before.length
    if bar.ending or before.metre != bar.metre or filled >= bar.metre:
        return False
    same = bar.implicit or (before.number, before.suffix) == (bar.number, bar.suffix)
    return filled + bar.held <= bar.metre + CLOSE if same else abs(filled + bar.held - bar.metre) <= CLOSE


def _remark(bar: _Bar, code: str, what: str) -> Callable[[], Remark]:
    """What there is to say of a bar, once it has its name."""
    severity = Severity.CAUTION if code == "overfull-bar" else Severity.ADVICE
    sums = f"{float(bar.held):g} quarters in {bar.beats}/{bar.unit}"

    def say() -> Remark:
        name = f"{bar.number}{bar.suffix}"
        return Remark(severity, code, f"bar {name} {what} ({sums})", bar_name=name)

    return say


def _print_numbers(bars: list[_Bar], kind: str) -> None:
    """A pickup is 0, also where the numbers begin again; another bar whose number is not printed belongs to the bar
    before it."""
    if kind == "abc" and bars[0].number == 0 and not bars[0].shift:
        for bar in bars:  # ABC has no numbers, and music21 counts from 0
            bar.number += 1
    if bars[0].shift and (bars[0].implicit or _leads_in(*bars[:2])):
        bars[0].number, bars[0].suffix = 0, ""
    for place, (before, bar) in enumerate(pairwise(bars), 2):
        if kind == "kern" and bar.number == 0:  # a bar line without a number
            skips = place < len(bars) and bars[place].number > before.number + 1
            bar.number, bar.suffix = before.number + skips, "" if skips else before.suffix
        elif before.number > 1 and place < len(bars) and _leads_in(bar, bars[place]):
            bar.number, bar.suffix = 0, ""
        elif bar.implicit or bar.suffix.startswith("X"):
            bar.number, bar.suffix = before.number, before.suffix


def _leads_in(bar: _Bar, following: _Bar) -> bool:
    """Whether a bar is the pickup to a bar 1: without a number of its own, or with the same."""
    return bar.shift > 0 and not following.shift and following.number == 1 and (bar.implicit or bar.number == 1)
