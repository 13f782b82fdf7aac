"""Shapes become entries of a plan: their places in the words of the score, and the passes on which they are heard."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from timing.columns import NEAR
from timing.fitting.course import Course
from timing.fitting.pairs import Whitening
from timing.fitting.selecting import HOLD, LEAST, PlacedForm, drawn
from timing.plan.position import parse_range
from timing.plan.time import Hold, Slowing
from timing.where import Fault

A_FERMATA = 1.25  # times as long: what is held less is leant on, unless the score prints a fermata there


@dataclass(frozen=True)
class Heard:
    """A shape of the score: one shape in each of its hearings that a plan can name together."""

    shapes: tuple[PlacedForm, ...]
    bars: str
    passes: int | str | None


def hearings_of(
    shapes: Sequence[PlacedForm], course: Course, slow: np.ndarray, whitening: Whitening, price: float
) -> list[Heard]:
    """What was found in the mean of all hearings (`shapes`), parted by passes where that is worth its price: `slow` is
    what is left of each hearing without shapes, log seconds a quarter."""
    taken = np.zeros(len(course.starts), bool)
    made: list[Heard] = []
    waiting = sorted(shapes, key=lambda shape: -shape.gain)
    for shape in waiting:
        if taken[shape.first : shape.over].any():
            continue
        for heard in _parted(shape, course, slow, whitening, price, taken):
            for each in heard.shapes:
                taken[each.first : each.over] = True
            made.append(heard)
    return made


def _parted(
    shape: PlacedForm, course: Course, slow: np.ndarray, whitening: Whitening, price: float, taken: np.ndarray
) -> list[Heard]:
    bars = text_of(shape, course)
    width = shape.form.width
    firsts = [first for first in _starts(shape, bars, None, course) if not taken[first : first + width].any()]
    alone = [replace(shape, first=first) for first in firsts]
    if shape.first not in firsts:
        return []
    sizes, fits = [], []
    for each in alone:
        column = drawn([each], course)
        white = whitening(column)
        sizes.append(float(white @ white))
        fits.append(float(white @ whitening(slow)))
    scale = np.clip(np.array(fits) / np.array(sizes), 0.0, 1.5)
    together = float(np.clip(sum(fits) / sum(sizes), 0.0, 1.5))
    gain_together = together * (2 * sum(fits) - together * sum(sizes)) - price
    gains = scale * (2 * np.array(fits) - scale * np.array(sizes)) - price
    everywhere = len(alone) == _heard_in_all(shape, bars, course)
    if everywhere and (len(alone) == 1 or gain_together >= gains[gains > 0].sum()):
        return [Heard(tuple(_scaled(each, together) for each in alone), bars, None)] if gain_together > 0 else []
    kept = [(each, float(by)) for each, by, gain in zip(alone, scale, gains, strict=True) if gain > 0]
    return [
        Heard((_scaled(each, by),), bars, passes)
        for each, by in kept if (passes := _pass_of(each, bars, course)) is not None
    ]  # fmt: skip


def _scaled(shape: PlacedForm, by: float) -> PlacedForm:
    return replace(shape, depth=shape.depth * by, hold=shape.hold * by)


def _starts(shape: PlacedForm, bars: str, passes: int | str | None, course: Course) -> list[int]:
    """The intervals with which the hearings of a shape begin, of those that the pairs cover in the same way."""
    try:
        runs = course.where.runs(parse_range(bars), passes)
    except (Fault, ValueError):
        return []
    quarters = course.pairs.quarters
    made = []
    for run in runs:
        first = int(np.searchsorted(quarters, run.start - NEAR))
        end, over = first + shape.form.length, first + shape.form.width
        if not run.complete or not run.begun or over >= len(quarters):
            continue
        if shape.form.back and (over == len(course.lines) or course.lines[over] != course.lines[first]):
            continue  # the order turns before the tempo would be back
        if abs(quarters[first] - run.start) < NEAR and abs(quarters[end] - run.end) < NEAR:
            made.append(first)
    return made


def _heard_in_all(shape: PlacedForm, bars: str, course: Course) -> int:
    """How many of the hearings of a shape meet the stretch that was played."""
    first, last = course.pairs.quarters[[0, -1]]
    runs = course.where.runs(parse_range(bars))
    return sum(run.complete and run.start < last - NEAR and run.end > first + NEAR for run in runs)


def _pass_of(shape: PlacedForm, bars: str, course: Course) -> int | str | None:
    """The pass on which this hearing alone is heard."""
    numbers = course.where.bars["pass"][course.ordinals[shape.first] : course.ordinals[shape.end - 1] + 1]
    for passes in (*np.unique(numbers).tolist(), "last", "da capo"):
        if _starts(shape, bars, passes, course) == [shape.first]:
            return passes
    return None


def text_of(shape: PlacedForm, course: Course) -> str:
    """The range of a shape as a plan writes it."""
    quarters = course.pairs.quarters
    return course.range_text(float(quarters[shape.first]), float(quarters[shape.end]))


def slowing_of(heard: Heard, course: Course, arches: np.ndarray) -> Slowing | None:
    """The entry of a slowdown or of hurrying; None for a held beat. `arches` is, of each pair, the log pace of the
    arches just before it."""
    shape = heard.shapes[0]
    if shape.form == HOLD or abs(shape.depth) < LEAST:
        return None
    slows = shape.depth < 0
    kind = ("ritenuto" if shape.form.at_once else "rallentando") if slows else "accelerando"
    reached = float(np.clip(math.exp(shape.depth + arches[shape.end]), 0.1, 0.995 if slows else 3.0))
    if not slows:
        reached = max(reached, 1.005)
    entry: dict[str, Any] = {kind: heard.bars, "to": f"{100 * reached:.6f}%"}
    if shape.over > shape.end:
        entry["then"] = f"a tempo by {course.where.position_text(float(course.pairs.quarters[shape.over]))}"
    elif course.pairs.quarters[shape.end] < course.where.length - NEAR:
        entry["then"] = "a tempo"
    return Slowing.model_validate(entry | _pass(heard.passes))


def hold_of(heard: Heard, course: Course) -> Hold | None:
    """The entry of the beats that are held, besides, at the end of a shape; None where none are."""
    shape = heard.shapes[0]
    if shape.hold < LEAST:
        return None
    start, end = (float(course.pairs.quarters[k]) for k in (shape.end - shape.held, shape.end))
    length = min(math.exp(shape.hold), 10.0)
    kind = "fermata" if length >= A_FERMATA or _printed(start, end, course) else "agogic"
    entry = {kind: held_text(start, end, course), "length": f"{100 * length:.6f}%"}
    return Hold.model_validate(entry | _pass(heard.passes))


def held_text(start: float, end: float, course: Course) -> str:
    """What is held from one quarter to another: a range, since a place alone would be as long as the note there."""
    text = course.range_text(start, end)
    if parse_range(text).lone and ":" in text:
        beat = course.where.position_text(end) if course.where.ordinal(start) == course.where.ordinal(end) else ""
        bar, _, number = text.partition(":")
        over = beat.partition(":")[2] if beat.startswith(f"{bar}:") else f"{float(number) + 1:g}"
        return f"{text} - {bar}:{over if '.' in over or '+' in over else over + '.0'}"
    return text


def _printed(start: float, end: float, course: Course) -> bool:
    """Whether the score has a fermata there."""
    bars, fermatas = course.where.bars, course.where.score.marks_of("fermata")
    bar = bars[course.where.ordinal(start)]
    offset, over = start - float(bar["start"]), end - float(bar["start"])
    here = (fermatas["bar"] == bar["row"]) & (fermatas["offset"] > offset - NEAR) & (fermatas["offset"] < over - NEAR)
    return bool(here.any())


def _pass(passes: int | str | None) -> dict[str, Any]:
    return {} if passes is None else {"pass": passes}
