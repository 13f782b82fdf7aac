"""The slowdown against A. Friberg and J. Sundberg, "Does music performance allude to locomotion? A model of final
ritardandi derived from measurements of stopping runners", JASA 105(3), 1999: v(x) = [1 + (w^q - 1) x]^(1/q), x being
score position; q = 2 is constant braking force, q = 3 constant braking power.

From the formula follows by integration how much longer the slowed music is: q/(q-1) · (1 - w^(q-1)) / (1 - w^q).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from support import reading

from timing.tracks import law


def slowed(kind: str, to: float, q: float, **more):
    """The time of eight bars at 60 quarters a minute, of which bars 3-6 (quarters 8 to 24) are slowed."""
    entry = {kind: "3-6", "to": f"{100 * to!r}%", "curvature": q, "then": "a tempo"}
    return reading({"slowing": [entry | more]}, bars=8).performance.time


def ratio(w: float, q: float) -> float:
    """How much longer, with the limits where the formula has no value."""
    if w == 1:
        return 1.0
    if q == 1:
        return -math.log(w) / (1 - w)
    return q / (q - 1) * math.expm1((q - 1) * math.log(w)) / (w**q - 1)


@pytest.mark.parametrize(("q", "longer"), [(2, 1.3333), (3, 1.2857)])
def test_the_two_ritards_that_listeners_rated_highest(q, longer):
    time = slowed("rallentando", 0.5, q)
    assert (time.seconds(24) - time.seconds(8)) / 16 == pytest.approx(longer, abs=5e-5)


def test_constant_braking_power_is_what_a_slowdown_does_unless_told():
    plain = reading({"slowing": [{"rallentando": "3-6", "to": "50%", "then": "a tempo"}]}, bars=8).performance.time
    assert plain.seconds(24) - plain.seconds(8) == pytest.approx(16 * 9 / 7, abs=1e-9)


@given(st.floats(0.1, 0.999).map(lambda w: round(w, 6)), st.floats(1, 10).map(lambda q: round(q, 6)))
def test_how_much_longer_the_slowed_music_is(w, q):
    time = slowed("rallentando", w, q)
    assert time.seconds(24) - time.seconds(8) == pytest.approx(16 * ratio(w, q), abs=1e-9, rel=0)


@pytest.mark.parametrize("w", [0.1, 0.5, 0.999999])
@pytest.mark.parametrize("q", [1, 1.000001])
def test_the_limits(w, q):
    time = slowed("rallentando", w, q)
    near = 1e-9 if q == 1 else 3e-5
    assert time.seconds(24) - time.seconds(8) == pytest.approx(16 * -math.log(w) / (1 - w), abs=near, rel=0)


@pytest.mark.parametrize("q", [1.0, 2.0, 3.0])
@pytest.mark.parametrize("w", [0.3, 0.8])
def test_the_pace_on_the_way(w, q):
    x = np.array([0.0, 0.25, 0.5, 0.99])
    paces = slowed("rallentando", w, q).tempo(8 + 16 * x) / 60
    assert paces == pytest.approx((1 + (w**q - 1) * x) ** (1 / q), abs=1e-12)


@pytest.mark.parametrize("q", [1.0, 2.0, 3.0])
def test_hurrying_is_slowing_backwards(q):
    """An accelerando from 1 to v and a slowdown from v to 1 by the same law are mirror images."""
    x = np.linspace(0, 1, 11)
    there = [law(1.0, 1.5, q, each) for each in x]
    back = [law(1.5, 1.0, q, 1 - each) for each in x]
    assert there == pytest.approx(back, abs=1e-12)
    time = slowed("accelerando", 1.5, q)
    assert time.tempo(8 + 16 * x[:-1]) / 60 == pytest.approx(there[:-1], abs=1e-12)


@pytest.mark.parametrize("q", [2.0, 3.0])
def test_constant_braking(q):
    """q = 2 loses speed evenly in time; q = 3 loses the square of it, the energy, evenly in time."""
    time = slowed("rallentando", 0.4, q)
    seconds = np.linspace(time.seconds(8), time.seconds(24) - 1e-9, 9)
    paces = time.tempo(time.quarters(seconds)) / 60
    lost = np.diff(paces ** (q - 1))
    assert lost == pytest.approx(np.full(8, (0.4 ** (q - 1) - 1) / 8), abs=1e-7)
