"""A value that stands still, steps or glides along the performed order: the basic tempo, the slowing, the dynamics."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from timing.columns import ROUNDING


@dataclass(frozen=True)
class Event:
    """A change of the value: at once at `start`, or gradually until `end`. `change` makes the new value of the old.

    `rank` orders events of the same moment; `if_still`: without effect while the value is gliding.
    """

    start: float
    end: float
    change: Callable[[float], float]
    q: float = 1.0
    rank: int = 0
    if_still: bool = False


@dataclass(frozen=True)
class Segment:
    """From `start` to `end` quarters the value goes from `first` to `last` by the law of curvature q."""

    start: float
    end: float
    first: float
    last: float
    q: float = 1.0

    def at(self, quarters: float) -> float:
        return law(self.first, self.last, self.q, (quarters - self.start) / (self.end - self.start))


def law(first: float, last: float, q: float, x: float) -> float:
    """[first^q + (last^q - first^q) x]^(1/q): A. Friberg and J. Sundberg, JASA 105 (1999). q = 1 is a straight line.

    The law is its own mirror image: hurrying from w to 1 is slowing from 1 to w, backwards.
    """
    if q == 1 or first == last:
        return first + (last - first) * x
    return (first**q + (last**q - first**q) * x) ** (1 / q)


def follow(
    events: Iterable[Event], initial: float, length: float, returns: Sequence[tuple[float, float]] = ()
) -> list[Segment]:
    """The segments of the value from 0 to `length` quarters, without gaps.

    An event cuts short a glide that is still going on. `returns` are pairs (here, there): where the order goes back to
    a bar, the value becomes what it was when that bar was first heard (`there`), as a player would read it.
    """
    kept: dict[float, float] = {}
    points: list[tuple[float, int, Event | None, float]] = [(there, -2, None, there) for _, there in returns]
    points += [(here, -1, None, there) for here, there in returns]
    points += [(event.start, event.rank, event, 0.0) for event in events]
    made: list[Segment] = []
    now = Segment(0.0, length, initial, initial)
    for at, _, event, there in sorted(points, key=lambda point: point[:2]):
        if at >= length:
            break
        value = now.at(at) if at < now.end else now.last
        if event is None and there == at:
            kept.setdefault(there, value)
            continue
        gliding = at < now.end and now.first != now.last
        if event is None:
            new = Segment(at, length, kept[there], kept[there])
        elif event.if_still and gliding:
            continue
        else:
            new = _begin(event, at, value, length)
        _close(made, now, at)
        now = new
    _close(made, now, length)
    return made


def _begin(event: Event, at: float, value: float, length: float) -> Segment:
    goal = event.change(value)
    if event.end > at:
        return Segment(at, event.end, value, goal, event.q)
    return Segment(at, length, goal, goal)


def _close(made: list[Segment], now: Segment, at: float) -> None:
    """Write down `now` as far as `at`, and the standstill after a finished glide."""
    if at <= now.start:
        return
    if at < now.end:
        made.append(Segment(now.start, at, now.first, now.at(at), now.q))
        return
    made.append(now)
    if at > now.end:
        made.append(Segment(now.end, at, now.last, now.last))


def table(segments: Sequence[Segment]) -> np.ndarray:
    """(n, 4) start, end, first, last of segments, for `sample`."""
    return np.array([(segment.start, segment.end, segment.first, segment.last) for segment in segments])


def sample(segments: np.ndarray, quarters: np.ndarray) -> np.ndarray:
    """The value of straight segments (a `table`) at these quarters; at a step, or a hair before it, the new one."""
    start, end, first, last = segments[
        np.clip(np.searchsorted(segments[:, 0], quarters + ROUNDING, side="right") - 1, 0, len(segments) - 1)
    ].T
    return first + (last - first) * np.clip((quarters - start) / (end - start), 0, 1)
