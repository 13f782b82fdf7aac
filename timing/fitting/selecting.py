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
from timing.fitting.shapes import COARSE, FINE, Form

LEAST = 0.02  # of log pace at its deepest: what bends less is not heard
SHALLOWEST = 0.045  # of a slowdown or hurrying: what bends less is a matter of arches
MOST_SCALED = (1.6, 1.2)  # how much deeper than its form a shape may be, where the dictionary has few paces and many


@dataclass(frozen=True)
class PlacedForm:
    """A form at its place: it begins with the interval `first`; `depth` is the log of the pace it goes to (0: none), in
    proportion to what the dictionary has for the pace `like`, and `hold` the log of how much longer, besides, the last
    `held` intervals before its end last (0: no longer)."""

    form: Form
    first: int
    like: float
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


HOLD = Form(1, 0)  # a beat that is held, with no slowing around it

OFFER = np.dtype(
    [
        ("worth", np.float64),  # the gain less the price
        ("gain", np.float64),
        ("like", np.float64),
        ("depth", np.float64),
        ("hold", np.float64),
        ("held", np.int64),
    ]
)  # a form at one place


class _Rest:
    """What shapes have to explain. A depth is fitted to its own intervals by least squares, and its gain is its square
    over its honest variance: so what lies in one shape says nothing of its neighbours, and gains can be added up."""

    def __init__(self, rest: np.ndarray, whitening: Whitening):
        self.rest, self.diagonal, self.beside = rest, whitening.diagonal, whitening.beside

    def met(self, one: np.ndarray, rows: np.ndarray) -> np.ndarray:
        """(..., places) the products of a column that begins in these rows with the rest."""
        return np.einsum("...k,...k->...", one, self.rest[rows])

    def spread(self, one: np.ndarray, other: np.ndarray, rows: np.ndarray) -> np.ndarray:
        """(..., places) the covariance of the products of two columns with the errors of the intervals."""
        own = np.einsum("...k,...k,...k->...", one, other, self.diagonal[rows])
        beside = self.beside[rows[:, :-1]]
        crossed = np.einsum("...k,...k,...k->...", one[..., :-1], other[..., 1:], beside)
        return own + crossed + np.einsum("...k,...k,...k->...", one[..., 1:], other[..., :-1], beside)


def best_shapes(
    rest: np.ndarray,
    course: Course,
    whitening: Whitening,
    price: np.ndarray,
    free: np.ndarray,
    paces: tuple[float, ...] = COARSE,
) -> list[PlacedForm]:
    """The row of shapes that lowers the sum of squares of `rest` (log seconds a quarter that are left) most, by place.

    Columns have a row an interval: `price` (of an entry that ends there) and `free` (whether a shape may lie there).
    """
    left = _Rest(rest, whitening)
    forms = [HOLD, *(course.dictionary.forms if paces else [])]
    offers = [_held(left, price)] + [_offer(form, left, course, price, paces) for form in forms[1:]]
    for form, offer in zip(forms, offers, strict=True):
        _forbid(form, offer, course, free)
    return _packed(forms, offers, len(rest))


def _held(left: _Rest, price: np.ndarray) -> np.ndarray:
    """OFFER of a single beat that lasts longer, in all places."""
    made = np.zeros(len(price), OFFER)
    made["gain"] = np.where(left.rest > LEAST, left.rest**2 / left.diagonal, 0.0)
    made["worth"], made["like"], made["hold"], made["held"] = made["gain"] - price, 1.0, left.rest, 1
    return made


