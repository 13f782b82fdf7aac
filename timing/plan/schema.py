"""The JSON Schema of the plan language, for completion and checking in editors."""

from __future__ import annotations

from typing import Any

from timing.plan import Plan
from timing.plan.help import HELP

_PLACE = ["integer", "string"]  # a position or a range: how it is written is said too


def plan_schema() -> dict[str, Any]:
    """The schema as a plain mapping. Draft 7, which editors read well; a plan names its score or another plan."""
    from pydantic.json_schema import GenerateJsonSchema

    class Draft7(GenerateJsonSchema):
        """Without the `null` that pydantic allows wherever a key may be left out: in a plan that is a fault."""

        def nullable_schema(self, schema: Any) -> dict[str, Any]:
            return self.generate_inner(schema["schema"])

        def default_schema(self, schema: Any) -> dict[str, Any]:
            return self.generate_inner(schema["schema"])

    schema = Plan.model_json_schema(by_alias=True, ref_template="#/definitions/{model}", schema_generator=Draft7)
    definitions = schema.pop("$defs")
    for name, model in {"Plan": schema, **definitions}.items():
        for key, words in HELP.get(name, {}).items():
            value = model["properties"][key]
            written = f" ({value['description']})" if value.get("type") == _PLACE else ""
            value["description"] = words + written
    return {
        "$schema": "http://json-schema.org/draft-07/schema#",
        **schema,
        "title": "A plan of expressive timing",
        "definitions": definitions,
        "anyOf": [{"required": ["score"]}, {"required": ["based on"]}],
    }
