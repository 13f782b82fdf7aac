"""What stands in a plan: its entries one by one, those inside others too, and its settings, each by its place."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from timing.changing.asked import Target
from timing.changing.spots import cannot
from timing.plan import SECTIONS, Plan
from timing.plan.entry import Entry, Words
from timing.plan.position import shown
from timing.plan.time import Phrase
from timing.remarks import Place

# What is said once for the whole piece.
SETTINGS = ("title", "instrument", "sounds", "tuning", "capo", "order", "marks", "repeats after da capo", "fingering")


@dataclass(frozen=True)
class PlanItem:
    """One thing that a plan says: an entry (a phrase inside another has it as its `outer`), a voice (its name is
    `name`), how signs are played, or a setting, which is no entry."""

    section: str
    place: Place
    own: bool  # it stands in the plan itself, not in one that it is based on
    source: Any  # as it is written: settings by their keys, or one value
    entry: Words | None = None
    name: str | None = None
    outer: PlanItem | None = None


def standing(plan: Plan) -> Iterator[PlanItem]:
    """All that a plan says, section by section; nothing of a plan that was made in Python, and no mark of the score."""
    at = plan.place()
    if at is None:
        return
    for key in SETTINGS:
        if plan.says(key) and (place := plan.place(key)) is not None:
            yield PlanItem(key, place, place.file == at.file, (plan.source or {})[key])
    for name, voice in plan.voices.items():
        yield from _one("voices", voice, plan, name)
    if plan.says("articulation"):
        yield from _one("articulation", plan.articulation, plan)
    for section in ("tempo", *SECTIONS):
        for entry in getattr(plan, section.replace(" ", "_")):
            yield from _one(section, entry, plan)


def _one(
    section: str, entry: Words, plan: Plan, name: str | None = None, outer: PlanItem | None = None
) -> Iterator[PlanItem]:
    at, place = plan.place(), entry.place()
    if at is None or place is None:
        return
    made = PlanItem(section, place, place.file == at.file, entry.source, entry, name, outer)
    yield made
    if isinstance(entry, Phrase):
        for inner in entry.inside:
            yield from _one(section, inner, plan, None, made)


def find(plan: Plan, target: Target) -> PlanItem:
    """What stands at a place of a plan. CannotDo where nothing does."""
    found = [
        each
        for each in standing(plan)
        if (each.section, each.place.line, each.place.column) == (target.section, target.line, target.column)
        and target.file in (None, each.place.file.name)
    ]
    if not found:
        message = f"nothing of {shown(target.section)} stands in line {target.line}, column {target.column}"
        raise cannot(f"{message}: the plan has changed since")
    return min(found, key=lambda each: not each.own)


def passes_of(each: PlanItem) -> Any:
    """On which pass an entry holds; a phrase inside another on that of the outer one."""
    entry = each.entry
    assert isinstance(entry, Entry)
    if entry.passes is None and each.outer is not None:
        return passes_of(each.outer)
    return entry.passes
