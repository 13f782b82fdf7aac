"""Settings of an entry changed in a form, and how much of it drawn: the changes of the plan that this means."""

from __future__ import annotations

import re
from typing import Any

from timing.changing.asked import SetAmount, SetDepth, SetKeys, Value
from timing.changing.checks import check_entry, check_left_out
from timing.changing.entries import amount_key
from timing.changing.fields import KIND, path_of
from timing.changing.spots import cannot
from timing.changing.standing import PlanItem, find
from timing.plan.edits import anew, written
from timing.plan.entry import Entry, Words
from timing.plan.kinds import Act
from timing.plan.notation import Form
from timing.plan.planfile import RIVALS
from timing.plan.position import shown
from timing.plan.sound import Dynamic, SecondTime
from timing.plan.time import Slowing
from timing.reading import Reading
from timing.remarks import Edit

_NUMBERS = ("number", "whole number", "seconds", "tempo")
_NUMBER = re.compile(r"-?\d{1,9}(\.\d{1,9})?", re.ASCII)


def set_keys(reading: Reading, asked: SetKeys) -> list[Edit]:
    """The changes that give an entry these settings."""
    each = find(reading.plan, asked.target)
    if each.entry is None:
        return [_setting(each, asked.keys)]
    return [changed_entry(reading, each, asked.keys)]


def set_depth(reading: Reading, asked: SetDepth) -> list[Edit]:
    """The change that lets a slowdown come to this pace."""
    each = find(reading.plan, asked.target)
    if not isinstance(each.entry, Slowing) or each.entry.act is Act.RETURNS:
        raise cannot("only a slowdown has a depth")
    slows = each.entry.act is Act.SLOWS
    if slows and asked.to >= 1:
        raise cannot(f"a {each.entry.kind} slows down: its pace is below 100%")
    return [changed_entry(reading, each, {"to": f"{round(100 * asked.to, 1):g}%"})]


def set_amount(reading: Reading, asked: SetAmount) -> list[Edit]:
    """The change that gives an entry this amount: a length as a factor, seconds, or dB."""
    each = find(reading.plan, asked.target)
    key = amount_key(each.entry)
    if key is None:
        raise cannot("there is no amount in this entry that could be drawn")
    return [changed_entry(reading, each, _amount(each.entry, key, asked.to))]


def _amount(entry: Words | None, key: str, to: float) -> dict[str, Value | None]:
    if key == "length":
        return {key: f"{round(100 * to, 1):g}%"}
    if key == "seconds":
        return {key: round(to, 3)}
    if isinstance(entry, Entry) and entry.DOES and entry.act is Act.DISPLACES:
        return {key: f"{round(1000 * to):g} ms"}
    if isinstance(entry, Dynamic) and entry.act is not Act.STANDS and to < 0:
        return {KIND: "diminuendo" if entry.act is Act.SWELLS else "crescendo", key: decibels(-to)}
    if isinstance(entry, Dynamic | SecondTime) and key in ("softer", "louder") and to < 0:
        return {"louder" if key == "softer" else "softer": decibels(-to)}
    return {key: decibels(to)}


def decibels(value: float) -> str:
    """dB as a plan writes them."""
    return f"{round(value, 1) + 0:g} dB"


# -- one entry anew


def changed_entry(reading: Reading, each: PlanItem, keys: dict[str, Any]) -> Edit:
    """The change that gives an entry these settings, each by its name in a form; None leaves one out. A setting that
    excludes another takes its place, and a voice or an arch of which nothing is left goes. CannotDo says what is wrong
    with them."""
    entry, source = each.entry, each.source or {}
    assert entry is not None
    changes: dict[str, Any] = {}
    for name, value in keys.items():
        if name == KIND:
            changes |= _another_kind(entry, source, value)
            continue
        path, form = path_of(type(entry), name)
        if path[0] not in entry.known():
            raise cannot(f"{shown(name)} is no setting of this entry")
        value = _as_written(name, form, value)
        if len(path) == 1:
            changes[path[0]] = value
            continue
        group = dict(_group(changes.get(path[0], source.get(path[0]))))
        group = group | {path[1]: value}
        changes[path[0]] = {key: each for key, each in group.items() if each is not None} or None
    for key in [key for key, value in changes.items() if value is not None]:
        rivals = set().union(*(some for some in RIVALS if key in some)) - {key}
        changes |= {rival: None for rival in rivals & source.keys() if rival not in changes}
    changes = {key: value for key, value in changes.items() if value is not None or key in source}
    if "name" in changes:
        check_left_out(reading, each)
    check_entry(reading, each, {key: value for key, value in {**source, **changes}.items() if value is not None})
    return anew(each.section, entry, changes)


def _as_written(key: str, form: Form | None, value: Any) -> Any:
    """A value in its place: a number without quotes; where a plan can have several, those between commas."""
    if not isinstance(value, str):
        return value
    if key == "meets":
        return [each.strip() for each in value.split(",") if each.strip()]
    if form is not None and form.kind in _NUMBERS and _NUMBER.fullmatch(value):
        return float(value) if "." in value else int(value)
    return value


def _group(value: Any) -> dict[str, Any]:
    """An arch setting by setting, also where it is written in short."""
    if isinstance(value, dict):
        return value
    if value is True or str(value).strip().lower() == "yes":
        return {"pace": True, "level": True}
    return {} if value is None or value is False or str(value).strip().lower() == "no" else {"pace": value}


def _another_kind(entry: Words, source: dict[str, Any], kind: object) -> dict[str, Any]:
    if not isinstance(entry, Entry) or not entry.KINDS or entry.kind not in source:
        raise cannot("an entry of this sort has one kind alone")
    if kind is None:
        raise cannot(f"an entry is of some kind: {', '.join(entry.KINDS)}")
    if kind not in entry.KINDS:
        raise cannot(f"{shown(kind)} is none of {', '.join(entry.KINDS)}")
    return {} if kind == entry.kind else {str(kind): source[entry.kind], entry.kind: None}


def _setting(each: PlanItem, keys: dict[str, Value | None]) -> Edit:
    """A setting of the whole piece, by its own name."""
    if keys.keys() != {each.section}:
        raise cannot(f"of {shown(each.section)} only itself can be changed")
    value = keys[each.section]
    if value is not None and isinstance(each.source, dict | list) and each.section != "order":
        raise cannot(f"{shown(each.section)} says something of each part: change it in the text")
    return Edit(each.section, None if value is None else written(value), each.place)
