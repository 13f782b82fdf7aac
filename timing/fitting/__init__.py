"""The time of a plan from how somebody played: pairs (quarter of the performed order, second) become its entries.

    fitted = fit(reading, quarters, seconds)      # tempo, arches, slowdowns and holds that earn their place
    taps = cleaned(reading.where, seconds)        # of taps along the beats, first
    text = written(text, fitted.entries, file)    # those that are accepted, put into the text of the plan

The model is the planner's own: the shapes come from its tracks and pieces, and numbers are refined with `build_pace`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from timing.finding.phrases import FoundPhrase, find_phrases, range_of
from timing.fitting.arching import arch_columns, arched, chosen_arches
from timing.fitting.course import Course, Remembering
from timing.fitting.entries import Heard, hearings_of, hold_of, slowing_of
from timing.fitting.model import Model, only_arched
from timing.fitting.pairs import Whitening, detail_of, pairs_of
from timing.fitting.pruning import pruned, second_look, with_marks_moved
from timing.fitting.results import Fit as Fit
from timing.fitting.results import FittedEntry as FittedEntry
from timing.fitting.results import Leftover as Leftover
from timing.fitting.results import Question as Question
from timing.fitting.selecting import PlacedForm, best_shapes, drawn
from timing.fitting.shapes import COARSE, FINE
from timing.fitting.taps import beat_quarters as beat_quarters
from timing.fitting.taps import cleaned as cleaned
from timing.fitting.telling import fit_of
from timing.fitting.tempi import tempo_levels, tempo_marks, with_passes
from timing.fitting.writing import written as written
from timing.plan import Plan
from timing.plan.time import Phrase
from timing.reading import Reading
from timing.score import Score

PRICE = 2.2  # of an entry, in logs of the number of intervals
MOST_ENTRIES = 4.0  # slowdowns and holds for eight bars: more fit the noise
QUICKER, SLOWER = 0.12, 0.05  # log lengths of a beat: what is beyond is no matter of arches, at first
LEAST_DETAIL = 0.02  # of log pace, while shapes are chosen: as far as the dictionary is from true shapes


def fit(
    reading: Reading,
    quarters: object,
    seconds: object,
    noise: float = 0.01,
    phrases: Sequence[Phrase] | None = None,
) -> Fit:
    """The time of a plan that goes as somebody played.

    `quarters` (n,) are moments of the reading's performed order and `seconds` (n,) when they were played, both rising;
    `noise` is the standard deviation of one of these times in seconds (10 ms is usual for recorded onsets, 20 to 30 ms
    for taps). Arches are looked for in `phrases`; None: those of the plan, or, where it has none, those that are found
    in the score. What the reading's plan says of time, and what the score prints, counts for nothing: only the order of
    the bars is taken from it. CannotDo for pairs of which no fit can be made.
    """
    where = Remembering(reading.where.score, reading.where.bars)
    course = Course(where, pairs_of(reading.where, quarters, seconds, noise))
    slow = course.pairs.slow
    levels = tempo_levels(course, course.shared(slow))
    bare = _bare(reading, phrases)
    model = Model(course, bare).with_tempo(tempo_marks(course, levels))
    steps = _steps(model)
    columns, base = arch_columns(model), model.slow()
    arches: dict = {}
    shapes: list[PlacedForm] = []
    price = PRICE * math.log(len(slow))
    for paces in (None, COARSE, COARSE, FINE):
        rest = course.shared(slow) - base
        if paces is None:  # what is far away is no matter of arches
            rest = np.clip(rest, -QUICKER, SLOWER)
        detail = max(detail_of(course.pairs, rest - drawn(shapes, course)), LEAST_DETAIL)
        whitening = Whitening(course.pairs, detail)
        if paces is not None:
            shapes = _few_shapes(rest, course, whitening, price, paces)
            left = slow - drawn(shapes, course)
            detail = max(detail_of(course.pairs, rest - drawn(shapes, course)), LEAST_DETAIL)
            whitening = Whitening(course.pairs, detail)
        else:
            left = base + rest
        if paces is COARSE:
            bent = base - steps @ np.linalg.lstsq(steps, base, rcond=None)[0]
            levels = tempo_levels(course, course.shared(left - bent))
            levels = with_passes(course, levels, left - bent - levels)
            model = model.with_tempo(tempo_marks(course, levels))
            steps = _steps(model)
        arches, base = chosen_arches(left, steps, columns, whitening, price)
    heard = _in_hearings(shapes, course, slow - base, whitening, price)
    model = _with_entries(model, heard, arches, base, steps)
    model, _ = pruned(model, slow, whitening, price)
    model, whitening = _polished(model, slow, price)
    model = second_look(model, slow, whitening, price, MOST_ENTRIES)
    model, weighed = pruned(model, slow, whitening, price)
    return fit_of(reading, bare.phrases, model, slow, whitening, price, weighed)


def _polished(model: Model, slow: np.ndarray, price: float) -> tuple[Model, Whitening]:
    """The model with its shapes chosen once more, now that tempi and arches are known, and with tempo marks at bar
    lines near by, where that is better; and the whitening that suits what is left."""
    course = model.course
    whitening = Whitening(course.pairs, detail_of(course.pairs, slow - model.slow()))
    model = with_marks_moved(model, slow, whitening)
    bare = replace(model, plan=model.plan.model_copy(update={"slowing": (), "holds": ()}))
    base = bare.slow()
    rough = Whitening(course.pairs, max(detail_of(course.pairs, slow - model.slow()), LEAST_DETAIL / 2))
    shapes = _few_shapes(course.shared(slow - base), course, rough, price, FINE)
    heard = _in_hearings(shapes, course, slow - base, rough, price)
    other, _ = pruned(_with_entries(bare, heard, None, base, _steps(bare)), slow, rough, price)
    model = min((model, other), key=lambda each: each.cost(slow, rough, price))
    return model, Whitening(course.pairs, detail_of(course.pairs, slow - model.slow()))


def _bare(reading: Reading, phrases: Sequence[Phrase] | None) -> Plan:
    """The plan with nothing that shapes time but phrases without arches of pace."""
    if phrases is None:
        phrases = reading.plan.phrases or _found(reading.source, find_phrases(reading.lines.score))
    empty: tuple = ()
    return reading.plan.model_copy(
        update={"tempo": empty, "slowing": empty, "holds": empty, "rubato": empty, "phrases": arched(phrases, {})}
    )


def _found(score: Score, phrases: Sequence[FoundPhrase]) -> tuple[Phrase, ...]:
    """Phrases that were found in a score, as a plan has them."""
    return tuple(
        Phrase.model_validate({"bars": str(range_of(score, phrase)), "inside": _found(score, phrase.inside)})
        for phrase in phrases
    )


def _steps(model: Model) -> np.ndarray:
    """(intervals, tempi) which intervals go at each basic tempo."""
    quarters = model.course.pairs.quarters
    basic = np.round(model.pace().time.basic((quarters[1:] + quarters[:-1]) / 2), 9)
    return (basic[:, None] == np.unique(basic)).astype(np.float64)


def _few_shapes(
    rest: np.ndarray, course: Course, whitening: Whitening, price: float, paces: tuple[float, ...]
) -> list[PlacedForm]:
    """The best shapes, at a price at which they are not more than music has."""
    free = np.ones(len(rest), bool)
    most = max(MOST_ENTRIES * course.bars_played / 8, 2.0)
    while True:
        shapes = best_shapes(rest, course, whitening, price / course.heard, free, paces)
        count = sum((1 + (shape.hold > 0 and shape.depth != 0)) / course.heard[shape.end - 1] for shape in shapes)
        if count <= most:
            return shapes
        price *= 1.5


def _in_hearings(
    shapes: list[PlacedForm], course: Course, slow: np.ndarray, whitening: Whitening, price: float
) -> list[Heard]:
    """The shapes with the passes on which they are heard, and those of single hearings."""
    heard = hearings_of(shapes, course, slow, whitening, price)
    mine = [shape for each in heard for shape in each.shapes]
    free = np.ones(len(slow), bool)
    for shape in mine:
        free[shape.first : shape.over] = False
    if free.any() and course.heard.max() > 1:
        more = best_shapes(slow - drawn(mine, course), course, whitening, np.full(len(slow), price), free)
        heard += hearings_of(more, course, slow - drawn(mine, course), whitening, price)
    return heard


def _with_entries(model: Model, heard: list[Heard], arches: dict | None, base: np.ndarray, steps: np.ndarray) -> Model:
    """The model with entries for these shapes over a `base` of tempi (`steps`) and arches; None: the arches it has."""
    course, plan = model.course, model.plan
    bent = base - steps @ np.linalg.lstsq(steps, base, rcond=None)[0]
    before = -np.append(bent[0], bent)  # of each pair, about what the arches do to the pace just before it
    slowing = [entry for each in heard if (entry := slowing_of(each, course, before)) is not None]
    holds = [hold for each in heard if (hold := hold_of(each, course)) is not None]
    phrases = plan.phrases if arches is None else only_arched(arched(plan.phrases, arches))
    changed = {"slowing": tuple(slowing), "holds": tuple(holds), "phrases": phrases}
    return replace(model, plan=plan.model_copy(update=changed))
