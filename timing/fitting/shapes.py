"""The dictionary of a fit: what slowdowns, hurrying and held beats make of the lengths of the intervals they lie in.

The shapes are the planner's own: a plan's entry becomes events, events a track, a track pieces of the time map.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from timing import timemap
from timing.time.pace import put_track
from timing.time.slowing import DEFAULT_Q
from timing.tracks import Event, follow

SLOWER, HURRIED = (0.9, 0.75, 0.6, 0.45), (1.15,)  # paces at their end that the shapes of the dictionary have
LENGTHS = (2, 3, 4, 5, 6, 8)  # intervals; besides them whole bars
BARS = (1.0, 1.5, 2.0, 3.0)
LONGEST = 24  # intervals
RETURNS = (0, 1, 2)  # intervals after which the tempo is back; and a bar


@dataclass(frozen=True)
class Form:
    """A shape before it has a place: it goes to the pace `to` over `length` intervals, by degrees or `at_once`, and
    is back after `back` more."""

    length: int
    back: int
    to: float
    at_once: bool = False

    @property
    def width(self) -> int:
        return self.length + self.back


def forms(bar: int) -> Iterator[Form]:
    """All forms, where a bar has so many intervals."""
    lengths = sorted({*LENGTHS, *(round(bar * bars) for bars in BARS)})
    lengths = [length for length in lengths if 2 <= length <= LONGEST]
    for length in lengths:
        for back in sorted({*RETURNS, bar} if bar <= LONGEST else RETURNS):
            yield from (Form(length, back, to) for to in SLOWER)
            if back < 2:
                yield from (Form(length, back, to) for to in HURRIED)
        yield from (Form(length, 0, to, True) for to in SLOWER[:3])


def placed(form: Form, spans: np.ndarray) -> np.ndarray:
    """(places, width) how much longer, in log, each interval lasts where the form begins in each place of the row of
    intervals with these `spans` (quarters)."""
    windows = np.round(sliding_window_view(spans, form.width), 6)
    kinds, which = np.unique(windows, axis=0, return_inverse=True)
    made = np.array([_shape(form, tuple(kind.tolist())) for kind in kinds])
    return made[which.ravel()]


@cache
def _shape(form: Form, spans: tuple[float, ...]) -> np.ndarray:
    edges = np.append(0.0, np.cumsum(spans))
    end, length = float(edges[form.length]), float(edges[-1])
    reached = Event(0.0, 0.0 if form.at_once else end, lambda _: form.to, DEFAULT_Q, rank=1)
    track = follow([reached, Event(end, length, lambda _: 1.0, DEFAULT_Q)], 1.0, length)
    pieces = timemap.split(timemap.strict(length, 60.0), [*edges, *(segment.start for segment in track)])
    put_track(pieces, track, "v0", "v1", "vq")
    return np.log(np.diff(timemap.TimeMap(pieces).seconds(edges)) / np.diff(edges))
