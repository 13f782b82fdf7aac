"""dB, velocity and controllers."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from render.levels import EXPRESSION, VOLUME, decibels, expression, velocity


@given(st.integers(1, 127))
def test_a_velocity_is_the_level_it_was_made_from(value):
    assert velocity(decibels(value)) == value


@given(st.floats(-84, 0))
def test_a_level_is_off_by_no_more_than_half_a_step(level):
    value = int(velocity(level))
    nearest = min(range(1, 128), key=lambda v: abs(127 * 10 ** (level / 40) - v))
    assert abs(127 * 10 ** (level / 40) - value) == pytest.approx(abs(127 * 10 ** (level / 40) - nearest))


@given(st.floats(-22, 0))
def test_differences_of_two_levels_are_within_half_a_decibel(level):
    """From velocity 36 up, two roundings together come to less than 0.5 dB."""
    for other in (level, -22.0, 0.0):
        wanted, sounding = level - other, float(decibels(velocity(level)) - decibels(velocity(other)))
        assert abs(sounding - wanted) < 0.5


@given(st.floats(-12, 5.9))
def test_expression_moves_a_note_by_the_level_asked_for(level):
    moved = 40 * np.log10(int(expression(level)) / EXPRESSION)
    assert abs(moved - level) < 0.25


@pytest.mark.parametrize(
    ("level", "struck", "moved"), [(100.0, 127, 127), (1e9, 127, 127), (-100.0, 1, 0), (-1e9, 1, 0), (0.0, 127, 90)]
)
def test_out_of_range_is_the_limit(level, struck, moved):
    assert (int(velocity(level)), int(expression(level))) == (struck, moved)


def test_whole_columns_at_once():
    assert velocity(np.array([0.0, -12.04, -200.0])).tolist() == [127, 64, 1]


def test_a_swell_has_six_decibels_above_rest():
    assert decibels(127) - decibels(EXPRESSION) == pytest.approx(6, abs=0.02)
    assert VOLUME == 100
