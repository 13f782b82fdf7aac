"""The dictionary of a fit: what slowdowns, hurrying and held beats make of the lengths of the intervals they lie in.

The shapes are the planner's own: a plan's entry becomes events, events a track, a track pieces of the time map.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from timing import timemap
from timing.time.pace import put_track
from timing.time.slowing import DEFAULT_Q
from timing.timemap import TimeMap
from timing.tracks import Event, follow

COARSE = (0.9, 0.75, 0.6, 0.45)  # paces at the ends of the dictionary's shapes, while arches are not known,
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
    """All forms at all places of a row of intervals with these `spans` (quarters), where a bar has `bar` of them.

    A shape is as long as it is: what it makes of an interval depends on which shares of it the interval lies between,
    and there are not many different ones.
    """

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
        kinds, which = self._windows(form.width)
        if (form, paces) not in self._shapes:
            self._shapes[form, paces] = _drawn(form, paces, kinds)
        return self._shapes[form, paces][:, which]

    def at(self, form: Form, pace: float, first: int) -> np.ndarray:
        """(width,) the same for one pace in one place."""
        return _drawn(form, (pace,), self._spans[None, first : first + form.width])[0, 0]

    def _windows(self, width: int) -> tuple[np.ndarray, np.ndarray]:
        """The different rows of so many spans, and which of them begins in each place."""
        if width not in self._kinds:
            kinds, which = np.unique(sliding_window_view(self._spans, width), axis=0, return_inverse=True)
            self._kinds[width] = kinds, which.ravel()
        return self._kinds[width]


def _drawn(form: Form, paces: tuple[float, ...], spans: np.ndarray) -> np.ndarray:
    """(paces, rows, width) how much longer, in log, each interval of each row of `spans` (rows, width) lasts."""
    edges = np.concatenate([np.zeros((len(spans), 1)), np.cumsum(spans, axis=1)], axis=1)
    parts = [(edges[:, : form.length + 1], form.at_once, False), (edges[:, form.length :], False, True)]
    made = []
    for here, at_once, back in parts[: 1 + (form.back > 0)]:
        shares = (here - here[:, :1]) / (here[:, -1:] - here[:, :1])
        some, which = np.unique(np.round(shares, 9), return_inverse=True)
        which = which.reshape(shares.shape)
        for_paces = np.stack([_clock(pace, at_once, back).seconds(some) for pace in paces])
        made.append(np.log(np.diff(for_paces[:, which], axis=-1) / np.diff(shares, axis=-1)))
    return np.concatenate(made, axis=-1)


@lru_cache(maxsize=1000)
def _clock(pace: float, at_once: bool, back: bool) -> TimeMap:
    """A slowdown to a pace over one quarter, at one quarter a second, or what comes `back` from it."""
    first = pace if at_once or back else 1.0
    last = Event(0.0, 0.0 if at_once else 1.0, lambda _: 1.0 if back else pace, DEFAULT_Q)
    pieces = timemap.strict(1.0, 60.0)
    put_track(pieces, follow([last], first, 1.0), "v0", "v1", "vq")
    return TimeMap(pieces)
