"""The slide lines of a score as entries of the plan."""

from __future__ import annotations

import numpy as np

from timing.columns import NEAR
from timing.instruments.programs import sustains
from timing.marks.places import Page, Printed, heard_moments
from timing.marks.time import at_places
from timing.marks.uses import NOWHERE, Book, Fate
from timing.plan import Plan
from timing.plan.entry import Entry
from timing.plan.sound import Glissando
from timing.slides.glides import QUICK

SLIDE_SWELL = 3.0  # dB, where strings are plucked: without it a slide dies away before its goal (the house's own value)

# Keys, bars and the strings of a harp sound every note of a slide by themselves; nothing there bends.
CANNOT_BEND = frozenset([*range(22), 23, 46, *range(112, 120)])


def slide_marks(marks: list[Printed], plan: Plan, programs: np.ndarray, page: Page, book: Book) -> list[Glissando]:
    """The slide lines: one entry for each part; those of the plan go over it, slide by slide."""
    starts = [(entry, _starts(entry, page), page.named(entry)) for entry in plan.glissandi]
    able = ~np.isin(programs, list(CANNOT_BEND))
    parts, acting = set(), set()
    for here in at_places(marks):
        for mark in here:
            if not able[mark.part]:
                why = "the instrument cannot bend a note: it would play the notes between"
                book.note(mark, Fate.WITHOUT_EFFECT, why)
                continue
            cells, heard = page.whose(mark)[1], page.heard(mark.at)
            instead = [_shaping(starts, moment, cells) for _, moment in heard]
            if book.give_way([mark], [(bar, bar) for bar, _ in heard], instead) != NOWHERE:
                parts.add(mark.part)
            left = book.left_out(mark)
            acting |= {moment for bar, moment in heard if bar not in left}
    made = []
    for part in sorted(parts):
        swell = 0.0 if sustains(int(programs[part])) else SLIDE_SWELL
        name = None if len(page.score.parts) == 1 else f"part {part + 1}"
        slide = Glissando.model_construct(swell=swell, for_=name)
        slide._at_most = QUICK
        slide._left_out = tuple(sorted(_line_moments(page) - acting))
        made.append(slide)
    return made


def _shaping(
    starts: list[tuple[Glissando, np.ndarray, frozenset[int]]], moment: float, cells: frozenset[int]
) -> Entry | None:
    """The last entry of the plan that shapes a slide of these cells at this moment."""
    for entry, moments, those in starts[::-1]:
        if those & cells and np.any(np.abs(moments - moment) < NEAR):
            return entry
    return None


def _starts(entry: Glissando, page: Page) -> np.ndarray:
    """The moments of the slides that an entry of the plan shapes; of all, if it names no place."""
    if entry.from_ is not None:
        return heard_moments(page.hearings, entry, entry.from_)
    on = page.where.on_pass(entry.passes)
    return np.array([moment for moment in _line_moments(page) if on[page.where.ordinal(moment)]])


def _line_moments(page: Page) -> set[float]:
    """The moments at which slide lines begin."""
    lines = page.score.marks_of("glissando")
    return {moment for line in lines for _, moment in page.heard(page.at(line["bar"], line["offset"]))}
