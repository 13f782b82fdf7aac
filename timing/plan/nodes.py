"""The values of a YAML text as nodes that know where they stand: scalars, lists, and groups of settings ("maps")."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from timing.plan.yamlevents import MOST_KEPT, YamlEvent, events
from timing.plan.yamltext import MAX_DEPTH
from timing.remarks import CannotDo

_NULL = ("", "~", "null", "Null", "NULL")
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)


def impossible(why: str) -> CannotDo:
    """A change that is left to the musician."""
    return CannotDo.because("cannot-mend", why)


@dataclass(eq=False, slots=True)
class Node:
    """A value of a YAML text: a `scalar`, a `sequence` of nodes, or a `mapping`, which is pairs of them. `start` and
    `end` count letters of the text, `line` and `column` are where it begins, from 0."""

    id: str
    value: Any
    start: int
    end: int
    line: int
    column: int
    style: str | None = None  # of a scalar: None where it stands without quotes
    flow_style: bool = False  # in brackets or braces


def compose(text: str) -> Any:
    """The nodes of a YAML text; None where there is none. CannotDo if it cannot be read."""
    return document(text)[0]


def document(text: str) -> tuple[Any, int]:
    """The nodes of a text, which nobody may change, and where the document is over. CannotDo if it cannot be read."""
    return _kept(text) if len(text) <= MOST_KEPT else _read(text)


def _read(text: str) -> tuple[Any, int]:
    from ruamel.yaml.error import YAMLError

    root, over, documents = None, len(text), 0
    try:
        found = events(text)
        for event in found:
            if event.kind == "document":
                documents += 1
                root = _node(next(found), found, 1)
            elif event.kind == "end of document" and event.explicit:
                over = event.start
    except (YAMLError, ValueError):
        raise impossible("the change does not fit into this text") from None
    if documents > 1:
        raise impossible("the change does not fit into this text")
    return root, over


_kept = lru_cache(maxsize=8)(_read)  # what was made by one change is what the next one begins with


def _node(event: YamlEvent, found: Iterator[YamlEvent], depth: int) -> Node:
    if event.kind == "alias" or event.anchored or event.tagged or depth > MAX_DEPTH + 1:
        raise impossible("the change does not fit into this text")
    at = (event.start, event.end, event.line, event.column)
    if event.kind == "scalar":
        return Node("scalar", event.value, *at, event.style)
    made: list[Any] = []
    while (inner := next(found)).kind != "end":
        node = _node(inner, found, depth + 1)
        made.append(node if event.kind == "list" else (node, _node(next(found), found, depth + 1)))
    kind = "sequence" if event.kind == "list" else "mapping"
    return Node(kind, made, event.start, inner.end, event.line, event.column, None, event.flow)


def is_map(node: Any) -> bool:
    return node.id == "mapping"


def is_empty(node: Any) -> bool:
    """Whether it is a value that is not written at all."""
    return node.id == "scalar" and node.style is None and node.value == ""


def child(node: Any, row: int) -> Any:
    return node.value[row][1] if is_map(node) else node.value[row]


def children(node: Any) -> list[Any]:
    return [child(node, row) for row in range(len(node.value))] if node.id != "scalar" else []


def keys_of(node: Any) -> dict[str, int]:
    """The keys of a map and their rows."""
    return {key.value: row for row, (key, _) in enumerate(node.value)}


def plain(node: Any) -> Any:
    """The value of a node, as far as two can be told apart by it."""
    if node.id == "sequence":
        return [plain(each) for each in node.value] or None
    if is_map(node):
        return {key.value: plain(value) for key, value in node.value} or None
    if node.style is not None:
        return node.value
    if node.value in _NULL:
        return None
    if node.value.lower() in ("true", "false", "yes", "no"):
        return node.value.lower() in ("true", "yes")
    return ("number", float(node.value)) if _NUMBER.fullmatch(node.value) else node.value
