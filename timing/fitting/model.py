"""A plan whose numbers are fitted: its time entries as parameters, and the lengths of intervals that it makes.

Every length comes from the planner itself (`build_pace`), so what is fitted is what will be heard. Entries of one kind
never shape the same interval, so one performance with all of them a little deeper says what each of them does.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from timing.columns import WITHIN
from timing.fitting.course import Course
from timing.fitting.pairs import Whitening
from timing.plan import Plan
from timing.plan.entry import Entry
from timing.plan.kinds import Act
from timing.plan.time import Arch, Hold, Phrase, Slowing, TempoMark
from timing.time.pace import Pace, build_pace, held_stretches
from timing.where import Passes
from timing.where.hearings import Hearings

NUDGE = 1e-3  # by which a number is moved to see what it does
ROUNDS = 4  # of refinement at most
ENOUGH = 0.5  # of the sum of squares: what gains less is refined
MOST_MOVED = 0.3  # of log pace in one round

Path = tuple[int, ...]  # to a phrase: its row among the phrases, then among those inside it


@dataclass(frozen=True)
class Number:
    """One number of the plan: of a tempo mark, an arch, a slowing or a hold. `row` says which (a path for a phrase)."""

    section: str
    row: Path
    value: float  # log of a tempo, a pace or a length; of an arch log of 1 + pace; seconds of a silence
    low: float
    high: float


@dataclass(frozen=True)
class Model:
    """A plan of time alone, along one course."""

    course: Course
    plan: Plan

    def pace(self) -> Pace:
        """All that the plan says of time, brought together."""
        return build_pace(self.plan, self.course.where)
    def slow(self) -> np.ndarray:
        """(intervals,) log of the seconds a quarter."""
        pairs = self.course.pairs
        return np.log(np.diff(self.pace().time.seconds(pairs.quarters)) / pairs.spans)

    def numbers(self) -> list[Number]:
        """All numbers, in the order of the columns of `columns`."""
        made = [
            Number("tempo", (row,), math.log(mark.tempo), math.log(5.0), math.log(1000.0))
            for row, mark in enumerate(self.plan.tempo) if isinstance(mark.tempo, float)
        ]  # fmt: skip
        for path, phrase in all_phrases(self.plan.phrases):
            if phrase.arch is not None and phrase.arch.pace:
                made.append(Number("phrases", path, math.log1p(float(phrase.arch.pace)), 0.0, math.log(1.5)))
        for row, slow in enumerate(self.plan.slowing):
            if slow.to is not None:
                slows = slow.act is Act.SLOWS
                low, high = (0.1, 0.995) if slows else (1.005, 3.0)
                made.append(Number("slowing", (row,), math.log(slow.to), math.log(low), math.log(high)))
        for row, hold in enumerate(self.plan.holds):
            if hold.act is Act.SILENCES:
                made.append(Number("holds", (row,), hold.amount, 0.01, 10.0))
            else:
                made.append(Number("holds", (row,), math.log(hold.amount), 0.0, math.log(10.0)))
        return made

    def with_numbers(self, numbers: Sequence[Number]) -> Model:
        """The same with these numbers in their places."""
        plan = self.plan
        found: dict[str, dict[Path, float]] = {}
        for number in numbers:
            found.setdefault(number.section, {})[number.row] = float(np.clip(number.value, number.low, number.high))
        changed = {
            "tempo": tuple(_tempo(mark, found, row) for row, mark in enumerate(plan.tempo)),
            "slowing": tuple(_slowing(slow, found, row) for row, slow in enumerate(plan.slowing)),
            "holds": tuple(_hold(hold, found, row) for row, hold in enumerate(plan.holds)),
            "phrases": with_arches(plan.phrases, lambda path, arch: _arch(arch, found, path)),
        }
        return replace(self, plan=plan.model_copy(update=changed))

    def cost(self, slow: np.ndarray, whitening: Whitening, price: float) -> float:
        """The sum of squares that is left, and the prices of all numbers."""
        return float(np.sum(whitening(slow - self.slow()) ** 2)) + price * len(self.numbers())

    def with_tempo(self, marks: tuple[TempoMark, ...]) -> Model:
        """The same with other tempo marks."""
        return replace(self, plan=self.plan.model_copy(update={"tempo": marks}))

    def columns(self, numbers: Sequence[Number], base: np.ndarray, shaped: Sequence[np.ndarray]) -> np.ndarray:
        """(intervals, numbers) by how much the log length of each interval grows with each number, where it may
        (`shaped`)."""
        made = np.zeros((len(base), len(numbers)))
        waves: dict[tuple, list[int]] = {}
        for k, number in enumerate(numbers):
            if number.section == "tempo":
                made[shaped[k], k] = -1.0
            else:
                waves.setdefault((number.section, self._wave(number)), []).append(k)
        for members in waves.values():
            moved = list(numbers)
            for k in members:
                up = 1.0 if numbers[k].value + NUDGE < numbers[k].high else -1.0
                moved[k] = replace(numbers[k], value=numbers[k].value + up * NUDGE)
            change = self.with_numbers(moved).slow() - base
            for k in members:
                made[shaped[k], k] = change[shaped[k]] / (moved[k].value - numbers[k].value)
        return made

    def _wave(self, number: Number) -> int:
        """Numbers of one section and one wave never shape the same interval."""
        if number.section == "phrases":
            return len(number.row)
        return int(number.section == "holds" and self.plan.holds[number.row[0]].act is Act.SILENCES)

    def shaped(self, numbers: Sequence[Number]) -> list[np.ndarray]:
        """For each number the rows of the intervals that it may shape."""
        pace, course = self.pace(), self.course
        every, in_force = np.arange(len(course.starts)), self._in_force()
        slows = sorted(pace.slowings, key=lambda slow: slow.run.start)
        rows = {id(entry): row for row, entry in enumerate(self.plan.slowing)}
        following = [*(slow.run.start for slow in slows), course.where.length][1:]
        spans: dict[tuple, list[tuple[float, float]]] = {}
        for slow, then in zip(slows, following, strict=True):
            row = rows[id(slow.entry)]
            until = then if slow.back is None else min(max(slow.back, slow.run.end), then)
            spans.setdefault(("slowing", (row,)), []).append((slow.run.start, until))
        for row, hold in enumerate(self.plan.holds):
            spans[("holds", (row,))] = held_spans(hold, course)
        paths = [path for path, _ in all_phrases(self.plan.phrases)]
        for phrase in pace.phrases:
            spans.setdefault(("phrases", paths[phrase.number]), []).append((phrase.start, phrase.end))
        made = []
        for number in numbers:
            if number.section == "tempo":
                made.append(every[in_force == number.row[0]])
                continue
            parts = [every[course.within(*span)] for span in spans.get((number.section, number.row), [])]
            made.append(np.unique(np.concatenate(parts)) if parts else every[:0])
        return made

    def _in_force(self) -> np.ndarray:
        """(intervals,) the row of the tempo mark that each goes by."""
        told = [mark.model_copy(update={"tempo": 100.0 + row}) for row, mark in enumerate(self.plan.tempo)]
        quarters = self.course.pairs.quarters
        plain = self.plan.model_copy(update={"tempo": tuple(told), "phrases": (), "slowing": (), "holds": ()})
        basic = replace(self, plan=plain).pace().time.basic((quarters[1:] + quarters[:-1]) / 2)
        return np.round(basic - 100).astype(np.int64)

    def refined(self, slow: np.ndarray, whitening: Whitening) -> tuple[Model, np.ndarray]:
        """The numbers that come nearest to `slow` (log seconds a quarter), by Gauss and Newton within their bounds; and
        (numbers, numbers) the covariance of their errors."""
        model, numbers = self, self.numbers()
        base = model.slow()
        best = float(np.sum(whitening(slow - base) ** 2))
        information, shaped = np.eye(len(numbers)), model.shaped(numbers)
        for _ in range(ROUNDS):
            columns = whitening(model.columns(numbers, base, shaped))
            information = columns.T @ columns
            damped = information + np.diag(1e-6 * np.maximum(np.diag(information), 1.0))
            step = np.linalg.solve(damped, columns.T @ whitening(slow - base))
            step = np.clip(step, -MOST_MOVED, MOST_MOVED)
            for share in (1.0, 0.3, 0.1):
                moved = [
                    replace(n, value=float(np.clip(n.value + share * s, n.low, n.high)))
                    for n, s in zip(numbers, step, strict=True)
                ]
                tried = model.with_numbers(moved)
                reached = tried.slow()
                cost = float(np.sum(whitening(slow - reached) ** 2))
                if cost < best:
                    break
            else:
                break
            gained, best = best - cost, cost
            model, numbers, base = tried, moved, reached
            if gained < ENOUGH:
                break
        return model, np.linalg.pinv(information + 1e-9 * np.eye(len(numbers)))


def held_spans(hold: Hold, course: Course) -> list[tuple[float, float]]:
    """From and to which quarter a hold makes intervals longer, each time that it is heard."""
    if hold.act is Act.SILENCES:
        moments = course.where.moments(hold.where, hold.passes, after=True)
        return [(float(at) - WITHIN, float(at)) for at in moments]
    return [(start, end) for start, end, *_ in held_stretches(hold, Hearings(course.where))]


def all_phrases(phrases: Sequence[Phrase], above: Path = ()) -> Iterator[tuple[Path, Phrase]]:
    """All phrases with their paths, outer ones first."""
    for row, phrase in enumerate(phrases):
        yield (*above, row), phrase
        yield from all_phrases(phrase.inside, (*above, row))


def only_arched(phrases: Sequence[Phrase], passes: Passes = None) -> tuple[Phrase, ...]:
    """The phrases that have an arch of pace, those inside one another still so: no others shape time."""
    made: list[Phrase] = []
    for phrase in phrases:
        here = phrase if phrase.passes else phrase.model_copy(update={"passes": passes})
        inside = only_arched(phrase.inside, here.passes)
        if phrase.arch is not None and phrase.arch.pace:
            made.append(here.model_copy(update={"inside": inside}))
        else:
            made += inside
    return tuple(made)


def with_arches(
    phrases: Sequence[Phrase], arch: Callable[[Path, Arch | None], Arch | None], above: Path = ()
) -> tuple[Phrase, ...]:
    """The same phrases with other arches."""
    return tuple(
        phrase.model_copy(
            update={
                "arch": arch((*above, row), phrase.arch),
                "inside": with_arches(phrase.inside, arch, (*above, row)),
            }
        )
        for row, phrase in enumerate(phrases)
    )


def _tempo(mark: TempoMark, found: dict, row: int) -> TempoMark:
    value = found.get("tempo", {}).get((row,))
    return mark if value is None else mark.model_copy(update={"tempo": math.exp(value)})


def _slowing(slow: Slowing, found: dict, row: int) -> Slowing:
    value = found.get("slowing", {}).get((row,))
    return slow if value is None else slow.model_copy(update={"to": math.exp(value)})


def _hold(hold: Hold, found: dict, row: int) -> Hold:
    value = found.get("holds", {}).get((row,))
    if value is None:
        return hold
    silent = hold.act is Act.SILENCES
    return hold.model_copy(update={"seconds": value} if silent else {"length": math.exp(value)})


def _arch(arch: Arch | None, found: dict, path: Path) -> Arch | None:
    value = found.get("phrases", {}).get(path)
    return arch if value is None or arch is None else arch.model_copy(update={"pace": math.expm1(value)})


def without(plan: Plan, number: Number) -> Plan:
    """The plan without the entry (or the arch) of a number."""
    if number.section == "phrases":
        return plan.model_copy(
            update={"phrases": with_arches(plan.phrases, lambda path, arch: None if path == number.row else arch)}
        )
    entries: tuple[Entry, ...] = getattr(plan, number.section)
    (row,) = number.row
    return plan.model_copy(update={number.section: (*entries[:row], *entries[row + 1 :])})
