"""What plans say differently of the same music, in their own words.

Entries are compared as they are heard: one hearing is an entry at one place on one pass. Two hearings are the same
entry if they are of one section, kind and voice and lie at one place of the score; if none do, those that end
together, and then those that begin together, are taken for two versions of one. Nothing here knows any section by its
name but the few that mean more than they say, so that what a plan learns to say is compared as well.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

from timing.comparing.alignment import Alignment
from timing.plan import Plan
from timing.plan.entry import Entry, Words
from timing.plan.position import Position, Range
from timing.plan.sound import SecondTime
from timing.plan.time import Phrase
from timing.reading import Reading
from timing.where import Fault, Where

# What does not change how the music is played; how the order of the bars differs is found in the order itself.
_NOT_PLAYED = {"title", "based on", "without", "score", "order", "repeats after da capo", "accept"}
_NOT_COMPARED = {"pass", "why", "omit", "for", "inside", "name"}  # of an entry
_PLACES = ("at", "bars", "over", "from")  # kinds of entry that say where, not what
_NOTHING = (None, None)  # the value and the words of what a plan does not say
LEFT_OUT, AS_USUAL = "left out", "as usual"


@dataclass(frozen=True)
class Difference:
    """Something that the plans say differently: of some bars on these passes, or (bars None) of the piece."""

    section: str  # its key in the plan, as in "second time"
    kind: str | None  # "rallentando"; for a setting its key; None where the section says it all
    voice: str | None  # whom it is `for`; None: all
    bars: str | None  # as the first plan that has it writes them
    passes: tuple[int, ...]
    words: tuple[str | None, ...]  # for each reading what its plan says; None: it has no such thing there
    plays: tuple[bool, ...]  # whether each reading plays this place at all


class _Version:
    """An entry of one plan, looked at once: its kind, voice, place and settings."""

    def __init__(self, reading: int, section: str, entry: Entry):
        self.reading, self.section = reading, section
        self.entry = entry.at_its_pass() if isinstance(entry, SecondTime) else entry
        raw, values = entry.source or {}, _values(entry)
        kind = entry.kind if entry.KINDS else None
        self.kind = None if kind in _PLACES else kind
        voice = values.get("for")
        self.voice = voice and " ".join(voice.lower().split())
        same = entry.does.same if kind in entry.DOES else None
        self.what = section, same or self.kind, self.voice
        # its place stands under its kind, or under the first key that holds one
        keys = [*([kind] if kind else []), *values]
        self.key = next((key for key in keys if isinstance(values[key], Position | Range)), None)
        self.where: Any = None if self.key is None else values[self.key]
        self.needs_end = self.key in entry.NEED_END
        self.place = None if self.key is None else " ".join(str(raw.get(self.key, self.where)).split())
        self.settings = _settings(values, raw, self.key)
        shape = {path: value for path, (value, _) in self.settings.items()}
        self.fingerprint = f"{shape} {values.get('name')}"  # tells apart entries at one place

    def in_words(self, paths: list[tuple[str, ...]], moved: bool) -> str:
        """What it says under these paths of keys; where it lies, if that is not the same for all (`moved`)."""
        said = [self.place] if moved and self.place else []
        for path in paths:
            words = self.settings.get(path, _NOTHING)[1]
            if words is not None:
                goes_without = path[-1] in (self.section, "mark", self.kind)  # sul tasto, mf, 10%
                said.append(_said(words) if goes_without else f"{path[-1]} {_said(words)}")
        left_out = ", ".join(f"{path[-1]} {LEFT_OUT}" for path in paths)
        return ", ".join(said) or left_out or self.kind or AS_USUAL


@dataclass(frozen=True)
class _Heard:
    """An entry at one place on one pass."""

    version: _Version
    pass_: int | None = None
    rows: tuple[int, int] = (-1, -1)  # of the alignment, where it begins and where it ends; -1: everywhere
    row: int = -1  # the one that counts
    start: tuple[int, float] = (-1, 0.0)  # bar of the page, quarters after the bar line
    end: tuple[int, float] = (-1, 0.0)


def differences(readings: Sequence[Reading], alignment: Alignment) -> list[Difference]:
    """All that the plans say differently, section by section along the music; settings of the whole piece first."""
    plans = [reading.plan for reading in readings]
    settings: list[Difference] = []
    made: list[Difference] = []
    for name, field in Plan.model_fields.items():
        key = field.alias or name
        values = [getattr(plan, name) for plan in plans]
        if key in _NOT_PLAYED:
            continue
        if any(isinstance(each, Entry) for value in values if isinstance(value, tuple) for each in value):
            made += _of_section(key, values, readings, alignment)
        else:
            settings += _of_setting(key, values, plans)
    return settings + made


# -- settings of the whole piece


def _of_setting(key: str, values: list[Any], plans: list[Plan]) -> Iterator[Difference]:
    flat = [dict(_leaves(value, (plan.source or {}).get(key), ())) for value, plan in zip(values, plans, strict=True)]
    for path in dict.fromkeys(path for each in flat for path in each):
        found = [each.get(path, _NOTHING) for each in flat]
        words = tuple(None if said is None else _said(said) for _, said in found)
        if any(words) and any(value != found[0][0] for value, _ in found):
            yield Difference(key, " ".join(path) or None, None, None, (), words, (True,) * len(plans))


def _leaves(value: Any, raw: Any, path: tuple[str, ...]) -> Iterator[tuple[tuple[str, ...], tuple[Any, Any]]]:
    """Every single setting under its keys: its value, and the words for it (None: it is not said)."""
    if isinstance(value, Words):
        raw = value.source
        inner = [(field.alias or name, getattr(value, name)) for name, field in type(value).model_fields.items()]
    elif isinstance(value, dict):
        inner = list(value.items())
    else:
        yield path, (value, raw)
        return
    for key, each in inner:
        yield from _leaves(each, raw.get(key) if isinstance(raw, dict) else None, (*path, str(key)))


# -- entries


def _of_section(
    section: str, values: list[tuple[Entry, ...]], readings: Sequence[Reading], alignment: Alignment
) -> list[Difference]:
    heard: list[_Heard] = []
    for number, (entries, reading) in enumerate(zip(values, readings, strict=True)):
        for version in _versions(number, section, entries):
            heard += _hearings(version, reading, alignment)
    apart = sorted(_matched(heard, len(readings)), key=lambda group: min((h.row, h.start, h.end) for h in group))
    made: dict[tuple, Difference] = {}
    for group in apart:
        if (said := _difference(group, alignment)) is not None:
            key = (said.kind, said.voice, said.bars, said.words, said.plays)
            known = made.get(key)
            made[key] = said if known is None else replace(known, passes=tuple({*known.passes, *said.passes}))
    return [replace(each, passes=tuple(sorted(each.passes))) for each in made.values()]


def _versions(
    reading: int, section: str, entries: Sequence[Entry], passes: int | str | tuple[int, ...] | None = None
) -> Iterator[_Version]:
    """Entries and those inside them, which hold on the same pass; of phrases only those that shape something."""
    for entry in entries:
        if entry.passes is None and passes is not None:
            entry = entry.model_copy(update={"passes": passes})
        version = _Version(reading, section, entry)
        if not isinstance(entry, Phrase) or version.settings:  # a phrase without an arch only says where it is
            yield version
        if isinstance(entry, Phrase):
            yield from _versions(reading, section, entry.inside, entry.passes)


def _hearings(version: _Version, reading: Reading, alignment: Alignment) -> list[_Heard]:
    if version.key is None:
        return [_Heard(version)]
    where, place, passes = reading.where, version.where, version.entry.passes
    try:
        if isinstance(place, Position):
            start = end = where.point(place)
            spans = [(where.ordinal(moment),) * 2 for moment in where.moments(place, passes).tolist()]
        else:
            start, end = where.point(place.start), _printed_end(place.end, where)
            runs = where.runs(place, passes, version.entry.arrives)
            spans = [(run.first, run.last) for run in runs if run.complete or not version.needs_end]
    except Fault:
        return []  # what no score has is no part of a reading
    page, union = alignment.pages[version.reading], alignment.rows[version.reading]
    start, end = ((int(page[row]), round(float(offset), 6)) for row, offset in (start, end))
    made = []
    for first, last in spans:
        counts = last if version.needs_end else first
        rows, pass_ = (int(union[first]), int(union[last])), int(where.bars["pass"][counts])
        made.append(_Heard(version, pass_, rows, int(union[counts]), start, end))
    return made


def _printed_end(end: Position, where: Where) -> tuple[int, float]:
    """Bar row and offset at which a range is over."""
    return where.instant(end) if end.instant else where.end_point(end)


def _matched(heard: list[_Heard], readings: int) -> Iterator[list[_Heard]]:
    """Groups of hearings that are versions of one another, at most one of each of so many readings, in their order."""
    stages = (
        lambda h: (h.row, h.start, h.end, h.version.fingerprint),
        lambda h: (h.row, h.start, h.end),
        lambda h: (h.rows[1], h.end),
        lambda h: (h.rows[0], h.start),
    )
    groups = [{each.version.reading: each} for each in heard]
    for stage in stages:
        alike: dict[tuple, list[dict[int, _Heard]]] = defaultdict(list)
        for group in groups:
            first = group[min(group)]
            alike[(*first.version.what, stage(first))].append(group)
        merged = [group for some in alike.values() for group in _paired(some)]
        yield from (_in_order(group) for group in merged if len(group) == readings)
        groups = [group for group in merged if len(group) < readings]
    yield from map(_in_order, groups)


def _paired(groups: list[dict[int, _Heard]]) -> list[dict[int, _Heard]]:
    """Groups put together, each with the first one that has nothing of its readings."""
    made: list[dict[int, _Heard]] = []
    first: dict[frozenset[int], int] = defaultdict(int)  # by readings: before it no group is free for them
    for group in sorted(groups, key=lambda g: min((h.start, h.end) for h in g.values())):
        mine = frozenset(group)
        number = first[mine]
        while number < len(made) and made[number].keys() & mine:
            number += 1
        if number == len(made):
            made.append({})
        made[number].update(group)
        first[mine] = number + 1
    return made


def _in_order(group: dict[int, _Heard]) -> list[_Heard]:
    return [group[number] for number in sorted(group)]


def _difference(group: list[_Heard], alignment: Alignment) -> Difference | None:
    """What a group of hearings has to say; None if that is the same in all readings."""
    versions = {each.version.reading: each.version for each in group}
    first, everyone = versions[min(versions)], range(len(alignment.ordinals))
    settings = [version.settings for version in versions.values()]
    paths = list(dict.fromkeys(path for each in settings for path in each))
    moved = len({(each.start, each.end) for each in group}) > 1
    if len(group) == len(everyone):
        values = {path: [each.get(path, _NOTHING)[0] for each in settings] for path in paths}
        paths = [path for path in paths if any(value != values[path][0] for value in values[path])]
        if not paths and not moved:
            return None
    else:
        paths = [path for path in paths if any(each.get(path, _NOTHING)[1] is not None for each in settings)]
    words = tuple(versions[number].in_words(paths, moved) if number in versions else None for number in everyone)
    rows = [each.row for each in group]
    plays = tuple(min(rows) < 0 or bool((ordinal[rows] >= 0).any()) for ordinal in alignment.ordinals)
    heard = [each.pass_ for each in group if each.pass_ is not None]
    passes = () if first.key is None else (min(heard),)
    groups = {path[0] for path in paths if len(path) > 1}  # an arch, say, of which the words are told alone
    kind = first.kind or (groups.pop() if len(groups) == 1 else None)
    return Difference(first.section, kind, first.voice, first.place, passes, words, plays)


# -- what stands in a plan


def _values(entry: Entry) -> dict[str, Any]:
    """Every key that the entry may have, and its value."""
    return {field.alias or name: getattr(entry, name) for name, field in type(entry).model_fields.items()}


def _settings(values: dict[str, Any], raw: dict, place: str | None) -> dict[tuple[str, ...], tuple[Any, Any]]:
    """What shapes something in an entry: the value, defaults included, and the words for it (None: not said)."""
    made: dict[tuple[str, ...], tuple[Any, Any]] = {}
    for key, value in values.items():
        if value is not None and value is not False and key != place and key not in _NOT_COMPARED:
            leaves = _leaves(value, raw.get(key), (key,))
            made.update((path, each) for path, each in leaves if each[0] is not None and each[0] is not False)
    return made


def _said(value: Any) -> str:
    """A value as one reads it aloud."""
    if isinstance(value, dict):
        return ", ".join(f"{key} {_said(each)}" for key, each in value.items())
    if isinstance(value, list | tuple):
        return ", ".join(map(_said, value))
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:g}" if isinstance(value, float) else " ".join(str(value).split())
