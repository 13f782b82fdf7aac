"""The score's marks of sound as entries of the plan: dynamics, accents, tone."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable
from dataclasses import dataclass, replace
from math import inf
from typing import Any

import numpy as np

from timing.columns import NEAR
from timing.level.dynamics import UNMARKED, begun_at
from timing.marks.places import Page, Printed, Said, heard_moments, heard_runs
from timing.marks.uses import NOWHERE, Book, Fate
from timing.marks.vocabulary import SWELL
from timing.marks.words import NO_MEANING, Meaning, dynamic
from timing.notes.lines import Lines
from timing.plan import Plan
from timing.plan.entry import Entry
from timing.plan.kinds import Act
from timing.plan.position import Range
from timing.plan.sound import Accent, Dynamic, ToneChange
from timing.plan.words import LEVELS
from timing.score import Sign
from timing.where import Run

MOST_BARS = 4  # that a crescendo in words lasts without dashes and without a dynamic that ends it
SOFTEST = "ppp"  # what `al niente` comes to

BOWED = frozenset([40, 41, 42, 43, 44, 48, 49, 110])


# -- dynamics


@dataclass(frozen=True)
class _Group:
    """The marks that some voices read: their levels and swells, sorted by place."""

    levels: list[tuple[float, str]]  # (place, mark)
    swells: list[float]  # where hairpins and the like begin


def dynamic_marks(
    marks: list[Printed], stops: list[float], plan: Plan, page: Page, book: Book
) -> tuple[list[Dynamic], list[Accent]]:
    """Dynamics, hairpins and their words; and the accents of fp and the like. `stops` are the places at which a
    crescendo in words ends, if it has no dashes, sorted."""
    said = Said(page, plan.dynamics, lambda entry: _bars_of(entry, page))
    planned, marks = _Planned(plan, page), _stepped(marks, page)
    groups = _groups(marks, page)
    made: list[Dynamic] = []
    accents: list[Accent] = []
    sweet: dict[int, Printed] = {}  # by cell, the `dolce` that holds
    for mark in marks:
        name, cells = page.whose(mark)
        if not cells:
            book.note(mark, Fate.WITHOUT_EFFECT, "it has no notes")
        elif mark.meaning.kind == "swell":
            made += _swell(mark, name, cells, groups[cells], stops, said, planned, page, book)
        elif mark.meaning.kind == "sweet" and (older := next((sweet[cell] for cell in cells if cell in sweet), None)):
            book.note(mark, Fate.WITHOUT_EFFECT, f"the {older.text} at {page.position(older.at)} still holds")
        else:
            heard = [(bar, bar) for bar, _ in page.heard(mark.at)]
            passes = book.give_way([mark], heard, [said.instead(*bars, cells) for bars in heard])
            if passes == NOWHERE:
                continue
            at = page.position(mark.at)
            if mark.meaning.kind == "sweet":
                sweet |= dict.fromkeys(cells, mark)
                made.append(Dynamic.model_construct(at=at, softer=mark.meaning.value, for_=name, passes=passes))
                continue
            sweet = {cell: older for cell, older in sweet.items() if cell not in cells}
            level, accent = _dynamic(mark)
            made.append(Dynamic.model_construct(at=at, mark=level, for_=name, passes=passes))
            if isinstance(accent, float):
                accents.append(Accent.model_construct(at=at, by=accent, for_=name, passes=passes))
    return made, accents


def _dynamic(mark: Printed) -> tuple[str | None, float | str | None]:
    """What the sign of a dynamic does, as `dynamic` says it."""
    return dynamic(mark.meaning.word) or (None, None)


def _stepped(marks: list[Printed], page: Page) -> list[Printed]:
    """The marks, sorted by place, with `più f` and the like as the dynamic that they come to: one more or less than the
    last one that their voices read."""
    made: list[Printed] = []
    last: dict[int, str] = {}  # by cell
    for mark in sorted(marks, key=lambda mark: (mark.at, mark.meaning.kind == "sweet")):
        cells, meaning = page.whose(mark)[1], mark.meaning
        if meaning.kind == "step":
            scale = list(LEVELS)
            now = scale.index(max((last.get(cell, "mf") for cell in cells), key=scale.index, default="mf"))
            now += 1 if meaning.word == "louder" else -1
            mark = replace(mark, meaning=Meaning("dynamic", scale[min(max(now, 0), len(scale) - 1)]))
        if mark.meaning.kind == "dynamic" and (level := _dynamic(mark)[0]) is not None:
            last |= dict.fromkeys(cells, level)
        elif mark.meaning.goal:
            last |= dict.fromkeys(cells, mark.meaning.goal)
        made.append(mark)
    return made


def _groups(marks: list[Printed], page: Page) -> dict[frozenset[int], _Group]:
    """What is read by each set of cells that marks are for: what is for them, and for others with them."""
    own: dict[frozenset[int], _Group] = {}
    for mark in marks:
        group = own.setdefault(page.whose(mark)[1], _Group([], []))
        if mark.meaning.kind == "swell":
            group.swells.append(mark.at)
        elif mark.meaning.kind == "dynamic" and (level := _dynamic(mark)[0]) is not None:
            group.levels.append((mark.at, level))
    read = {}
    for cells in own:
        over = [group for others, group in own.items() if cells <= others]
        levels = sorted(level for group in over for level in group.levels)
        read[cells] = _Group(levels, sorted(at for group in over for at in group.swells))
    return read


class _Planned:
    """The dynamics that the plan has at single moments."""

    def __init__(self, plan: Plan, page: Page):
        self._found = sorted(
            ((float(at), entry.mark, page.named(entry)) for entry in plan.dynamics
             if entry.act is Act.STANDS and entry.mark is not None
             for at in heard_moments(page.hearings, entry, entry.where)),
            key=lambda each: each[0],
        )  # fmt: skip
        self._moments = [moment for moment, *_ in self._found]

    def next(self, start: float, end: float, cells: frozenset[int]) -> tuple[float, str] | None:
        """(moment, mark) of the first that is for these cells, from `start` to `end`."""
        first, last = bisect_left(self._moments, start - NEAR), bisect_right(self._moments, end + NEAR)
        return next(((moment, mark) for moment, mark, those in self._found[first:last] if those & cells), None)


def _swell(
    mark: Printed,
    name: str | None,
    cells: frozenset[int],
    group: _Group,
    stops: list[float],
    said: Said,
    planned: _Planned,
    page: Page,
    book: Book,
) -> list[Dynamic]:
    """The entries of a hairpin: one for each level that it leads to."""
    end, goal = _goal(mark, group, stops, page)
    if named := mark.meaning.goal:
        goal = end, named
    louder, nothing = mark.meaning.word == "crescendo", mark.meaning.value == inf
    bars = page.range(mark.at, end)
    runs = page.runs(bars, arriving=True)
    heard = [(run.first, run.last) for run in runs]
    passes = book.give_way([mark], heard, [said.instead(*there, cells) for there in heard])
    if passes == NOWHERE:
        return []
    before = LEVELS[SOFTEST] if nothing and louder else _before(mark.at, group)
    slack = float(page.score.bars["length"][page.bar(end)])

    def leads_to(run: Run) -> str | None:
        """The mark in which a hearing ends: the plan's, where it has one there, else the score's."""
        found = planned.next(run.end, run.end + slack, cells)
        if goal is not None and (found is None or goal[0] - end < found[0] - run.end - NEAR):
            bar = page.where.ordinal(run.end + goal[0] - end)
            found = goal if said.instead(bar, bar, cells) is None else found
        if nothing and not louder:
            return SOFTEST
        return found[1] if found and (LEVELS[found[1]] > before) == louder and LEVELS[found[1]] != before else None

    kept = [run for run in runs if passes is None or run.first in passes]
    by_goal: dict[str | None, list[Run]] = {}
    for run in kept:
        by_goal.setdefault(leads_to(run), []).append(run)
    made = []
    if nothing and louder:
        made.append(Dynamic.model_construct(at=bars.start, mark=SOFTEST, for_=name, passes=passes))
    for to_mark, there in by_goal.items():
        mine = passes if len(by_goal) == 1 else tuple(n for run in there for n in range(run.first, run.last + 1))
        by = (SWELL[0] if nothing else mark.meaning.value) if to_mark is None else None
        swells: dict[str, Any] = {mark.meaning.word: bars}
        made.append(Dynamic.model_construct(**swells, to_mark=to_mark, by=by, for_=name, passes=mine))
    return made


def _goal(mark: Printed, group: _Group, stops: list[float], page: Page) -> tuple[float, tuple[float, str] | None]:
    """(where a hairpin ends, the level mark that it leads to): one at its end, or within a bar after it and before the
    next hairpin; one that stands before its end ends it."""
    following = bisect_right(group.levels, (mark.at + NEAR, ""))
    level = group.levels[following] if following < len(group.levels) else None
    swell = bisect_right(group.swells, mark.at + NEAR)
    next_swell = group.swells[swell] if swell < len(group.swells) else page.length
    end = mark.end
    if end <= mark.at + NEAR:
        stop = bisect_right(stops, mark.at + NEAR)
        end = min(page.end_of_bars(mark.at, MOST_BARS), next_swell, *stops[stop : stop + 1])
    if level is None:
        return end, None
    end = min(end, level[0])
    near = level[0] <= end + float(page.score.bars["length"][page.bar(end)]) + NEAR
    return end, level if near and level[0] <= next_swell + NEAR else None


def _before(at: float, group: _Group) -> float:
    """dB of the last mark until this place."""
    last = bisect_right(group.levels, (at + NEAR, "")) - 1
    return LEVELS[group.levels[last][1]] if last >= 0 else UNMARKED


def sweet_ends(tones: list[Printed], dynamics: list[Printed], page: Page) -> list[Printed]:
    """The marks of tone, each `dolce` with its end: the next dynamic for some of its voices."""
    found = [(mark.at, page.whose(mark)[1]) for mark in dynamics if mark.meaning.kind in ("dynamic", "step")]
    levels = sorted(found, key=lambda level: level[0])
    made = []
    for mark in tones:
        if mark.meaning.kind == "sweet tone" and mark.end <= mark.at + NEAR:
            cells = page.whose(mark)[1]
            first = bisect_right(levels, mark.at + NEAR, key=lambda level: level[0])
            ends = (levels[n][0] for n in range(first, len(levels)) if levels[n][1] & cells)
            mark = replace(mark, end=next(ends, page.length))
        made.append(mark)
    return made


def _bars_of(entry: Dynamic, page: Page) -> list[tuple[int, int]]:
    """The performed bars in which an entry acts; where it arrives on the beginning of a bar, in that one too."""
    where = page.where
    if entry.act is Act.STANDS:
        return [(where.ordinal(float(at)),) * 2 for at in heard_moments(page.hearings, entry, entry.where)]
    runs = [run for run in heard_runs(page.hearings, entry, entry.where) if run.complete]
    arrives = entry.where.end.beat is not None
    return [(run.first, max(run.last, where.ordinal(run.end)) if arrives else run.last) for run in runs]


# -- accents


def accent_marks(marks: list[Printed], plan: Plan, page: Page, book: Book) -> list[Accent]:
    """sf, rf and the like; they give way to an accent of the plan in the same place."""
    if not marks:
        return []
    planned: dict[float, list[tuple[Entry, frozenset[int]]]] = {}
    for entry in plan.accents:
        for at in heard_moments(page.hearings, entry, entry.at):
            planned.setdefault(round(float(at), 6), []).append((entry, page.named(entry)))
    touch = plan.articulation
    amounts: dict[float | str | None, float] = {"sforzato": touch.sforzato, "accent": touch.accent}
    made = []
    for mark in marks:
        name, cells = page.whose(mark)
        if not cells:
            book.note(mark, Fate.WITHOUT_EFFECT, "it has no notes")
            continue
        heard = page.heard(mark.at)
        there = [planned.get(round(moment, 6), []) for _, moment in heard]
        instead = [next((entry for entry, those in found if those & cells), None) for found in there]
        passes = book.give_way([mark], [(bar, bar) for bar, _ in heard], instead)
        if passes != NOWHERE:
            by = amounts[_dynamic(mark)[1]]
            made.append(Accent.model_construct(at=page.position(mark.at), by=by, for_=name, passes=passes))
    return made


def sign_accents(signs: np.ndarray, plan: Plan) -> np.ndarray:
    """(n,) dB by which notes with these signs (bits of Sign) stand out."""
    touch = plan.articulation
    if "accents" in plan.marks.ignore:
        return np.zeros(len(signs))
    strong, plain = (signs & Sign.STRONG_ACCENT) != 0, (signs & Sign.ACCENT) != 0
    return np.select([strong, plain], [touch.strong_accent, touch.accent], 0.0)


def note_signs(
    plan: Plan, ids: np.ndarray, onsets: np.ndarray, played: np.ndarray, lines: Lines, page: Page, book: Book
) -> None:
    """Write down what became of the accents that stand on notes. `ids` are the score's rows of the performed notes,
    `onsets` their score onsets, `played` their signs without what the plan leaves out."""
    signs = page.score.notes["signs"]
    ignored = "accents" in plan.marks.ignore
    taken = np.zeros(len(ids), bool)
    for entry in plan.accents:
        chosen = lines.select(entry.for_, entry.place("for"), page.hearings)
        rows = begun_at(onsets, heard_moments(page.hearings, entry, entry.at))
        taken[rows[chosen[rows]]] = True
    every, known = np.arange(len(signs)), np.isin(np.arange(len(signs)), ids)
    for sign, text in ((Sign.STRONG_ACCENT, "strong accent"), (Sign.ACCENT, "accent")):
        mine, there = (signs & sign) != 0, (played & sign) != 0
        heard, left = np.isin(every, ids[there]), np.isin(every, ids[there & ~taken])
        fates = (
            (Fate.IGNORED, mine & (heard | ~known) if ignored else mine & False, ""),
            (Fate.WITHOUT_EFFECT, mine & ~known & (not ignored), "it is not heard in this order of the bars"),
            (Fate.OVERRIDDEN, mine & heard & ~left & (not ignored), "the plan has accents there"),
            (Fate.USED, mine & left & (not ignored), ""),
        )
        for fate, rows, why in fates:
            if rows.any():
                first = page.score.notes[np.argmax(rows)]
                at = page.at(first["bar"], first["offset"])
                mark = Printed("accents", text, NO_MEANING, at, at, int(first["part"]), int(first["staff"]))
                book.note(mark, fate, why, count=int(rows.sum()))


# -- tone


def tone_marks(
    marks: list[Printed], plan: Plan, programs: np.ndarray, fretted: np.ndarray, page: Page, book: Book
) -> list[ToneChange]:
    """Tones, each until the next one of the same voices (one that ends elsewhere ends there); where the plan has a tone
    it goes over them, note by note."""
    said = Said(page, [t for t in plan.tone if t.bars is not None], lambda t: runs_of(t, page))
    made: list[ToneChange] = []

    def entry(mark: Printed, bars: Range, name: str | None, passes: tuple[int, ...] | None) -> None:
        if mark.meaning.word != "naturale":
            tone = mark.meaning.word or mark.meaning.value
            made.append(ToneChange.model_construct(bars=bars, tone=tone, for_=name, passes=passes))

    strings = fretted | np.isin(programs, list(BOWED))
    until_next(marks, said, strings, "the instrument has no strings to change the tone of", entry, page, book)
    return made


# Makes an entry of a mark: in these bars, for these voices (as a plan names them), in these performed bars (None: all).
MakeEntry = Callable[[Printed, Range, str | None, tuple[int, ...] | None], None]


def until_next(
    marks: list[Printed], said: Said, able: np.ndarray, why: str, entry: MakeEntry, page: Page, book: Book
) -> None:
    """Let each of the marks act until its end, or the next one that its voices read, unless the plan speaks
    throughout."""
    places: dict[frozenset[int], list[float]] = {}
    for mark in marks:
        places.setdefault(page.whose(mark)[1], []).append(mark.at)
    read = {
        cells: np.unique([at for others, found in places.items() if cells <= others for at in found])
        for cells in places
    }
    for mark in marks:
        name, cells = page.whose(mark)
        if not able[mark.part] or not cells:
            book.note(mark, Fate.WITHOUT_EFFECT, why if cells else "it has no notes")
            continue
        following = read[cells][np.searchsorted(read[cells], mark.at + NEAR) :]
        end = mark.end if mark.end > mark.at + NEAR else page.length
        bars = page.range(mark.at, min([end, *following[:1].tolist()]))
        heard = [(run.first, run.last) for run in page.where.runs(bars)]
        passes = book.give_way([mark], heard, [said.throughout(*there, cells) for there in heard])
        if passes != NOWHERE:
            entry(mark, bars, name, passes)


def runs_of(entry: Entry, page: Page) -> list[tuple[int, int]]:
    return [(run.first, run.last) for run in heard_runs(page.hearings, entry, entry.where)]
