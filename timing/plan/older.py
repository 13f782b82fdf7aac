"""Changes of a plan that is based on another one: how they are written where the entry stands in the older plan.

The other file is never touched. What stands there is laid over by an entry of the same kind at the same place, or left
out and written anew; a setting of one's own replaces the older one.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any

from timing.plan import SECTIONS, Plan
from timing.plan.edits import written
from timing.plan.nodes import impossible
from timing.plan.planfile import identity
from timing.plan.yamltext import List, Map, parse
from timing.remarks import CannotDo, Edit, Place

Way = Callable[[], list[Edit]]  # which may find out that it is none: CannotDo


def ways(plan: Plan, edits: Iterable[Edit]) -> Iterator[Way]:
    """The ways to write changes into the plan itself, to be called one after the other: as they are; over an entry of
    the plan that this one is based on; leaving that entry out, with a new one beside it; and so with entries of its
    own, since one may be laid over an older one that would show again."""
    edits = tuple(edits)
    if plan.based_on is None:
        yield lambda: list(edits)
        return
    older = _Older(plan)
    if all(edit.place is None or older.is_own(edit.place) for edit in edits):
        yield lambda: older.as_they_are(edits)
    yield lambda: [each for edit in older.folded(edits) for each in older.laid_over(edit)]
    yield lambda: [each for edit in older.folded(edits) for each in older.left_out(edit)]
    yield lambda: [each for edit in older.folded(edits, own_too=True) for each in older.left_out(edit, own_too=True)]


def applied(source: Any, edits: Iterable[Edit]) -> dict[str, Any]:
    """What a plan's source holds with these changes made in it, wherever its entries stand."""
    made = {}
    by_section: dict[str, list[Edit]] = {}
    for edit in edits:
        by_section.setdefault(edit.section, []).append(edit)
    for key in [*source, *(section for section in by_section if section not in source)]:
        mine = by_section.get(key, [])
        value = _changed(source.get(key), getattr(source, "places", {}).get(key), mine)
        for new in (_value(edit.entry) for edit in mine if edit.place is None and edit.entry is not None):
            value = _with_new(key, value, new)
        if value is not _GONE:
            made[key] = value
    return made


def alike(one: dict[str, Any], other: dict[str, Any]) -> bool:
    """Whether two sources say the same, in whichever order the entries of a section stand."""
    return _canonical(one) == _canonical(other)


# -- values as they would be read


_GONE = object()


def _value(entry: str | None) -> Any:
    value, faults = parse(_NOWHERE, entry or "")
    if faults:
        raise impossible(faults[0].message)
    return value


_NOWHERE = Path()


def _changed(value: Any, place: Place | None, edits: list[Edit]) -> Any:
    """A value with the changes made in it whose places lie in it; _GONE if it is taken out itself."""
    made = value
    if isinstance(value, Map):
        inner = {key: _changed(each, value.places.get(key), edits) for key, each in value.items()}
        made = {key: each for key, each in inner.items() if each is not _GONE}
    elif isinstance(value, List):
        made = []
        for each, at in zip(value, value.places, strict=True):
            if (new := _changed(each, at, edits)) is not _GONE:
                made.append(new)
            made += [_value(edit.entry) for edit in edits if edit.after and edit.place == at]
    for edit in edits:
        if edit.place == place is not None and not edit.after:
            if edit.entry is None:
                return _GONE
            new = _value(edit.entry)
            if isinstance(value, Map) and isinstance(new, Map):
                new = {key: made.get(key, _GONE) if value.get(key) == each else each for key, each in new.items()}
                new = {key: each for key, each in new.items() if each is not _GONE}
            made = new
    return made


def _with_new(section: str, value: Any, new: Any) -> Any:
    if isinstance(value, list) and section in (*SECTIONS, "tempo") and not isinstance(new, list):
        return [*value, new]
    if section in SECTIONS:
        return [new] if value in (None, _GONE) else [*value, new]
    if isinstance(value, dict) and isinstance(new, dict) and section != "tempo":
        return {**value, **new}
    return new


