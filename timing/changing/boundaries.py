"""The boundaries of phrases: where one ends the next begins, and those inside end with it, so they move together."""

from __future__ import annotations

from dataclasses import dataclass

from timing.changing.spots import PageMap, cannot
from timing.changing.standing import PlanItem, passes_of, standing
from timing.plan.edits import replaced
from timing.plan.time import Phrase
from timing.reading import Reading
from timing.remarks import Edit
from timing.where.naming import BarPlace

_SAME = 1e-5  # quarters


@dataclass
class Bracket:
    """A phrase on the page: what stands in the plan, and from where to where it goes, in quarters of the page."""

    each: PlanItem
    start: float
    end: float
    outer: Bracket | None

    @property
    def phrase(self) -> Phrase:
        assert isinstance(self.each.entry, Phrase)
        return self.each.entry

    @property
    def name(self) -> str:
        return self.phrase.name or str(self.phrase.bars)


def brackets(reading: Reading, page: PageMap) -> list[Bracket]:
    """All phrases of the plan, each before those inside it."""
    made: list[Bracket] = []
    by_place: dict[int, Bracket] = {}
    for each in standing(reading.plan):
        if isinstance(each.entry, Phrase):
            start, end = map(page.quarter, reading.where.both_ends(each.entry.bars))
            outer = by_place.get(id(each.outer)) if each.outer is not None else None
            made.append(Bracket(each, start, end, outer))
            by_place[id(each)] = made[-1]
    return made


def move_boundaries(reading: Reading, each: PlanItem, start: BarPlace, end: BarPlace) -> list[Edit]:
    """The changes by which a phrase goes from one place to another, with all that share a boundary with it: the phrase
    before or after, those inside it and those that it is inside of. CannotDo where a phrase would have nothing left, or
    would stick out of the one that it is inside of."""
    page = PageMap(reading.where)
    all_phrases = brackets(reading, page)
    mine = next(each_one for each_one in all_phrases if each_one.each.place == each.place)
    moves = [(mine.start, page.quarter(start)), (mine.end, page.quarter(end))]
    moves = [(old, new) for old, new in moves if abs(old - new) > _SAME]
    passes = passes_of(mine.each)
    return moved(page, all_phrases, moves, passes)


def moved(page: PageMap, phrases: list[Bracket], moves: list[tuple[float, float]], passes: object) -> list[Edit]:
    """The changes of all phrases by which boundaries move from one quarter of the page to another."""
    edits, after = [], {}
    for each in phrases:
        theirs = passes_of(each.each)
        together = passes is None or theirs is None or passes == theirs
        ends = [_moved(end, moves) if together else end for end in (each.start, each.end)]
        after[id(each)] = ends
        if ends[1] - ends[0] < _SAME:
            raise cannot(f"the phrase {each.name} would have nothing left: take it out first")
        if ends != [each.start, each.end]:
            bars = page.range_text(page.begins(ends[0]), page.ends(ends[1]), like=each.phrase.bars)
            edits.append(replaced(each.phrase, {"bars": bars}))
    for each in phrases:
        outer = each.outer
        if outer is None or _sticks_out([each.start, each.end], [outer.start, outer.end]):
            continue
        if _sticks_out(after[id(each)], after[id(outer)]):
            raise cannot(f"the phrase {each.name} would stick out of {outer.name}")
    if not edits:
        raise cannot("the phrase ends there already")
    return edits


def _moved(end: float, moves: list[tuple[float, float]]) -> float:
    return next((new for old, new in moves if abs(old - end) < _SAME), end)


def _sticks_out(inner: list[float], outer: list[float]) -> bool:
    return inner[0] < outer[0] - _SAME or inner[1] > outer[1] + _SAME
