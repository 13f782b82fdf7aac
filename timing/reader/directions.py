"""What stands between the notes of a MusicXML part and music21 does not carry over, or not to its exact place.

music21 ties hairpins, pedal lines and dashes to the nearest notes; here they keep the moment at which they are written.
It drops the jumps of <sound> and fermatas over bar lines, mixes up endings that are not closed, and keeps one bar line
on each side of a bar: of two at its end, the repeat sign is lost.

Source: MusicXML 4.0 (W3C Music Notation Community Group).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from math import inf, nan
from xml.etree.ElementTree import Element, SubElement

from timing.reader.figures import VALUES
from timing.reader.slips import Slips

_JUMPS = {
    "dacapo": "da capo", "dalsegno": "dal segno", "segno": "segno", "coda": "coda", "tocoda": "to coda",
    "fine": "fine", "forward-repeat": "repeat start",
}  # fmt: skip
_STARTS = {
    ("wedge", "crescendo"): 1.0, ("wedge", "diminuendo"): -1.0, ("pedal", "start"): 1.0, ("pedal", "sostenuto"): 1.0,
    ("dashes", "start"): nan,
}  # fmt: skip
_DOUBLE = ("light-light", "light-heavy", "heavy-heavy", "heavy-light")
_KINDS = {"wedge": "hairpin", "pedal": "pedal", "dashes": "words"}


LOST = "lost ending"  # one that stops where none has begun

# slips, in words
_TEMPO = "a tempo of {what} is passed over in bar {first}{others}"
_NEVER_BEGUN = "an ending stops in bar {first} that never began; its bracket is left out{others}"
_LOST_BEGINNING = "an ending stops in bar {first} that never began: it is taken for that bar alone{others}"
_LEFT_OPEN = "an ending is not closed before bar {first}, where the next one begins{others}"
_LAST_OPEN = "the last ending, in bar {first}, is not closed; it is taken to last until the end{others}"


@dataclass(slots=True)
class MarkLine:
    """A mark with an extent, or a jump: kind, part (by its place in the file), bar and offset of both ends."""

    kind: str
    part: int
    staff: int  # 0: no staff is named
    bar: int
    offset: Fraction | float
    end_bar: int
    end_offset: Fraction | float
    value: float = nan
    text: str = ""


class Directions:
    """Gathers the marks of one part of so many `bars`; the walk says in which of them, and at which moment, each
    stands."""

    def __init__(self, part: int, bars: int, lines: list[MarkLine], slips: Slips):
        self._part, self._bars, self._lines, self._slips = part, bars, lines, slips
        self._open: dict[tuple[str, str], MarkLine] = {}
        self._ahead: tuple[int, list[str]] | None = None  # an ending from the next bar on: that bar, its numbers
        self._closed: MarkLine | None = None  # the latest ending that was closed

    def direction(self, element: Element, staff: int, bar: int, at: Fraction) -> None:
        _spell_out(element)
        words = " ".join((w.text or "").strip() for w in element.iter("words")).strip()
        for item in element.iterfind("direction-type/*"):
            if item.tag in _KINDS:
                self._extent(item, staff, bar, at)
        for sound in element.findall("sound"):
            self.sound(sound, bar, at, words)
        _leave_to_sound(element)

    def _extent(self, item: Element, staff: int, bar: int, at: Fraction) -> None:
        key, change = (item.tag, item.get("number", "1")), item.get("type", "")
        niente = "niente" if item.get("niente") == "yes" else ""
        if (item.tag, change) in _STARTS:
            value = _STARTS[item.tag, change]
            self._open[key] = self._add(MarkLine(_KINDS[item.tag], self._part, staff, bar, at, bar, at, value, niente))
        elif change == "stop" and (line := self._open.pop(key, None)):
            line.end_bar, line.end_offset, line.text = bar, at, line.text or niente

    def sound(self, element: Element, bar: int, at: Fraction, words: str = "") -> None:
        tempo = element.get("tempo", "1")
        if not re.fullmatch(r"\d{1,4}(\.\d{1,12})?", tempo):
            del element.attrib["tempo"]
            self._slips.remember("tempo", _TEMPO, bar, repr(tempo[:20]))
        for attribute, kind in _JUMPS.items():
            if element.get(attribute, "no") != "no":
                here = Fraction(0) if kind == "repeat start" else at  # the bar, wherever in it this is said
                self._add(MarkLine(kind, self._part, 0, bar, here, bar, here, text=words))

    def bar_line(self, element: Element, bar: int, at: Fraction) -> None:
        side = element.get("location") or ("right" if at else "left")  # the standard's is right; none writes that first
        if side == "middle" and not at:
            side = "left"
        if element.find("fermata") is not None and side != "left":
            self._add(MarkLine("fermata", self._part, 0, bar, at, bar, at))
        for ending in element.findall("ending"):
            self._ending(ending, bar, at, side)
        repeats = element.findall("repeat")
        for repeat in repeats:
            self._repeat(repeat, bar, at, side)
        if not repeats and side == "right" and (element.findtext("bar-style") or "").strip() in _DOUBLE:
            self._add(MarkLine("double bar", self._part, 0, bar, inf, bar, inf))

    def _repeat(self, element: Element, bar: int, at: Fraction, side: str) -> None:
        """A sign on the wrong side of its bar line is meant for the bar on the other side."""
        starts = element.get("direction") == "forward"
        offset = at if side == "middle" else Fraction(0) if starts else inf
        bar += (side == "right") if starts else -(side == "left")
        if 0 <= bar < self._bars:
            value = nan if starts else float(element.get("times", "2"))
            kind = "repeat start" if starts else "repeat end"
            self._add(MarkLine(kind, self._part, 0, bar, offset, bar, offset, value))

    def _ending(self, element: Element, bar: int, at: Fraction, side: str) -> None:
        self._begin_ahead(bar)
        numbers = re.findall(r"\d{1,3}", element.get("number") or element.text or "")
        offset = at if side == "middle" else inf
        if element.get("type") == "start":
            if side == "right":
                self._ahead = bar + 1, numbers
            else:
                self._begin(bar, at if side == "middle" else Fraction(0), numbers)
            return
        end = bar - 1 if side == "left" and bar else bar
        if line := self._open.pop(("ending", ""), None):
            line.end_bar, line.end_offset = max(end, line.bar), offset
            self._closed = line
        elif self._ahead and self._ahead[1] == numbers:  # begun and closed at one bar line: a bracket of one bar
            self._closed = self._bracket("ending", bar, Fraction(0), self._ahead[1])
            self._ahead = None
        else:
            self._lost(end, offset, numbers)

    def _lost(self, bar: int, offset: Fraction | float, numbers: list[str]) -> None:
        """An ending that stops where none is open: the same one once more, or one whose beginning is lost."""
        closed = self._closed
        if closed and (closed.end_bar, closed.end_offset) == (bar, offset):
            return
        before = closed if closed and closed.end_bar == bar - 1 else None
        if before and before.text == ",".join(numbers):
            self._slips.remember("ending", _NEVER_BEGUN, bar)
            return
        follows = [str(int(before.text.rpartition(",")[2]) + 1)] if before else []
        self._closed = self._bracket(LOST, bar, Fraction(0), numbers or follows)
        self._closed.end_offset = offset

    def _begin(self, bar: int, offset: Fraction, numbers: list[str]) -> None:
        if left_open := self._open.pop(("ending", ""), None):
            if offset and left_open.bar <= bar:
                left_open.end_bar, left_open.end_offset = bar, offset
            else:
                left_open.end_bar = max(left_open.bar, bar - 1)
            self._slips.remember("ending", _LEFT_OPEN, bar)
        self._open["ending", ""] = self._bracket("ending", bar, offset, numbers)

    def _begin_ahead(self, bar: int) -> None:
        """Open the ending that was announced at the end of a bar, once that bar is over."""
        if self._ahead and self._ahead[0] <= bar:
            (begins, numbers), self._ahead = self._ahead, None
            self._begin(begins, Fraction(0), numbers)

    def _bracket(self, kind: str, bar: int, offset: Fraction, numbers: list[str]) -> MarkLine:
        return self._add(MarkLine(kind, self._part, 0, bar, offset, bar, inf, text=",".join(numbers or ["1"])))

    def close(self) -> None:
        """At the end of the part: an ending runs to the last bar; hairpins and pedal lines stay without extent."""
        self._begin_ahead(self._bars - 1)
        if left_open := self._open.pop(("ending", ""), None):
            left_open.end_bar = self._bars - 1
            self._slips.remember("ending", _LAST_OPEN, left_open.bar)

    def _add(self, line: MarkLine) -> MarkLine:
        self._lines.append(line)
        return line


def _spell_out(direction: Element) -> None:
    """Turn dynamics that MusicXML has no sign for, as <other-dynamics>cresc.</other-dynamics>, into words: of them
    music21 keeps only that they are others."""
    for holder in direction.findall("direction-type"):
        for dynamics in holder.findall("dynamics"):
            for other in dynamics.findall("other-dynamics"):
                dynamics.remove(other)
                if text := " ".join((other.text or "").split()):
                    spelt = Element("direction-type")
                    SubElement(spelt, "words").text = text
                    direction.insert(list(direction).index(holder) + 1, spelt)
            if not len(dynamics):
                holder.remove(dynamics)
        if not len(holder):
            direction.remove(holder)


def find_lost_endings(lines: list[MarkLine], slips: Slips) -> None:
    """Make endings of those that stop without having begun: each is the bar in which it stops, as far as any bar line
    tells; where another part has a bracket over that bar, it is left out."""
    endings = (line for line in lines if line.kind == "ending")
    covered = {bar for line in endings for bar in range(line.bar, line.end_bar + 1)}
    for line in lines:
        if line.kind == LOST and line.bar not in covered:
            line.kind = "ending"
            slips.remember("ending", _LOST_BEGINNING, line.bar)
    lines[:] = [line for line in lines if line.kind != LOST]


def _leave_to_sound(direction: Element) -> None:
    """Let music21 find the number in a metronome mark ("c. 108"); where there is none, or it is not printed, leave the
    tempo to <sound tempo>."""
    metronome, around = direction.find("direction-type/metronome"), direction.find("direction-type/metronome/..")
    if metronome is None or around is None or len(metronome.findall("beat-unit")) > 1:
        return
    per_minute = metronome.find("per-minute")
    found = re.search(r"\d{1,4}(\.\d{1,12})?", per_minute.text or "") if per_minute is not None else None
    hidden = metronome.get("print-object") == "no"
    if hidden and found and direction.find("sound[@tempo]") is None:
        quarters = float(VALUES.get(metronome.findtext("beat-unit", "").strip(), 1))
        dots = len(metronome.findall("beat-unit-dot"))
        sounding = SubElement(direction, "sound")
        sounding.set("tempo", f"{float(found[0]) * quarters * (2 - 0.5**dots):.6g}")
    if hidden or (not found and direction.find("sound[@tempo]") is not None):
        around.remove(metronome)
    elif found and per_minute is not None:
        per_minute.text = found[0]
