"""The command `schema`: the JSON Schema of plans."""

from __future__ import annotations

from render.commands.terminal import print_json


def schema() -> None:
    """Print the JSON Schema of plans, with which editors complete and check as you type."""
    from timing.plan.schema import plan_schema

    print_json(plan_schema())
