"""What stands between the notes of a MusicXML part and music21 does not carry over, or not to its exact place.

music21 ties hairpins, pedal lines and dashes to the nearest notes; here they keep the moment at which they are written.
It drops the jumps of <sound> and fermatas over bar lines, and mixes up endings that are not closed.

Source: MusicXML 4.0 (W3C Music Notation Community Group).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from math import inf, nan
from xml.etree.ElementTree import Element, SubElement

from timing.remarks import Remark, Severity

_JUMPS = {
    "dacapo": "da capo", "dalsegno": "dal segno", "segno": "segno", "coda": "coda", "tocoda": "to coda",
    "fine": "fine", "forward-repeat": "repeat start",
}  # fmt: skip
_STARTS = {
    ("wedge", "crescendo"): 1.0, ("wedge", "diminuendo"): -1.0, ("pedal", "start"): 1.0, ("pedal", "sostenuto"): 1.0,
    ("dashes", "start"): nan,
}  # fmt: skip
_QUARTERS = {"breve": 8.0, "whole": 4.0, "half": 2.0, "quarter": 1.0, "eighth": 0.5, "16th": 0.25, "32nd": 0.125}
_KINDS = {"wedge": "hairpin", "pedal": "pedal", "dashes": "words"}


@dataclass(slots=True)
class Line:
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
    """Gathers the marks of one part; the walk says in which bar and at which moment each stands."""

    def __init__(self, part: int, lines: list[Line], remarks: list[Remark]):
        self._part, self._lines, self._remarks = part, lines, remarks
        self._open: dict[tuple[str, str], Line] = {}

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
            self._open[key] = self._add(Line(_KINDS[item.tag], self._part, staff, bar, at, bar, at, value, niente))
        elif change == "stop" and (line := self._open.pop(key, None)):
            line.end_bar, line.end_offset, line.text = bar, at, line.text or niente

    def sound(self, element: Element, bar: int, at: Fraction, words: str = "") -> None:
        tempo = element.get("tempo", "1")
        if not re.fullmatch(r"\d{1,4}(\.\d{1,12})?", tempo):
            del element.attrib["tempo"]
            self._remark("tempo", f"a tempo of {tempo[:20]!r} is passed over")
        for attribute, kind in _JUMPS.items():
            if element.get(attribute, "no") != "no":
                self._add(Line(kind, self._part, 0, bar, at, bar, at, text=words))

    def bar_line(self, element: Element, bar: int, at: Fraction, name: str) -> None:
        """A bar line; `name` is the number of its bar in the file."""
        if element.get("location") == "middle" and element.find("repeat") is not None:
            message = f"a repeat sign in the middle of bar {name} is played at the end of it; write the bar as two"
            self._remarks.append(Remark(Severity.CAUTION, "repeat-in-bar", message))
        if element.find("fermata") is not None and element.get("location") != "left":
            self._add(Line("fermata", self._part, 0, bar, at, bar, at))
        for ending in element.findall("ending"):
            self._ending(ending, bar, name)

    def _ending(self, element: Element, bar: int, name: str) -> None:
        key = ("ending", "")
        if element.get("type") == "start":
            if left_open := self._open.pop(key, None):
                left_open.end_bar = max(left_open.bar, bar - 1)
                self._remark("ending", f"an ending is not closed before bar {name}, where the next one begins")
            numbers = re.findall(r"\d{1,3}", element.get("number") or element.text or "") or ["1"]
            text = ",".join(numbers)
            self._open[key] = self._add(Line("ending", self._part, 0, bar, Fraction(0), bar, inf, text=text))
        elif line := self._open.pop(key, None):
            line.end_bar = bar
        else:
            self._remark("ending", f"an ending stops in bar {name} that never began; its bracket is left out")

    def close(self, last: int) -> None:
        """At the end of the part: an ending runs to the last bar; hairpins and pedal lines stay without extent."""
        if left_open := self._open.pop(("ending", ""), None):
            left_open.end_bar = last
            self._remark("ending", "the last ending is not closed; it is taken to last until the end")

    def _add(self, line: Line) -> Line:
        self._lines.append(line)
        return line

    def _remark(self, code: str, message: str) -> None:
        if all(remark.message != message for remark in self._remarks):
            self._remarks.append(Remark(Severity.CAUTION, code, message))


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


def _leave_to_sound(direction: Element) -> None:
    """Let music21 find the number in a metronome mark ("c. 108"); where there is none, or it is not printed, leave the
    tempo to <sound tempo>."""
    metronome = direction.find("direction-type/metronome")
    if metronome is None or len(metronome.findall("beat-unit")) > 1:
        return
    per_minute = metronome.find("per-minute")
    found = re.search(r"\d{1,4}(\.\d{1,12})?", per_minute.text or "") if per_minute is not None else None
    hidden = metronome.get("print-object") == "no"
    if hidden and found and direction.find("sound[@tempo]") is None:
        quarters = _QUARTERS.get(metronome.findtext("beat-unit", "").strip(), 1.0)
        dots = len(metronome.findall("beat-unit-dot"))
        sounding = SubElement(direction, "sound")
        sounding.set("tempo", f"{float(found[0]) * quarters * (2 - 0.5**dots):.6g}")
    if hidden or (not found and direction.find("sound[@tempo]") is not None):
        direction.find("direction-type/metronome/..").remove(metronome)
    elif found:
        per_minute.text = found[0]
