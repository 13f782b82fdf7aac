"""The dictionary of a fit: what slowdowns, hurrying and held beats make of the lengths of the intervals they lie in.

The shapes are the planner's own: a plan's entry becomes events, events a track, a track pieces of the time map.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from timing import timemap
from timing.time.pace import put_track
from timing.time.slowing import DEFAULT_Q
from timing.tracks import Event, follow

COARSE = (0.9, 0.75, 0.6, 0.45)  # paces at their end that the shapes of the dictionary have, while arches are not known,
FINE = (*np.exp(-0.06 * 1.35 ** np.arange(11)).tolist(), 1.08, 1.2)  # and in the end
LENGTHS = (2, 3, 4, 5, 6, 7, 8, 10)  # intervals; besides them whole bars
BARS = (1.0, 1.5, 2.0, 3.0)
LONGEST = 24  # intervals
RETURNS = (0, 1, 2)  # intervals after which the tempo is back; and a bar


@dataclass(frozen=True)
class Form:
    """A shape before it has a place: it goes to another pace over `length` intervals, by degrees or `at_once`, and is
    back after `back` more. In the dictionary it stands for all paces that it can go to."""

    length: int
    back: int
    at_once: bool = False

    @property
    def width(self) -> int:
        return self.length + self.back


class Dictionary:
    """All forms at all places of a row of intervals with these `spans` (quarters), where a bar has `bar` of them."""

    def __init__(self, spans: np.ndarray, bar: int):
        self._spans = np.round(spans, 6)
        lengths = sorted({*LENGTHS, *(round(bar * bars) for bars in BARS)})
        ways = [(back, False) for back in sorted({*RETURNS, bar})] + [(0, True)]
        self.forms = [
            Form(length, *way) for length in lengths for way in ways
            if 2 <= length <= LONGEST and way[0] <= LONGEST and length + way[0] <= len(spans)
        ]  # fmt: skip
        self._kinds: dict[int, tuple[np.ndarray, np.ndarray]] = {}
        self._shapes: dict[tuple[Form, tuple[float, ...]], np.ndarray] = {}

    def placed(self, form: Form, paces: tuple[float, ...]) -> np.ndarray:
        """(paces, places, width) how much longer, in log, each interval lasts where the form, going to each pace,
        begins in each place."""
        if (form, paces) not in self._shapes:
            self._draw(paces)
        return self._shapes[form, paces][:, self._windows(form.width)[1]]

    def at(self, form: Form, pace: float, first: int) -> np.ndarray:
        """(width,) the same for one pace in one place."""
        return _drawn([(form, pace, self._spans[first : first + form.width])])

    def _windows(self, width: int) -> tuple[np.ndarray, np.ndarray]:
        """The different rows of so many spans, and which of them begins in each place."""
        if width not in self._kinds:
            kinds, which = np.unique(sliding_window_view(self._spans, width), axis=0, return_inverse=True)
            self._kinds[width] = kinds, which.ravel()
        return self._kinds[width]

    def _draw(self, paces: tuple[float, ...]) -> None:
        """All shapes with these paces, one after the other on one track."""
        wanted = [
            (form, pace, kind) for form in self.forms for pace in paces for kind in self._windows(form.width)[0]
        ]  # fmt: skip
        made, at = _drawn(wanted), 0
        for form in self.forms:
            kinds = len(self._windows(form.width)[0])
            size = len(paces) * kinds * form.width
            self._shapes[form, paces] = made[at : at + size].reshape(len(paces), kinds, form.width)
            at += size


def _drawn(wanted: Sequence[tuple[Form, float, np.ndarray]]) -> np.ndarray:
    """How much longer, in log, each interval lasts, of forms that go to a pace over intervals of given spans, one after
    the other."""
    edges = np.append(0.0, np.cumsum(np.concatenate([spans for _, _, spans in wanted])))
    events, at = [], 0
    for form, pace, _ in wanted:
        start, end, over = (float(edges[at + k]) for k in (0, form.length, form.width))
        events += [
            Event(start, start if form.at_once else end, lambda _, pace=pace: pace, DEFAULT_Q, rank=1),  # type: ignore[misc]
            Event(end, over, lambda _: 1.0, DEFAULT_Q),
        ]
        at += form.width
    length = float(edges[-1])
    track = follow(events, 1.0, length)
    pieces = timemap.split(timemap.strict(length, 60.0), [*edges, *(segment.start for segment in track)])
    put_track(pieces, track, "v0", "v1", "vq")
    return np.log(np.diff(timemap.TimeMap(pieces).seconds(edges)) / np.diff(edges))
