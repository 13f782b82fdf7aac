"""An end of an entry drawn to another place, or the whole of it. Phrases that share a boundary move together."""

from __future__ import annotations

from typing import Any

from timing.changing.asked import MoveEnd
from timing.changing.boundaries import move_boundaries
from timing.changing.entries import AFTER, place_key
from timing.changing.settings import changed_entry
from timing.changing.spots import PageMap, cannot
from timing.changing.standing import PlanItem, find
from timing.plan.entry import Entry
from timing.plan.position import Position, Range
from timing.plan.sound import Glissando
from timing.plan.time import Phrase
from timing.reading import Reading
from timing.remarks import Edit
from timing.where.naming import BarPlace


def move(reading: Reading, asked: MoveEnd) -> list[Edit]:
    """The changes that draw an end of an entry to another place."""
    each, page = find(reading.plan, asked.target), PageMap(reading.where)
    to, entry = page.place(asked.to), each.entry
    key = place_key(entry)
    if key is None or not isinstance(entry, Entry):
        raise cannot("this holds for the whole piece: it has no place that could be moved")
    if isinstance(entry, Phrase):
        return move_boundaries(reading, each, *moved_ends(page, entry, "bars", asked.end, to))
    if isinstance(entry, Glissando):
        return [changed_entry(reading, each, _moved_slide(page, entry, asked.end, to))]
    where = entry.value(key)
    if isinstance(where, Range):
        start, end = moved_ends(page, entry, key, asked.end, to)
        if entry.arrives and asked.end == "end" and to[1] == 0:
            end = to  # on the first beat of a bar, not when the one before is over
        return [changed_entry(reading, each, {key: page.range_text(start, end, entry.arrives, where)})]
    if key in AFTER:
        return [changed_entry(reading, each, {key: _after(each, page.after_text(to, where))})]
    return [changed_entry(reading, each, {key: page.at_text(to, where)})]


def moved_ends(page: PageMap, entry: Entry, key: str, end: str, to: BarPlace) -> tuple[BarPlace, BarPlace]:
    """Where a range begins and ends once its start, its end or the whole of it is drawn to a place. CannotDo where
    nothing would lie between them."""
    old_start, old_end = page.where.both_ends(entry.value(key), entry.arrives)
    start, finish = page.quarter(old_start), page.quarter(old_end)
    new = page.quarter(to)
    if end == "whole":
        start, finish = new, new + finish - start
    else:
        start, finish = (new, finish) if end == "start" else (start, new)
    if finish - start < 1e-5:
        raise cannot("the beginning and the end would pass each other: nothing is left between")
    return page.begins(start), page.ends(finish)


def _after(each: PlanItem, text: str) -> str:
    """`after 16:3`, or plain, as the entry has it."""
    source: Any = each.source
    said = next((str(source[key]) for key in AFTER if key in source), "after ")
    return f"after {text}" if said.strip().startswith("after") else text


def _moved_slide(page: PageMap, entry: Glissando, end: str, to: BarPlace) -> dict[str, str]:
    """The note from which a slide leaves, or its goal; the whole slide moves by where it leaves."""
    text = page.at_text(to, entry.from_ if end != "end" else entry.to)
    if end == "end":
        if entry.to is None:
            raise cannot("this slide ends where the score's slide line does: say where it goes 'to'")
        return {"to": text}
    if end == "start" or entry.to is None:
        return {"from": text}
    assert isinstance(entry.from_, Position)
    far = page.quarter(page.where.point(entry.to)) - page.quarter(page.where.point(entry.from_))
    goal = page.begins(page.quarter(to) + far)
    return {"from": text, "to": page.at_text(goal, entry.to)}
