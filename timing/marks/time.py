"""The score's marks of time as entries of the plan: tempi, slowing and hurrying, holds."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from itertools import groupby

import numpy as np

from timing.marks.places import Page, Printed, Said, Stretches, heard_moments, heard_runs
from timing.marks.uses import NOWHERE, Book, Fate
from timing.plan import Plan
from timing.plan.position import Position
from timing.plan.time import Hold, Slowing, TempoMark

MOST_BARS = 4  # that a slowdown lasts without dashes: it then comes back (common practice leaves it to the player)

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
    made = []
    latest: dict[float, Printed] = {}  # by how they change the tempo
    for here in at_places(marks):
        heard = [(bar, bar) for bar, _ in page.heard(here[0].at)]
        if book.give_way(here, heard, lambda _: plan.tempo[0] if plan.tempo else None) == NOWHERE:
            continue
        said = next((mark for mark in here if mark.meaning.kind == "number"), here[0])
        tempo = _tempo(said, page)
        older = latest.get(said.meaning.value)
        if said.meaning.kind == "change":
            latest[said.meaning.value] = said
            if older and older.part != said.part and said.at < page.end_of_bars(older.at, 1):
                continue  # the same change, printed a little later in another part
        if tempo is not None:
            made.append(TempoMark.model_construct(at=page.position(said.at), tempo=tempo))
    return made


def _tempo(mark: Printed, page: Page) -> float | str | None:
    kind, value = mark.meaning.kind, mark.meaning.value
    if kind == "number":
        return value
    if kind == "tempo":
        return value * page.felt_beat(mark.at)
    if kind == "change":
        return f"{100 * value:g}%"
    if kind == "first tempo":
        return "tempo primo"
    before = page.felt_beat(max(mark.at - 1e-3, 0.0))  # the same beat, which may be another note value
    return f"{100 * page.felt_beat(mark.at) / before:g}%" if before != page.felt_beat(mark.at) else None


# -- slowing


def slowing_marks(
    marks: list[Printed], stops: list[float], plan: Plan, page: Page, book: Book, holds: list[tuple[float, float]]
) -> list[Slowing]:
    """Slowing, hurrying and coming back. `stops` are the places at which a slowdown without dashes ends, sorted;
    `holds` are the (start, end) of the fermatas: it lasts until the first of them is over."""
    said = Said(page, plan.slowing, lambda entry: _bars_of(entry, page))
    paces = [mark for mark in marks if mark.meaning.kind == "pace"]
    made = [_a_tempo(here, said, page, book) for here in at_places([m for m in marks if m.meaning.kind == "return"])]
    made += [_slowdown(*chain, said, page, book) for chain in _chains(paces, stops, page, book, holds)]
    return sorted((entry for entry in made if entry), key=lambda entry: entry.value(entry.kind).start.row)


def _a_tempo(here: list[Printed], said: Said, page: Page, book: Book) -> Slowing | None:
    heard = [(bar, bar) for bar, _ in page.heard(here[0].at)]
    passes = book.give_way(here, heard, lambda number: said.instead(*heard[number]))
    return None if passes == NOWHERE else Slowing.model_construct(a_tempo=page.moment(here[0].at), passes=passes)


def _slowdown(here: list[Printed], end: float, goes_on: bool, said: Said, page: Page, book: Book) -> Slowing | None:
    mark = here[0]
    bars = page.range(mark.at, end)
    heard = [(run.first, run.last) for run in page.runs(bars)]
    passes = book.give_way(here, heard, lambda number: said.instead(*heard[number]))
    if passes == NOWHERE:
        return None
    then = None if goes_on or end >= page.length - 1e-6 else True
    return Slowing.model_construct(**{mark.meaning.word: bars}, to=mark.meaning.value, then=then, passes=passes)


def _chains(
    paces: list[Printed], stops: list[float], page: Page, book: Book, holds: list[tuple[float, float]]
) -> list[tuple[list[Printed], float, bool]]:
    """(marks that are one, the place where it ends, whether another goes on from there) of every slowdown.

    A word that only repeats what is going on has no effect; a stronger one, or one the other way, takes over.
    """
    made: list[tuple[list[Printed], float, bool]] = []
    for here in at_places(paces):
        mark = max(here, key=lambda m: (m.end, abs(np.log(m.meaning.value))))
        here.sort(key=lambda m: m is not mark)
        end = mark.end if mark.end > mark.at + 1e-6 else _natural_end(mark.at, stops, page, holds)
        if made and mark.at < made[-1][1] - 1e-6:
            (older, *_), older_end, _ = made[-1]
            if _repeats(mark, older):
                for each in here:
                    why = f"the {older.text} at {page.position(older.at)} is still going on"
                    book.note(each, Fate.WITHOUT_EFFECT, why)
                if mark.end > older_end:  # its dashes lead further
                    made[-1] = (made[-1][0], mark.end, False)
                continue
            made[-1] = (made[-1][0], mark.at, True)
        made.append((here, end, False))
    return made


def _repeats(mark: Printed, older: Printed) -> bool:
    new, old = mark.meaning.value, older.meaning.value
    return (new > 1) == (old > 1) and abs(np.log(new)) <= abs(np.log(old)) + 1e-9


def _natural_end(at: float, stops: list[float], page: Page, holds: list[tuple[float, float]]) -> float:
    """Where a slowdown without dashes ends: at the next stop, or when the next fermata is over; after MOST_BARS."""
    end = page.end_of_bars(at, MOST_BARS)
    following = bisect_right(stops, at + 1e-6)
    end = min(end, stops[following]) if following < len(stops) else end
    held = bisect_left(holds, (at - 1e-6,))
    if held < len(holds) and holds[held][0] < end - 1e-6:
        end = holds[held][1]
    return end


def _bars_of(entry: Slowing, page: Page) -> list[tuple[int, int]]:
    """The performed bars in which an entry acts, until the tempo has come back."""
    where = page.where
    runs = heard_runs(where, entry, entry.where)
    if entry.kind != "a tempo":
        runs = [run for run in runs if run.complete]
    backs = heard_moments(where, entry, entry.then) if isinstance(entry.then, Position) else np.zeros(0)
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
            here = lengths[slice(*np.searchsorted(places, (at - 1e-6, at + 1e-6)))]
            if len(here):
                return min(at + max(float(here.min()), beat), page.length)
        return min(at + beat, page.length)


def fermatas(marks: list[Printed], page: Page) -> list[tuple[float, float, list[Printed]]]:
    """(start, end, marks) of every fermata on the page. Of those that overlap, as in voices that arrive one after
    another, the last one holds them all."""
    held = Held(page)
    made: list[tuple[float, float, list[Printed]]] = []
    for here in at_places([mark for mark in marks if mark.meaning.kind == "fermata"]):
        if made and here[0].at < made[-1][1] - 1e-6:
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
        if hold.kind in ("fermata", "agogic")
        for run in heard_runs(page.where, hold, hold.where)
    )
    silences = Stretches(
        (float(at) - _NEAR, float(at) + _NEAR, hold)
        for hold in plan.holds
        if hold.kind in ("breath", "caesura")
        for at in heard_moments(page.where, hold, hold.where, after=True)
    )
    made = []
    for start, end, here in found:
        heard = page.heard(start)
        spans = [(moment, moment + end - start) for _, moment in heard]
        passes = book.give_way(here, [(bar, bar) for bar, _ in heard], lambda k, s=spans: stretched.instead(*s[k]))
        if passes != NOWHERE:
            made.append(Hold.model_construct(fermata=page.moment(start), passes=passes))
    for here in at_places([mark for mark in marks if mark.meaning.kind != "fermata"]):
        made += _silence(here, silences, page, book)
    return made


def _silence(here: list[Printed], silences: Stretches, page: Page, book: Book) -> list[Hold]:
    at = here[0].at
    if at >= page.length - 1e-6:
        for mark in here:
            book.note(mark, Fate.WITHOUT_EFFECT, "nothing follows it")
        return []
    position = page.position(at, over=True, instant=True)
    heard = [int(bar) for bar in page.where.hearings(position.row)]
    offset = at - float(page.starts[position.row])
    moments = [float(page.where.bars["start"][bar]) + offset for bar in heard]
    spans = [(moment - _NEAR, moment + _NEAR) for moment in moments]
    passes = book.give_way(here, [(bar, bar) for bar in heard], lambda number: silences.instead(*spans[number]))
    if passes == NOWHERE:
        return []
    kind = "caesura" if any(mark.meaning.kind == "caesura" for mark in here) else "breath"
    alone = len({mark.part for mark in here}) < len(page.score.parts)  # where others play on, the time does not wait
    in_time = alone and kind == "breath"
    return [Hold.model_construct(**{kind: position}, in_time=in_time, passes=passes)]
