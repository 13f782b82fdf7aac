"""Note values and beams for MusicXML that has none: where a file says how long notes are and not what is printed.

The engraver draws neither stems nor rests without a value, and a flag at every short note without beams.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property, lru_cache
from xml.etree.ElementTree import Element, SubElement

import numpy as np

from render.drawing.walking import length, number, walk

_VALUES = {8.0: "breve", 4.0: "whole", 2.0: "half", 1.0: "quarter", 0.5: "eighth", 0.25: "16th", 0.125: "32nd",
           0.0625: "64th", 0.03125: "128th"}  # fmt: skip
_DOTTED = {value * (2 - 0.5**dots): (name, dots) for dots in (2, 1, 0) for value, name in _VALUES.items()}
_FLAGGED = {"eighth", "16th", "32nd", "64th", "128th", "256th"}
_NEAR = 1e-3  # quarters


def write_values(root: Element, bars: np.ndarray) -> None:
    """Write values into the notes that have none, and beams into the parts that have none at all and are not sung.
    `bars` are the rows of Score.bars at which the bars of the file begin."""
    for part in root.iterfind("part"):
        beamed = part.find(".//note/beam") is not None or part.find(".//lyric") is not None
        divisions = 1.0
        for measure, bar in zip(part.iterfind("measure"), bars, strict=False):
            divisions = number(measure.findtext("attributes/divisions")) or divisions
            for note in measure.iterfind("note"):
                _write_value(note, divisions)
            if not beamed:
                for group in _groups(measure, divisions, bar):
                    _write_beam(group)


def _write_value(note: Element, divisions: float) -> None:
    rest = note.find("rest")
    if note.find("type") is not None or note.find("grace") is not None or (rest is not None and rest.get("measure")):
        return
    actual, normal = (number(note.findtext(f"time-modification/{kind}-notes")) or 1.0 for kind in ("actual", "normal"))
    quarters = length(note) / divisions * actual / normal
    name, dots = _value(quarters)
    if name:
        SubElement(note, "type").text = name
        for _ in range(dots - len(note.findall("dot"))):
            SubElement(note, "dot")


@lru_cache(1024)
def _value(quarters: float) -> tuple[str, int]:
    """The value of a length, and its dots; nothing for what is none."""
    near = min(_DOTTED, key=lambda value: abs(value - quarters))
    return _DOTTED[near] if abs(near - quarters) < _NEAR else ("", 0)


# -- beams


@dataclass(frozen=True)
class _Note:
    element: Element
    start: float  # quarters after the bar's first beat, had it one
    end: float

    @cached_property
    def flagged(self) -> bool:
        return self.element.find("rest") is None and self.element.findtext("type") in _FLAGGED

    @cached_property
    def plain(self) -> bool:
        """Whether it is a quaver and nothing else."""
        others = self.element.find("dot"), self.element.find("time-modification")
        return self.element.findtext("type") == "eighth" and others == (None, None)


def _groups(measure: Element, divisions: float, bar: np.void) -> Iterator[list[_Note]]:
    """The notes of a bar that stand under one beam: neighbours in a voice, within a beat; quavers alone within two
    beats, or a bar of three (common practice)."""
    beat, wide = _beats(int(bar["beats"]), int(bar["unit"]))
    whole = int(bar["beats"]) * 4 / max(int(bar["unit"]), 1)

    def place(start: float, each: float) -> int:
        return min(int(start // each), max(int(whole // each) - 1, 0))  # 7/8 is felt as 2, 2 and 3

    for notes in _voices(measure, divisions, float(bar["shift"])):
        others = {place(note.start, wide) for note in notes if note.flagged and not note.plain}
        group: list[_Note] = []
        held = (-1, -1)
        for note in notes:
            here = place(note.start, wide), -1
            if here[0] in others:
                here = here[0], place(note.start, beat)
            if not (group and note.flagged and here == held and abs(note.start - group[-1].end) < _NEAR):
                if len(group) > 1:
                    yield group
                group, held = [], here
            if note.flagged:
                group.append(note)
        if len(group) > 1:
            yield group


def _beats(beats: int, unit: int) -> tuple[float, float]:
    """How far a beam goes in a metre, and how far where it has quavers alone, in quarters."""
    if unit >= 8:
        beat = 12 / unit if beats % 3 == 0 else max(1.0, 4 / unit)
        return beat, beat
    return 1.0, 3.0 if beats == 3 and unit == 4 else 2.0 if beats % 2 == 0 or unit == 2 else 1.0


def _voices(measure: Element, divisions: float, shift: float) -> Iterable[list[_Note]]:
    """The notes of each voice, those of chords and small notes left out."""
    voices: dict[tuple[str, str], list[_Note]] = {}
    for element, at in walk(measure):
        if element.tag == "note" and element.find("chord") is None and element.find("grace") is None:
            start = shift + at / divisions + _NEAR / 2
            voice = element.findtext("staff", "1"), element.findtext("voice", "1")
            voices.setdefault(voice, []).append(_Note(element, start, start + length(element) / divisions))
    return voices.values()


def _write_beam(group: list[_Note]) -> None:
    stems = {note.element.findtext("stem") for note in group}
    for place, note in enumerate(group):
        beam = SubElement(note.element, "beam", {"number": "1"})
        beam.text = "begin" if place == 0 else "end" if place == len(group) - 1 else "continue"
        for stem in note.element.findall("stem") if len(stems) > 1 else ():
            note.element.remove(stem)
