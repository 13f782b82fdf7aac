"""Where the engraver is to put words over and under the staff, told in the score it is given.

It takes words whose side the file does not say for words below, and lets them begin where the file has them: what is
said at the end of a bar would begin under the next one.
"""

from __future__ import annotations

from collections.abc import Iterator
from xml.etree.ElementTree import Element, SubElement

from render.drawing.walking import length, number, walk
from timing.marks.words import clauses
from timing.reader.marks import jump_kind

_RETURNS = ("da capo", "dal segno")  # they hold for the end of their bar
_AT_THE_END = (*_RETURNS, "fine", "to coda")
_TEMPI = {"tempo", "change", "number", "first tempo", "same beat"}
_STAFF = 40.0  # tenths, from the uppermost line to the lowest


def place_directions(root: Element) -> None:
    """Give words that have no side one: that at which the file places them, else above for tempi and for where the
    music turns or ends (common practice); and let these, where they stand at the end of a bar or only there have room,
    end with it."""
    for part in root.iterfind("part"):
        for measure in part.iterfind("measure"):
            if measure.find("direction/direction-type/words") is not None:
                _place(measure)


def _place(measure: Element) -> None:
    found = list(_directions(measure))
    end, last = _end_and_last(measure)
    for direction, at in found:
        words = direction.findall("direction-type/words")
        text = "".join(each.text or "" for each in words)
        if not words or not text.strip():
            continue
        turn = jump_kind(text)
        tempo = not turn and any(meaning.kind in _TEMPI for _, meanings in clauses(text) for meaning in meanings)
        if "placement" not in direction.attrib and (side := _side(direction, over=tempo or turn is not None)):
            direction.set("placement", side)
        if tempo and direction.get("placement") == "above":
            _be_a_tempo(direction)
        if turn in _AT_THE_END and at > 0 and (turn in _RETURNS or at >= last):
            _end_with(direction, words, end - at)


def _side(direction: Element, over: bool) -> str | None:
    """At which side a direction stands in the file; else `over` the staff, or where the engraver likes."""
    heights = (each.get("default-y") for each in direction.iterfind("direction-type/*"))
    height = next((found for each in heights if (found := number(each)) is not None), None)
    if height is not None and not -_STAFF <= height <= 0:
        return "above" if height > 0 else "below"
    return "above" if over else None


def _be_a_tempo(direction: Element) -> None:
    """The engraver writes a tempo in the letters of one where the file plays it; how fast that is it does not ask."""
    sound = direction.find("sound")
    sound = SubElement(direction, "sound") if sound is None else sound
    sound.attrib.setdefault("tempo", "60")


def _end_with(direction: Element, words: list[Element], later: float) -> None:
    """Let a direction stand at the end of its bar, `later` divisions on, and end there."""
    for each in words:
        each.set("halign", "right")
    if later > 0:
        offset = direction.find("offset")
        if offset is None:
            offset = SubElement(direction, "offset")
            direction.remove(offset)
            direction.insert(len(direction.findall("direction-type")), offset)
        offset.text = f"{(number(offset.text) or 0.0) + later:g}"


def _directions(measure: Element) -> Iterator[tuple[Element, float]]:
    """The directions of a bar, and at which of its divisions each stands."""
    for element, start in walk(measure):
        if element.tag == "direction":
            yield element, start + (number(element.findtext("offset")) or 0.0)


def _end_and_last(measure: Element) -> tuple[float, float]:
    """Where a bar ends, and where the last of its notes begins, in divisions."""
    end = last = 0.0
    for element, start in walk(measure):
        if element.tag == "note":
            end, last = max(end, start + length(element)), max(last, start)
        elif element.tag == "forward":
            end = max(end, start + length(element))
    return end, last
