"""The score's marks of time as entries of the plan: tempi, slowing and hurrying, holds."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from dataclasses import dataclass, replace
from itertools import groupby, pairwise
from typing import Any, Literal

import numpy as np

from timing.columns import NEAR, ROUNDING
from timing.marks.places import Page, Printed, Said, Stretches, heard_moments, heard_runs
from timing.marks.uses import NOWHERE, Book, Fate
from timing.plan import Plan
from timing.plan.kinds import Act
from timing.plan.position import Position
from timing.plan.time import Hold, Slowing, TempoMark

# Bars that a slowdown without dashes lasts at most (common practice leaves it to the player): until a return, a new
# tempo or the end of the piece; until a line that ends a section or a phrase; and where the page has none of them.
MOST_BARS, TO_A_LINE, UNANSWERED = 8, 4, 2
PASSING = 8  # bars: what is shorter is no tempo to go back to

_NEAR = 1e-4  # quarters between moments that are one


def place_of(mark: Printed) -> float:
    """A key for places: what is printed at one place has the same."""
    return round(mark.at, 6)


def at_places(marks: list[Printed]) -> list[list[Printed]]:
    """The marks of each place together, in the order of the page."""
    return [list(group) for _, group in groupby(sorted(marks, key=place_of), key=place_of)]


# -- tempo


def tempo_marks(marks: list[Printed], plan: Plan, page: Page, book: Book) -> list[TempoMark]:
    """Tempi by their number, else by their words. Any tempo of the plan takes the place of them all."""
    made: list[TempoMark] = []
    latest: dict[float, Printed] = {}  # by how they change the tempo
    for here in at_places(marks):
        heard = [(bar, bar) for bar, _ in page.heard(here[0].at)]
        if book.give_way(here, heard, [plan.tempo[0] if plan.tempo else None] * len(heard)) == NOWHERE:
            continue
        said = next((mark for mark in here if mark.meaning.kind == "number"), here[0])
        tempo = _tempo(said, page)
        if tempo == "tempo primo":
            tempo = _after_introduction(made, page.bar(said.at)) or tempo
        older = latest.get(said.meaning.value)
        if said.meaning.kind == "change":
            latest[said.meaning.value] = said
            if older and older.part != said.part and said.at < page.end_of_bars(older.at, 1):
                continue  # the same change, printed a little later in another part
        if tempo is not None:
            made.append(TempoMark.model_construct(at=page.position(said.at), tempo=tempo))
            made[-1]._said = _said(said)
    return made


def _after_introduction(before: list[TempoMark], bar: int) -> float | None:
    """The tempo to which a Tempo I goes back that follows a few bars of another one, where the first tempo was that of
    an introduction: the last one that held, for half as long again at least. None: to the first (our own values)."""
    bars = [*(mark.at.row for mark in before if mark.at is not None and mark.at.row is not None), bar]
    held = [end - start for start, end in pairwise(bars)]
    tempi: list[float | str] = []
    for mark in before:
        reached, last = mark.tempo, tempi[-1] if tempi else None
        if isinstance(reached, str) and reached.endswith("%") and isinstance(last, float):
            reached = last * float(reached[:-1]) / 100
        tempi.append(tempi[0] if reached == "tempo primo" and tempi else reached)
    lasting = [number for number, each in enumerate(held) if each >= PASSING]
    if not lasting or lasting[-1] in (0, len(held) - 1) or held[lasting[-1]] < 1.5 * held[0]:
        return None
    main = tempi[lasting[-1]]
    return main if isinstance(main, float) else None


def _said(mark: Printed) -> str:
    """How much of a tempo is printed, in words."""
    if not (mark.hidden and mark.meaning.kind == "number"):
        return "printed"
    worded = not mark.text.endswith("not printed")
    return f"{mark.text} is printed, its number is the file's own" if worded else "the file's own, not printed"


def _tempo(mark: Printed, page: Page) -> float | str | None:
    kind, value = mark.meaning.kind, mark.meaning.value
    if kind == "number":
        return value
    if kind == "tempo":
        return value * page.worded_beat(mark.at)
    if kind == "change":
        return f"{100 * value:g}%"
    if kind == "first tempo":
        return "tempo primo"
    before = page.felt_beat(max(mark.at - 1e-3, 0.0))  # the same beat, which may be another note value
    return f"{100 * page.felt_beat(mark.at) / before:g}%" if before != page.felt_beat(mark.at) else None


# -- slowing


@dataclass(frozen=True)
class Stops:
    """The places at which a slowdown without dashes can end, each list sorted.

    `answers` are returns, new tempi and the end of the piece, `lines` double bars, repeat signs and ends of phrases;
    `holds` are the (start, end) of the fermatas: it lasts until one of them is over.
    """

    answers: list[float]
    lines: list[float]
    holds: list[tuple[float, float]]

    def after(self, at: float, page: Page) -> float | None:
        """The first one that ends what begins here."""
        found = []
        for places, bars in ((self.answers, MOST_BARS), (self.lines, TO_A_LINE)):
            following = bisect_right(places, at + 1e-5)
            found += [place for place in places[following : following + 1] if place <= page.end_of_bars(at, bars)]
        held = bisect_left(self.holds, (at - NEAR,))
        if held < len(self.holds) and self.holds[held][0] < page.end_of_bars(at, TO_A_LINE) - NEAR:
            found.append(self.holds[held][1])
        return min(found, default=None)


@dataclass(frozen=True)
class _Course:
    """A slowdown of the page: the marks that are one, where it ends, the pace that it comes to, and whether the tempo
    then comes back."""

    marks: list[Printed]
    end: float
    pace: float
    back: bool


def slowing_marks(marks: list[Printed], stops: Stops, plan: Plan, page: Page, book: Book) -> list[Slowing]:
    """Slowing, hurrying and coming back."""
    said = Said(page, plan.slowing, lambda entry: _bars_of(entry, page))
    paces = [mark for mark in marks if mark.meaning.kind == "pace"]
    made = [_a_tempo(here, said, page, book) for here in at_places([m for m in marks if m.meaning.kind == "return"])]
    made += [_slowdown(course, said, page, book) for course in _courses(paces, stops, page, book)]
    return sorted((entry for entry in made if entry), key=lambda entry: entry.value(entry.kind).start.row)


def _a_tempo(here: list[Printed], said: Said, page: Page, book: Book) -> Slowing | None:
    heard = [(bar, bar) for bar, _ in page.heard(here[0].at)]
    passes = book.give_way(here, heard, [said.instead(*bars) for bars in heard])
    return None if passes == NOWHERE else Slowing.model_construct(a_tempo=page.moment(here[0].at), passes=passes)


def _slowdown(course: _Course, said: Said, page: Page, book: Book) -> Slowing | None:
    word, at = course.marks[0].meaning.word, course.marks[0].at
    bars = page.range(at, course.end)
    heard = [(run.first, run.last) for run in page.runs(bars)]
    passes = book.give_way(course.marks, heard, [said.instead(*there) for there in heard])
    if passes == NOWHERE:
        return None
    then: Literal[True] | None = True if course.back and course.end < page.length - NEAR else None
    slows: dict[str, Any] = {word: bars}
    return Slowing.model_construct(**slows, to=course.pace, then=then, passes=passes)


def _courses(paces: list[Printed], stops: Stops, page: Page, book: Book) -> list[_Course]:
    """The slowdowns of the page. A word that only repeats what is going on has no effect; a stronger one, or one the
    other way, takes over."""
    made: list[_Course] = []
    places = at_places(paces)
    for number, here in enumerate(places):
        mark = max(here, key=lambda m: (m.end, abs(np.log(m.meaning.value))))
        here.sort(key=lambda m: m is not mark)
        following = places[number + 1][0].at if number + 1 < len(places) else page.length
        course = _course(here, following, stops, page)
        if made and mark.at < made[-1].end - NEAR:
            older = made[-1].marks[0]
            if _repeats(mark, older):
                for each in here:
                    why = f"the {older.text} at {page.position(older.at)} is still going on"
                    book.note(each, Fate.WITHOUT_EFFECT, why)
                if mark.end > made[-1].end:  # its dashes lead further
                    made[-1] = replace(made[-1], end=mark.end, back=True)
                continue
            made[-1] = replace(made[-1], end=mark.at, back=False)
        made.append(course)
    return made


def _course(here: list[Printed], following: float, stops: Stops, page: Page) -> _Course:
    """What one slowdown comes to, if nothing takes over. `following` is where the next one is printed."""
    at, end, meaning = here[0].at, here[0].end, here[0].meaning
    if end > at + NEAR:
        return _Course(here, end, meaning.value, back=True)
    if (stop := stops.after(at, page)) is not None:
        return _Course(here, stop, meaning.value, back=True)
    if following < page.end_of_bars(at, TO_A_LINE):
        return _Course(here, page.end_of_bars(at, TO_A_LINE), meaning.value, back=True)
    if meaning.less is None:  # a new tempo, which is reached by and by
        return _Course(here, page.end_of_bars(at, TO_A_LINE), meaning.value, back=False)
    return _Course(here, page.end_of_bars(at, UNANSWERED), meaning.less, back=True)


def _repeats(mark: Printed, older: Printed) -> bool:
    new, old = mark.meaning.value, older.meaning.value
    return (new > 1) == (old > 1) and abs(np.log(new)) <= abs(np.log(old)) + ROUNDING


def _bars_of(entry: Slowing, page: Page) -> list[tuple[int, int]]:
    """The performed bars in which an entry acts, until the tempo has come back."""
    where = page.where
    runs = heard_runs(page.hearings, entry, entry.where)
    if entry.act is not Act.RETURNS:
        runs = [run for run in runs if run.complete]
    backs = heard_moments(page.hearings, entry, entry.then) if isinstance(entry.then, Position) else np.zeros(0)
    made = []
    for run in runs:
        back = backs[np.searchsorted(backs, run.end) :][:1]
        made.append((run.first, max(run.last, where.ordinal(float(back[0])) if len(back) else 0)))
    return made


# -- holds


class Held:
    """How long what begins at a place of the page is held: the shortest note there, but at least the beat."""

    def __init__(self, page: Page):
        self._page = page
        notes, heads = page.score.notes, page.score.heads
        self._tables = []
        for rows in (notes, heads):
            rows = rows[rows["length"] > 0]
            places = page.starts[rows["bar"]] + rows["offset"]
            order = np.argsort(places, kind="stable")
            self._tables.append((places[order], rows["length"][order]))

    def end(self, at: float) -> float:
        page = self._page
        beat = 4 / int(page.score.bars["unit"][page.bar(at)])
        for places, lengths in self._tables:
            here = lengths[slice(*np.searchsorted(places, (at - NEAR, at + NEAR)))]
            if len(here):
                return min(at + max(float(here.min()), beat), page.length)
        return min(at + beat, page.length)


def fermatas(marks: list[Printed], page: Page) -> list[tuple[float, float, list[Printed]]]:
    """(start, end, marks) of every fermata on the page. Of those that overlap, as in voices that arrive one after
    another, the last one holds them all."""
    held = Held(page)
    made: list[tuple[float, float, list[Printed]]] = []
    for here in at_places([mark for mark in marks if mark.meaning.kind == "fermata"]):
        if made and here[0].at < made[-1][1] - NEAR:
            here = made.pop()[2] + here
        made.append((here[-1].at, held.end(here[-1].at), here))
    return made


def hold_marks(
    marks: list[Printed], found: list[tuple[float, float, list[Printed]]], plan: Plan, page: Page, book: Book
) -> list[Hold]:
    """Fermatas (as `fermatas` found them), breaths and caesuras; they give way to the plan in the same place."""
    stretched = Stretches(
        (run.start, run.end, hold)
        for hold in plan.holds
        if hold.act is Act.STRETCHES
        for run in heard_runs(page.hearings, hold, hold.where)
    )
    silences = Stretches(
        (float(at) - _NEAR, float(at) + _NEAR, hold)
        for hold in plan.holds
        if hold.act is Act.SILENCES
        for at in heard_moments(page.hearings, hold, hold.where, after=True)
    )
    made = []
    for start, end, here in found:
        heard = page.heard(start)
        instead = [stretched.instead(moment, moment + end - start) for _, moment in heard]
        passes = book.give_way(here, [(bar, bar) for bar, _ in heard], instead)
        if passes != NOWHERE:
            made.append(Hold.model_construct(fermata=page.moment(start), passes=passes))
    for here in at_places([mark for mark in marks if mark.meaning.kind != "fermata"]):
        made += _silence(here, silences, page, book)
    return made


def _silence(here: list[Printed], silences: Stretches, page: Page, book: Book) -> list[Hold]:
    at = here[0].at
    if at >= page.length - NEAR:
        for mark in here:
            book.note(mark, Fate.WITHOUT_EFFECT, "nothing follows it")
        return []
    position = page.position(at, over=True, instant=True)
    row = page.bar(at, over=True)
    heard = [int(bar) for bar in page.where.hearings(row)]
    offset = at - float(page.starts[row])
    moments = [float(page.where.bars["start"][bar]) + offset for bar in heard]
    instead = [silences.instead(moment - _NEAR, moment + _NEAR) for moment in moments]
    passes = book.give_way(here, [(bar, bar) for bar in heard], instead)
    if passes == NOWHERE:
        return []
    kind = "caesura" if any(mark.meaning.kind == "caesura" for mark in here) else "breath"
    alone = len({mark.part for mark in here}) < len(page.score.parts)  # where others play on, the time does not wait
    in_time = alone and kind == "breath"
    waits: dict[str, Any] = {kind: position}
    return [Hold.model_construct(**waits, in_time=in_time, passes=passes)]
