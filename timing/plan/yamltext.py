"""YAML text as plain values that remember where they stand: the safe half of YAML 1.2, nothing that can surprise.

Anchors, aliases, tags and the `%YAML 1.1` directive are refused (an alias bomb is small on disk and endless in memory;
1.1 reads `7:30` as 450), and so are duplicate keys. Sizes and depths are bounded. Plain text is true, false, null, a
decimal number or else text: dates, `yes` and `0x1F` stay as they are written.
"""

from __future__ import annotations

import codecs
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Self

from timing.disk.links import IN_A_CIRCLE, in_a_circle
from timing.plan.position import shown
from timing.plan.yamlevents import YamlEvent, events
from timing.remarks import CannotDo, Place, Remark, Severity

MAX_BYTES = 1_000_000
MAX_DEPTH = 20
MAX_VALUES = 60_000  # words and numbers, lists and settings; the longest plans have a tenth of that
MAX_FAULTS = 20  # of YAML as such; after so many the rest is not read

LINE_BREAK = re.compile("\r\n|[\n\r\x85\u2028\u2029]")  # what YAML readers count as lines
_NO_TEXT = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]")
_WHOLE = re.compile(r"[+-]?\d{1,18}", re.ASCII)
_REAL = re.compile(r"[+-]?(\d{1,30}\.\d{0,30}|\.\d{1,30}|\d{1,30}(\.\d{0,30})?[eE][+-]?\d{1,4})", re.ASCII)
_NOT_FINITE = {".nan": "nan", ".inf": "inf", "+.inf": "inf", "-.inf": "-inf"}

# What the YAML reader says, and what a musician can do about it.
_IN_PLAIN_WORDS = (
    ("'\\t'", "a tab stands here: indent with spaces"),
    ("mapping values are not allowed", "a colon is not expected here: has the line above a space after its colon, "
     "and is this one indented like it? (a text with a colon in it belongs in quotes)"),
    ("could not find expected ':'", "this line needs a key, a colon and a space, as in 'to: 80%'"),
    ("but got '<stream end>'", "the file ends before everything opened with {, [ or quotes is closed"),
    ("expected ',' or '}'", "inside { } something is not separated by a comma, or the } is missing"),
    ("expected ',' or ']'", "inside [ ] something is not separated by a comma, or the ] is missing"),
    ("expected <block end>", "this does not continue what stands above: entries of one list begin in the same column"),
    ("unexpected end of stream", "the file ends inside quotes that are not closed"),
    ("unexpected end of document", "the file ends inside quotes that are not closed"),
    ("cannot start any token", "a value cannot begin with this sign: put the text in quotes"),
    ("unknown escape character", "a backslash inside double quotes has a meaning of its own: use single quotes"),
)  # fmt: skip


class Map(dict[str, Any]):
    """A mapping; `place` is where it stands, `places` where its values stand, `keys_at` where its keys stand, and
    `last_line` the line (from 1) on which its text ends."""

    def __init__(self, place: Place, last_line: int | None = None):
        super().__init__()
        self.place, self.last_line = place, last_line or place.line
        self.places: dict[str, Place] = {}
        self.keys_at: dict[str, Place] = {}

    def put(self, key: str, value: Any, key_place: Place, value_place: Place) -> None:
        self[key], self.keys_at[key], self.places[key] = value, key_place, value_place


class List(list[Any]):
    """A list; `places` says where each item stands."""

    def __init__(self, place: Place, last_line: int | None = None):
        super().__init__()
        self.place, self.last_line = place, last_line or place.line
        self.places: list[Place] = []

    def put(self, value: Any, place: Place) -> None:
        self.append(value)
        self.places.append(place)


class _Placed:
    place: Place
    last_line: int | None

    @classmethod
    def at(cls, place: Place, value: Any, last_line: int | None = None) -> Self:
        made = cls(value)  # type: ignore[call-arg]  # it stands before str, int or float
        made.place, made.last_line = place, last_line
        return made


class Text(_Placed, str):
    """A text that knows its place."""


class Whole(_Placed, int):
    """A whole number that knows its place."""


class Real(_Placed, float):
    """A number that knows its place."""


