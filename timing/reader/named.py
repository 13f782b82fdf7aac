"""The score as MusicXML in which every notehead and every bar bears a name, to find again what is engraved.

A notehead is named `n` and its row in `Score.heads`, a bar `b` and its row in `Score.bars` (in the first part).
MusicXML files are passed on as they are, with the names; any other kind is written anew by music21.
"""

from __future__ import annotations

from collections.abc import Iterable
from itertools import count
from pathlib import Path
from xml.etree.ElementTree import Element, fromstring, tostring

from timing.reader import read_stream
from timing.reader.walk import Parsed, walk_heads


def named_musicxml(path: str | Path, rows: Iterable[int] | None = None) -> str:
    """The score of a file as MusicXML with names; `rows` are those at which its bars begin, where some are split.
    CannotDo for a file that is no score."""
    parsed = read_stream(path)
    root = _own(parsed) if parsed.facts else _written_anew(parsed)
    _name_bars(root, count() if rows is None else rows)
    _say_once(root)
    return tostring(root, encoding="unicode")


def _own(parsed: Parsed) -> Element:
    for element in parsed.tree.iter():
        if element.tag in ("note", "measure"):
            element.attrib.pop("id", None)
    for number, head in enumerate(walk_heads(parsed)):
        head.facts.element.set("id", f"n{number}")
    return parsed.tree


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
