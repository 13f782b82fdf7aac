"""Changes of a plan, written as the plan has them."""

from __future__ import annotations

import json
import re
from typing import Any

from timing.plan.entry import Entry, Words
from timing.plan.sound import Accent, Dynamic, Glissando, SecondTime, ToneChange
from timing.plan.strings import StringChoice
from timing.plan.time import Hold, Phrase, Rubato, Slowing, TempoMark
from timing.remarks import Edit

_SECTIONS = {
    Phrase: "phrases", TempoMark: "tempo", Slowing: "slowing", Rubato: "rubato", Hold: "holds",
    Dynamic: "dynamics", Accent: "accents",
    ToneChange: "tone", SecondTime: "second time", Glissando: "glissandi", StringChoice: "strings",
}  # fmt: skip


def replaced(entry: Entry, changes: dict[str, Any]) -> Edit:
    """The change that puts `entry` into the plan anew, with these keys changed (None: left out)."""
    return anew(_SECTIONS[type(entry)], entry, changes)


def anew(section: str, group: Words, changes: dict[str, Any]) -> Edit:
    """The change that puts an entry or another group of settings into its section anew, with these keys changed (None:
    left out); where no key is left it goes itself.

    All other keys stay as they are written and in their order; new ones stand before `why`. What the plan writes as one
    value alone (the 1-4 of `inside: [1-4, 5-8]`) is one again, if no other key is needed.
    """
    source, place = group.source or {}, group.place()
    keys = dict(source) | changes
    if "why" in keys and changes.keys() - source.keys():
        keys["why"] = keys.pop("why")
    keys = {key: value for key, value in keys.items() if value is not None}
    if not keys:
        return Edit(section, None, place)
    (only, *others) = keys
    alone = not others and getattr(source, "places", {}).get(only) == place is not None
    return Edit(section, written(keys[only] if alone else keys), place)


def added(section: str, entry: dict[str, Any] | str) -> Edit:
    """The change that adds an entry (or the value of a section that is one value) to a plan."""
    return Edit(section, written(entry))


def shown_edit(edit: Edit) -> str:
    """A change as the musician reads it: the entry, with its section where that may be new to the plan."""
    if edit.place is not None or edit.entry is None:
        return edit.entry or "leave it out"
    return f"{edit.section}: {f'[{edit.entry}]' if edit.entry.startswith('{') else edit.entry}"


def shown(fix: tuple[Edit, ...]) -> str:
    """Changes as the musician reads them; what is added to one section stands in one list."""
    lists: dict[str, list[str]] = {}
    for edit in fix:
        if edit.place is None and edit.entry is not None and edit.entry.startswith("{"):
            lists.setdefault(edit.section, []).append(edit.entry)
    words = [shown_edit(edit) for edit in fix if edit.entry not in lists.get(edit.section, ())]
    return ", ".join([*words, *(f"{section}: [{', '.join(entries)}]" for section, entries in lists.items())])


# What YAML would read otherwise, if it stood without quotes between braces.
_NEEDS_QUOTES = re.compile(
    r"""[?:,\[\]{}\#&*!|>'"%@`].* | -(\s.*)? | \s.* | .*\s | .*[,\[\]{}\n].* | .*:(\s.*)? | .*\s\#.* |
    ~? | true | false | null | (?!(0|[1-9]\d*)$)[+-]?[\d.]+(e[+-]?\d+)?""",
    re.VERBOSE | re.IGNORECASE | re.DOTALL,
)


def written(value: Any) -> str:
    """A value as a plan writes it on one line: an entry in braces, a list in brackets, a text in quotes if it must."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key}: {written(each)}" for key, each in value.items()) + "}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(written, value)) + "]"
    if isinstance(value, bool):
        return "yes" if value else "no"
    text = str(value)
    quoted = isinstance(value, str) and _NEEDS_QUOTES.fullmatch(text)
    return json.dumps(text, ensure_ascii=False) if quoted else text
