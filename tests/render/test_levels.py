"""Levels and controllers: one law, as near as whole numbers allow, and no number out of range."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from render.levels import EXPRESSION, decibels, expression, velocity

LOWEST = 40 * np.log10(1 / 127)


@given(st.floats(LOWEST, 0))
def test_a_velocity_is_the_nearest_to_its_level(level):
    chosen = int(velocity(level))
    exact = 127 * 10 ** (level / 40)
    assert abs(chosen - exact) <= 0.5 + 1e-9
    assert 1 <= chosen <= 127


@given(st.integers(1, 127))
def test_velocity_and_decibels_are_inverse(value):
    assert velocity(decibels(value)) == value


@given(st.lists(st.floats(-1000, 1000), min_size=2, max_size=20).map(sorted))
def test_louder_is_never_a_smaller_number(levels):
    for law in (velocity, expression):
        values = law(np.array(levels))
        assert (np.diff(values) >= 0).all()
        assert values.min() >= 0
        assert values.max() <= 127


@pytest.mark.parametrize(("level", "value"), [(0, 127), (10, 127), (-np.inf, 1), (-500, 1), (-40 * np.log10(2), 64)])
def test_velocities_by_hand(level, value):
    assert velocity(level) == value


@pytest.mark.parametrize(("level", "value"), [(0, EXPRESSION), (-np.inf, 0), (20, 127), (40 * np.log10(120 / 90), 120)])
def test_expression_by_hand(level, value):
    assert expression(level) == value


def test_rest_leaves_six_decibels_for_swells():
    assert -decibels(EXPRESSION) == pytest.approx(6, abs=0.02)