def read_text(path: Path) -> str:
    """The text of a plan file; CannotDo if it is missing, unreadable, too large or not text."""
    try:
        if not path.is_file():
            raise CannotDo.because("no-plan", f"{path}: {no_plan(path)}", path)
        if (size := path.stat().st_size) > MAX_BYTES:
            limit = f"the limit is {MAX_BYTES / 1e6:.0f} MB"
            message = f"{path.name} is too large for a plan ({size / 1e6:.1f} MB; {limit})"
            raise CannotDo.because("plan-size", message, path)
        with path.open("rb") as file:
            data = file.read(MAX_BYTES)
    except (OSError, ValueError) as fault:  # ValueError: a name that no file can have
        reason = getattr(fault, "strerror", None) or "no file can have this name"
        raise CannotDo.because("no-plan", f"{path.name}: cannot be read ({reason})", path) from None
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)) or re.match(rb"([^\0]\0){4}|(\0[^\0]){4}", data):
        raise CannotDo.because("plan-text", f"{path.name} is saved as UTF-16: save it again as UTF-8", path)
    if b"\0" in data:
        raise CannotDo.because("plan-text", f"{path.name} is not a text file, so it is not a plan", path)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        line = data[: fault.start].count(b"\n") + 1
        message = f"line {line} holds letters that are not in UTF-8: save the plan again as UTF-8 text"
        raise CannotDo([Remark(Severity.ERROR, "plan-text", message, Place(path, line, 1))]) from None


def no_plan(path: Path) -> str:
    """Why there is no plan to be read, to be said after its name."""
    if in_a_circle(path):
        return f"this {IN_A_CIRCLE}"
    if path.is_dir():
        return "is a folder, not a plan"
    return "is not an ordinary file" if path.exists() else "there is no such file"


def parse(path: Path, text: str) -> tuple[Any, list[Remark]]:
    """The value that a YAML text holds, and the faults found.

    Duplicate keys leave the value usable (the first one counts); after any other fault it is None.
    """
    from ruamel.yaml.error import MarkedYAMLError, YAMLError
    from ruamel.yaml.reader import ReaderError

    reader = _Reader(path, text)
    value = None
    try:
        value = reader.document(events(text))
    except _TooMuchError:
        pass
    except MarkedYAMLError as fault:
        reader.syntax(fault)
    except ReaderError as fault:
        before = LINE_BREAK.split(text[: fault.position])
        place = reader.at(len(before) - 1, len(before[-1]))
        reader.fault("plan-text", "a character that is no text stands here", place)
    except (YAMLError, ValueError):  # what it cannot say the place of
        message = "this is not YAML that can be read: a number, a date or a tag in it is none"
        reader.fault("plan-syntax", message, reader.at(0, 0))
    return (None if reader.broken else value), reader.remarks


class _TooMuchError(Exception):
    """There is no sense in reading on."""


