"""Reading a plan file: YAML text, the plan it is based on, validation, and every fault at once with its place."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any, get_args

from pydantic import ValidationError

from timing.disk.links import IN_A_CIRCLE, in_a_circle
from timing.plan import SECTIONS, Plan, words
from timing.plan.entry import Entry, KeyFault, Words
from timing.plan.kinds import RUBATI, Act
from timing.plan.position import parse_range, shown
from timing.plan.sound import Dynamic
from timing.plan.time import Hold, Rubato, Slowing
from timing.plan.yamltext import List, Map, Text, Whole, no_plan, parse, read_text
from timing.remarks import MOST_TOLD, CannotDo, Place, Remark, Severity, by_place, in_order

MAX_CHAIN = 10  # plans based on plans

PLANS = (".yaml", ".yml")
SCORES = (".musicxml", ".mxl", ".xml", ".mid", ".midi", ".abc", ".krn", ".mei")


def read_plan(path: str | Path, text: str | None = None) -> Plan:
    """Read and validate a plan, with the plans it is based on. A `text` is read as if it stood in the file.

    The score's path in the result is absolute or relative to the current folder, never to the plan.
    Raises CannotDo with every fault found, each with line and column (after the first fifty only their number).
    """
    path = Path(path)
    remarks: list[Remark] = []
    read: list[Path] = []
    source = _load(path, (), remarks, read, text)
    plan, untold = None, 0
    if source is not None:
        try:
            plan = Plan.model_validate(source)
        except ValidationError as fault:
            told, untold = _told(source, fault, path)
            remarks += told
        else:
            if plan.score is None and not remarks:
                message = "the plan does not name its score: add a line such as 'score: piece.musicxml'"
                remarks.append(_fault("plan-no-score", message, Place(path, 1, 1, source.place.excerpt)))
    if plan is None or remarks:
        raise CannotDo(in_order(remarks, path, untold))
    plan._files = tuple(read)
    return plan


def _fault(code: str, message: str, place: Place | None, suggestion: str | None = None) -> Remark:
    return Remark(Severity.ERROR, code, message, place, suggestion=suggestion)


# -- the file, and the plan it is based on


def _load(
    path: Path, chain: tuple[Path, ...], remarks: list[Remark], read: list[Path], text: str | None = None
) -> Map | None:
    """The raw plan with what it is based on merged in, and its score's path resolved against its own folder.

    Faults are added to `remarks`, and all files that were read to `read`; None if there is nothing to validate.
    """
    if path.suffix.lower() in SCORES:
        message = f"{path.name} is a score: write a plan with the line 'score: {path.name}'"
        remarks.append(_fault("not-a-plan", message, Place(path)))
        return None
    try:
        source, faults = parse(path, read_text(path) if text is None else text)
    except CannotDo as cannot:
        remarks += cannot.remarks
        return None
    read.append(path)
    remarks += faults
    if not isinstance(source, Map):
        if not faults:
            message = "a plan is made of settings such as 'score: piece.musicxml'"
            remarks.append(_fault("not-a-plan", message, Place(path, 1, 1)))
        return None
    if _is_file_name(source.get("score")):
        source["score"] = str(path.parent / str(source["score"]))
    base = source.get("based on")
    if not _is_file_name(base):  # a name that cannot be one is told when the plan is validated
        return source
    parent, place = path.parent / str(base), source.places["based on"]
    if in_a_circle(parent):
        remarks.append(_fault("plan-circle", f"{shown(base)} {IN_A_CIRCLE}", place))
        return source
    if parent.exists() and not parent.is_file():
        remarks.append(_fault("no-plan", f"{shown(base)} {no_plan(parent)}", place))
        return source
    if not parent.is_file():
        near = words.nearest(parent.name, [each.name for each in _neighbours(parent)])
        message = f"there is no plan {shown(base)} beside this one" + (f": did you mean '{near}'?" if near else "")
        remarks.append(_fault("no-plan", message, place, suggestion=near))
        return source
    if any(_same(parent, each) for each in (*chain, path)):
        remarks.append(_fault("plan-circle", f"this goes in a circle: {_way(parent, path, chain)}", place))
        return source
    if len(chain) >= MAX_CHAIN:
        message = f"more than {MAX_CHAIN} plans are based on one another: base this one on an earlier plan"
        remarks.append(_fault("plan-circle", message, place))
        return source
    older = _load(parent, (*chain, path), remarks, read)
    return source if older is None else _merge(older, source)


def _is_file_name(value: Any) -> bool:
    try:
        return bool(words.file_name(value))
    except ValueError:
        return False


def _neighbours(path: Path) -> list[Path]:
    """Other plans where this one should be; at most a thousand are looked at."""
    try:
        found = (each for _, each in zip(range(1000), path.parent.iterdir(), strict=False))
        return [each for each in found if each.suffix.lower() in PLANS]
    except OSError:
        return []


def _same(one: Path, other: Path) -> bool:
    return os.path.realpath(one) == os.path.realpath(other)


def _way(parent: Path, path: Path, chain: tuple[Path, ...]) -> str:
    """From plan to plan until one comes again, by names that tell them apart."""
    again = next(each for each in (*chain, path) if _same(each, parent))
    names = {each: each.name for each in (*chain, path, parent)}
    if len(set(names.values())) < len({os.path.realpath(each) for each in names}):
        names = {each: str(each) for each in names}
    alias = "" if names[parent] == names[again] else f", which is {names[again]} by another name"
    if again == path and not alias:
        return f"{path.name} is based on itself"
    return " is based on ".join(names[each] for each in (*chain, path, parent)) + alias


# -- one plan laid over another


def _merge(base: Map, own: Map) -> Map:
    """`own` laid over `base`: settings replace, sections add; an entry of the same kind at the same place is laid
    over the older one key by key, or taken out by `omit: yes`."""
    without = own.get("without")
    dropped = {"without", "based on"} | {str(key) for key in (without if isinstance(without, list) else [without])}
    made = Map(own.place, own.last_line)
    for source in (base, own):
        for key, value in source.items():
            if source is base and key in dropped:
                continue
            older = made.get(key)
            if isinstance(older, Map) and isinstance(value, Map):
                value = _overlay(older, value)
            elif key in SECTIONS and isinstance(older, List):
                value = _join(older, value, key) if isinstance(value, List) else older if value is None else value
            made.put(key, value, source.keys_at[key], source.places[key])
    return made


# Of these an entry has one; a newer entry that says the other means it instead.
RIVALS = ({"by", "to mark"}, {"softer", "louder"}, {"at", "over"}, {"hurry", "linger"}, {"late", "early"})


def _overlay(older: Map, newer: Map) -> Map:
    made = Map(newer.place, newer.last_line)
    replaced = set().union(*(rivals for rivals in RIVALS if rivals & newer.keys()))
    for source in (older, newer):
        for key, value in source.items():
            if source is older and key in replaced:
                continue
            made.put(key, value, source.keys_at[key], source.places[key])
    return made


def _join(older: List, newer: List, section: str) -> List:
    """The older entries, each where it was, and then the new ones."""
    entries: list[tuple[Any, Place] | None] = list(zip(_in_full(older, section), older.places, strict=True))
    found = {_identity(entry[0], section): row for row, entry in enumerate(filter(None, entries))}
    for entry, place in zip(_in_full(newer, section), newer.places, strict=True):
        row = found.get(_identity(entry, section))
        if row is None:
            entries.append((entry, place))
        elif words.yes_or_no(entry.get("omit"), False):
            entries[row] = None
        elif (same := entries[row]) is not None:
            entries[row] = (_overlay(same[0], entry), place)
        else:
            entries.append((entry, place))
    made = List(newer.place, newer.last_line)
    for entry, place in filter(None, entries):
        made.put(entry, place)
    return made


def _in_full(entries: List, section: str) -> list[Any]:
    """The entries of a section; a phrase that is its bars alone as one that says them."""
    if section != "phrases":
        return list(entries)
    return [words.settings("bars", each) if isinstance(each, Text | Whole) else each for each in entries]


_ENTRIES: dict[str, type[Entry]] = {"slowing": Slowing, "holds": Hold, "dynamics": Dynamic}
_WHERE = {"bars", "at", "over", *(kind for entry in _ENTRIES.values() for kind in entry.KINDS)}
_WHERE_ELSE = {"glissandi": {"from", "to"}, "accept": {"code", "at"}}
_WHO_AND_WHEN = {"pass", "for"}


def _identity(entry: Any, section: str) -> Any:
    """What makes two entries the same one."""
    found = identity(entry, section)
    same = [(key, _tidy(value)) for key, value in found.items()]
    if section == "rubato":  # its kinds hold how much, so that only what they do counts
        same += [(act.name, "") for act in {RUBATI[kind].act for kind in RUBATI.keys() & entry.keys()}]
    return tuple(sorted(same)) if found else id(entry)


def identity(entry: Any, section: str) -> dict[str, Any]:
    """The settings that say which entry it is: kind, place, voice and pass, but not how much. Empty where nothing in
    it says so, and no other plan can mean it."""
    where = _WHERE_ELSE.get(section, _WHERE)
    if not isinstance(entry, Map) or not where.intersection(entry):
        return {}
    told_apart = where | _WHO_AND_WHEN | ({"name"} if section == "strings" else set())  # ways to play one passage
    return {key: value for key, value in entry.items() if key in told_apart}


def _tidy(value: Any) -> str:
    """A position, range, voice or pass, however it is spaced."""
    text = str(value)[:200].strip().removeprefix("after ")
    try:
        return str(parse_range(text))
    except ValueError:
        return " ".join(text.split())


# -- faults in a musician's words


def _told(source: Map, fault: ValidationError, path: Path) -> tuple[list[Remark], int]:
    """Pydantic's first faults in a musician's words, each at the place it means, and how many more there are."""
    errors = [(_place(source, error), error) for error in fault.errors(include_url=False)]
    errors.sort(key=lambda pair: by_place(pair[0], path))
    return [_remark(*pair) for pair in errors[:MOST_TOLD]], max(0, len(errors) - MOST_TOLD)


def _remark(place: Place, error: Any) -> Remark:
    loc = list(error["loc"])
    if error["type"] == "extra_forbidden":
        return _unknown_key(str(loc[-1]), _model_at(loc[:-1]), place, error["input"])
    suggestion = getattr(error.get("ctx", {}).get("error"), "near", None)
    return _fault("plan-value", _in_words(error, loc), place, suggestion)


def _place(source: Map, error: Any) -> Place:
    """Where a fault stands: at the value, or at the key if that is out of place."""
    loc = list(error["loc"])
    place, holder = _locate(source, loc)
    if error["type"] == "extra_forbidden" or isinstance(error.get("ctx", {}).get("error"), KeyFault):
        return getattr(holder, "keys_at", {}).get(loc[-1], place)
    return place


def _locate(source: Map, loc: list[Any]) -> tuple[Place, Any]:
    """The place of the longest beginning of `loc` that the file really has, and the group of settings that holds it."""
    place, holder, here = source.place, source, source
    for step in loc:
        if step == 0 and isinstance(here, Map):
            continue  # one entry that is written without a list around it
        try:
            place, holder, here = here.places[step], here, here[step]
        except (AttributeError, KeyError, IndexError, TypeError):
            break
    return place, holder


# The section in which each kind of entry lives, and what musicians write for short.
_HOMES = {
    kind: home
    for home, entry in (_ENTRIES | {"rubato": Rubato}).items()
    for kind, does in entry.DOES.items()
    if does.act is not Act.STANDS
}
_ABBREVIATIONS = {
    "rit": "ritardando", "ritard": "ritardando", "rall": "rallentando", "riten": "ritenuto", "allarg": "allargando",
    "accel": "accelerando", "string": "stringendo", "cresc": "crescendo", "dim": "diminuendo", "decresc": "decrescendo",
}  # fmt: skip


def _unknown_key(key: str, model: type[Words], place: Place, value: Any) -> Remark:
    known, plain = model.known(), key.strip().lower().rstrip(".")
    plain = _ABBREVIATIONS.get(plain, plain)
    near = plain if plain in known else None if plain in _HOMES else words.nearest(plain, known)
    message = f"{shown(key)} is not known here"
    if near:
        message += f": did you mean '{near}'?"
    elif plain in _HOMES:
        message += f": it belongs in an entry under '{_HOMES[plain]}'"
    elif value is None and ":" in key:
        message += f": after a colon comes a space, as in '{key[:40].replace(':', ': ', 1)}'"
    elif value is None:
        message += ": a comma inside { } ends the value, so put a text that has one in quotes"
    else:
        message += f": there are {', '.join(known)}"
    return _fault("plan-word", message, place, suggestion=near)


def _model_at(loc: list[Any]) -> type[Words]:
    """The model that stands at `loc`, found through the fields' types."""
    model: type[Words] = Plan
    for step in loc:
        field = next((f for name, f in model.model_fields.items() if step in (name, f.alias)), None)
        if field is not None:
            model = _words_in(field.annotation) or model
    return model


def _words_in(annotation: Any) -> type[Words] | None:
    if isinstance(annotation, type) and issubclass(annotation, Words):
        return annotation
    return next((found for inner in get_args(annotation) if (found := _words_in(inner))), None)


def _in_words(error: Any, loc: list[Any]) -> str:
    kind, given = error["type"], error.get("input")
    name = next((step for step in reversed(loc) if isinstance(step, str)), "plan")
    if kind == "value_error":
        return str(error["ctx"]["error"])
    if kind == "missing":
        return f"'{name}' is missing from this entry"
    if kind == "too_long":
        return f"'{name}' has more entries than a plan can hold ({error['ctx']['max_length']})"
    if kind in ("tuple_type", "list_type"):
        return f"'{name}' is a list: begin each entry with a dash, as in '- {{...}}' (got {shown(given)})"
    here = f"an entry of '{name}'" if loc and isinstance(loc[-1], int) else f"'{name}'"
    return f"{here} is a group of settings, as in {{key: value}} or on lines of their own (got {shown(given)})"