def _canonical(source: dict[str, Any]) -> dict[str, Any]:
    made = {}
    for key, value in source.items():
        if value in (None, [], {}):
            continue
        if isinstance(value, list) and key in SECTIONS:
            entries = map(_in_full, value) if key == "phrases" else value
            made[key] = sorted(map(_in_order, entries))
        else:
            made[key] = [_in_order(value)]
    return made


def _in_full(phrase: Any) -> dict[str, Any]:
    """A phrase, and those inside it, that say their bars."""
    phrase = phrase if isinstance(phrase, dict) else {"bars": phrase}
    inside = phrase.get("inside")
    return {**phrase, "inside": list(map(_in_full, inside))} if isinstance(inside, list) else phrase


def _in_order(value: Any) -> str:
    """A value in words, its settings in the order of the alphabet."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key}: {_in_order(value[key])}" for key in sorted(value)) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_in_order, value)) + "]"
    return written(value)


# -- how it is written into the plan, if the entry stands in another one


class _Older:
    """A plan that is based on another one, and what its entries have from there."""

    def __init__(self, plan: Plan):
        self.plan = plan
        at = plan.place()
        self.file = at.file if at is not None else None

    def is_own(self, place: Place) -> bool:
        return place.file == self.file

    def as_they_are(self, edits: Iterable[Edit]) -> list[Edit]:
        """Changes that hide nothing of an older plan: a setting of one's own replaces all that the older one says
        there."""
        return [self._own_part(self._checked(edit)) for edit in edits]

    def laid_over(self, edit: Edit) -> list[Edit]:
        if edit.place is None or self.is_own(edit.place):
            return self.as_they_are([edit])
        if edit.after:
            return [Edit(edit.section, edit.entry)]
        if edit.section == "tempo":
            return [Edit("tempo", written(self._all_tempi(edit)))]
        if edit.entry is None:
            raise _in(edit.place)
        if edit.section not in SECTIONS:
            return [Edit(edit.section, self._setting(edit))]
        if identity(parse(edit.place.file, edit.entry)[0], edit.section) != self._identity(edit):
            raise _in(edit.place)
        return [Edit(edit.section, edit.entry)]

    def left_out(self, edit: Edit, own_too: bool = False) -> list[Edit]:
        if edit.place is None:
            return self.as_they_are([edit])
        own = self.is_own(edit.place)
        if edit.after:
            return [edit if own else Edit(edit.section, edit.entry)]
        if edit.section not in SECTIONS:
            return self.laid_over(edit)
        if own and not (own_too or self._has_older(edit)):
            return [edit]
        omitted = Edit(edit.section, written(self._identity(edit) | {"omit": True}), edit.place if own else None)
        return [omitted, *([Edit(edit.section, edit.entry)] if edit.entry is not None else [])]

    def folded(self, edits: Iterable[Edit], own_too: bool = False) -> list[Edit]:
        """Changes of phrases inside others, where one of them stands elsewhere, as changes of the outermost phrase."""
        edits = list(edits)
        for phrase in self.plan.phrases:
            source, at = phrase.source, phrase.place()
            if source is None or at is None:
                continue
            places = set(_places(source)) - {at}
            inside = [edit for edit in edits if edit.section == "phrases" and edit.place in places]
            whole = [edit for edit in edits if edit.section == "phrases" and edit.place == at and not edit.after]
            theirs = [*inside, *whole]
            apart = own_too or not all(edit.place is not None and self.is_own(edit.place) for edit in theirs)
            if inside and (apart or any(self._has_older(edit) for edit in whole)):
                value = _changed(source, at, theirs)
                made = Edit("phrases", None if value is _GONE else written(_dropped(value)), at)
                edits = [made, *(edit for edit in edits if edit not in theirs)]
        return edits

    def _has_older(self, edit: Edit) -> bool:
        """Whether an entry of one's own has settings of an older one."""
        found = self._found(edit)
        return isinstance(found, Map) and not all(map(self.is_own, found.keys_at.values()))

    def _checked(self, edit: Edit) -> Edit:
        at, there = self.plan.key_place(edit.section), (self.plan.source or {}).get(edit.section)
        elsewhere = there is not None and at is not None and not self.is_own(at)
        merges = edit.section in SECTIONS or (isinstance(there, Map) and (edit.entry or "").startswith("{"))
        if at is not None and elsewhere and not merges:
            raise _in(at)
        return edit

    def _own_part(self, edit: Edit) -> Edit:
        """The change of an entry of one's own that is laid over an older one: what that one says goes without saying.
        CannotDo where the older one would show again."""
        old, new = self._found(edit), _value(edit.entry) if edit.entry is not None else None
        if not isinstance(old, Map) or edit.after:
            return edit
        from_there = [key for key, at in old.keys_at.items() if not self.is_own(at)]
        if not from_there:
            return edit
        at = old.keys_at[from_there[0]]
        if not isinstance(new, Map) or any(key not in new for key in from_there):
            raise _in(at)
        if edit.section in SECTIONS and identity(new, edit.section) != identity(old, edit.section):
            raise _in(at)
        mine = {key: value for key, value in new.items() if key not in from_there or value != old[key]}
        return Edit(edit.section, written(mine), edit.place)

    def _found(self, edit: Edit) -> Any:
        """What stands at the place of a change."""
        if edit.place is None:
            return None
        source = self.plan.source or {}
        value, at = source.get(edit.section), getattr(source, "places", {}).get(edit.section)
        return value if at == edit.place else _at(value, edit.place)

    def _all_tempi(self, edit: Edit) -> list[Any]:
        """All tempi of the older plan with one of them changed, since a list of one's own replaces that one's."""
        source = self.plan.source or {}
        value = _changed(source.get("tempo"), getattr(source, "places", {}).get("tempo"), [edit])
        value = value if isinstance(value, list) else [] if value is _GONE else [value]
        if not value:
            raise _in(edit.place)
        return value if len(value) > 1 else value[0]

    def _setting(self, edit: Edit) -> str:
        """What a plan of one's own says in the place of an older setting, or of one member of a group of them."""
        source: Any = self.plan.source or {}
        group, new = source.get(edit.section), _value(edit.entry)
        if not isinstance(group, Map) or getattr(source, "places", {}).get(edit.section) == edit.place:
            if isinstance(group, Map) and isinstance(new, Map):
                if any(key not in new for key in group):
                    raise _in(edit.place)
                return written({key: value for key, value in new.items() if group.get(key) != value})
            return edit.entry or ""
        name = next((key for key, at in group.places.items() if at == edit.place), None)
        if name is None:
            raise _in(edit.place)
        return written({name: new})

    def _identity(self, edit: Edit) -> dict[str, Any]:
        """The settings by which another plan can mean the entry that a change replaces."""
        entries = getattr(self.plan, edit.section.replace(" ", "_"), ()) if edit.section in SECTIONS else ()
        for entry in entries:
            if entry.place() == edit.place and (found := identity(entry.source, edit.section)):
                return found
        raise _in(edit.place)


def _places(value: Any) -> Iterator[Place]:
    """The places of all that lies in a value."""
    if isinstance(value, Map | List):
        places = value.places.values() if isinstance(value, Map) else value.places
        for each, at in zip(value.values() if isinstance(value, Map) else value, places, strict=True):
            yield at
            yield from _places(each)


def _at(value: Any, place: Place) -> Any:
    """What stands at a place within a value."""
    if isinstance(value, Map | List):
        places = value.places.values() if isinstance(value, Map) else value.places
        for each, at in zip(value.values() if isinstance(value, Map) else value, places, strict=True):
            if at == place:
                return each
            if (found := _at(each, place)) is not None:
                return found
    return None


def _dropped(value: Any) -> Any:
    """A phrase without lists of inner phrases that have nothing left."""
    return {key: each for key, each in value.items() if each != []} if isinstance(value, dict) else value


def _in(place: Place | None) -> CannotDo:
    where = place.file.name if place is not None else "another plan"
    return impossible(f"the entry stands in {where}: change it there")