def _offer(form: Form, left: _Rest, course: Course, price: np.ndarray, paces: tuple[float, ...]) -> np.ndarray:
    """OFFER of a form in all places, with the pace that is best there."""
    shape = course.dictionary.placed(form, paces)
    rows = np.arange(shape.shape[1])[:, None] + np.arange(form.width)
    most, log_pace = MOST_SCALED[paces is FINE], np.log(paces)[:, None]
    least = 1 / most if paces is FINE else 0.0
    size, fits = np.einsum("...k,...k->...", shape, shape), left.met(shape, rows)
    spread = left.spread(shape, shape, rows)
    best = fits / size
    scaled = np.clip(best, least, most)
    due = price[rows[:, form.length - 1]]
    made = np.zeros(shape.shape[:2], OFFER)
    made["gain"] = scaled * (2 * best - scaled) * size**2 / spread
    made["worth"], made["depth"], made["like"] = made["gain"] - due, scaled * log_pace, np.array(paces)[:, None]
    for width in _holds(form, course.bar):
        longer = np.zeros(rows.shape)
        longer[:, form.length - width : form.length] = 1.0
        both, reached = np.einsum("...k,...k->...", shape, longer), left.met(longer, rows)
        det = np.maximum(size * width - both**2, 1e-9 * size)
        depth, more = (fits * width - reached * both) / det, (reached * size - fits * both) / det
        own, crossed = left.spread(longer, longer, rows), left.spread(shape, longer, rows)
        det = np.maximum(spread * own - crossed**2, 1e-12 * spread * own)
        sound = (depth > least) & (depth <= most) & (more > LEAST) & (log_pace < 0)
        gain = np.where(sound, (fits**2 * own - 2 * fits * reached * crossed + reached**2 * spread) / det, 0.0)
        better = gain - 2 * due > made["worth"]
        for name, values in (("worth", gain - 2 * due), ("gain", gain), ("depth", depth * log_pace), ("hold", more)):
            made[name] = np.where(better, values, made[name])
        made["held"][better] = width
    made["worth"][(np.abs(made["depth"]) < SHALLOWEST) | (form.at_once & (log_pace > 0))] = -np.inf
    return made[np.argmax(made["worth"], axis=0), np.arange(shape.shape[1])]


def _holds(form: Form, bar: int) -> list[int]:
    """How many intervals before its end may be held, besides, of what comes back at once."""
    comes = form.back == 0 and not form.at_once
    return sorted({width for width in (1, 2, 3, bar) if comes and width < form.length})


def _forbid(form: Form, offer: np.ndarray, course: Course, free: np.ndarray) -> None:
    first, width = np.arange(len(offer)), form.width
    taken = np.append(0, np.cumsum(~free))
    closed = (course.lines[first] != course.lines[first + width - 1]) | (taken[first + width] > taken[first])
    if form.back:  # the tempo is back at a place that is heard after it
        closed |= np.append(course.lines, -1)[first + width] != course.lines[first]
    if width > 1:
        closed |= ~course.edges[first] | ~course.edges[first + form.length]
    offer["worth"][closed] = -np.inf


def _packed(forms: list[Form], offers: list[np.ndarray], intervals: int) -> list[PlacedForm]:
    """The row of disjoint shapes that is worth most: the best up to each interval, and then back."""
    width = np.array([form.width for form in forms])
    ending = np.full((intervals, len(forms)), -np.inf)  # by the interval with which they are over
    for row, offer in enumerate(offers):
        ending[width[row] - 1 :, row] = offer["worth"]
    best, chosen = np.zeros(intervals + 1), np.full(intervals, -1)
    for k in range(intervals):
        values = ending[k] + best[np.maximum(k + 1 - width, 0)]
        row = int(np.argmax(values))
        best[k + 1] = max(best[k], values[row])
        if values[row] > best[k]:
            chosen[k] = row
    made, k = [], intervals
    while k > 0:
        if (row := int(chosen[k - 1])) < 0:
            k -= 1
            continue
        k -= int(width[row])
        _, gain, like, depth, hold, held = offers[row][k].item()
        made.append(PlacedForm(forms[row], k, like, depth, hold, held, gain))
    return made[::-1]


def drawn(shapes: Iterable[PlacedForm], course: Course) -> np.ndarray:
    """(intervals,) how much longer, in log, each interval lasts with these shapes."""
    made = np.zeros(len(course.starts))
    for shape in shapes:
        if shape.depth:
            own = course.dictionary.at(shape.form, shape.like, shape.first)
            made[shape.first : shape.over] += own * shape.depth / np.log(shape.like)
        made[shape.end - shape.held : shape.end] += shape.hold
    return made
