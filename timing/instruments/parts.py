"""What a plan says of the parts of a score: one thing for all, or one for each by its name."""

from __future__ import annotations

from difflib import get_close_matches
from typing import Any

from timing.plan import Plan
from timing.plan.edits import written
from timing.remarks import Place, Severity
from timing.score import Score
from timing.where.hearings import Hearings


def of_parts(score: Score, plan: Plan, key: str, hearings: Hearings) -> list[tuple[Any, Place | None]]:
    """For each part what the plan has under `key` (None: nothing) and where it stands. A name that no part has is an
    error among the remarks of `where`."""
    said, names = getattr(plan, key), [str(name) for name in score.parts["name"]]
    if not isinstance(said, dict):
        return [(said, plan.place(key))] * len(names)
    of_name = {name.lower(): (value, plan.place(key, name)) for name, value in said.items()}
    for name in said:
        if name.lower() not in map(str.lower, names):
            near = get_close_matches(name, names, 1)
            meant = f"did you mean {near[0]!r}?" if near else f"there are {', '.join(names)}"
            message = f"the score has no part {name!r}: {meant}"
            hearings.remark(Severity.ERROR, "plan-voice", message, plan.key_place(key, name))
    return [of_name.get(name.lower(), (None, None)) for name in names]


def said_of(score: Score, part: int, key: str, value: Any) -> str:
    """What a plan says of one part, as it is written there: by its name, if it is not the only one."""
    return f"{key}: {written(value if len(score.parts) == 1 else {str(score.parts['name'][part]): value})}"
