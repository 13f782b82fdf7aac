"""What a plan accepts: a caution that is meant to stand, and the reason."""

from __future__ import annotations

from typing import Annotated, Any, Self

from pydantic import Field

from timing.plan import words
from timing.plan.entry import Entry, Faults, KeyFault

Code = Annotated[str, *words.text(60, "the name of a caution, as `check` says it in brackets")]
Reason = Annotated[str, *words.text(2000, "the reason for which it may stand, in words")]


class Acceptance(Entry):
    """A caution (or advice) that is heard, known and meant."""

    code: Code
    at: words.Position | None = Field(None, description="where it is told; a bar alone is anywhere in that bar")
    because: Reason

    @classmethod
    def faults(cls, given: dict[str, Any], made: Self | None) -> Faults:
        yield from super().faults(given, made)
        if "pass" in given and "at" not in given:
            yield ("pass",), KeyFault("a pass belongs to a place: say 'at' which bar")
