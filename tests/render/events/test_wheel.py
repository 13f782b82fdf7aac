"""The pitch wheel against the MIDI standard's own arithmetic."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from render.events.wheel import BY_SOUNDFONT, BY_STANDARD, bend_range, range_controls, wheel, wheel_changes


def heard(value: int, wide: int, reach: float) -> float:
    """Semitones that a receiver makes of a value: MIDI 1.0 has 8192 steps from the centre to the full range."""
    return value / 8192 * wide * reach


@given(st.floats(-24, 24), st.sampled_from([BY_STANDARD, BY_SOUNDFONT]))
def test_a_receiver_hears_what_was_meant(semitones, reach):
    wide = bend_range(np.array([semitones]))
    (value,) = wheel(np.array([semitones]), wide, reach)
    assert -8192 <= value <= 8191
    assert heard(int(value), wide, reach) == pytest.approx(semitones, abs=0.005)


def test_the_range_has_room_for_the_widest_bend():
    assert bend_range(np.array([])) == 2
    assert bend_range(np.array([0.5, -12.0])) == 13
    assert bend_range(np.array([7.0])) == 8


def test_the_range_is_told_by_registered_parameter_0_and_the_parameter_closed():
    assert range_controls(9) == [(101, 0), (100, 0), (6, 9), (38, 0), (101, 127), (100, 127)]


def test_the_wheel_is_back_at_the_centre_when_the_next_note_begins():
    moments, values = wheel_changes(np.array([10, 20]), np.array([0.5, 1.0]), np.array([0, 30]), 2, BY_STANDARD)
    assert moments.tolist() == [10, 20, 30]
    assert values.tolist() == [2048, 4096, 0]


def test_of_several_values_at_one_moment_the_last_holds():
    moments, values = wheel_changes(np.array([5, 5, 5]), np.array([0.0, 0.5, 1.0]), np.array([0]), 2, BY_STANDARD)
    assert (moments.tolist(), values.tolist()) == ([5], [4096])
