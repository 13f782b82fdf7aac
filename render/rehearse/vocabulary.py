"""What can stand in a plan, for the editor of the page: made of the plan language's own JSON Schema, sent once."""

from __future__ import annotations

from functools import cache
from typing import Any

from timing.cautions import RULES
from timing.instruments.programs import NAMES
from timing.plan.entry import Entry
from timing.plan.schema import plan_schema

# A value as the editor knows it: `help` in a sentence; `words` of which it is one, `usual` as what it may look like;
# `kind` of the group of settings that it is, `list` of what it is a list, `each` of what freely named settings are, and
# `names` how these are mostly called.
_Value = dict[str, Any]


@cache
def vocabulary() -> dict[str, Any]:
    """`{"kinds": {name: {"help", "first", "settings": {key: Value}}}}`: what each group of settings may hold; the plan
    itself is "Plan". Of the settings in `first` an entry has exactly one. It can be written as JSON."""
    schema = plan_schema()
    kinds = {name: _kind(each) for name, each in {"Plan": schema, **schema["definitions"]}.items()}
    instrument = kinds["Plan"]["settings"]["instrument"]
    instrument |= {"words": list(NAMES), "each": {"words": list(NAMES)}}
    voices = kinds["Plan"]["settings"]["voices"]
    voices["names"] = kinds["Voice"]["settings"]["is"]["usual"]
    kinds["Acceptance"]["settings"]["code"]["words"] = sorted(rule.code for rule in RULES)
    return {"kinds": kinds}


def _kind(schema: dict[str, Any]) -> dict[str, Any]:
    first = [key for choice in schema.get("oneOf", ()) for key in choice["required"]]
    shared = {field.alias or name for name, field in Entry.model_fields.items()}
    keys = sorted(schema["properties"], key=lambda key: (key in shared, key not in first))  # what all may carry is last
    settings = {key: _value(schema["properties"][key]) for key in keys}
    return {"help": " ".join(schema["description"].split()), "first": first, "settings": settings}


def _value(schema: dict[str, Any]) -> _Value:
    """One value, with all the ways together in which it may be written."""
    made: _Value = {}
    words, usual = [], []
    for way in schema.get("anyOf", [schema]):
        words += [word for word in way.get("enum", ()) if not isinstance(word, bool)]  # yes and no are there too
        usual += [_shown(value) for value in way.get("examples", ())]
        if "$ref" in way:
            made["kind"] = way["$ref"].rpartition("/")[2]
        if "items" in way:
            made["list"] = _value(way["items"])
        if isinstance(way.get("additionalProperties"), dict):
            made["each"] = _value(way["additionalProperties"])
    made |= {"help": schema.get("description"), "words": words, "usual": list(dict.fromkeys(usual))}
    return {key: value for key, value in made.items() if value}


def _shown(value: object) -> str:
    """An example as a plan has it."""
    return {True: "yes", False: "no"}[value] if isinstance(value, bool) else str(value)
