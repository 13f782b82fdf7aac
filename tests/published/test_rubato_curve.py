"""The time that a rubato steals and gives back, against scipy.integrate.quad.

The pace is written here a second time from the formulas alone: a gradual tempo and a slowdown by the law of A. Friberg
and J. Sundberg (JASA 105, 1999), and two parabolas in log pace (N. Todd 1985, 1992), each over half of the way. The
second is as high as it takes to end on time.
"""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq
from support import reading

BARS = 8


def integral(slowness, *knots: float) -> float:
    return math.fsum(quad(slowness, a, b, epsabs=1e-13, epsrel=1e-13, limit=200)[0] for a, b in pairwise(knots))


@given(
    st.floats(40, 160).map(lambda tempo: round(tempo, 2)),
    st.integers(50, 95),
    st.integers(1, 15),
    st.sampled_from(["hurry", "linger"]),
    st.integers(1, BARS - 1),
    st.integers(0, 3),
)
def test_every_moment_comes_when_the_integral_of_the_pace_says(goal, to, percent, kind, first, more):
    last = min(first + more, BARS)
    start, end = 4.0 * (first - 1), 4.0 * last
    middle = (start + end) / 2

    def written(s: float) -> float:
        """From 60 to the goal over bars 2 and 3, evenly in its square; to the slower pace over bars 5 to 8."""
        x, y = min(max((s - 4) / 8, 0), 1), min(max((s - 16) / 16, 0), 1)
        return math.sqrt(60**2 + (goal**2 - 60**2) * x) * (1 + ((to / 100) ** 3 - 1) * y) ** (1 / 3)

    def hump(s: float, begin: float, stop: float) -> float:
        u = (s - begin) / (stop - begin)
        return 4 * u * (1 - u)

    corners = [4.0, 12.0, 16.0, 32.0]
    halves = [[a, *(c for c in corners if a < c < b), b] for a, b in ((start, middle), (middle, end))]
    top = math.log(1 + percent / 100 * (1 if kind == "hurry" else -1))
    whole = integral(lambda s: 60 / written(s), start, *halves[0][1:-1], middle, *halves[1][1:-1], end)
    stolen = integral(lambda s: 60 / written(s) / math.exp(top * hump(s, start, middle)), *halves[0])

    def late(back: float) -> float:
        back = integral(lambda s: 60 / written(s) / math.exp(back * hump(s, middle, end)), *halves[1])
        return stolen + back - whole

    back = brentq(late, -1.3, 1.3, xtol=1e-14)
    plan = {
        "tempo": [60, {"over": "2-3", "tempo": repr(goal), "curvature": 2}],
        "slowing": [{"rallentando": "5-8", "to": f"{to}%", "curvature": 3}],
        "rubato": [{"bars": f"{first}-{last}", kind: f"{percent}%", "keeps": "end"}],
    }
    time = reading(plan, bars=BARS).performance.time
    begun = float(time.seconds(start))
    assert time.seconds(middle) - begun == pytest.approx(stolen, abs=1e-9, rel=0)
    assert time.seconds(end) - begun == pytest.approx(whole, abs=1e-9, rel=0)
    quarter = np.array([(start + middle) / 2, (middle + end) / 2])
    expected = [written(quarter[0]) * math.exp(top), written(quarter[1]) * math.exp(back)]
    assert time.tempo(quarter) == pytest.approx(expected, rel=1e-9)
