"""The table of bars: what is printed over them, how long they really are, and where their beats count from.

How long a bar is. A bar is as long as its voices say: one that holds less than its metre in all staves alike is played
so, be it a pickup, the last bar, half a bar beside a repeat sign or a bar that is simply meant so. Where the staves
disagree, the metre is kept and the missing beats are silent. A bar that holds more lasts as long as its notes, unless
nothing but rests that are not printed, or a rounding, goes beyond the metre, or another voice ends with it: then it
lasts as its metre, and what is written beyond is no more than a slip; but not a cadenza, half as long again.

Where beats count from. A pickup, be it the first bar or one where the numbers begin again, counts to the end of its bar
(one beat before a bar of 4/4 is beat 4), the second part of a divided bar goes on where the first stopped, and carries
the same number unless the file prints another. `numbering` then gives every bar a name of its own.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from timing.columns import ROUNDING
from timing.reader.guard import MOST_BEATS, SMALLEST_UNIT, Raw
from timing.reader.mending import LONGEST_BAR
from timing.reader.musicxml import FileFacts, note_number
from timing.reader.numbering import name_bars
from timing.reader.slips import likewise
from timing.reader.walk import Parsed, layers, of_class, walk_bars
from timing.remarks import Remark, Severity
from timing.score import BAR

if TYPE_CHECKING:
    from music21.stream import Measure

CLOSE = Fraction(1, 32)  # two lengths nearer than this are one: files round their tuplets; no less is ever written
CADENZA = Fraction(3, 2)  # a voice in which notes begin so many metres after the bar line goes on by itself


@dataclass
class _Bar:
    number: int
    suffix: str
    beats: int
    unit: int
    measured: bool  # it has a metre at all
    implicit: bool
    padded: bool  # <forward> goes on to its end
    opens: bool = False  # a repeat sign or ending begins here
    closes: bool = False  # a repeat sign, ending or double bar ends here
    ending: bool = False  # an ending begins here
    staves: dict[tuple[int, int], Fraction] = field(default_factory=dict)  # how far each goes, whatever is printed
    said: list[Fraction] = field(default_factory=list)  # where each voice ends that is printed
    begins: Fraction = Fraction(0)  # the last printed note
    length: Fraction = Fraction(0)
    shift: Fraction = Fraction(0)

    @property
    def held(self) -> Fraction:
        """What the fullest staff holds."""
        return max(self.staves.values(), default=Fraction(0))

    @property
    def seen(self) -> Fraction:
        """What the fullest voice holds of what is printed."""
        return max(self.said, default=Fraction(0))

    @property
    def agreed(self) -> bool:
        """Whether all staves that hold anything hold the same."""
        ends = [end for end in self.staves.values() if end]
        return max(ends, default=0) - min(ends, default=0) < CLOSE

    @property
    def name(self) -> str:
        return f"{self.number}{self.suffix}"

    @property
    def metre(self) -> Fraction:
        return Fraction(4 * self.beats, self.unit)

    @property
    def short(self) -> bool:
        return self.measured and 0 < self.held <= self.metre - CLOSE

    @property
    def long(self) -> bool:
        return self.measured and self.held >= self.metre + CLOSE

    @property
    def overrun(self) -> bool:
        """Whether what goes beyond the metre is a slip: none of it is printed, or another voice ends with the metre."""
        if self.seen < self.metre + CLOSE:
            return True
        closing = any(abs(end - self.metre) < CLOSE for end in self.said)
        return closing and self.begins < CADENZA * self.metre


def read_bars(parsed: Parsed, marks: np.ndarray) -> tuple[np.ndarray, list[Remark]]:
    """BAR rows and what is to be said of them. `marks` are needed for the repeat signs, endings and double bars."""
    bars = _collect(parsed)
    _mark_edges(bars, marks)
    slips = _measure(bars)
    _print_numbers(bars, parsed.kind)
    remarks = [*name_bars(bars, CLOSE), *_told(slips)]
    rows = np.zeros(len(bars), BAR)
    for row, bar in zip(rows, bars, strict=True):
        row["number"], row["suffix"] = bar.number, bar.suffix
        row["length"], row["shift"] = float(bar.length), float(bar.shift)
        row["beats"], row["unit"] = bar.beats, bar.unit
    return rows, remarks


def within_bars(notes: np.ndarray, heads: np.ndarray, bars: np.ndarray) -> None:
    """Let noteheads (HEAD) that begin in their bars end with them, and their notes (NOTE) sound so much less long: what
    goes beyond is a slip."""
    lasts = bars["length"][heads["bar"]]
    beyond = heads["offset"] + heads["length"] - lasts
    beyond[(beyond < ROUNDING) | (heads["offset"] >= lasts)] = 0
    heads["length"] -= beyond
    notes["length"] -= np.bincount(heads["note"], beyond, len(notes))


def _collect(parsed: Parsed) -> list[_Bar]:
    bars: list[_Bar] = []
    metres: dict[tuple[int, int], tuple[int, int]] = {}
    measured: dict[tuple[int, int], bool] = {}
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
            implicit = facts is not None and place in facts.implicit
            padded = facts is not None and facts.filled.get(place, 0) >= Fraction(4 * metre[0], metre[1])
            suffix = (measure.numberSuffix or "") if named else ""
            bars.append(_Bar(number, suffix, *metre, measured[part, staff], implicit, padded))
        _hold(bars[place], (part, staff), measure, facts)
        if bars[place].held > LONGEST_BAR:
            name = f"{bars[place].number}{bars[place].suffix}"
            raise parsed.raw.refuse("score-unsafe", f"has a bar longer than {LONGEST_BAR:,} quarters (bar {name})")
    return bars


def _hold(bar: _Bar, staff: tuple[int, int], measure: Measure, facts: FileFacts | None) -> None:
    """Put into `bar` how far the notes and rests of a staff reach. In MusicXML, rests that music21 put in for <forward>
    do not count: programs write it to fill up bars that are meant to be short; nor do cues that are silent."""
    for _, layer, start in layers(measure):
        said = reach = Fraction(0)
        for element in of_class(layer, "GeneralNote"):
            rest = "Rest" in element.classSet
            if "Harmony" in element.classSet or (facts and _idle(element, rest, facts)):
                continue
            begins = Fraction(layer.elementOffset(element)) + Fraction(start)
            end = begins + Fraction(element.quarterLength)
            reach = max(reach, end)
            if not (element.hasStyleInformation and element.style.hideObjectOnPrint):
                said = max(said, end)
                bar.begins = bar.begins if rest else max(bar.begins, begins)
        bar.staves[staff] = max(reach, bar.staves.get(staff, Fraction(0)))
        if said:
            bar.said.append(said)


def _idle(element: Any, rest: bool, facts: FileFacts) -> bool:
    """Whether an element of MusicXML takes no time of its own."""
    place = note_number(element.notes[0] if "ChordBase" in element.classSet and len(element.notes) else element)
    if place is None:
        return rest and not element.fullMeasure
    return facts.notes[place].silent


def _metres(measure: Measure, raw: Raw) -> tuple[tuple[int, int] | None, tuple[int, int] | None, bool]:
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


@dataclass
class _Slip:
    """What there is to say of a bar, once it has its name."""

    what: str
    bar: _Bar
    held: Fraction


def _measure(bars: list[_Bar]) -> list[_Slip]:
    slips = []
    last, number = len(bars) - 1, 0  # the latest that is printed
    for place, bar in enumerate(bars):
        before = bars[place - 1] if place else None
        after = bars[place + 1] if place < last else None
        number = before.number if before and before.number and not before.implicit else number
        bar.length = (bar.held if bar.short or bar.long or not bar.measured else bar.metre) or bar.metre
        if bar.long:
            slips += _overfull(bar, after is None)
        if not bar.short:
            continue
        if before is None:
            bar.shift = bar.metre - bar.held if after else Fraction(0)
            continue
        if number > 1 and after and _begins_again(bar, after):
            bar.shift = bar.metre - bar.held
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
            slips += _lone(bar)
    return slips


def _overfull(bar: _Bar, last: bool) -> list[_Slip]:
    """Settle the length of a bar that holds more than its metre. What begins too late in one is heard with the next;
    the last bar waits for it."""
    slip = bar.overrun and not (last and bar.begins > bar.metre - CLOSE)
    bar.length = bar.metre if slip else bar.seen
    if bar.seen < bar.metre + CLOSE:
        return []
    if slip:
        what = "holds more than its metre in one voice, while another ends with it, and lasts as its metre"
    else:
        what = "holds more than its metre and lasts as long as its notes"
    return [_Slip(what, bar, bar.seen)]


def _lone(bar: _Bar) -> list[_Slip]:
    """Settle the length of a short bar that nothing beside it explains."""
    if bar.agreed and not bar.padded:
        return [_Slip("holds less than its metre and is as short as that", bar, bar.held)]
    bar.length = bar.metre
    if bar.padded:
        return []
    what = "holds less than its metre, and not the same in every staff; the missing beats are silent"
    return [_Slip(what, bar, bar.held)]


def _begins_again(bar: _Bar, after: _Bar) -> bool:
    """Whether a short bar, somewhere after a bar 1, is the pickup to a whole bar 1, as of a movement."""
    first = after.number == 1 and not (after.implicit or after.short)
    return first and (bar.implicit or bar.number <= 1) and not (bar.ending or bar.closes)


def _goes_on(before: _Bar, bar: _Bar) -> bool:
    """Whether a bar is the rest of the one before it: both make a whole bar, or the file gives it no number."""
    filled = before.shift + before.length
    if bar.ending or before.metre != bar.metre or filled > bar.metre - CLOSE:
        return False
    same = bar.implicit or (before.number, before.suffix) == (bar.number, bar.suffix)
    return filled + bar.held <= bar.metre + CLOSE if same else abs(filled + bar.held - bar.metre) <= CLOSE


def _told(slips: list[_Slip]) -> list[Remark]:
    long = [slip for slip in slips if slip.bar.long]
    short = [slip for slip in slips if not slip.bar.long]
    return _together("overfull-bar", Severity.CAUTION, long) + _together("short-bar", Severity.ADVICE, short)


def _together(code: str, severity: Severity, slips: list[_Slip]) -> list[Remark]:
    """A remark for all bars of which the same is to be said: at the first of them, the others named."""
    alike: dict[str, list[_Slip]] = {}
    for slip in slips:
        alike.setdefault(slip.what, []).append(slip)
    made = []
    for what, (first, *others) in alike.items():
        sums = f"{float(first.held):g} quarters in {first.bar.beats}/{first.bar.unit}"
        so = likewise([slip.bar.name for slip in others])
        made.append(Remark(severity, code, f"bar {first.bar.name} {what} ({sums}){so}", bar_name=first.bar.name))
    return made


def _print_numbers(bars: list[_Bar], kind: str) -> None:
    """A pickup is 0, also where the numbers begin again; another bar whose number is not printed belongs to the bar
    before it."""
    if kind == "abc" and bars[0].number == 0 and not bars[0].shift:
        for bar in bars:  # ABC has no numbers, and music21 counts from 0
            bar.number += 1
    if bars[0].shift and (bars[0].implicit or (len(bars) > 1 and _leads_in(bars[0], bars[1]))):
        bars[0].number, bars[0].suffix = 0, ""
    for place, (before, bar) in enumerate(pairwise(bars), 2):
        unnumbered = kind == "kern" and bar.number == 0  # a bar line without a number
        if before.number > 1 and place < len(bars) and _leads_in(bar, bars[place], unnumbered):
            bar.number, bar.suffix = 0, ""
        elif unnumbered:
            skips = place < len(bars) and bars[place].number > before.number + 1
            bar.number, bar.suffix = before.number + skips, "" if skips else before.suffix
        elif bar.implicit or bar.suffix.startswith("X"):
            bar.number, bar.suffix = before.number, before.suffix


def _leads_in(bar: _Bar, following: _Bar, unnumbered: bool = False) -> bool:
    """Whether a bar is the pickup to a bar 1: without a number of its own, or with the same."""
    first = following.number == 1 and not following.shift
    return bar.shift > 0 and first and (unnumbered or bar.implicit or bar.number == 1)
