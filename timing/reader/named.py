"""The score as MusicXML in which every notehead and every bar bears a name, to find again what is engraved.

A notehead is named `n` and its row in `Score.heads`, a bar `b` and its row in `Score.bars` (in the first part).
MusicXML files are passed on as they are, with the names and with what the engraver would not draw else: accidentals
where the file has none, a voice of its own for what a voice plays beside itself, and the numbers of strings as fingers
between braces. Spaces beside the other fingers keep them off the stems. Any other kind is written anew by music21.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from fractions import Fraction
from itertools import count
from pathlib import Path
from xml.etree.ElementTree import Element, SubElement, fromstring, tostring

from timing.reader import read_stream
from timing.reader.accidentals import write_accidentals
from timing.reader.mending import ROUNDED
from timing.reader.musicxml import FileFacts
from timing.reader.walk import Parsed, walk_heads

_BESIDE = 1000  # voices that are added are numbered from here on
_ROOM = "\u00a0"  # a space that stays


def named_musicxml(path: str | Path, rows: Iterable[int] | None = None) -> str:
    """The score of a file as MusicXML with names; `rows` are those at which its bars begin, where some are split.
    CannotDo for a file that is no score."""
    parsed = read_stream(path)
    root = _own(parsed, parsed.facts) if parsed.facts else _written_anew(parsed)
    _name_bars(root, count() if rows is None else rows)
    _say_once(root)
    return tostring(root, encoding="unicode")


def _own(parsed: Parsed, facts: FileFacts) -> Element:
    root = parsed.root
    for element in root.iter():
        if element.tag in ("note", "measure"):
            element.attrib.pop("id", None)
    for number, head in enumerate(walk_heads(parsed)):
        if head.facts is not None:
            head.facts.element.set("id", f"n{number}")
    write_accidentals(root)
    _part_voices(root, facts)
    _show_fingers(root)
    return root


def _part_voices(root: Element, facts: FileFacts) -> None:
    """The engraver lays the notes of a voice one after another, though <backup> may go back over them: those that
    begin before the voice has come so far get another voice."""
    notes = {id(note.element): note for note in facts.notes}
    for measure in root.iter("measure"):
        reached: dict[tuple[int, str], Fraction] = {}
        for element in measure.iterfind("note"):
            note = notes.get(id(element))
            if note is None or not note.voice_name.isdecimal():
                continue
            if element.find("chord") is None:
                lanes = (str(int(note.voice_name) + _BESIDE * lane) for lane in count())
                voice = next(v for v in lanes if note.start > reached.get((note.staff, v), Fraction(-1)) - ROUNDED)
            reached[note.staff, voice] = note.start + note.length
            if voice != note.voice_name:
                said = element.find("voice")
                (SubElement(element, "voice") if said is None else said).text = voice


def _show_fingers(root: Element) -> None:
    """The engraver draws fingers, and no strings: so string 4 becomes a finger {4}. In tablature the lines are the
    strings; the engraver takes every staff for one whose strings are told, which is right only under its clef. What
    belongs to a lower voice stands below."""
    for part in root.iterfind("part"):
        tablature: set[str] = set()
        for measure in part.iterfind("measure"):
            upper = _upper_voices(measure)
            for element in measure:
                for clef in element.iterfind("clef"):
                    staff = clef.get("number", "1")
                    (tablature.add if clef.findtext("sign") == "TAB" else tablature.discard)(staff)
                for details in element.findall("staff-details"):
                    if details.find("staff-tuning") is not None and details.get("number", "1") not in tablature:
                        element.remove(details)
                if element.tag == "note" and element.findtext("staff", "1") not in tablature:
                    _show_finger(element, upper)


def _show_finger(note: Element, upper: dict[str, str]) -> None:
    staff, voice = note.findtext("staff", "1"), note.findtext("voice", "1")
    stem = note.findtext("stem") or ("up" if upper.get(staff, voice) == voice else "down")
    for technical in note.iterfind("notations/technical"):
        for finger in technical.iterfind("fingering"):
            if text := (finger.text or "").strip():
                finger.text = f"{_ROOM}{text}{_ROOM}"
        for string in technical.findall("string"):
            if re.fullmatch(r"\d\d?", text := (string.text or "").strip()):
                SubElement(technical, "fingering", dict(string.attrib)).text = f"{{{text}}}"
        for finger in technical.iterfind("fingering") if staff in upper and stem == "down" else ():
            finger.attrib.setdefault("placement", "below")


def _upper_voices(measure: Element) -> dict[str, str]:
    """Of each staff that has several voices in a bar the upper one: its lowest number."""
    voices: dict[str, set[str]] = {}
    for note in measure.iterfind("note"):
        if note.find("rest") is None:
            voices.setdefault(note.findtext("staff", "1"), set()).add(note.findtext("voice", "1"))
    return {staff: min(names, key=lambda name: (len(name), name)) for staff, names in voices.items() if len(names) > 1}


def _written_anew(parsed: Parsed) -> Element:
    from music21.musicxml.m21ToXml import GeneralObjectExporter

    for number, head in enumerate(walk_heads(parsed)):
        head.note.id = f"n{number}"
    return fromstring(GeneralObjectExporter(parsed.stream).parse())


def _name_bars(root: Element, rows: Iterable[int]) -> None:
    part = root.find("part")
    for row, measure in zip(rows, part.findall("measure") if part is not None else (), strict=False):
        measure.set("id", f"b{row}")


def _say_once(root: Element) -> None:
    """A single part is not named at every system: the title says what it is."""
    parts = root.findall("part-list/score-part")
    if len(parts) == 1:
        for name in ("part-name", "part-abbreviation", "part-name-display", "part-abbreviation-display"):
            for element in parts[0].findall(name):
                element.clear()
