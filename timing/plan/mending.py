"""Changes of a plan put into its text. Where nothing changes, the text stays as it is, to the letter.

First it is settled what changes, list by list and group by group; `timing.plan.layout` knows where that stands and cuts
the text. In the end the new text is read back: it must hold the old plan with these changes and nothing else.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from timing.plan import SECTIONS
from timing.plan.layout import Change, Item, Layout, is_single
from timing.plan.nodes import child, children, compose, impossible, is_empty, is_map, keys_of, plain
from timing.remarks import Edit, Place

_LISTS = (*SECTIONS, "tempo")  # what several entries can stand in
_MAY_BE_EMPTY = (*SECTIONS, "voices", "articulation")


def mend(text: str, edits: Iterable[Edit]) -> str:
    """The text of a plan with these changes, all of them together; their places are places in this text.

    An entry that stands at a place is changed setting by setting, so that what is the same in the new one keeps its
    place, its quotes and its comments. What is taken out goes with the comments that stand in it or behind it on its
    line, and what cannot be empty goes with the last of its values. A tempo without a place takes that of another one
    without a place, since both would hold from the beginning. The text must be one that can be read as a plan. CannotDo
    where nothing begins at a place, or where a change cannot be made without another one.
    """
    changes = _Changes(Layout(text))
    for edit in edits:
        changes.take(edit)
    changes.tidy()
    made = changes.layout.changed(changes.by_node.values(), changes.sections)
    if plain(compose(made)) != changes.meant(changes.root):
        raise impossible("the change would reach further than it should")
    return made


class _Changes:
    """What changes in a plan."""

    def __init__(self, layout: Layout):
        self.layout, self.root = layout, layout.root
        self.by_node: dict[int, Change] = {}
        self.sections: dict[str, list[Item]] = {}  # what comes into sections that are empty or not there yet
        if self.root is None or not is_map(self.root):
            raise impossible("this is no plan")

    def take(self, edit: Edit) -> None:
        """Take note of one change more."""
        if edit.place is None:
            self._add(edit.section, edit.entry or "")
            return
        parent, row = self._find(edit.section, edit.place)
        if edit.after:
            self._append(parent, row, Item.of(compose(edit.entry or ""), edit.entry or ""))
        elif edit.entry is None:
            self._of(parent).drop.add(row)
        else:
            self._put(parent, row, compose(edit.entry), edit.entry)

    def _of(self, node: Any) -> Change:
        return self.by_node.setdefault(id(node), Change(node))

    def _find(self, section: str, place: Place) -> tuple[Any, int]:
        """The list or map, and the row in it, of what begins at a place of a section."""
        row = keys_of(self.root).get(section)
        waiting = [(self.root, row)] if row is not None else []
        for parent, row in waiting:
            node = child(parent, row)
            begins = (node.line + 1, node.column + 1)
            if begins == (place.line, place.column) and not is_empty(node):
                return parent, row
            waiting += [(node, below) for below in range(len(children(node)))]
        raise impossible(f"no entry of '{section}' begins in line {place.line}, column {place.column}")

    # -- one in the place of another

    def _put(self, parent: Any, row: int, new: Any, source: str, key: str | None = None) -> None:
        """Put a value in the place of another one; in a map perhaps under another `key`."""
        old = child(parent, row)
        if is_map(old) and is_map(new) and key is None:
            self._put_keys(old, new, source)
        elif key is not None or not (_written_alike(old, new) or plain(old) == plain(new)):
            self._of(parent).put[row] = Item.of(new, source, key)

    def _put_keys(self, old: Any, new: Any, source: str) -> None:
        """Change a map setting by setting; a key that comes stands in the place of one that goes, if there is one."""
        rows, wanted = keys_of(old), keys_of(new)
        fresh, gone = [key for key in wanted if key not in rows], [key for key in rows if key not in wanted]
        instead = {key: rows[other] for key, other in zip(fresh, gone, strict=False)}
        self._of(old).drop |= {rows[key] for key in gone[len(fresh) :]}
        last = len(old.value) - 1
        for key, value in ((key.value, value) for key, value in new.value):
            if key in rows:
                last = rows[key]
                self._put(old, last, value, source)
            elif key in instead:
                last = instead[key]
                self._put(old, last, value, source, key)
            else:
                self._append(old, last, Item.of(value, source, key))

    # -- one more

    def _append(self, node: Any, row: int, item: Item) -> None:
        self._of(node).add.setdefault(row, []).append(item)

    def _add(self, section: str, entry: str) -> None:
        """Add an entry to a section, after its last one."""
        new, row = compose(entry), keys_of(self.root).get(section)
        item = Item.of(new, entry)
        if row is None or is_empty(old := child(self.root, row)):
            self.sections.setdefault(section, []).append(item)
        elif section == "tempo" and (first := self._without_place(new, row)) is not None:
            self._put(*first, new, entry)
        elif section in _LISTS and old.id == "sequence":
            self._append(old, len(old.value) - 1, item)
        elif section in _LISTS:
            self._make_list(row, old, item)
        elif is_map(old) and is_map(new):
            self._add_keys(old, new, entry)
        else:
            self._put(self.root, row, new, entry)

    def _without_place(self, new: Any, row: int) -> tuple[Any, int] | None:
        """Where the tempo stands that holds from the beginning, if the new one does so too."""
        old = child(self.root, row)
        rows = [(old, n) for n in range(len(old.value))] if old.id == "sequence" else [(self.root, row)]
        found = [(node, n) for node, n in rows if _holds_from_the_beginning(child(node, n))]
        return found[0] if found and _holds_from_the_beginning(new) else None

    def _add_keys(self, old: Any, new: Any, source: str) -> None:
        """Add settings to a map, or change them where it has them already."""
        for key, value in ((key.value, value) for key, value in new.value):
            if (row := keys_of(old).get(key)) is not None:
                self._put(old, row, value, source)
            else:
                self._append(old, len(old.value) - 1, Item.of(value, source, key))

    def _make_list(self, row: int, old: Any, item: Item) -> None:
        """Put a section's single value and the entry that comes to it into a list."""
        earlier = self._of(self.root).put.get(row)
        if earlier is not None:
            texts, values = [earlier.text[1:-1]], earlier.value
        elif plain(old) is None:
            texts, values = [], []
        elif old.id == "scalar" or old.flow_style:
            first = Item.of(old, self.layout.text)
            texts, values = [first.text], [first.value]
        else:
            raise impossible("this section is no list")
        self._of(self.root).put[row] = Item(f"[{', '.join([*texts, item.text])}]", [*values, item.value])

    # -- what is left

    def tidy(self) -> None:
        """Take out lists and groups of which nothing is left, with their keys: only sections may be empty."""
        waiting = [(self.root, row) for row in range(len(self.root.value))]
        for parent, row in waiting:  # those inside come after those that they are in
            node = child(parent, row)
            waiting += [(node, below) for below in range(len(children(node)))]
        for parent, row in reversed(waiting):
            change = self.by_node.get(id(child(parent, row)))
            if change is None or not change.empties or change.add or change.put:
                continue
            if parent is not self.root or self.root.value[row][0].value not in _MAY_BE_EMPTY:
                del self.by_node[id(change.node)]
                self._of(parent).drop.add(row)

    # -- what comes of it

    def meant(self, node: Any) -> Any:
        """The value that a node has when all is done."""
        if node.id == "scalar":
            return plain(node)
        change = self.by_node.get(id(node), Change(node))
        pairs = [(item.key, item.value) for item in change.add.get(-1, ())]
        for row in range(len(node.value)):
            key = node.value[row][0].value if is_map(node) else None
            if (item := change.put.get(row)) is not None:
                pairs.append((item.key or key, item.value))
            elif row not in change.drop:
                pairs.append((key, self.meant(child(node, row))))
            pairs += [(item.key, item.value) for item in change.add.get(row, ())]
        if node is self.root:
            pairs += [(section, self._value(section, items)) for section, items in self.sections.items()]
        return (dict(pairs) if is_map(node) else [value for _, value in pairs]) or None

    @staticmethod
    def _value(section: str, items: list[Item]) -> Any:
        values = [item.value for item in items]
        return values[0] if is_single(section, items) else values


def _written_alike(old: Any, new: Any) -> bool:
    """Whether two values are one word, one of them perhaps in quotes."""
    return old.id == new.id == "scalar" and old.value == new.value != ""


def _holds_from_the_beginning(tempo: Any) -> bool:
    """Whether a tempo has no place."""
    return tempo.id == "scalar" or (is_map(tempo) and not {"at", "over"} & keys_of(tempo).keys())
