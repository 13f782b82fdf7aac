"""The settings that an entry can have, as a form asks for them: from the models of the plan language, their limits and
the handbook's sentences; nothing is listed here again."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import Any, get_args

from pydantic import WithJsonSchema

from timing.changing.standing import PlanItem, passes_of
from timing.plan import Plan
from timing.plan.edits import written
from timing.plan.entry import Entry, KeyFault, Words
from timing.plan.help import HELP
from timing.plan.kinds import Act
from timing.plan.notation import Form
from timing.plan.planfile import RIVALS
from timing.plan.time import Rubato, Slowing
from timing.reading import Reading
from timing.time.slowing import DEFAULT_Q

KIND = "kind"  # the field by which an entry becomes one of another kind
_NOT_IN_FORMS = {"omit", "inside", "arch"}  # an arch is asked for setting by setting
_LAST = ("for", "pass", "why")


@dataclass(frozen=True)
class FormField:
    """One setting of an entry. `value` is as the plan writes it (None: it is not said), `usual` what counts then.
    `kind`, `least`, `most`, `choices` and `open` are as in `timing.plan.notation.Form`."""

    key: str
    value: str | None
    kind: str
    choices: tuple[str, ...]
    open: bool
    least: float | None
    most: float | None
    usual: str | None
    help: str

    def as_json(self) -> dict[str, Any]:
        told = {key: getattr(self, key) for key in ("value", "kind", "open", "least", "most", "usual", "help")}
        return {"key": self.key, "words": self.key, **told, "choices": list(self.choices)}


@dataclass(frozen=True)
class _Key:
    """What a model says of one of its keys: the path to it (an arch has settings of its own)."""

    path: tuple[str, ...]
    form: Form
    help: str
    default: Any

    @property
    def name(self) -> str:
        return " ".join(self.path)


def path_of(model: type[Words], name: str) -> tuple[tuple[str, ...], Form | None]:
    """The keys that lead to a setting that a form calls so (`arch pace` is the pace of the arch), and how a form asks
    for it."""
    return next(((key.path, key.form) for key in _keys(model) if key.name == name), ((name,), None))


def fields_of(each: PlanItem, reading: Reading) -> list[FormField]:
    """The settings that an entry can have, its kind first; of a setting of the whole piece the one that it is."""
    if each.entry is None:
        key = _setting(each.section)
        return [] if key is None or isinstance(each.source, dict) else [_field(key, each.source, None)]
    entry, source = each.entry, each.source or {}
    made = []
    if isinstance(entry, Entry) and len(others := _other_kinds(type(entry), _kind(entry), frozenset(source))) > 1:
        made.append(FormField(KIND, _kind(entry), "choice", others, False, None, None, None, "what it is"))
    keys = _possible(type(entry), frozenset(source))
    made += [
        _field(key, _said(source, key.path), _usual(entry, key, reading), _choices(each, key, reading)) for key in keys
    ]
    return made


def _field(key: _Key, value: Any, usual: str | None, choices: tuple[str, ...] = ()) -> FormField:
    form = key.form
    said = None if value is None or (isinstance(value, dict | list) and not value) else _plain(value)
    chosen = choices or form.choices
    return FormField(key.name, said, form.kind, chosen, form.open, form.least, form.most, usual, key.help)


def _plain(value: Any) -> str:
    """A value as a form has it: without quotes, a list with commas."""
    if isinstance(value, list | tuple):
        return ", ".join(map(_plain, value))
    return value if isinstance(value, str) else written(value)


def _said(source: Any, path: tuple[str, ...]) -> Any:
    for key in path:
        if not isinstance(source, dict):
            # `arch: 6%` is short for its pace, `arch: yes` for both
            return source if key in ("pace", "level") and (key == "pace" or "%" not in str(source)) else None
        source = source.get(key)
        if source is None:
            return None
    return None if isinstance(source, dict) else source


# -- what the models say


@cache
def _keys(model: type[Words]) -> tuple[_Key, ...]:
    return tuple(_read_keys(model, ()))


def _read_keys(model: type[Words], path: tuple[str, ...]) -> Iterator[_Key]:
    for name, field in model.model_fields.items():
        key = field.alias or name
        told = [*field.metadata, *_told(field.annotation)]
        if (inner := _group(field.annotation)) is not None and not issubclass(inner, Entry):
            yield from _read_keys(inner, (*path, key))
            continue
        form = next((about for about in told if isinstance(about, Form)), None)
        if form is None or key in _NOT_IN_FORMS:
            continue
        about = next((about.json_schema or {} for about in told if isinstance(about, WithJsonSchema)), {})
        words = HELP.get(model.__name__, {}).get(key) or field.description or str(about.get("description", ""))
        yield _Key((*path, key), form, words, None if field.is_required() else field.get_default())


def _told(annotation: Any) -> list[Any]:
    """What an annotation says beside the type, wherever in it."""
    found = list(getattr(annotation, "__metadata__", ()))
    return found or [each for inner in get_args(annotation) for each in _told(inner)]


def _group(annotation: Any) -> type[Words] | None:
    """The group of settings that a key holds, if it holds one (not a list of them)."""
    if isinstance(annotation, type):
        return annotation if issubclass(annotation, Words) else None
    inner = get_args(annotation)
    if getattr(annotation, "__origin__", None) is tuple or not inner:
        return None
    return next((found for each in inner if (found := _group(each))), None)


@cache
def _setting(name: str) -> _Key | None:
    """A setting of the whole piece; None where no form can ask for it."""
    return next((key for key in _keys(Plan) if key.path == (name,)), None)


# -- what an entry of a kind can have


@lru_cache(maxsize=2000)
def _possible(model: type[Words], said: frozenset[str]) -> tuple[_Key, ...]:
    """What can stand in an entry that says these keys, each perhaps in the place of one that excludes it."""
    able = [key for key in _keys(model) if key.path[0] in said or _may_have(model, said, key.path[0])]
    return tuple(sorted(able, key=lambda key: _LAST.index(key.name) if key.name in _LAST else -1))


def _may_have(model: type[Words], said: frozenset[str], key: str) -> bool:
    if key in getattr(model, "KINDS", ()):
        return False
    rivals = set().union(*(some for some in RIVALS if key in some))
    given = dict.fromkeys(said - rivals, "1")
    before = {loc for loc, _ in model.faults(given, None)}
    faults = [loc for loc, why in model.faults(given | {key: "1"}, None) if isinstance(why, KeyFault)]
    return all(loc in before for loc in faults)


def _kind(entry: Words) -> str | None:
    """The kind of an entry that another one could take the place of: where the kind says where it is."""
    if not isinstance(entry, Entry) or not entry.DOES or isinstance(entry, Rubato):
        return None
    return None if entry.act in (Act.STANDS, Act.RETURNS) or entry.source is None else entry.kind


# What does much the same to the music, so that one can be made of the other.
_ALIKE = ({Act.SLOWS, Act.HURRIES}, {Act.SWELLS, Act.FADES})


@lru_cache(maxsize=2000)
def _other_kinds(model: type[Entry], kind: str | None, said: frozenset[str]) -> tuple[str, ...]:
    """The kinds that an entry of this one could be with the settings that it has, itself among them."""
    return () if kind is None else tuple(other for other in model.KINDS if _could_be(model, kind, other, said - {kind}))


def _could_be(model: type[Entry], kind: str, other: str, rest: frozenset[str]) -> bool:
    mine, its = model.DOES[kind].act, model.DOES[other].act
    if mine is not its and not any({mine, its} <= some for some in _ALIKE):
        return False
    if {mine, its} == {Act.SLOWS, Act.HURRIES} and "to" in rest:
        return False  # what slows down to 80% does not hurry to it
    return not any(isinstance(why, KeyFault) for _, why in model.faults({other: "1", **dict.fromkeys(rest, "1")}, None))


# -- what this one has, and what counts where it says nothing


def _usual(entry: Words, key: _Key, reading: Reading) -> str | None:
    """What counts where the plan does not say it."""
    name, form = key.path[-1], key.form
    if isinstance(entry, Slowing) and key.path == ("to",):
        found = next((slow.to for slow in reading.pace.slowings if slow.entry is entry), None)
        return None if found is None else _in_unit(form, found)
    if isinstance(entry, Slowing) and name == "curvature":
        return f"{DEFAULT_Q:g}"
    if isinstance(entry, Slowing) and name == "louder" and entry.does.grows is not None:
        return _in_unit(form, entry.does.grows)
    if isinstance(entry, Entry) and entry.DOES and name in ("length", "seconds", "by") and entry.does.usual:
        return _in_unit(form, entry.does.usual)
    if form.kind == "yes-no":
        return "yes" if key.default is True else "no"
    return None if key.default is None or key.default is False else _in_unit(form, key.default)


def _in_unit(form: Form, value: Any) -> str:
    """A value as the plan writes it."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return _plain(value)
    scale, unit = {"percent": (100, "%"), "ms": (1000, " ms"), "dB": (1, " dB")}.get(form.kind, (1, ""))
    return f"{round(scale * value, 3):g}{unit}"


def _choices(each: PlanItem, key: _Key, reading: Reading) -> tuple[str, ...]:
    """The choices that this piece has: its passes, its voices."""
    if key.path == ("pass",):
        if each.outer is not None and passes_of(each.outer) is not None:
            return (str(passes_of(each.outer)),)
        bars = reading.where.bars
        most = int(bars["pass"].max(initial=1))
        numbers = [str(number) for number in range(1, min(most, 9) + 1)] if most > 1 else ["1"]
        return (*numbers, "last", *(["da capo"] if bars["returned"].any() else []))
    if key.path == ("for",):
        names = [str(name) for name in reading.score.parts["name"]]
        return (*key.form.choices, *(names if len(names) > 1 else []))
    return ()
