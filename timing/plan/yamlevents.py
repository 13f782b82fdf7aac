"""The events of a YAML text, each with its place. What has been read is kept section by section, so that a change of
one section costs the reading of that section, and whoever reads the text next has it for nothing.

A text is cut where a word stands at the beginning of a line. Where each piece is by itself a mapping that begins there,
the text is what they are together: in a mapping at column 0 nothing that is open (a plain or a literal text, a list)
goes on at column 0, and what goes on anyway (brackets, quotes) leaves a piece that cannot be read by itself. Then, and
where directives or document marks stand, the text is read as a whole.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from functools import lru_cache
from typing import Any, NamedTuple

MOST_KEPT = 200_000  # letters of a text of which something is kept
_MOST_PIECES = 64
_CUT = re.compile(r"^(?=[A-Za-z])", re.MULTILINE)
_AS_A_WHOLE = re.compile("^(---|\\.\\.\\.|%)|[\x0b\x0c\x85\u2028\u2029\ufeff]|\r(?!\n)", re.MULTILINE)


class YamlEvent(NamedTuple):
    """One event. `kind` is document, end of document, map, list, end, scalar, alias; lines and columns count from 0."""

    kind: str
    start: int  # in letters of the text
    line: int
    column: int
    end: int
    end_line: int
    end_column: int
    value: str = ""
    style: str | None = None  # of a scalar: None where it stands without quotes
    plain: bool = False  # a scalar whose value may be a number, yes or no, or nothing
    flow: bool = False  # a map in braces, a list in brackets
    anchored: bool = False
    tagged: bool = False
    explicit: bool = False  # a document that begins or ends with a mark of its own
    version: tuple[int, int] | None = None


def events(text: str) -> Iterator[YamlEvent]:
    """The events of a text, in order. Raises what the YAML reader raises, after the events before that."""
    pieces = _pieces(text)
    if pieces is None:
        yield from _as_a_whole(text)
    else:
        yield from _together(pieces)


def _as_a_whole(text: str) -> Iterator[YamlEvent]:
    from ruamel.yaml import YAML

    for event in YAML(typ="safe", pure=True).parse(text):
        if (made := _event(event)) is not None:
            yield made


_KINDS = {
    "DocumentStartEvent": "document", "DocumentEndEvent": "end of document", "MappingStartEvent": "map",
    "SequenceStartEvent": "list", "MappingEndEvent": "end", "SequenceEndEvent": "end", "ScalarEvent": "scalar",
    "AliasEvent": "alias",
}  # fmt: skip


def _event(event: Any) -> YamlEvent | None:
    kind = _KINDS.get(type(event).__name__)
    if kind is None:
        return None
    start, end = event.start_mark, event.end_mark
    at = (kind, start.index, start.line, start.column, end.index, end.line, end.column)
    if kind == "scalar":
        tagged, anchored = bool(event.tag), bool(event.anchor)
        return YamlEvent(*at, event.value, event.style, event.implicit[0], False, anchored, tagged)
    if kind in ("map", "list"):
        return YamlEvent(*at, "", None, False, bool(event.flow_style), bool(event.anchor), bool(event.tag))
    if kind == "document":
        version = getattr(event, "version", None)
        return YamlEvent(*at, explicit=bool(event.explicit), version=None if version is None else tuple(version))
    return YamlEvent(*at, explicit=bool(getattr(event, "explicit", False)))


# -- in pieces


def _pieces(text: str) -> list[tuple[str, tuple[YamlEvent, ...]]] | None:
    """The pieces of a text and the events in each; None where it is to be read as a whole."""
    if len(text) > MOST_KEPT or _AS_A_WHOLE.search(text):
        return None
    cuts = [found.start() for found in _CUT.finditer(text)][1:]  # comments before the first word belong to it
    if not 1 <= len(cuts) < _MOST_PIECES:
        return None
    made = []
    for start, end in zip([0, *cuts], [*cuts, len(text)], strict=True):
        piece = text[start:end]
        if (read := _read(piece)) is None:
            return None
        made.append((piece, read))
    return made


@lru_cache(maxsize=4 * _MOST_PIECES)
def _read(piece: str) -> tuple[YamlEvent, ...] | None:
    """The events within the mapping that a piece is; None where it is none."""
    from ruamel.yaml.error import YAMLError

    try:
        found = list(_as_a_whole(piece))
    except (YAMLError, ValueError):
        return None
    opening = found[1:2]
    if not opening or opening[0].kind != "map" or opening[0].flow or opening[0].column or _is_named(opening[0]):
        return None
    return tuple(found[2:-2]) if [each.kind for each in found].count("document") == 1 else None


def _is_named(event: YamlEvent) -> bool:
    return event.anchored or event.tagged


def _together(pieces: list[tuple[str, tuple[YamlEvent, ...]]]) -> Iterator[YamlEvent]:
    """The events of the whole text."""
    first = pieces[0][1][0]
    begins = (first.start, first.line, first.column)
    yield YamlEvent("document", *begins, *begins)
    yield YamlEvent("map", *begins, *begins)
    start = line = 0
    for piece, found in pieces:
        yield from _moved(found, start, line) if start else found
        start, line = start + len(piece), line + piece.count("\n")
    column = len(piece) - piece.rfind("\n") - 1
    over = (start, line, column)
    yield YamlEvent("end", *over, *over)
    yield YamlEvent("end of document", *over, *over)


def _moved(found: Iterable[YamlEvent], start: int, line: int) -> Iterator[YamlEvent]:
    for each in found:
        yield YamlEvent(
            each[0], each[1] + start, each[2] + line, each[3], each[4] + start, each[5] + line, each[6], *each[7:]
        )
