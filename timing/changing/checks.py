"""Whether an entry can be what is asked: its settings, and the places, voices and notes that the score has for it."""

from __future__ import annotations

from typing import Any

import numpy as np

from timing.changing.spots import cannot
from timing.changing.standing import PlanItem
from timing.columns import NEAR
from timing.plan.entry import Entry, Words
from timing.plan.position import Position, Range, shown
from timing.plan.sound import Glissando
from timing.plan.strings import StringChoice
from timing.reading import Reading
from timing.remarks import CannotDo, Remark, Severity
from timing.where import Fault
from timing.where.hearings import Hearings


def check_entry(reading: Reading, each: PlanItem, source: dict[str, Any]) -> None:
    """CannotDo where an entry cannot have these settings, or names places, voices or notes that the score does not
    have."""
    from pydantic import ValidationError

    if each.entry is None or not source:
        return
    try:
        made = type(each.entry).model_validate(dict(source))
    except ValidationError as fault:
        raise CannotDo(_faults(fault)) from None
    hearings = Hearings(reading.where)
    for name in type(made).model_fields:
        _check_place(reading, made, getattr(made, name))
        if name in ("for_", "is_") and getattr(made, name) is not None:
            reading.lines.of_score(getattr(made, name), None, hearings)
    for remark in hearings.remarks:
        if remark.severity is Severity.ERROR:
            raise cannot(remark.message)
    if isinstance(made, StringChoice) and made.at is not None:
        _notes_at(reading, made.at, made.for_)
    if isinstance(made, Glissando):
        _check_slide(reading, made)


def check_left_out(reading: Reading, each: PlanItem) -> None:
    """CannotDo where another entry of the plan asks for one that is left out."""
    name, plan = getattr(each.entry, "name", None), reading.plan
    if not isinstance(each.entry, StringChoice) or name is None or name != plan.fingering:
        return
    if sum(other.name == name for other in plan.strings) == 1:
        raise cannot(f"'fingering' asks for {shown(name)}: change that first")


def _check_place(reading: Reading, made: Words, value: Any) -> None:
    where = reading.where
    try:
        if isinstance(value, Range):
            where.both_ends(value, isinstance(made, Entry) and made.arrives)
        elif isinstance(value, Position):
            (where.instant if value.instant else where.point)(value)
    except Fault as fault:
        raise cannot(str(fault)) from None


def _notes_at(reading: Reading, at: Position, voices: str | None) -> np.ndarray:
    """The rows of the score's notes that begin at a place, of these voices. CannotDo where none does."""
    row, offset = reading.where.point(at)
    notes = reading.score.notes
    here = (notes["bar"] == row) & (np.abs(notes["offset"] - offset) < NEAR) & (notes["length"] > 0)
    if voices is not None:
        here &= reading.lines.of_score(voices, None, Hearings(reading.where))
    if not here.any():
        raise cannot(f"no note begins at {at}")
    return np.flatnonzero(here)


def _check_slide(reading: Reading, slide: Glissando) -> None:
    if slide.from_ is None or slide.to is None:
        return
    if reading.where.point(slide.to) <= reading.where.point(slide.from_):
        raise cannot("a slide ends after it begins")
    where = reading.where
    starts, goals = where.moments(slide.from_, slide.passes), where.moments(slide.to, slide.passes)
    following = np.append(goals, np.inf)[np.searchsorted(goals, starts, side="right")]
    if not any(goal <= where.line_ends[where.ordinal(start)] for start, goal in zip(starts, following, strict=True)):
        raise cannot(f"{slide.to} does not follow {slide.from_} in this order of the bars")
    notes, highest = reading.score.notes, []
    for place in (slide.from_, slide.to):
        rows = _notes_at(reading, place, slide.for_)
        rows = rows[np.argsort(notes["pitch"][rows], kind="stable")]
        highest.append({notes[["part", "staff", "voice"]][row].item(): int(notes["pitch"][row]) for row in rows})
    here, there = highest
    voices = here.keys() & there.keys()
    if not voices:
        raise cannot(f"no voice has both a note at {slide.from_} and one at {slide.to}")
    best = max(voices, key=lambda voice: (here[voice], there[voice], voice))
    if here[best] == there[best]:
        raise cannot("the slide would end on the pitch that it comes from: it has nowhere to go")


def _faults(fault: Any) -> list[Remark]:
    """What is wrong with an entry, in the plan's own words."""
    made = []
    for error in fault.errors(include_url=False):
        key = shown(error["loc"][-1]) if error["loc"] else "this"
        told = str(error.get("ctx", {}).get("error") or f"{key} cannot be written so")
        if error["type"] == "missing":
            told = f"the entry needs its {key}"
        elif error["type"] == "extra_forbidden":
            told = f"{key} is no setting of this entry"
        made.append(Remark(Severity.ERROR, "cannot-change", told))
    return made
