"""Entries that do not earn their place are taken out, and what was overlooked is looked for once more."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from timing.fitting.course import Course
from timing.fitting.entries import hearings_of, held_text, hold_of
from timing.fitting.model import Model, Number, without
from timing.fitting.pairs import Whitening
from timing.fitting.selecting import best_shapes
from timing.plan.time import Hold, TempoMark
from timing.where.naming import start_of_range

TRIES = 6  # rounds of taking out


@dataclass(frozen=True)
class Weighed:
    """A number of the plan, by how much it lowers the sum of squares, and the standard deviation of its error."""

    number: Number
    gain: float
    error: float


def pruned(model: Model, slow: np.ndarray, whitening: Whitening, price: float) -> tuple[Model, list[Weighed]]:
    """The refined model without the entries that lower the sum of squares by less than the price, and what the others
    are worth. A number's worth is its square over its variance, with all others free."""
    for tried in range(TRIES + 1):
        model, covariance = model.refined(slow, whitening)
        weighed = _weighed(model, covariance)
        poor = sorted(
            (each for each in weighed if each.gain < price and not _basic(each.number)), key=lambda each: each.gain
        )
        if not poor or tried == TRIES:
            break
        out = [each.number for each in poor if each.gain < price / 2] or [poor[0].number]
        plan = model.plan
        for number in sorted(out, key=lambda number: number.row, reverse=True):
            plan = without(plan, number)
        model = replace(model, plan=plan)
    return model, weighed


def _basic(number: Number) -> bool:
    return number.section == "tempo" and number.row == (0,)


def _weighed(model: Model, covariance: np.ndarray) -> list[Weighed]:
    numbers = model.numbers()
    arches = _before_ends(model)
    made = []
    for k, number in enumerate(numbers):
        error = math.sqrt(max(float(covariance[k, k]), 1e-18))
        if number.section == "tempo" and k > 0:
            away = numbers[k].value - numbers[k - 1].value
            error = math.sqrt(max(float(covariance[k, k] + covariance[k - 1, k - 1] - 2 * covariance[k, k - 1]), 1e-18))
        else:
            away = number.value - (arches.get(number.row, 0.0) if number.section == "slowing" else 0.0)
        made.append(Weighed(number, (away / error) ** 2, error))
    return made


def _before_ends(model: Model) -> dict[tuple[int, ...], float]:
    """By the row of a slowdown, the log pace of the arches as it ends."""
    if not model.plan.slowing:
        return {}
    rows = {id(entry): row for row, entry in enumerate(model.plan.slowing)}
    ends = [((rows[id(slow.entry)],), slow.run.end) for slow in model.pace().slowings]
    bare = replace(model, plan=model.plan.model_copy(update={"slowing": (), "holds": ()})).pace().time
    moments = np.array([end for _, end in ends])
    paces = np.log(bare.tempo(moments, before=True) / bare.basic(moments, before=True))
    return {row: float(pace) for (row, _), pace in zip(ends, paces, strict=True)}


def with_marks_moved(model: Model, slow: np.ndarray, whitening: Whitening) -> Model:
    """The model with its new tempi where the sum of squares is least: at the bar line that was found, or up to two bars
    away, each time the bar is heard or on the pass that was found."""
    for row in range(1, len(model.plan.tempo)):
        tried = [model, *(model.with_tempo(marks) for marks in _moved(model, row))]
        costs = [float(np.sum(whitening(slow - each.slow()) ** 2)) for each in tried]
        model = tried[int(np.argmin(costs))]
    return model


def _moved(model: Model, row: int) -> Iterator[tuple[TempoMark, ...]]:
    marks, where = model.plan.tempo, model.course.where
    mark = marks[row]
    assert mark.at is not None
    here, _ = where.point(mark.at)
    others = {(str(each.at), each.passes) for k, each in enumerate(marks) if k != row}
    for bar in range(max(here - 2, 0), min(here + 3, len(where.score.bars))):
        at = start_of_range(where.score, bar, 0.0)
        for passes in {mark.passes, None}:
            if (bar, passes) != (here, mark.passes) and (str(at), passes) not in others:
                moved = mark.model_copy(update={"at": at, "passes": passes})
                if len(where.moments(at, passes)):
                    yield (*marks[:row], moved, *marks[row + 1 :])


def second_look(model: Model, slow: np.ndarray, whitening: Whitening, price: float, most: float) -> Model:
    """The model with single beats that are still longer than it has them: held, or, where something shapes them
    already, followed by a breath."""
    course = model.course
    rest = slow - model.slow()
    room = most * course.bars_played / 8 - len(model.plan.slowing) - len(model.plan.holds)
    shapes = best_shapes(rest, course, whitening, np.full(len(rest), price), np.ones(len(rest), bool), ())
    single = sorted(shapes, key=lambda shape: -shape.gain)
    single = single[: max(int(room), 0)]
    heard = hearings_of(single, course, rest, whitening, price)
    shaped = np.zeros(len(rest), bool)
    for number, rows in zip(numbers := model.numbers(), model.shaped(numbers), strict=True):
        if number.section in ("slowing", "holds"):
            shaped[rows] = True
    holds = list(model.plan.holds)
    for each in heard:
        first = each.shapes[0].first
        made = _breath(each.shapes[0].hold, first, each.passes, course) if shaped[first] else hold_of(each, course)
        if made is not None:
            holds.append(made)
    return replace(model, plan=model.plan.model_copy(update={"holds": tuple(holds)}))


def _breath(longer: float, first: int, passes: int | str | None, course: Course) -> Hold | None:
    """The silence after a beat that is longer than all that shapes it says."""
    quarters, seconds = course.pairs.quarters, course.pairs.seconds
    silence = (seconds[first + 1] - seconds[first]) * (1 - math.exp(-longer))
    if silence < 0.02:
        return None
    text = held_text(float(quarters[first]), float(quarters[first + 1]), course)
    place = text.rpartition(" - ")[2] if " - " in text else text
    kind = "breath" if silence < 0.35 else "caesura"
    entry = {kind: f"after {place}", "seconds": round(float(silence), 3)}
    return Hold.model_validate(entry | ({} if passes is None else {"pass": passes}))
