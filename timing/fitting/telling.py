"""What a fit found, as entries that a plan would have, with rounded numbers; and what is left over, by bars."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from timing.columns import NEAR
from timing.fitting.course import Course
from timing.fitting.model import Model, Number, all_phrases
from timing.fitting.pairs import Whitening
from timing.fitting.pruning import Weighed
from timing.fitting.results import Fit, FittedEntry, Leftover
from timing.plan.entry import Entry
from timing.plan.kinds import Act
from timing.plan.position import Range
from timing.plan.time import Arch, Phrase
from timing.reading import Reading
from timing.where import Passes
from timing.where.beats import felt_beat

FINE, COARSE = 1, 5  # per cent: the steps of a number that is known well, and of one that is not
WELL_KNOWN = 1.25  # per cent of error up to which a number is
LEAST_LEFT, SURELY_LEFT = 0.03, 9.0  # of log pace, and of the sum of squares, that is worth telling
_PLACES = ("at", "over", "bars")
_VALUES = {4.0: "whole", 2.0: "half", 1.5: "dotted quarter", 0.5: "eighth", 0.75: "dotted eighth", 3.0: "dotted half"}


def fit_of(
    reading: Reading,
    phrases: Sequence[Phrase],
    model: Model,
    slow: np.ndarray,
    whitening: Whitening,
    price: float,
    weighed: list[Weighed],
) -> Fit:
    """All that a refined model says; `phrases` are all of the plan, with or without arches."""
    course = model.course
    rounded, about = _rounded(model, weighed)
    model = model.with_numbers(rounded)
    made = model.slow()
    rest = slow - made
    spans = model.shaped(rounded)
    steady = whitening(np.column_stack([np.ones(len(slow)), slow]))
    whole = float(steady[:, 1] @ steady[:, 1] - (steady[:, 0] @ steady[:, 1]) ** 2 / (steady[:, 0] @ steady[:, 0]))
    left = whitening(rest)
    found = []
    for number, each, rows, rough in zip(rounded, weighed, spans, about, strict=True):
        section, entry = _entry(model, number, course)
        inside = _first_hearing(rows, course)
        start, end = float(course.pairs.quarters[inside.start]), float(course.pairs.quarters[inside.stop])
        begins, ends = float(course.pairs.seconds[inside.start]), float(course.pairs.seconds[inside.stop])
        basic = number.section == "tempo" and number.row == (0,)
        explains = 0.0 if basic else min(each.gain / max(whole, 1e-12), 1.0)
        sure = 1.0 if basic else 1 / (1 + math.exp(min(max((price - each.gain) / 2, -50.0), 50.0)))
        found.append(FittedEntry(section, entry, start, end, begins, ends, explains, sure, rough))
    detail = float(np.sqrt(np.mean(rest**2)))
    explained = float(np.clip(1 - float(left @ left) / max(whole, 1e-12), 0.0, 1.0))
    predicted = model.pace().time.seconds(course.pairs.quarters)
    predicted = predicted - predicted[0] + course.pairs.seconds[0]
    standing = _standing(reading, course)
    arches = {(str(phrase.bars), phrase.passes): phrase.arch for _, phrase in all_phrases(model.plan.phrases)}
    whole_plan = model.plan.model_copy(update={"phrases": _with_arches(phrases, arches)})
    return Fit(
        whole_plan, tuple(found), standing, _leftovers(rest, course), predicted, rest, detail, explained
    )


def _with_arches(
    phrases: Sequence[Phrase], arches: dict[tuple, Arch | None], passes: Passes = None
) -> tuple[Phrase, ...]:
    """The phrases, with these arches by bars and pass."""
    made = []
    for phrase in phrases:
        when = phrase.passes or passes
        arch = arches.get((str(phrase.bars), when), phrase.arch)
        made.append(phrase.model_copy(update={"arch": arch, "inside": _with_arches(phrase.inside, arches, when)}))
    return tuple(made)


def _rounded(model: Model, weighed: list[Weighed]) -> tuple[list[Number], list[bool]]:
    made, about = [], []
    for each in weighed:
        number = each.number
        if number.section == "tempo":
            unit = _beat(model, number)
            count = math.exp(number.value) / unit
            made.append(replace(number, value=math.log((round(2 * count) / 2 if count < 100 else round(count)) * unit)))
            about.append(each.error > 0.01)
            continue
        if number.section == "holds" and model.plan.holds[number.row[0]].act is Act.SILENCES:
            made.append(replace(number, value=max(round(number.value, 2), number.low)))
            about.append(each.error > 0.05)
            continue
        amount = 100 * math.exp(number.value)
        rough = amount * each.error > WELL_KNOWN
        if number.section == "phrases":
            step, rough = (2 if rough else 1), rough
        else:
            step = COARSE if rough else FINE
        amount = step * round(amount / step)
        if number.section == "slowing" and amount == 100:
            amount += -step if number.high < 0 else step
        if amount == 100:
            amount += step
        made.append(replace(number, value=math.log(amount / 100)))
        about.append(rough)
    return made, about


def _beat(model: Model, number: Number) -> float:
    """Quarters of the note value in which a tempo is told: that of the beat as it is felt where it begins."""
    where, mark = model.course.where, model.plan.tempo[number.row[0]]
    at = 0.0 if mark.at is None else float(where.moments(mark.at)[0])
    beat = float(felt_beat(where.bars[where.ordinal(at)]))
    return beat if beat in _VALUES or beat == 1.0 else 1.0


def _entry(model: Model, number: Number, course: Course) -> tuple[str, dict[str, Any]]:
    plan = model.plan
    if number.section == "tempo":
        mark, unit = plan.tempo[number.row[0]], _beat(model, number)
        assert isinstance(mark.tempo, float)
        count = f"{mark.tempo / unit:.6g}"
        told: Any = float(count) if "." in count else int(count)
        entry: dict[str, Any] = {} if mark.at is None else {"at": str(mark.at)}
        entry["tempo"] = told if unit == 1.0 else f"{_VALUES[unit]} = {count}"
        return "tempo", entry | _pass(mark)
    if number.section == "phrases":
        phrase = dict(all_phrases(plan.phrases))[number.row]
        assert phrase.arch is not None
        arch: dict[str, Any] = {"pace": f"{100 * math.expm1(number.value):.3g}%"}
        if abs(phrase.arch.pace_peak - 0.4) > NEAR:
            arch["pace peak"] = f"{100 * phrase.arch.pace_peak:g}%"
        return "phrases", {"bars": str(phrase.bars), "arch": arch} | _pass(phrase)
    if number.section == "slowing":
        slow = plan.slowing[number.row[0]]
        entry = {slow.kind: str(slow.where), "to": f"{100 * math.exp(number.value):.4g}%"}
        if slow.then is not None:
            entry["then"] = "a tempo" if slow.then is True else f"a tempo by {slow.then}"
        return "slowing", entry | _pass(slow)
    hold = plan.holds[number.row[0]]
    if hold.act is Act.SILENCES:
        return "holds", {hold.kind: f"after {hold.where}", "seconds": round(number.value, 2)} | _pass(hold)
    return "holds", {hold.kind: str(hold.where), "length": f"{100 * math.exp(number.value):.4g}%"} | _pass(hold)


def _pass(entry: Entry) -> dict[str, Any]:
    return {} if entry.passes is None else {"pass": entry.passes}


def _first_hearing(rows: np.ndarray, course: Course) -> slice:
    if not len(rows):
        return slice(0, 1)
    apart = np.flatnonzero(np.diff(rows) > 1)
    last = rows[apart[0]] if len(apart) else rows[-1]
    return slice(int(rows[0]), int(last) + 1)


def _standing(reading: Reading, course: Course) -> tuple[Entry, ...]:
    """The entries of the plan, not of the score, that shape time within the fitted stretch."""
    plan = reading.plan
    rubato = [each for each in plan.rubato if each.act is not Act.DISPLACES]
    shaping = [*plan.tempo, *plan.slowing, *plan.holds, *rubato]
    return tuple(entry for entry in shaping if not entry.printed and _meets(entry, course))


def _meets(entry: Entry, course: Course) -> bool:
    """Whether an entry is heard within the stretch."""
    first, last = (float(course.pairs.quarters[k]) for k in (0, -1))
    place = next((value for key in _PLACES if (value := getattr(entry, key, None)) is not None), None)
    if place is None and entry.KINDS:
        place = entry.where
    if place is None:  # it holds from the beginning
        return True
    if isinstance(place, Range):
        runs = course.where.runs(place, entry.passes)
        return any(run.start < last - NEAR and run.end > first + NEAR for run in runs)
    moments = course.where.moments(place, entry.passes)
    return bool(np.any((moments > first - NEAR) & (moments < last - NEAR)))


def _leftovers(rest: np.ndarray, course: Course) -> tuple[Leftover, ...]:
    """Bars that together go quicker or slower than the entries say, and surely so."""
    ordinals = course.ordinals
    names, which = np.unique(ordinals, return_inverse=True)
    counts = np.bincount(which)
    means = np.bincount(which, rest) / counts
    spread = float(np.std(rest)) or 1.0
    made: list[Leftover] = []
    k = 0
    while k < len(names):
        stop = k + 1
        while stop < len(names) and means[stop] * means[k] > 0 and abs(means[stop]) > LEAST_LEFT / 2 and (
            names[stop] == names[stop - 1] + 1 and course.where.neighbours[names[stop - 1]]
        ):
            stop += 1
        total = counts[k:stop].sum()
        mean = float((means[k:stop] * counts[k:stop]).sum() / total)
        if abs(mean) >= LEAST_LEFT and total * (mean / spread) ** 2 >= SURELY_LEFT:
            rows = np.flatnonzero((which >= k) & (which < stop))
            start, end = float(course.pairs.quarters[rows[0]]), float(course.pairs.quarters[rows[-1] + 1])
            pass_ = int(course.where.bars["pass"][names[k]])
            made.append(Leftover(course.range_text(start, end), pass_, start, end, math.exp(-mean)))
        k = stop
    return tuple(made)