class _Reader:
    """Builds values from the events of one YAML text; gathers every fault that can be gathered."""

    def __init__(self, path: Path, text: str):
        self.path = path
        self.lines = [_NO_TEXT.sub("\ufffd", line) for line in LINE_BREAK.split(text)]
        self.remarks: list[Remark] = []
        self.broken = False
        self.values = 0
        self.last_line = 1  # on which the value that was read last ends, from 1

    def at(self, line: int, column: int) -> Place:
        """The place of a 0-based line and column."""
        return Place(self.path, line + 1, column + 1, self.lines[line] if line < len(self.lines) else "")

    def fault(self, code: str, message: str, place: Place, breaks: bool = True) -> None:
        self.remarks.append(Remark(Severity.ERROR, code, message, place))
        self.broken |= breaks
        if len(self.remarks) >= MAX_FAULTS:
            raise _TooMuchError

    def document(self, events: Iterator[YamlEvent]) -> Any:
        """The value of the only document; an empty file is an empty mapping."""
        value: Any = Map(self.at(0, 0))
        documents = 0
        for event in events:
            if event.kind != "document":
                continue
            documents += 1
            if event.version not in (None, (1, 2)):
                self.fault("plan-version", "plans are YAML 1.2: leave the %YAML line out", self.at(0, 0))
            if documents > 1:
                self.fault("plan-documents", "a second document starts here: a file holds one plan", self._place(event))
                break
            first = next(events)
            read = self._value(first, events, 1)
            value = value if read is None else read
        return value

    def syntax(self, fault: Any) -> None:
        mark = fault.problem_mark or fault.context_mark
        place = self.at(mark.line, mark.column) if mark else self.at(0, 0)
        problem = str(fault.problem or fault.context or "this is not YAML")
        unclear = "this cannot be read: look for a bracket, a colon or a dash that is out of place here"
        words = next((words for said, words in _IN_PLAIN_WORDS if said in problem), unclear)
        opened = fault.context_mark
        if opened and ("inside" in words or "the file ends" in words):
            words += f" (it begins in line {opened.line + 1}, column {opened.column + 1})"
        self.remarks.append(Remark(Severity.ERROR, "plan-syntax", words, place))
        self.broken = True

    def _place(self, event: YamlEvent) -> Place:
        return self.at(event.line, event.column)

    def _value(self, event: YamlEvent, events: Iterator[YamlEvent], depth: int) -> Any:
        kind, place = event.kind, self._place(event)
        self.values += 1
        if self.values > MAX_VALUES:
            self.fault(
                "plan-size", f"a plan can hold {MAX_VALUES} words and numbers: there are more from here on", place
            )
            raise _TooMuchError
        if depth > MAX_DEPTH:
            self.fault("plan-depth", f"lists and settings are nested more than {MAX_DEPTH} deep here", place)
            raise _TooMuchError
        if kind == "alias" or event.anchored:
            self.fault(
                "plan-alias", "a plan has no anchors (&) or aliases (*): write the entry out, or use quotes", place
            )
        elif event.tagged:
            self.fault("plan-tag", "a plan has no tags (!): leave it out, or put the text in quotes", place)
        if kind == "map":
            return self._map(event, events, place, depth)
        if kind == "list":
            items, opening = List(place), event
            while (event := next(events)).kind != "end":
                items.put(self._value(event, events, depth + 1), self._place(event))
            items.last_line = self._ended(opening, event)
            return items
        return self._scalar(event, place) if kind == "scalar" else None

    def _ended(self, opening: YamlEvent, over: YamlEvent) -> int:
        """The line on which a map or list ends: that of its bracket, or of the last value in it."""
        if opening.flow:
            self.last_line = over.end_line + 1
        return self.last_line

    def _map(self, opening: YamlEvent, events: Iterator[YamlEvent], place: Place, depth: int) -> Map:
        made = Map(place)
        while (event := next(events)).kind != "end":
            key_place = self._place(event)
            key = event.value if event.kind == "scalar" else None
            sound = len(self.remarks)
            self._value(event, events, depth + 1)
            if key is None and len(self.remarks) == sound:
                self.fault("plan-key", "what stands before a colon must be a word", key_place)
            event = next(events)
            value, value_place = self._value(event, events, depth + 1), self._place(event)
            if key is not None and key in made:
                first = made.keys_at[key]
                message = (
                    f"{shown(key)} stands twice, here and in line {first.line}, column {first.column}: keep one of them"
                )
                self.fault("plan-duplicate", message, key_place, breaks=False)
            elif key is not None:
                made.put(key, value, key_place, value_place)
        made.last_line = self._ended(opening, event)
        return made

    def _scalar(self, event: YamlEvent, place: Place) -> Any:
        text, plain = event.value, event.plain
        self.last_line = event.end_line + (event.end_column > 0 or event.end == event.start)
        if event.style in ("|", ">"):  # its end is where the next line begins, after blank ones
            self.last_line = min(self.last_line, event.line + 1 + text.rstrip("\n").count("\n") + 1)
        if _NO_TEXT.search(text):
            self.fault("plan-text", "a character that is no text stands in here", place)
        elif plain and text in ("", "~", "null", "Null", "NULL"):
            return None
        elif plain and text in ("true", "True", "TRUE", "false", "False", "FALSE"):
            return text.lower() == "true"
        elif plain and _WHOLE.fullmatch(text):
            return Whole.at(place, text, self.last_line)
        elif plain and (_REAL.fullmatch(text) or text.lower() in _NOT_FINITE):
            return Real.at(place, _NOT_FINITE.get(text.lower(), text), self.last_line)
        return Text.at(place, text, self.last_line)
