"""The text of a plan as it lies on the page: where its values begin and end, and how it is cut where they change.

Cuts are made at the YAML reader's own marks and at line ends, so that all else stays to the letter: comments, order,
quotes, blank lines, line ends.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from timing.plan import SECTIONS
from timing.plan.nodes import child, children, document, impossible, is_empty, is_map, keys_of, plain
from timing.plan.yamltext import LINE_BREAK

_LAST_BREAK = re.compile(rf"({LINE_BREAK.pattern})\Z")
_SPACES = re.compile(r"[ \t]*")
_BETWEEN = re.compile(rf"(?:[ \t]|#[^\n\r\x85\u2028\u2029]*|{LINE_BREAK.pattern})*")  # spaces, comments, line ends


# -- what changes


@dataclass(frozen=True)
class Item:
    """A new value (with its key, in a map), as it is written and as it is meant."""

    text: str
    value: Any
    key: str | None = None

    @classmethod
    def of(cls, node: Any, source: str, key: str | None = None) -> Item:
        return cls(source[node.start : node.end], plain(node), key)

    @property
    def pair(self) -> str:
        return self.text if self.key is None else f"{self.key}: {self.text}"


@dataclass
class Change:
    """What changes in one list or map."""

    node: Any
    put: dict[int, Item] = field(default_factory=dict)  # by row
    drop: set[int] = field(default_factory=set)
    add: dict[int, list[Item]] = field(default_factory=dict)  # by the row after which they stand; -1: it was empty

    @property
    def empties(self) -> bool:
        """Whether nothing is left of what was in it."""
        return self.drop.issuperset(range(len(self.node.value)))


def is_single(section: str, items: list[Item]) -> bool:
    """Whether a section that is new or was empty is written as one value."""
    return section not in SECTIONS and len(items) == 1


# -- where it stands


class Layout:
    """A plan's text and its nodes (`root`)."""

    def __init__(self, text: str):
        self.text = text
        self.root, self._over = document(text)
        breaks = list(LINE_BREAK.finditer(text))
        self._lines = [0, *(found.end() for found in breaks)]
        self._newline = breaks[0].group() if breaks else "\n"
        self._cuts: list[tuple[int, int, str]] = []

    def changed(self, changes: Iterable[Change], sections: dict[str, list[Item]]) -> str:
        """The text with these changes, and with entries in `sections` that are empty or not there yet."""
        self._cuts = []
        for change in changes:
            if change.node.flow_style:
                self._cut_flow(change)
            else:
                self._cut_block(change)
        for section, items in sections.items():
            self._write_section(section, items)
        return self._joined()

    def _joined(self) -> str:
        """What the cuts leave, with what is new in their places. New lines begin on a line of their own."""
        made, at = "", 0
        for start, end, new in sorted(self._cuts, key=lambda cut: cut[:2]):
            if start < at and new:
                raise impossible("two changes meet at one place")
            made += self.text[at:start]
            if new.endswith(self._newline) and made and not _LAST_BREAK.search(made):
                made += self._newline
            made, at = made + new, max(at, end)
        made += self.text[at:]
        return made if self._lines[-1] == len(self.text) else _LAST_BREAK.sub("", made)  # as before

    # -- ends and lines

    def _sign(self, after: int) -> int:
        """Where the first letter after this index stands that is neither space nor comment: a comma, colon or dash."""
        found = _BETWEEN.match(self.text, after)
        return found.end() if found else after

    def _comma(self, node: Any, row: int) -> int | None:
        """The comma after a value, if there is one."""
        comma = self._sign(self._end(node, row))
        return comma if self.text.startswith(",", comma) else None

    def _colon(self, node: Any, row: int) -> int:
        """The colon after a key."""
        return self._sign(node.value[row][0].end)

    def _dash_before(self, node: Any, row: int) -> int:
        """The dash before a list's entry."""
        return node.start if row == 0 else self._sign(self._end(node, row - 1))

    def _start(self, node: Any, row: int) -> int:
        """Where a value with its key, or a list's entry without its dash, begins."""
        return (node.value[row][0] if is_map(node) else node.value[row]).start

    def _end(self, node: Any, row: int) -> int:
        """Where the value in this row is over, without the blank lines and comments after it."""
        value = child(node, row)
        return self._colon(node, row) + 1 if is_map(node) and is_empty(value) else self._end_of(value)

    def _end_of(self, node: Any) -> int:
        start, end = node.start, node.end
        if node.id != "scalar":
            return end if node.flow_style else self._end(node, len(node.value) - 1)
        return start + len(self.text[start:end].rstrip()) if node.style in ("|", ">") else end

    def _line(self, index: int) -> int:
        """Where the line that holds this index begins."""
        return self._lines[bisect_right(self._lines, index) - 1]

    def _next_line(self, index: int) -> int:
        row = bisect_right(self._lines, index)
        return self._lines[row] if row < len(self._lines) else len(self.text)

    def _has_own_lines(self, node: Any, row: int) -> bool:
        """Whether a value in brackets stands on lines of its own, with at most a comma and a comment behind it."""
        start, end = self._start(node, row), self._end(node, row)
        before, over = self.text[self._line(start) : start], LINE_BREAK.search(self.text, end)
        if before.strip() or over is None or over.end() >= node.end:
            return False
        behind = self.text[end : over.start()].strip().removeprefix(",").strip()
        return not behind or behind.startswith("#")

    def _insert_lines(self, after: int, lines: list[str]) -> None:
        """Put lines below the one in which the text before this index ends."""
        self._put_lines(self._next_line(after - 1), lines)

    def _put_lines(self, at: int, lines: list[str]) -> None:
        """Put lines before the one that begins here, or at the end of the text."""
        self._cuts.append((at, at, "".join(line + self._newline for line in lines)))

    def _take_lines(self, start: int, end: int) -> None:
        """Take out the lines from the one that holds `start` to the one in which the text before `end` ends."""
        self._cuts.append((self._line(start), self._next_line(end - 1), ""))

    # -- values in place of others

    def _replace(self, node: Any, row: int, item: Item) -> None:
        value = child(node, row)
        if item.key is not None:
            key = node.value[row][0]
            self._cuts.append((key.start, key.end, item.key))
        start, end, text = value.start, self._end(node, row), item.text
        if is_map(node) and (is_empty(value) or (value.id != "scalar" and not value.flow_style)):
            after = self._colon(node, row) + 1
            if is_empty(value) or not self.text[after:start].strip():  # it begins on the line of its key
                start, text = after, f" {text}"
        self._cuts.append((start, end, text))

    # -- a list with dashes, settings on lines of their own

    def _cut_block(self, change: Change) -> None:
        node = change.node
        for row, item in change.put.items():
            self._replace(node, row, item)
        for row in change.drop:
            start = self._start(node, row) if is_map(node) else self._dash_before(node, row)
            if self.text[self._line(start) : start].strip():
                self._take_first(node, row, change)
            else:
                self._take_lines(start, self._end(node, row))
        indent = " " * node.column
        dash = "" if is_map(node) else self._dash(node)
        for row, items in change.add.items():
            self._insert_lines(self._end(node, row), [f"{indent}{dash}{item.pair}" for item in items])

    def _take_first(self, node: Any, row: int, change: Change) -> None:
        """Take out the setting that stands behind a dash: the next one moves there."""
        following = row + 1
        if following in change.drop or following >= len(node.value):
            raise impossible("the entry would lose its beginning")
        start, onward = self._start(node, row), self._start(node, following)
        if self.text[self._end(node, row) : onward].strip():
            raise impossible("a comment stands in between")
        self._cuts.append((start, onward, ""))

    def _dash(self, node: Any) -> str:
        """The dash and the space after it, as at the list's first entry."""
        between = self.text[node.start : self._start(node, 0)]
        return between if between.strip() == "-" and not LINE_BREAK.search(between) else "- "

    # -- a list in brackets, settings in braces

    def _cut_flow(self, change: Change) -> None:
        node = change.node
        for row, item in change.put.items():
            self._replace(node, row, item)
        for row in change.drop:
            self._take_item(node, row, change)
        for row, items in change.add.items():
            texts = [item.pair for item in items]
            if change.empties:
                at = self._end(node, row) if row >= 0 else node.start + 1
                self._cuts.append((at, at, ", ".join(texts)))
            elif self._has_own_lines(node, row):
                self._insert_own_lines(node, row, texts)
            else:
                at = self._end(node, row)
                self._cuts.append((at, at, "".join(f", {text}" for text in texts)))

    def _take_item(self, node: Any, row: int, change: Change) -> None:
        start, end, comma = self._start(node, row), self._end(node, row), self._comma(node, row)
        if self._has_own_lines(node, row):
            self._take_lines(start, end)
        elif comma is None:
            kept = max((r for r in range(row) if r not in change.drop), default=None)
            if kept is not None and (before := self._comma(node, kept)) is not None:
                self._cuts.append((before, min(self._past_spaces(before + 1), start), ""))
            self._cuts.append((start, end, ""))
        elif self.text[end:comma].strip():
            raise impossible("a comment stands in between")
        else:
            self._cuts.append((start, self._past_spaces(comma + 1), ""))

    def _past_spaces(self, index: int) -> int:
        """Where what follows begins; a comment keeps the space before it."""
        found = _SPACES.match(self.text, index)
        end = found.end() if found else index
        return index if self.text.startswith("#", end) else end

    def _insert_own_lines(self, node: Any, row: int, texts: list[str]) -> None:
        """Put values below another one, each on a line of its own as that one."""
        start, end = self._start(node, row), self._end(node, row)
        indent, ends = self.text[self._line(start) : start], [","] * len(texts)
        if self._comma(node, row) is None:
            self._cuts.append((end, end, ","))
            ends[-1] = ""
        self._insert_lines(end, [indent + text + comma for text, comma in zip(texts, ends, strict=True)])

    # -- sections

    def _write_section(self, section: str, items: list[Item]) -> None:
        """Write a section that is empty or not there yet."""
        row, texts = keys_of(self.root).get(section), [item.text for item in items]
        single = is_single(section, items)
        if single or self.root.flow_style:
            text = texts[0] if single else f"[{', '.join(texts)}]"
            if row is not None:
                self._replace(self.root, row, Item(text, None))
            elif self.root.flow_style:
                self._cut_flow(Change(self.root, add={len(self.root.value) - 1: [Item(text, None, section)]}))
            else:
                self._append_lines([f"{section}: {text}"])
            return
        lines = [f"{self._list_indent()}- {text}" for text in texts]
        if row is not None:
            self._insert_lines(self._end(self.root, row), lines)
        else:
            self._append_lines([f"{section}:", *lines])

    def _list_indent(self) -> str:
        """The indentation of the lists in this plan."""
        lists = [node for node in children(self.root) if node.id == "sequence" and not node.flow_style]
        return " " * (lists[0].column if lists else self.root.column + 2)

    def _append_lines(self, lines: list[str]) -> None:
        """Put lines at the end of the plan, after a blank one; where the last line has no break, it has none again."""
        at = self._over
        blank = [""] if self.text[self._line(at - 1) : at].strip() else []
        indent = " " * self.root.column
        self._put_lines(at, [*blank, indent + lines[0], *lines[1:]])
