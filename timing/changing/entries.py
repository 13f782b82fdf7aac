"""The entries of a plan as a page shows them: where each stands in the text, where it lies in the music, what of it can
be drawn, and its settings as a form."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from timing.changing.fields import FormField, fields_of
from timing.changing.spots import PageSpot
from timing.changing.standing import PlanItem, passes_of, standing
from timing.plan.edits import written
from timing.plan.entry import Entry
from timing.plan.kinds import Act
from timing.plan.position import Position, Range
from timing.plan.sound import Accent, Dynamic, Glissando, SecondTime, ToneChange
from timing.plan.strings import StringChoice
from timing.plan.time import Hold, Phrase, Rubato, Slowing, TempoMark
from timing.reading import Reading
from timing.where import Fault, Where

AFTER = ("breath", "caesura")  # they come when their place is over
_UNSAID = {"why", "inside", "pass", "name", "omit"}


@dataclass(frozen=True)
class ListedEntry:
    """An entry of the plan. `line` and `column` are where it begins (from 1), `last` the line on which it ends; `file`
    is the name of the older plan that it stands in, None if it is the plan's own. `spans` are where it is heard: the
    beginning and the end of each hearing. `handles` say what can be drawn: start, end, whole, depth, amount."""

    section: str
    line: int
    column: int
    last: int
    kind: str
    words: str
    file: str | None
    spans: tuple[tuple[PageSpot, PageSpot], ...]
    handles: tuple[str, ...]
    fields: tuple[FormField, ...]

    def as_json(self) -> dict[str, Any]:
        told = {key: getattr(self, key) for key in ("section", "line", "column", "last", "kind", "words", "file")}
        spans = [[start.as_json(), end.as_json()] for start, end in self.spans]
        fields = [field.as_json() for field in self.fields]
        own = {"own": self.file is None, "first": self.line}
        return {**told, **own, "spans": spans, "handles": list(self.handles), "fields": fields}


def entries(reading: Reading) -> list[ListedEntry]:
    """All that the plan says, section by section, in the order of its entries. Marks of the score are none of it."""
    return [_listed(each, reading) for each in standing(reading.plan)]


def _listed(each: PlanItem, reading: Reading) -> ListedEntry:
    place, source = each.place, each.source
    last = getattr(source, "last_line", None) or place.line or 1
    key = place_key(each.entry)
    return ListedEntry(
        each.section, place.line or 1, place.column or 1, max(last, place.line or 1), kind_word(each), in_words(each),
        None if each.own else place.file.name, tuple(_spans(each, key, reading.where)), _handles(each, key),
        tuple(fields_of(each, reading)),
    )  # fmt: skip


def place_key(entry: Any) -> str | None:
    """The key under which an entry says where it is, or begins; None where it is for the whole piece."""
    if isinstance(entry, Glissando):
        return "from" if entry.from_ is not None else None
    if not isinstance(entry, Entry):
        return None
    kinds = [entry.kind] if entry.KINDS and isinstance(entry.where, Position | Range) else []
    for key in (*kinds, "bars", "at", "over"):
        if key in entry.known() and isinstance(entry.value(key), Position | Range):
            return key
    return None


# -- in words


def kind_word(each: PlanItem) -> str:
    """What an entry is, in a word of the trade."""
    entry = each.entry
    if isinstance(entry, Dynamic) and entry.act is Act.STANDS:
        return "dynamic mark" if entry.mark is not None else "softer" if entry.softer is not None else "louder"
    if isinstance(entry, Entry) and entry.DOES:
        return entry.kind
    names: dict[Any, str] = {
        Phrase: "phrase", TempoMark: "tempo", ToneChange: "tone", SecondTime: "second time", Glissando: "slide",
        StringChoice: "strings", Accent: "accent",
    }  # fmt: skip
    if (name := names.get(type(entry))) is not None:
        return name
    return {"voices": "voice", "accept": "acceptance"}.get(each.section, each.section)


def in_words(each: PlanItem) -> str:
    """An entry as one reads it aloud, on one line."""
    source, entry = each.source, each.entry
    if not isinstance(source, dict) or not isinstance(entry, Entry):
        return ": ".join(filter(None, [each.name or each.section, _said(source)]))
    key = place_key(entry)
    where = "" if key is None else _said(source.get(key, ""))
    what, first = _what(each, source)
    if key in ("at", "over", "from"):
        where = f"{key} {where}"
    name = source.get("name")
    head = " ".join(filter(None, [what, where, f"({_said(name)})" if name is not None else ""]))
    known = {key, first, entry.kind if entry.KINDS else None, *_UNSAID}
    rest = [_setting(each_key, value) for each_key, value in source.items() if each_key not in known]
    if (passes := source.get("pass")) is not None:
        rest.append({"last": "the last time", "da capo": "after the da capo"}.get(str(passes), f"pass {passes}"))
    return ", ".join(filter(None, [head, *rest]))


def _what(each: PlanItem, source: dict[str, Any]) -> tuple[str, str | None]:
    """What an entry is, with the one setting that says it, and the key of that."""
    entry, kind = each.entry, kind_word(each)
    if isinstance(entry, Rubato):  # whose kind holds how much
        return f"{kind} {_said(source.get(kind))}", kind
    first = {"dynamic mark": "mark", "softer": "softer", "louder": "louder", "tone": "tone", "tempo": "tempo"}.get(kind)
    if first is None or first not in source:
        return kind, None
    said = _said(source[first])
    return (said if kind in ("dynamic mark", "tone") else f"{kind} {said}"), first


def _setting(key: str, value: Any) -> str:
    if value is True or str(value) == "yes":
        return key
    return _said(value) if key in ("mark", "tone", "code") else f"{key} {_said(value)}"


def _said(value: Any) -> str:
    if isinstance(value, dict):
        return ", ".join(f"{key} {_said(each)}" for key, each in value.items())
    if isinstance(value, list | tuple):
        return ", ".join(map(_said, value))
    return "" if value is None else value if isinstance(value, str) else written(value)


# -- where it lies, and what of it can be drawn


def _spans(each: PlanItem, key: str | None, where: Where) -> Iterator[tuple[PageSpot, PageSpot]]:
    """The beginning and the end of each hearing of an entry."""
    entry = each.entry
    if key is None or not isinstance(entry, Entry):
        return
    passes = entry.at_its_pass().passes if isinstance(entry, SecondTime) else passes_of(each)
    place, end = entry.value(key), entry.to if isinstance(entry, Glissando) else None
    try:
        if isinstance(place, Range):
            for run in where.runs(place, passes, entry.arrives):
                if run.complete or key not in entry.NEED_END:
                    yield _spot(where, run.first, run.start), _spot(where, run.last, run.end)
            return
        after = key in AFTER
        find = where.point if not after else where.instant if place.instant else where.end_point
        row, offset = find(place)
        heard = where.hearings(row)
        heard = heard[where.on_pass(passes)[heard]]
        goals = where.moments(end) if end is not None else None
        for ordinal in heard.tolist():
            start = _spot(where, ordinal, float(where.bars["start"][ordinal]) + offset)
            if goals is None:
                yield start, start
            else:
                later = goals[goals > where.bars["start"][ordinal] + offset]
                if len(later):
                    yield start, _spot(where, where.ordinal(float(later[0])), float(later[0]))
    except Fault:
        return


def _spot(where: Where, ordinal: int, quarter: float) -> PageSpot:
    bar = where.bars[ordinal]
    return PageSpot(int(bar["row"]), float(quarter - bar["start"]), int(bar["pass"]))


def _handles(each: PlanItem, key: str | None) -> tuple[str, ...]:
    entry = each.entry
    drawn: list[str] = []
    if key is not None and isinstance(entry, Entry):
        ranged = isinstance(entry.value(key), Range) or (isinstance(entry, Glissando) and entry.to is not None)
        drawn += ["start", "end", "whole"] if ranged else ["whole"]
    if isinstance(entry, Slowing) and entry.act is not Act.RETURNS:
        drawn.append("depth")
    if amount_key(entry) is not None:
        drawn.append("amount")
    return tuple(drawn)


def amount_key(entry: Any) -> str | None:
    """The key that says how much of an entry there is, where one number does; for slowdowns see `to`."""
    if isinstance(entry, Hold):
        return {Act.STRETCHES: "length", Act.SILENCES: "seconds", Act.DISPLACES: "by"}[entry.act]
    if isinstance(entry, Dynamic):
        if entry.act is not Act.STANDS:
            return "by"
        return "softer" if entry.softer is not None else "louder" if entry.louder is not None else None
    if isinstance(entry, SecondTime):
        return "softer" if entry.softer is not None else "louder" if entry.louder is not None else None
    return "by" if isinstance(entry, Accent) else "swell" if isinstance(entry, Glissando) else None
