"""The score's words for hands and bows as entries of the plan: pizzicato, harmonics, rasgueado."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable
from typing import Any

import numpy as np

from timing.columns import NEAR
from timing.marks.places import Page, Printed, Said
from timing.marks.sound import runs_of, until_next
from timing.marks.uses import NOWHERE, Book, Fate
from timing.plan import Plan
from timing.plan.position import Range
from timing.plan.strings import StringChoice

MOST_BARS = 4  # within which what ends harmonics or a rasgueado has to come, if they have no dashes
_ENDS = ("arco", "plucked")
_PLUCKED_TOO = (*range(40, 45), 48, 49)  # bowed strings, whose pizzicato is an instrument of General MIDI


def string_marks(
    marks: list[Printed], plan: Plan, programs: np.ndarray, fretted: np.ndarray, tones: set[str], page: Page, book: Book
) -> list[StringChoice]:
    """Pizzicato until arco or the like; harmonics and rasgueado of guitars. `tones` are the words that stand for a tone
    as well, as `naturale`: where they end nothing here they are no more than that."""
    begun = {mark.part for mark in marks if mark.meaning.kind not in _ENDS}
    plucked = {mark.part for mark in marks if mark.meaning.kind == "pizzicato"}
    for mark in marks:
        if mark.part not in begun and mark.text not in tones:
            book.note(mark, Fate.WITHOUT_EFFECT, "nothing is played in another way before it")
    marks = [mark for mark in marks if mark.part in begun]
    ends = [mark for mark in marks if mark.meaning.kind in _ENDS]
    pizzicati = [mark for mark in marks if mark.meaning.kind == "pizzicato"]
    made = _pizzicati(pizzicati + [mark for mark in ends if mark.part in plucked], plan, programs, fretted, page, book)
    for mark in ends:
        if mark.part not in plucked and mark.text not in tones:
            fate = Fate.USED if fretted[mark.part] else Fate.WITHOUT_EFFECT
            book.note(mark, fate, "" if fretted[mark.part] else "nothing is played in another way before it")
    for kind, until, what in (("harmonic", _until_next_note, "harmonics"), ("rasgueado", _until_bar, "a rasgueado")):
        mine = [mark for mark in marks if mark.meaning.kind == kind]
        others = [mark for mark in marks if mark.meaning.kind != kind or kind == "rasgueado"]
        made += _stretches(mine, kind, until, what, others, plan, fretted, page, book)
    return made


def _pizzicati(
    marks: list[Printed], plan: Plan, programs: np.ndarray, fretted: np.ndarray, page: Page, book: Book
) -> list[StringChoice]:
    said = Said(page, _said(plan), lambda s: runs_of(s, page))
    made: list[StringChoice] = []

    def entry(mark: Printed, bars: Range, name: str | None, passes: tuple[int, ...] | None) -> None:
        if mark.meaning.kind == "pizzicato":
            made.append(StringChoice.model_construct(bars=bars, pizzicato=True, for_=name, passes=passes))

    able = fretted | np.isin(programs, _PLUCKED_TOO)
    until_next(marks, said, able, "only guitars and bowed strings have a pizzicato", entry, page, book)
    return made


def _stretches(
    marks: list[Printed],
    kind: str,
    until: Callable[[float, frozenset[int], Page], tuple[float, float] | None],
    what: str,
    others: list[Printed],
    plan: Plan,
    fretted: np.ndarray,
    page: Page,
    book: Book,
) -> list[StringChoice]:
    """Entries of one kind: each until its dashes end; else until one of the `others`, if that is near; else as far as
    `until` says."""
    said = Said(page, _said(plan), lambda s: runs_of(s, page))
    places: dict[int, list[float]] = {}
    for other in sorted(others, key=lambda other: other.at):
        places.setdefault(other.part, []).append(other.at)
    made = []
    for mark in marks:
        name, cells = page.whose(mark)
        if not fretted[mark.part] or not cells:
            why = f"only guitars have {what}" if cells else "it has no notes"
            book.note(mark, Fate.WITHOUT_EFFECT, why)
            continue
        there = places.get(mark.part, [])
        following = bisect_right(there, mark.at + NEAR)
        after = there[following] if following < len(there) else page.length
        near = after <= page.end_of_bars(mark.at, MOST_BARS) and after < page.length
        start, end = (mark.at, after) if near else until(mark.at, cells, page) or (mark.at, mark.at)
        if mark.end > mark.at + NEAR:
            start, end = mark.at, mark.end
        if end <= start:
            book.note(mark, Fate.WITHOUT_EFFECT, "no note begins there")
            continue
        bars = page.range(start, end)
        heard = [(run.first, run.last) for run in page.where.runs(bars)]
        passes = book.give_way([mark], heard, [said.throughout(*there, cells) for there in heard])
        if passes != NOWHERE:
            how: dict[str, Any] = {kind: True}
            made.append(StringChoice.model_construct(bars=bars, **how, for_=name, passes=passes))
    return made


def _until_next_note(at: float, cells: frozenset[int], page: Page) -> tuple[float, float] | None:
    """What begins there, or next in the bar, until the next note or chord of the voices."""
    onsets = page.onsets(cells)
    first = int(np.searchsorted(onsets, at - NEAR))
    if first == len(onsets) or onsets[first] >= page.end_of_bars(at, 1) - NEAR:
        return None
    return float(onsets[first]), float(onsets[first + 1]) if first + 1 < len(onsets) else page.length


def _until_bar(at: float, cells: frozenset[int], page: Page) -> tuple[float, float]:
    return at, page.end_of_bars(at, 1)


def _said(plan: Plan) -> list[StringChoice]:
    """The passages of which the plan says in which of these ways they are played."""
    passages = [entry for entry in plan.strings if entry.bars is not None]
    return [entry for entry in passages if entry.pizzicato or entry.harmonic or entry.rasgueado]
