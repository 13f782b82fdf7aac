"""The time map: from quarters along the performed order to seconds, and back.

Score time is cut into pieces on which everything that shapes the pace is smooth. On a piece, with u running from 0 to
1, the local tempo in quarters a minute is the product

    ((1 - u) t0 + u t1)^(1/tq)  ·  exp(a0 + a1 u + a2 u²)  ·  ((1 - u) v0 + u v1)^(1/vq)  ·  hold
         basic tempo                    arches                    slowing                fermata, breath, accent

The basic tempo and the slowing change as x^(1/q) of score position (A. Friberg and J. Sundberg, JASA 105, 1999); the
arches of all levels are parabolas in log pace (N. Todd 1985, 1992), so their sum is one parabola. Pieces can be split
anywhere without changing the curve, and time is the integral of 1/tempo by Gauss-Legendre on each piece.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from typing import Literal

import numpy as np

PIECE = np.dtype(
    [
        ("start", np.float64), ("end", np.float64),  # quarters
        ("t0", np.float64), ("t1", np.float64), ("tq", np.float64),
        ("a0", np.float64), ("a1", np.float64), ("a2", np.float64),
        ("v0", np.float64), ("v1", np.float64), ("vq", np.float64),
        ("hold", np.float64),
    ]
)  # fmt: skip

_NODES = 16

# A power law is nearly singular where it has fallen far: 1/v has a branch point beyond the end of the piece. Where a
# piece keeps at least this share of v^q, the branch point is 1.67 piece lengths away and 16 nodes are exact to 1e-15.
_MOST_FALL = 0.4

# The arches' exp(a0 + a1 u + a2 u²) has no branch point, but many nested arches can make it steep: with this much in
# log pace on one piece, 16 nodes are still exact to 1e-15.
_MOST_BEND = 3.0


def strict(length: float, tempo: float) -> np.ndarray:
    """PIECE table of one piece: `length` quarters in strict time at `tempo` quarters a minute."""
    pieces = np.zeros(1, PIECE)
    pieces["end"], pieces["t0"], pieces["t1"] = length, tempo, tempo
    for column in ("tq", "v0", "v1", "vq", "hold"):
        pieces[column] = 1.0
    return pieces


def split(pieces: np.ndarray, knots: Sequence[float] | np.ndarray) -> np.ndarray:
    """The same curve with further cuts at `knots` (quarters; those outside or already there make no difference).

    No two different knots are taken for one, however close: a piece may be as short as floats can tell.
    """
    inside = np.asarray(knots, np.float64)
    inside = inside[(inside > pieces["start"][0]) & (inside < pieces["end"][-1])]
    starts = np.union1d(pieces["start"], inside)
    row = np.searchsorted(pieces["start"], starts, side="right") - 1
    old, made = pieces[row], pieces[row].copy()
    made["start"], made["end"] = starts, np.append(starts[1:], pieces["end"][-1])
    span = old["end"] - old["start"]
    u0, u1 = (made["start"] - old["start"]) / span, (made["end"] - old["start"]) / span
    made["a0"] = old["a0"] + (old["a1"] + old["a2"] * u0) * u0
    made["a1"] = (old["a1"] + 2 * old["a2"] * u0) * (u1 - u0)
    made["a2"] = old["a2"] * (u1 - u0) ** 2
    for low, high in (("t0", "t1"), ("v0", "v1")):
        made[low], made[high] = mixed(old[low], old[high], u0), mixed(old[low], old[high], u1)
    return made


def mixed(first: np.ndarray, last: np.ndarray, u: np.ndarray) -> np.ndarray:
    """Straight from `first` (u = 0) to `last` (u = 1); exact at both ends, however small one is against the other, and
    where they are equal."""
    rise = last - first
    return np.where(u < 0.5, first + rise * u, last - rise * (1 - u))


def between(pieces: np.ndarray, start: float, end: float) -> slice:
    """The pieces from `start` to `end`, both of which must be cuts."""
    first, last = np.searchsorted(pieces["start"], (start, end))
    return slice(int(first), int(last))


def tempo_at(pieces: np.ndarray, u: np.ndarray) -> np.ndarray:
    """Local tempo (quarters a minute) at `u` of each piece; `u` has the pieces as its first axis."""
    column = {name: pieces[name].reshape(-1, *[1] * (u.ndim - 1)) for name in PIECE.names or ()}
    basic = _power(mixed(column["t0"], column["t1"], u), column["tq"])
    slowing = _power(mixed(column["v0"], column["v1"], u), column["vq"])
    arches = np.exp(column["a0"] + (column["a1"] + column["a2"] * u) * u)
    return basic * arches * slowing * column["hold"]


def _power(base: np.ndarray, q: np.ndarray) -> np.ndarray:
    """base^(1/q), row by row; most rows have q = 1 and cost nothing."""
    curved = q.ravel() != 1
    if curved.any():
        base[curved] **= 1 / q[curved]
    return base


@cache
def _gauss_legendre() -> tuple[np.ndarray, np.ndarray]:
    return np.polynomial.legendre.leggauss(_NODES)


def durations(pieces: np.ndarray, until: np.ndarray | float = 1.0) -> np.ndarray:
    """Seconds from the start of each piece to `until` (0 to 1, one value a piece)."""
    until = np.broadcast_to(np.asarray(until, np.float64), len(pieces))
    length = until * (pieces["end"] - pieces["start"])
    seconds = length * 60 / tempo_at(pieces, np.zeros(len(pieces)))  # all there is to it where the pace is steady
    steady = (pieces["t0"] == pieces["t1"]) & (pieces["v0"] == pieces["v1"])
    moving = np.flatnonzero(~steady | (pieces["a1"] != 0) | (pieces["a2"] != 0))
    if len(moving):
        nodes, weights = _gauss_legendre()
        slowness = 60 / tempo_at(pieces[moving], np.outer(until[moving], (nodes + 1) / 2))
        seconds[moving] = (slowness @ weights) / 2 * length[moving]
    return seconds


def lasting(pieces: np.ndarray) -> float:
    """Seconds that these neighbouring pieces last together."""
    return float(durations(finely_cut(pieces)).sum())


def finely_cut(pieces: np.ndarray) -> np.ndarray:
    """The same curve, cut where the pace changes so far on one piece that the quadrature would lose digits."""
    bend = np.minimum((np.abs(pieces["a1"]) + np.abs(pieces["a2"])) / _MOST_BEND, 1000)
    bent = np.flatnonzero(bend > 1)
    knots = [np.linspace(pieces["start"][row], pieces["end"][row], int(np.ceil(bend[row])) + 1) for row in bent]
    for low, high in (("t0", "t1"), ("v0", "v1")):
        ratio = pieces[high] / pieces[low]
        for row in np.flatnonzero((ratio < _MOST_FALL) | (ratio > 1 / _MOST_FALL)):
            piece = pieces[row]
            steps = int(np.ceil(abs(np.log(ratio[row])) / -np.log(_MOST_FALL)))
            y = piece[low] * ratio[row] ** (np.arange(1, steps) / steps)
            u = (y - piece[low]) / (piece[high] - piece[low])
            knots.append(piece["start"] + u * (piece["end"] - piece["start"]))
    return split(pieces, np.concatenate(knots)) if knots else pieces


class TimeMap:
    """Quarters along the performed order to seconds and back: continuous, strictly increasing, exact to 1e-9 s."""

    def __init__(self, pieces: np.ndarray):
        self.pieces = finely_cut(pieces)
        self._times = np.append(0.0, np.cumsum(durations(self.pieces)))

    @property
    def knots(self) -> np.ndarray:
        """(n,) quarters at which the curve may have a corner, the two ends included."""
        return np.append(self.pieces["start"], self.pieces["end"][-1])

    @property
    def length(self) -> float:
        """Seconds from the first bar line to the last."""
        return float(self._times[-1])

    def seconds(self, quarters: np.ndarray | float) -> np.ndarray:
        """Seconds at these quarters; beyond the ends time goes on at the tempo of the end."""
        quarters = np.asarray(quarters, np.float64)
        inside = np.clip(quarters, 0, self.pieces["end"][-1])
        row, u = self._locate(inside.ravel())
        seconds = self._times[row] + durations(self.pieces[row], u)
        return seconds.reshape(quarters.shape) + (quarters - inside) * 60 / self.tempo(inside)

    def quarters(self, seconds: np.ndarray | float) -> np.ndarray:
        """The inverse: quarters at these seconds, by Newton steps kept inside a bracket."""
        seconds = np.asarray(seconds, np.float64)
        inside = np.clip(seconds.ravel(), 0, self._times[-1])
        row = np.clip(np.searchsorted(self._times, inside, side="right") - 1, 0, len(self.pieces) - 1)
        pieces, target = self.pieces[row], inside - self._times[row]
        whole = self._times[row + 1] - self._times[row]
        span = pieces["end"] - pieces["start"]
        u = target / np.maximum(whole, np.finfo(float).tiny)  # a piece may be too short for the clock
        low, high = np.zeros_like(u), np.ones_like(u)
        open_ = np.arange(len(u))
        for _ in range(60):
            error = durations(pieces[open_], u[open_]) - target[open_]
            low[open_] = np.where(error <= 0, u[open_], low[open_])
            high[open_] = np.where(error >= 0, u[open_], high[open_])
            step = error * tempo_at(pieces[open_], u[open_]) / 60 / span[open_]
            next_u = u[open_] - step
            outside = (next_u < low[open_]) | (next_u > high[open_])
            u[open_] = np.where(outside, (low[open_] + high[open_]) / 2, next_u)
            open_ = open_[np.abs(step) > 1e-14]
            if not len(open_):
                break
        quarters = (pieces["start"] + u * span).reshape(seconds.shape)
        inside = inside.reshape(seconds.shape)
        return quarters + (seconds - inside) * self.tempo(quarters) / 60

    def tempo(self, quarters: np.ndarray | float, before: bool = False) -> np.ndarray:
        """Local tempo in quarters a minute; at a step the new one, or (`before`) the one that is left."""
        quarters = np.asarray(quarters, np.float64)
        row, u = self._locate(np.clip(quarters, 0, self.pieces["end"][-1]).ravel(), before)
        return tempo_at(self.pieces[row], u).reshape(quarters.shape)

    def basic(self, quarters: np.ndarray | float, before: bool = False) -> np.ndarray:
        """The basic tempo (tempo marks alone) in quarters a minute."""
        quarters = np.asarray(quarters, np.float64)
        row, u = self._locate(np.clip(quarters, 0, self.pieces["end"][-1]).ravel(), before)
        pieces = self.pieces[row]
        return _power(mixed(pieces["t0"], pieces["t1"], u), pieces["tq"]).reshape(quarters.shape)

    def _locate(self, quarters: np.ndarray, before: bool = False) -> tuple[np.ndarray, np.ndarray]:
        side: Literal["left", "right"] = "left" if before else "right"
        row = np.clip(np.searchsorted(self.pieces["start"], quarters, side=side) - 1, 0, len(self.pieces) - 1)
        start, end = self.pieces["start"][row], self.pieces["end"][row]
        return row, np.clip((quarters - start) / (end - start), 0, 1)
