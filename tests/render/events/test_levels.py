"""dB, velocity and controllers."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from render.events.levels import EXPRESSION, VOLUME, decibels, expression, expression_changes, rounding, velocity


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


def changes(points: list[tuple[int, float, int]], onsets: list[int]) -> list[tuple[int, int]]:
    """(moment, CC11) pairs from points (moment, dB, onset of their note)."""
    moments, level, struck = (np.array(column) for column in zip(*points, strict=True))
    return list(
        zip(*(column.tolist() for column in expression_changes(moments, level, struck, np.array(onsets))), strict=True)
    )


def test_expression_changes_only_when_its_number_does_and_rests_at_the_next_onset():
    swell = [(0, 0.0, 0), (10, 0.01, 0), (20, 3.0, 0), (30, 3.0, 0), (40, 6.0, 0)]
    assert changes(swell, [0, 100, 200]) == [(20, 107), (40, 127), (100, 90)]


def test_a_curve_that_begins_away_from_rest_begins_there():
    assert changes([(50, 6.0, 50), (60, 0.0, 50)], [0, 50]) == [(50, 127), (60, 90)]


def test_the_controller_follows_the_note_struck_last():
    first, second = [(0, 0.0, 0), (20, 6.0, 0), (40, -20.0, 0)], [(30, 0.0, 30), (50, 3.0, 30)]
    assert changes(sorted(first + second), [0, 30]) == [(20, 127), (30, 90), (50, 107)]


def test_a_lane_without_curve_has_no_changes():
    none = np.zeros(0, np.int64)
    assert [len(column) for column in expression_changes(none, np.zeros(0), none, np.array([0, 10]))] == [0, 0]


@given(
    st.lists(st.tuples(st.integers(0, 400), st.floats(-60, 10)), min_size=1, max_size=40),
    st.sets(st.integers(0, 400), min_size=1, max_size=8),
)
def test_at_every_moment_the_controller_is_where_the_curve_says(points, onsets):
    """Against a plain walk over all moments."""
    onsets = sorted(onsets | {0})
    owned = sorted((moment, level, max(on for on in onsets if on <= moment)) for moment, level in points)
    told = dict(changes(owned, onsets))
    expected = at = EXPRESSION
    for moment in range(401):
        here = [level for when, level, _ in owned if when == moment]
        if here:
            expected = int(expression(here[-1]))
        elif moment in onsets:
            expected = EXPRESSION
        at = told.get(moment, at)
        assert at == expected


@given(st.floats(-60, 0))
def test_velocity_and_controller_together_come_near_any_level(level):
    lost = float(rounding(np.array([level]))[0])
    together = float(decibels(velocity(level))) + float(decibels(expression(lost)) - decibels(EXPRESSION))
    assert together == pytest.approx(level, abs=0.15)


@pytest.mark.parametrize("level", [0.0, 3.0, -90.0, 40 * np.log10(64 / 127), 40 * np.log10(20 / 127)])
def test_a_level_that_is_a_velocity_or_out_of_range_loses_nothing(level):
    assert rounding(np.array([level])) == 0


def test_notes_struck_together_meet_in_the_middle_of_what_they_ask_for():
    none = np.zeros(0, np.int64)
    changes = expression_changes(none, np.zeros(0), none, np.array([0, 100, 100, 200]), np.array([0.0, 1.0, -0.2, 0.0]))
    assert [column.tolist() for column in changes] == [[100, 200], [int(expression(0.4)), EXPRESSION]]


def test_a_curve_moves_around_where_the_note_rests():
    changes = expression_changes(np.array([10]), np.array([3.0]), np.array([0]), np.array([0]), np.array([-1.0]))
    assert [column.tolist() for column in changes] == [[0, 10], [int(expression(-1.0)), int(expression(2.0))]]
