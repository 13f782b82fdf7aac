"""YAML text as plain values that remember where they stand: the safe half of YAML 1.2, nothing that can surprise.

Anchors, aliases, tags and the `%YAML 1.1` directive are refused (an alias bomb is small on disk and endless in memory;
1.1 reads `7:30` as 450), and so are duplicate keys. Sizes and depths are bounded.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from timing.remarks import CannotDo, Place, Remark, Severity

MAX_BYTES = 1_000_000
MAX_DEPTH = 20


class Map(dict):
    """A mapping; `place` is where it stands, `places` where its values stand, `keys_at` where its keys stand."""

    def __init__(self, place: Place):
        super().__init__()
        self.place = place
        self.places: dict[str, Place] = {}
        self.keys_at: dict[str, Place] = {}

    def put(self, key: str, value: Any, key_place: Place, value_place: Place) -> None:
        self[key], self.keys_at[key], self.places[key] = value, key_place, value_place


class List(list):
    """A list; `places` says where each item stands."""

    def __init__(self, place: Place):
        super().__init__()
        self.place = place
        self.places: list[Place] = []

    def put(self, value: Any, place: Place) -> None:
        self.append(value)
        self.places.append(place)


class Text(str):
    """A text that knows its place."""

    place: Place | None = None

    @classmethod
    def at(cls, place: Place, text: str) -> Text:
        made = cls(text)
        made.place = place
        return made


def read_text(path: Path) -> str:
    """The text of a plan file; CannotDo if it is missing, unreadable, too large or not text."""
    try:
        if not path.is_file():
            what = "is a folder, not a plan" if path.is_dir() else "there is no such file"
            raise CannotDo.because("no-plan", f"{path}: {what}", path)
        if path.stat().st_size > MAX_BYTES:
            size = path.stat().st_size / 1e6
            raise CannotDo.because("plan-size", f"{path.name} is too large for a plan ({size:.0f} MB; the limit is 1 MB)", path)
        data = path.read_bytes()
    except OSError as fault:
        raise CannotDo.because("no-plan", f"{path}: cannot be read ({fault.strerror})", path) from None
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        line = data[: fault.start].count(b"\n") + 1
        message = f"this is not a plan: line {line} holds bytes that are not text (a plan is a text file in UTF-8)"
        raise CannotDo([Remark(Severity.ERROR, "plan-text", message, Place(path, line, 1))]) from None


class Reader:
    """Turns one YAML text into values; collects every fault that can be collected."""

    def __init__(self, path: Path, text: str):
        self.path, self.lines, self.text = path, text.splitlines(), text
        self.remarks: list[Remark] = []

    def read(self) -> Any:
        """The document's value; CannotDo with all faults found."""
        from ruamel.yaml import YAML
        from ruamel.yaml.error import MarkedYAMLError, YAMLError

        yaml = YAML(typ="safe", pure=True)
        try:
            self._refuse_surprises(yaml)
            node = None if self.remarks else YAML(typ="safe", pure=True).compose(self.text)
        except MarkedYAMLError as fault:
            self._syntax(fault)
            node = None
        except YAMLError as fault:
            self.fault("plan-syntax", f"this is not YAML: {str(fault).splitlines()[0]}", self.at(0, 0))
            node = None
        value = self._value(node) if node is not None else Map(self.at(0, 0))
        if self.remarks:
            raise CannotDo(self.remarks)
        return value

    def at(self, line: int, column: int) -> Place:
        """The place of a 0-based line and column."""
        excerpt = self.lines[line] if line < len(self.lines) else ""
        return Place(self.path, line + 1, column + 1, excerpt[:500])

    def fault(self, code: str, message: str, place: Place, suggestion: str | None = None) -> None:
        self.remarks.append(Remark(Severity.ERROR, code, message, place, suggestion=suggestion))

    def _refuse_surprises(self, yaml: Any) -> None:
        depth = documents = 0
        for event in yaml.parse(self.text):
            kind, mark = type(event).__name__, event.start_mark
            place = self.at(mark.line, mark.column)
            if kind == "AliasEvent" or getattr(event, "anchor", None):
                self.fault("plan-alias", "anchors (&) and aliases (*) are not used in a plan: write the entry out", place)
            elif kind == "DocumentStartEvent":
                documents += 1
                if getattr(event, "version", None) not in (None, (1, 2)):
                    self.fault("plan-version", "plans are YAML 1.2: leave the %YAML line out", self.at(0, 0))
                if documents > 1:
                    self.fault("plan-documents", "a second document starts here: a file holds one plan", place)
            elif getattr(event, "tag", None) and kind in ("ScalarEvent", "MappingStartEvent", "SequenceStartEvent"):
                self.fault("plan-tag", f"tags such as {event.tag} are not used in a plan", place)
            depth += kind.endswith("StartEvent") - kind.endswith("EndEvent")
            if depth > MAX_DEPTH:
                self.fault("plan-depth", f"lists and mappings are nested more than {MAX_DEPTH} deep here", place)
            if len(self.remarks) >= 20 or depth > MAX_DEPTH:
                return

    def _syntax(self, fault: Any) -> None:
        mark = fault.problem_mark or fault.context_mark
        place = self.at(mark.line, mark.column) if mark else self.at(0, 0)
        problem = fault.problem or fault.context or "this is not YAML"
        if "\\t" in problem:
            problem = "a tab stands here: indent with spaces"
        elif "mapping values are not allowed" in problem:
            problem = "a colon is not expected here (is the line above complete, and is the indentation right?)"
        elif fault.context and fault.context != problem:
            problem = f"{problem} ({fault.context})"
        self.fault("plan-syntax", problem, place)

    def _value(self, node: Any) -> Any:
        place = self.at(node.start_mark.line, node.start_mark.column)
        if node.id == "mapping":
            return self._map(node, place)
        if node.id == "sequence":
            items = List(place)
            for item in node.value:
                items.put(self._value(item), self.at(item.start_mark.line, item.start_mark.column))
            return items
        return _scalar(node, place)

    def _map(self, node: Any, place: Place) -> Map:
        made = Map(place)
        for key_node, value_node in node.value:
            key_place = self.at(key_node.start_mark.line, key_node.start_mark.column)
            key = str(key_node.value) if key_node.id == "scalar" else "?"
            if key in made:
                first = made.keys_at[key].line
                self.fault("plan-duplicate", f"{key!r} stands here and in line {first}: keep one of them", key_place)
                continue
            value_place = self.at(value_node.start_mark.line, value_node.start_mark.column)
            made.put(key, self._value(value_node), key_place, value_place)
        return made


def _scalar(node: Any, place: Place) -> Any:
    tag, text = str(node.tag).rsplit(":", 1)[-1], node.value
    if tag == "null":
        return None
    if tag == "bool":
        return text.lower() == "true"
    if tag in ("int", "float") and len(text) <= 20:
        try:
            return int(text) if tag == "int" else float(text.replace(".inf", "inf").replace(".nan", "nan").replace(".NaN", "nan"))
        except ValueError:
            pass
    return Text.at(place, text)
