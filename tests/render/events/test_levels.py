"""dB, velocity and controllers."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from render.events.levels import (
    EXPRESSION,
    IN_HAND,
    LOWERED,
    VOLUME,
    decibels,
    expression,
    in_hand,
    level_changes,
    rounding,
    velocity,
    volume,
)
from render.sound.sounds import MODELLED_VOLUME


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


def test_a_swell_has_six_decibels_above_rest_and_twelve_in_hand():
    assert decibels(127) - decibels(EXPRESSION) == pytest.approx(6, abs=0.02)
    assert VOLUME == 100
    assert decibels(VOLUME) - decibels(LOWERED) == pytest.approx(IN_HAND, abs=0.05)
    assert in_hand(LOWERED) == in_hand(MODELLED_VOLUME) == pytest.approx(18, abs=0.02)
    assert in_hand(VOLUME) == pytest.approx(6 + 4.15, abs=0.02)


@given(st.floats(-12, 25), st.sampled_from([LOWERED, MODELLED_VOLUME, VOLUME]))
def test_both_controllers_together_give_what_there_is_in_hand(level, rest):
    raised = decibels(expression(level)) - decibels(EXPRESSION) + decibels(volume(level, rest)) - decibels(rest)
    assert raised == pytest.approx(min(level, float(in_hand(rest))), abs=0.25)
    assert volume(level, rest) == rest or expression(level) == 127


def changes(points: list[tuple[int, float, int]], onsets: list[int]) -> list[tuple[int, int]]:
    """(moment, CC11) pairs from points (moment, dB, onset of their note)."""
    moments, level, struck = (np.array(column) for column in zip(*points, strict=True))
    return of_controller(level_changes(moments, level, struck, np.array(onsets)), 11)


def of_controller(made: tuple[np.ndarray, np.ndarray, np.ndarray], controller: int) -> list[tuple[int, int]]:
    """(moment, value) pairs of one of the controllers."""
    moments, controllers, values = (column.tolist() for column in made)
    told = zip(moments, controllers, values, strict=True)
    return [(moment, value) for moment, which, value in told if which == controller]


def test_expression_changes_only_when_its_number_does_and_rests_at_the_next_onset():
    swell = [(0, 0.0, 0), (10, 0.01, 0), (20, 3.0, 0), (30, 3.0, 0), (40, 6.0, 0)]
    assert changes(swell, [0, 100, 200]) == [(20, 107), (40, 127), (100, 90)]


def test_what_goes_beyond_the_expression_is_the_volumes_and_comes_back_with_it():
    points = [(0, 0.0, 0), (20, 5.9, 0), (30, 9.0, 0), (40, 18.0, 0), (50, 30.0, 0)]
    moments, level, struck = (np.array(column) for column in zip(*points, strict=True))
    made = level_changes(moments, level, struck, np.array([0, 100]), resting=50)
    assert of_controller(made, 11) == [(20, 126), (30, 127), (100, EXPRESSION)]
    assert of_controller(made, 7) == [(30, 59), (40, 100), (100, 50)]


def test_a_curve_that_begins_away_from_rest_begins_there():
    assert changes([(50, 6.0, 50), (60, 0.0, 50)], [0, 50]) == [(50, 127), (60, 90)]


def test_the_controller_follows_the_note_struck_last():
    first, second = [(0, 0.0, 0), (20, 6.0, 0), (40, -20.0, 0)], [(30, 0.0, 30), (50, 3.0, 30)]
    assert changes(sorted(first + second), [0, 30]) == [(20, 127), (30, 90), (50, 107)]


def test_a_lane_without_curve_has_no_changes():
    none = np.zeros(0, np.int64)
    assert [len(column) for column in level_changes(none, np.zeros(0), none, np.array([0, 10]))] == [0, 0, 0]


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
    made = level_changes(none, np.zeros(0), none, np.array([0, 100, 100, 200]), np.array([0.0, 1.0, -0.2, 0.0]))
    assert of_controller(made, 11) == [(100, int(expression(0.4))), (200, EXPRESSION)]


def test_a_curve_moves_around_where_the_note_rests():
    made = level_changes(np.array([10]), np.array([3.0]), np.array([0]), np.array([0]), np.array([-1.0]))
    assert of_controller(made, 11) == [(0, int(expression(-1.0))), (10, int(expression(2.0)))]
