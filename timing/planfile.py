"""Reading a plan file: YAML text, the plan it is based on, validation, and every fault at once with its place."""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches
from pathlib import Path
from typing import Any, get_args

from timing.plan import SECTIONS, KeyFault, Plan, Words
from timing.remarks import CannotDo, Place, Remark, Severity
from timing.yamltext import List, Map, Reader, read_text

MAX_CHAIN = 10  # plans based on plans


def read_plan(path: str | Path) -> Plan:
    """Read and validate a plan, with the plans it is based on.

    The score's path in the result is absolute or relative to the current folder, never to the plan.
    Raises CannotDo with every fault found, each with line and column.
    """
    path = Path(path)
    source = _load(path, ())
    try:
        plan = Plan.model_validate(source)
    except ValueError as fault:
        raise CannotDo(_remarks(source, fault)) from None
    if plan.score is None:
        place = Place(path, 1, 1, source.place.excerpt)
        message = "the plan does not name its score: add a line such as 'score: piece.musicxml'"
        raise CannotDo([Remark(Severity.ERROR, "plan-no-score", message, place)])
    return plan


def _load(path: Path, chain: tuple[Path, ...]) -> Map:
    """The raw plan with what it is based on merged in, and its score's path resolved against its own folder."""
    if path.suffix.lower() in (".musicxml", ".mxl", ".xml", ".mid", ".midi", ".abc", ".krn", ".mei"):
        raise CannotDo.because("not-a-plan", f"{path.name} is a score: write a plan with the line 'score: {path.name}'", path)
    reader = Reader(path, read_text(path))
    source = reader.read()
    if not isinstance(source, Map):
        reader.fault("not-a-plan", "a plan is a list of settings such as 'score: piece.musicxml'", reader.at(0, 0))
        raise CannotDo(reader.remarks)
    if isinstance(source.get("score"), str):
        source["score"] = str(path.parent / source["score"])
    base = source.get("based on")
    if base is None:
        return source
    parent = path.parent / str(base)
    if parent.resolve() in (p.resolve() for p in (*chain, path)) or len(chain) >= MAX_CHAIN:
        reader.fault("plan-circle", f"{path.name} is based on itself by way of {base}", source.places["based on"])
        raise CannotDo(reader.remarks)
    if not parent.is_file():
        reader.fault("no-plan", f"there is no plan {base} beside this one", source.places["based on"])
        raise CannotDo(reader.remarks)
    return _merge(_load(parent, (*chain, path)), source)


def _merge(base: Map, own: Map) -> Map:
    """`own` laid over `base`: settings replace, sections add; an entry of the same kind at the same place is laid
    over the older one key by key, or taken out by `omit: true`."""
    made = Map(own.place)
    dropped = own.get("without") if isinstance(own.get("without"), list) else []
    for source in (base, own):
        for key, value in source.items():
            if source is base and key in (*dropped, "without", "based on"):
                continue
            older = made.get(key)
            if isinstance(older, Map) and isinstance(value, Map):
                value = _overlay(older, value)
            elif key in SECTIONS and isinstance(older, List) and isinstance(value, List):
                value = _join(older, value)
            made.put(key, value, source.keys_at[key], source.places[key])
    return made


def _overlay(older: Map, newer: Map) -> Map:
    made = Map(newer.place)
    for source in (older, newer):
        for key, value in source.items():
            made.put(key, value, source.keys_at[key], source.places[key])
    return made


def _join(older: List, newer: List) -> List:
    made = List(newer.place)
    for item, place in zip(older, older.places, strict=True):
        made.put(item, place)
    for item, place in zip(newer, newer.places, strict=True):
        twin = next((i for i, old in enumerate(made) if _identity(old) == _identity(item)), None)
        if twin is not None and isinstance(item, Map) and item.get("omit") is True:
            del made[twin], made.places[twin]
        elif twin is not None and isinstance(item, Map):
            made[twin], made.places[twin] = _overlay(made[twin], item), place
        else:
            made.put(item, place)
    return made


