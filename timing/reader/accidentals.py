"""Accidentals for MusicXML that has none: where a file gives what notes sound (<alter>) and not what is printed.

An accidental holds in its bar, at its octave, on its staff. It is written where a note differs from what holds there by
the key and by the notes before it; a note that is tied to the one before needs none (common practice).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from fractions import Fraction
from xml.etree.ElementTree import Element

from timing.reader.figures import figure

# MusicXML 4.0, accidental-value, by semitones.
_NAMES = {
    0.0: "natural", 1.0: "sharp", -1.0: "flat", 2.0: "double-sharp", -2.0: "flat-flat", 0.5: "quarter-sharp",
    -0.5: "quarter-flat", 1.5: "three-quarters-sharp", -1.5: "three-quarters-flat",
}  # fmt: skip
_SHARPS = "FCGDAEB"  # in the order of the keys
_BEFORE = {  # what stands before <accidental> in a <note>
    "grace", "cue", "chord", "pitch", "duration", "tie", "instrument", "footnote", "level", "voice", "type", "dot",
}  # fmt: skip
_WITHOUT = {"TAB", "percussion", "none", "jianpu"}  # clefs of staves that have no accidentals


def write_accidentals(root: Element) -> None:
    """Write the accidentals of each part that has none at all into its notes."""
    for part in root.iterfind("part"):
        if part.find(".//accidental") is None:
            for note, alter in _Staves().needed(part):
                _write(note, _NAMES.get(alter, ""))


def _write(note: Element, name: str) -> None:
    if name:
        place = max(number for number, child in enumerate(note, 1) if child.tag in _BEFORE)
        accidental = Element("accidental")
        accidental.text = name
        note.insert(place, accidental)


class _Staves:
    """What holds on the staves of one part: its key, its clef, and what the notes of the bar have altered."""

    def __init__(self) -> None:
        self._keys: dict[str, dict[str, float]] = {}
        self._silent: set[str] = set()  # staves without accidentals

    def needed(self, part: Element) -> Iterator[tuple[Element, float]]:
        """The notes that need an accidental, and by how many semitones they are altered."""
        divisions = Fraction(1)
        for measure in part.iterfind("measure"):
            events, divisions = _in_time(measure, divisions)
            altered: dict[tuple[str, str, str], float] = {}
            for element in events:
                if element.tag == "attributes":
                    self._attributes(element)
                    continue
                staff, pitch = element.findtext("staff", "1"), element.find("pitch")
                if pitch is None or staff in self._silent or _tied_to(element):
                    continue
                step, octave = pitch.findtext("step", ""), pitch.findtext("octave", "")
                alter = float(figure(pitch.find("alter")) or 0)
                key = self._keys.get(staff, self._keys.get("", {}))
                place = (staff, step, octave)
                if altered.get(place, key.get(step, 0.0)) != alter:
                    altered[place] = alter
                    yield element, alter

    def _attributes(self, attributes: Element) -> None:
        for key in attributes.iterfind("key"):
            if (staff := key.get("number", "")) == "":
                self._keys.clear()
            self._keys[staff] = _key(key)
        for clef in attributes.iterfind("clef"):
            silent = clef.findtext("sign", "").strip() in _WITHOUT
            (self._silent.add if silent else self._silent.discard)(clef.get("number", "1"))


def _in_time(measure: Element, divisions: Fraction) -> tuple[list[Element], Fraction]:
    """The pitched notes and the attributes of a bar in the order in which they come, voice beside voice; and the
    divisions at its end."""
    attributes: dict[Fraction, list[Element]] = defaultdict(list)
    notes: dict[Fraction, list[Element]] = defaultdict(list)
    cursor = start = Fraction(0)
    for element in measure:
        if element.tag == "attributes":
            divisions = figure(element.find("divisions")) or divisions
            attributes[cursor].append(element)
        if element.tag not in ("note", "backup", "forward"):
            continue
        length = (figure(element.find("duration")) or 0) / divisions
        if element.tag == "note":
            if element.find("chord") is None:
                start, cursor = cursor, cursor + (0 if element.find("grace") is not None else length)
            if element.find("pitch") is not None:
                notes[start].append(element)
        else:
            cursor += length if element.tag == "forward" else -length
    moments = sorted(attributes.keys() | notes.keys())
    return [element for moment in moments for element in (*attributes[moment], *notes[moment])], divisions


def _tied_to(note: Element) -> bool:
    return any(tie.get("type") == "stop" for path in ("tie", "notations/tied") for tie in note.iterfind(path))


def _key(key: Element) -> dict[str, float]:
    """How many semitones each step is altered by."""
    steps = [step.text or "" for step in key.iterfind("key-step")]
    if steps:
        return dict(zip(steps, (float(figure(alter) or 0) for alter in key.iterfind("key-alter")), strict=False))
    fifths = int(figure(key.find("fifths")) or 0)
    order = _SHARPS if fifths > 0 else _SHARPS[::-1]
    made: dict[str, float] = defaultdict(float)
    for number in range(abs(fifths)):
        made[order[number % 7]] += 1.0 if fifths > 0 else -1.0
    return made
