"""Which shapes a player's time is made of, where no two of them may meet: the dearest row of disjoint shapes.

Every shape that begins at every interval has a gain: by how much it lowers the sum of squares if its depth fits best.
An entry costs a price, and the row of disjoint shapes with the largest sum of gains less prices is found exactly, from
left to right, as one packs a bag of neighbours.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from timing.fitting.course import Course
from timing.fitting.pairs import Whitening
from timing.fitting.shapes import Form, forms, placed

LEAST = 0.02  # of log pace at its deepest: what bends less is not heard
MOST_SCALED = 1.6  # how much deeper than its form a shape may be


@dataclass(frozen=True)
class Shape:
    """A form at its place: it begins with the interval `first`; `depth` is the log of the pace it goes to (0: none), and
    `hold` the log of how much longer, besides, the last `held` intervals before its end last (0: no longer)."""

    form: Form
    first: int
    depth: float
    hold: float
    held: int
    gain: float

    @property
    def end(self) -> int:
        """The interval before which it is at its pace."""
        return self.first + self.form.length

    @property
    def over(self) -> int:
        return self.first + self.form.width


HOLD = Form(1, 0, 1.0)  # a beat that is held, with no slowing around it


@dataclass(frozen=True, eq=False)
class _Offer:
    """One form at all places: (places,) its gain less its price, its gain, log pace, log hold and intervals held."""

    form: Form
    worth: np.ndarray
    gain: np.ndarray
    depth: np.ndarray
    hold: np.ndarray
    held: np.ndarray


class _Rest:
    """What shapes have to explain, whitened, and what of it lies after each interval."""

    def __init__(self, rest: np.ndarray, whitening: Whitening):
        self.whitening = whitening
        self.white = whitening(rest)
        self.squares, self.products = whitening.tails(self.white)

    def whitened(self, columns: np.ndarray, rows: np.ndarray) -> np.ndarray:
        """(places, width) columns that begin in these rows, whitened."""
        made = columns / self.whitening.root[rows]
        for k in range(1, rows.shape[1]):
            made[:, k] += self.whitening.passed[rows[:, k - 1]] * made[:, k - 1]
        return made

    def product(self, one: np.ndarray, other: np.ndarray, rows: np.ndarray) -> np.ndarray:
        """(places,) the products of two whitened columns, with all that they leave in later intervals."""
        return (one * other).sum(axis=1) + one[:, -1] * other[:, -1] * self.squares[rows[:, -1]]

    def met(self, one: np.ndarray, rows: np.ndarray) -> np.ndarray:
        """(places,) the products of a whitened column with the rest."""
        return (one * self.white[rows]).sum(axis=1) + one[:, -1] * self.products[rows[:, -1]]


def best_shapes(
    rest: np.ndarray, course: Course, whitening: Whitening, price: np.ndarray, free: np.ndarray
) -> list[Shape]:
    """The row of shapes that lowers the sum of squares of `rest` (log seconds a quarter that are left) most, by place.

    Columns have a row an interval: `price` (of an entry that ends there) and `free` (whether a shape may lie there).
    """
    left = _Rest(rest, whitening)
    offers = [_held(left, price)]
    offers += [_offer(form, left, course, price) for form in forms(course.bar) if form.width <= len(rest)]
    for offer in offers:
        _forbid(offer, course, free)
    return _packed(offers, len(rest))


def _held(left: _Rest, price: np.ndarray) -> _Offer:
    """A single beat that lasts longer."""
    rows = np.arange(len(price))[:, None]
    one = left.whitened(np.ones(rows.shape), rows)
    size, met = left.product(one, one, rows), left.met(one, rows)
    gain = np.where(met > LEAST * size, met**2 / size, 0.0)
    nothing = np.zeros(len(price))
    return _Offer(HOLD, gain - price, gain, nothing, met / size, nothing.astype(np.int64) + 1)


def _offer(form: Form, left: _Rest, course: Course, price: np.ndarray) -> _Offer:
    shape = placed(form, course.pairs.spans)
    rows = np.arange(len(shape))[:, None] + np.arange(form.width)
    whole = left.whitened(shape, rows)
    size, fits = left.product(whole, whole, rows), left.met(whole, rows)
    scaled = np.clip(fits / size, 0.0, MOST_SCALED)
    gain = scaled * (2 * fits - scaled * size)
    due = price[rows[:, form.length - 1]]
    worth, hold, held = gain - due, np.zeros(len(shape)), np.zeros(len(shape), np.int64)
    for width in _holds(form, course.bar):
        column = np.zeros(shape.shape)
        column[:, form.length - width : form.length] = 1.0
        longer = left.whitened(column, rows)
        own, both, reached = left.product(longer, longer, rows), left.product(whole, longer, rows), left.met(longer, rows)
        det = np.maximum(size * own - both**2, 1e-9 * size * own)
        depth, more = (fits * own - reached * both) / det, (reached * size - fits * both) / det
        sound = (depth > 0) & (depth <= MOST_SCALED) & (more > LEAST)
        two = np.where(sound, depth * fits + more * reached, 0.0)
        better = two - 2 * due > worth
        worth, gain = np.where(better, two - 2 * due, worth), np.where(better, two, gain)
        scaled, hold = np.where(better, depth, scaled), np.where(better, more, hold)
        held[better] = width
    depth = scaled * np.log(form.to)
    worth = np.where(np.abs(depth) < LEAST, -np.inf, worth)
    return _Offer(form, worth, gain, depth, hold, held)


def _holds(form: Form, bar: int) -> list[int]:
    """How many intervals before its end may be held, besides, of a slowdown that comes back at once."""
    slows = form.to < 1 and form.back == 0 and not form.at_once
    return sorted({width for width in (1, 2, 3, bar) if slows and width < form.length})


def _forbid(offer: _Offer, course: Course, free: np.ndarray) -> None:
    first, width = np.arange(len(offer.worth)), offer.form.width
    taken = np.append(0, np.cumsum(~free))
    closed = (course.lines[first] != course.lines[first + width - 1]) | (taken[first + width] > taken[first])
    if width > 1:
        closed |= ~course.edges[first] | ~course.edges[first + offer.form.length]
    offer.worth[closed] = -np.inf


def _packed(offers: list[_Offer], intervals: int) -> list[Shape]:
    """The row of disjoint shapes that is worth most: the best up to each interval, from left to right, and then back."""
    ending = np.full((len(offers), intervals), -np.inf)  # by the interval with which they are over
    for row, offer in enumerate(offers):
        ending[row, offer.form.width - 1 :] = offer.worth
    width = np.array([offer.form.width for offer in offers])
    best, chosen = np.zeros(intervals + 1), np.full(intervals, -1)
    for k in range(intervals):
        values = ending[:, k] + best[np.maximum(k + 1 - width, 0)]
        row = int(np.argmax(values))
        best[k + 1] = max(best[k], values[row])
        if values[row] > best[k]:
            chosen[k] = row
    made, k = [], intervals
    while k > 0:
        if (row := int(chosen[k - 1])) < 0:
            k -= 1
            continue
        offer = offers[row]
        k -= offer.form.width
        own = (float(column[k]) for column in (offer.depth, offer.hold))
        made.append(Shape(offer.form, k, *own, int(offer.held[k]), float(offer.gain[k])))
    return made[::-1]


def drawn(shapes: Iterable[Shape], course: Course) -> np.ndarray:
    """(intervals,) how much longer, in log, each interval lasts with these shapes."""
    made = np.zeros(len(course.starts))
    for shape in shapes:
        inside = slice(shape.first, shape.over)
        if shape.depth:
            one = placed(shape.form, course.pairs.spans[inside])[0]
            made[inside] += one * shape.depth / np.log(shape.form.to)
        made[shape.end - shape.held : shape.end] += shape.hold
    return made
