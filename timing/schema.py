"""The JSON Schema of the plan language, for completion and checking in editors."""

from __future__ import annotations

from typing import Any

from timing.plan import Plan


def plan_schema() -> dict[str, Any]:
    """The schema as a plain mapping. Draft 7, which editors read well; a plan names its score or another plan."""
    schema = Plan.model_json_schema(by_alias=True)
    schema = {"$schema": "http://json-schema.org/draft-07/schema#", "title": "A plan of expressive timing", **schema}
    schema["anyOf"] = [{"required": ["score"]}, {"required": ["based on"]}]
    return schema
