"""The pieces of the pace and the map between quarters and seconds."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from timing.timemap import TimeMap, between, durations, finely_cut, lasting, split, strict, tempo_at


def curve() -> np.ndarray:
    """One piece of 8 quarters on which everything moves at once."""
    pieces = strict(8.0, 60.0)
    pieces["t0"], pieces["t1"], pieces["tq"] = 60.0**2, 90.0**2, 2
    pieces["a0"], pieces["a1"], pieces["a2"] = -0.1, 0.7, -0.5
    pieces["v0"], pieces["v1"], pieces["vq"] = 1.0, 0.5**3, 3
    pieces["hold"] = 0.8
    return pieces


def tempi(pieces: np.ndarray, quarters: np.ndarray) -> np.ndarray:
    row = np.searchsorted(pieces["start"], quarters, side="right") - 1
    u = (quarters - pieces["start"][row]) / (pieces["end"][row] - pieces["start"][row])
    return tempo_at(pieces[row], u)


@given(st.lists(st.floats(-1, 9), max_size=12))
def test_cuts_do_not_change_the_curve(knots):
    whole, cut = curve(), split(curve(), knots)
    assert cut["start"][0] == 0 and cut["end"][-1] == 8
    assert np.all(cut["end"][:-1] == cut["start"][1:]) and np.all(cut["end"] > cut["start"])
    assert {knot for knot in knots if 0 < knot < 8} <= set(cut["start"].tolist())
    at = np.linspace(0, 7.99, 40)
    assert tempi(cut, at) == pytest.approx(tempi(whole, at), rel=1e-12)
    assert lasting(cut) == pytest.approx(lasting(whole), rel=1e-12)


def test_cuts_may_be_as_close_as_floats_can_tell():
    close = [4.0, np.nextafter(4.0, 5), 4.0 + 1e-12, 4.0 + 1e-10, 4.0 + 1e-9]
    time = TimeMap(split(curve(), close))
    seconds = time.seconds(np.array([3.9, *close, 4.1]))
    assert np.all(np.isfinite(seconds)) and np.all(np.diff(seconds) >= 0)
    assert time.length == pytest.approx(lasting(curve()), rel=1e-12)
    assert time.quarters(seconds) == pytest.approx([3.9, *close, 4.1], abs=1e-9)


def test_between_finds_the_pieces_of_a_stretch():
    pieces = split(strict(8.0, 60.0), [2.0, 3.0, 5.0])
    assert between(pieces, 2.0, 5.0) == slice(1, 3)
    assert between(pieces, 0.0, 8.0) == slice(0, 4)
    assert between(pieces, 3.0, 3.0) == slice(2, 2)


def test_strict_time_is_exact():
    time = TimeMap(split(strict(4000.0, 90.0), np.arange(1, 4000)))
    assert time.seconds(np.arange(0, 4001.0)) == pytest.approx(np.arange(0, 4001) / 1.5, rel=1e-13)


@pytest.mark.parametrize("q", [1.0, 2.0, 3.0, 10.0])
@pytest.mark.parametrize("last", [0.1, 0.5, 3.0])
def test_a_steep_power_law_is_cut_until_the_quadrature_holds(q, last):
    pieces = strict(8.0, 60.0)
    pieces["v0"], pieces["v1"], pieces["vq"] = 1.0, last**q, q
    exact = 8 * np.log(last) / (last - 1) if q == 1 else 8 * q / (q - 1) * (1 - last ** (q - 1)) / (1 - last**q)
    assert lasting(pieces) == pytest.approx(exact, rel=1e-13)
    assert len(finely_cut(pieces)) < 30


def test_steep_arches_are_cut_too():
    """exp(a u) from 0 to 1 lasts (1 - e^-a)/a of its time at the start."""
    pieces = strict(8.0, 60.0)
    pieces["a1"] = 40.0
    assert lasting(pieces) == pytest.approx(8 * (1 - np.exp(-40.0)) / 40, rel=1e-13)


def test_until_where_on_a_piece():
    assert durations(strict(8.0, 120.0), 0.25) == pytest.approx([1.0])


def test_beyond_the_ends_time_goes_on_at_the_tempo_of_the_end():
    time = TimeMap(curve())
    first, last = float(time.tempo(0.0)), float(time.tempo(8.0))
    assert time.seconds(-2.0) == pytest.approx(-2 * 60 / first)
    assert time.seconds(10.0) == pytest.approx(time.length + 2 * 60 / last)
    assert time.quarters(np.array([-1.0, time.length + 1])) == pytest.approx([-first / 60, 8 + last / 60])


@given(st.lists(st.floats(0, 8), min_size=1, max_size=30))
def test_the_inverse(quarters):
    time = TimeMap(split(curve(), [1.0, 2.5, 7.0]))
    assert time.quarters(time.seconds(np.array(quarters))) == pytest.approx(quarters, abs=1e-9)


def test_shapes_are_kept():
    time = TimeMap(curve())
    assert time.seconds(1.0).shape == () and time.seconds(np.ones((2, 3))).shape == (2, 3)
    assert time.quarters(1.0).shape == () and time.tempo(np.ones((2, 3))).shape == (2, 3)


def test_at_a_step_there_is_a_tempo_before_and_one_after():
    pieces = split(strict(8.0, 60.0), [4.0])
    pieces["t0"][1] = pieces["t1"][1] = 90.0
    pieces["hold"][0] = 0.5
    time = TimeMap(pieces)
    assert (time.tempo(4.0, before=True), time.tempo(4.0)) == (30, 90)
    assert (time.basic(4.0, before=True), time.basic(4.0)) == (60, 90)
    assert time.knots.tolist() == [0, 4, 8]