def _identity(entry: Any) -> Any:
    """What makes two entries the same one: where they act and on which pass, not how much."""
    if not isinstance(entry, Map):
        return id(entry)
    places = {k: _tidy(v) for k, v in entry.items() if k in _PLACE_KEYS}
    return tuple(sorted(places.items())) if len(places.keys() - {"pass", "for"}) else id(entry)


_PLACE_KEYS = frozenset(
    ["bars", "at", "over", "from", "to", "pass", "for", "crescendo", "diminuendo", "decrescendo", "fermata", "breath", "caesura"]
    + ["agogic", "rallentando", "ritardando", "ritenuto", "allargando", "accelerando", "stringendo", "a tempo"]
)


def _tidy(value: Any) -> str:
    return str(value).replace(" ", "").replace("–", "-")


def _remarks(source: Map, fault: Any) -> Iterable[Remark]:
    """Pydantic's faults in a musician's words, each at the place it means, in the order of the file."""
    remarks = [_remark(source, error) for error in fault.errors(include_url=False)]
    return sorted(set(remarks), key=lambda r: (str(r.place.file), r.place.line or 0, r.place.column or 0))


def _remark(source: Map, error: dict) -> Remark:
    loc = list(error["loc"])
    raised = error.get("ctx", {}).get("error")
    if isinstance(raised, KeyFault):
        loc.append(raised.key)
    place, holder = _locate(source, loc)
    if error["type"] == "extra_forbidden":
        return _unknown_key(str(loc[-1]), _model_at(loc[:-1]), holder.keys_at.get(loc[-1], place))
    return Remark(Severity.ERROR, "plan-value", _in_words(error, loc), place, suggestion=_nearest(error))


def _locate(source: Map, loc: list) -> tuple[Place, Any]:
    """The place of the longest beginning of `loc` that the file really has, and the mapping that holds it."""
    place, holder, here = source.place, source, source
    for step in loc:
        try:
            place, holder, here = here.places[step], here, here[step]
        except (AttributeError, KeyError, IndexError, TypeError):
            break
    return place, holder


def _unknown_key(key: str, model: type[Words], place: Place) -> Remark:
    known = [field.alias or name for name, field in model.model_fields.items()]
    near = get_close_matches(key.lower(), known, 1, 0.6)
    message = f"{key!r} is not known here" + (f": did you mean {near[0]!r}?" if near else f": there are {', '.join(known)}")
    return Remark(Severity.ERROR, "plan-word", message, place, suggestion=near[0] if near else None)


def _model_at(loc: list) -> type[Words]:
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


def _in_words(error: dict, loc: list) -> str:
    kind, given = error["type"], error.get("input")
    name = next((step for step in reversed(loc) if isinstance(step, str)), "plan")
    if kind == "value_error":
        return str(error["ctx"]["error"])
    if kind == "missing":
        return f"{name!r} is missing from this entry"
    if kind == "literal_error":
        near = _nearest(error)
        return f"{_short(given)} is not known as {name!r}: {error['ctx']['expected']}" + (f"; did you mean {near!r}?" if near else "")
    if kind in ("tuple_type", "list_type"):
        return f"{name!r} is a list: start each entry with a dash, as in '- {{...}}'"
    if kind in ("model_type", "dict_type", "model_attributes_type"):
        return f"{name!r} wants settings in braces or on lines of their own, as in {{key: value}} (got {_short(given)})"
    return f"{name!r}: {error['msg'][0].lower()}{error['msg'][1:]} (got {_short(given)})"


def _nearest(error: dict) -> str | None:
    expected = error.get("ctx", {}).get("expected", "")
    near = get_close_matches(str(error.get("input")), [word.strip("' ") for word in expected.replace(" or ", ",").split(",")], 1)
    return near[0] if near else None


def _short(value: Any) -> str:
    text = "nothing" if value is None else repr(str(value))
    return text if len(text) <= 42 else text[:39] + "...'"
