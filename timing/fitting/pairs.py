"""Moments of a performed order and when they were played: what a fit is made from, and how far it is to be trusted.

The log of the seconds a quarter that each interval between two pairs lasts errs in two ways. What no plan says of a
player's time (the `detail`) is another number in each interval. A noisy onset makes the interval before it longer and
the one after it shorter, so neighbouring intervals err against each other: their covariance has three diagonals, and
whitening by its Cholesky factor makes all sums of squares honest.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from timing.columns import NEAR
from timing.plan.units import FASTEST, SLOWEST
from timing.remarks import CannotDo
from timing.where import Where

FEWEST = 4  # pairs: fewer have nothing to say of a shape
MOST = 50_000  # pairs; a score has 20,000 quarters at the most
LEAST_DETAIL, MOST_DETAIL = 0.004, 0.25  # of log pace


@dataclass(frozen=True, eq=False)
class Pairs:
    """n moments of the performed order, in quarters, and the seconds at which they were played; `noise` is the standard
    deviation of one of them in seconds."""

    quarters: np.ndarray
    seconds: np.ndarray
    noise: float

    @property
    def spans(self) -> np.ndarray:
        """(n-1,) quarters of each interval."""
        return np.diff(self.quarters)

    @property
    def slow(self) -> np.ndarray:
        """(n-1,) log of the seconds a quarter."""
        return np.log(np.diff(self.seconds) / self.spans)


def pairs_of(where: Where, quarters: object, seconds: object, noise: float) -> Pairs:
    """Checked pairs. CannotDo says what is wrong with them: what is no number, too few, not increasing, outside the
    music, or at a tempo that no plan can have."""
    if not (isinstance(noise, int | float) and 0 <= noise <= 1):
        raise _refused(f"the noise of a moment is 0 to 1 s, not {noise!r:.40}")
    moments, clock = _column(quarters, "quarters"), _column(seconds, "seconds")
    if len(moments) != len(clock):
        raise _refused(f"there are {len(moments)} moments of the music and {len(clock)} of the clock: they go in pairs")
    if not FEWEST <= len(moments) <= MOST:
        raise _refused(f"a fit takes {FEWEST} to {MOST:,} pairs, and there are {len(moments):,}")
    if moments.min() < -NEAR or moments.max() > where.length + NEAR:
        raise _refused(f"moments lie outside the performed order, which has {where.length:g} quarters")
    moments = np.clip(moments, 0.0, where.length)
    for values, unit in ((moments, "quarter"), (clock, "second")):
        back = np.flatnonzero(np.diff(values) <= NEAR)
        if len(back):
            at = where.position_text(float(moments[back[0]]))
            raise _refused(f"after {at} the next pair has no later {unit}: pairs go forward in music and in time")
    tempo = 60 * np.diff(moments) / np.diff(clock)
    basic = float(60 * (moments[-1] - moments[0]) / (clock[-1] - clock[0]))
    if not SLOWEST <= basic <= FASTEST:
        raise _refused(f"these pairs are {basic:.3g} quarters a minute: a tempo can be {SLOWEST:g} to {FASTEST:g}")
    wild = np.flatnonzero((tempo < basic / 100) | (tempo > basic * 100))
    if len(wild):
        at = where.position_text(float(moments[wild[0]]))
        raise _refused(f"at {at} the pairs are {tempo[wild[0]]:.3g} quarters a minute: one of them is wrong")
    return Pairs(moments, clock, float(noise))


def _column(values: object, what: str) -> np.ndarray:
    try:
        column = np.asarray(values, np.float64)
    except (TypeError, ValueError):
        raise _refused(f"the {what} are not numbers") from None
    if column.ndim != 1:
        raise _refused(f"the {what} are one row of numbers, not {column.ndim}-dimensional")
    if not np.isfinite(column).all():
        raise _refused(f"the {what} have {np.sum(~np.isfinite(column))} that are no numbers")
    return column


def _refused(message: str) -> CannotDo:
    return CannotDo.because("fit-pairs", message)


class Whitening:
    """The covariance of the intervals' errors (`diagonal`, and `beside` it), and its Cholesky factor."""

    def __init__(self, pairs: Pairs, detail: float):
        lasted = np.diff(pairs.seconds)
        self.diagonal = diagonal = detail**2 + 2 * (pairs.noise / lasted) ** 2
        self.beside = beside = -(pairs.noise**2) / (lasted[:-1] * lasted[1:])
        root, below = np.empty(len(lasted)), np.zeros(len(lasted))  # below[k] is under root[k]
        root[0] = np.sqrt(diagonal[0])
        for k in range(1, len(lasted)):
            below[k - 1] = beside[k - 1] / root[k - 1]
            root[k] = np.sqrt(diagonal[k] - below[k - 1] ** 2)
        self.root = root
        self.passed = np.append(-below[:-1] / root[1:], 0.0)  # what is left of a value one interval later

    def __call__(self, columns: np.ndarray) -> np.ndarray:
        """(n-1, ...) columns, whitened."""
        made = columns / self.root.reshape(-1, *[1] * (columns.ndim - 1))
        for k in range(1, len(made)):
            made[k] += self.passed[k - 1] * made[k - 1]
        return made


def detail_of(pairs: Pairs, rest: np.ndarray) -> float:
    """How far intervals are away from what a fit says of them beyond what noise makes: the standard deviation in log
    pace, by nine tenths of them, so that a few wild ones do not count. It is never less than half of what noise
    makes of one end of an interval, so that whitening stays a matter of neighbours."""
    noise = pairs.noise / float(np.median(np.diff(pairs.seconds)))
    spread = float(np.quantile(np.abs(rest - np.median(rest)), 0.9)) / 1.645
    return float(np.clip(np.sqrt(max(spread**2 - 2 * noise**2, 0.0)), max(LEAST_DETAIL, noise / 2), MOST_DETAIL))
