"""Taps along the beats: what is cleaned, and what is asked."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from laws import FEW
from support import reading

from timing.fitting import beat_quarters, cleaned
from timing.remarks import CannotDo

WHERE = reading({}, bars=16).where
BEATS = beat_quarters(WHERE)[:-1]


def taps(lengths: np.ndarray | None = None) -> np.ndarray:
    """A tap on every beat, half a second apart."""
    return np.append(0.0, np.cumsum(np.full(len(BEATS) - 1, 0.5) if lengths is None else lengths))


def test_clean_taps_stay_as_they_are_less_their_latency():
    made = cleaned(WHERE, taps() + 0.08, latency=0.08)
    assert made.unit == "beat" and made.dropped == () and made.questions == ()
    assert np.array_equal(made.quarters, BEATS)
    assert made.seconds == pytest.approx(taps())


@pytest.mark.parametrize(("unit", "each"), [("half beat", 0.5), ("beat", 1.0), ("half bar", 2.0), ("bar", 4.0)])
def test_what_was_tapped_is_found_by_their_number(unit, each):
    quarters = np.arange(0.0, 64.0, each)
    made = cleaned(WHERE, quarters * 0.6)
    assert made.unit == unit
    assert np.array_equal(made.quarters, quarters)


def test_beats_of_compound_time_are_dotted():
    where = reading({}, bars=4, metre=(6, 8)).where
    assert np.array_equal(beat_quarters(where), np.arange(0.0, 12.1, 1.5))
    assert np.array_equal(beat_quarters(where, "half beat"), np.arange(0.0, 12.1, 0.5))


@FEW
@given(st.integers(1, 62), st.floats(0.02, 0.12))
def test_a_double_tap_is_dropped(row, late):
    given_taps = np.insert(taps(), row + 1, taps()[row] + late)
    made = cleaned(WHERE, given_taps)
    assert made.dropped == (row + 1,)
    assert np.array_equal(made.quarters, BEATS)


@FEW
@given(st.integers(3, 58))
def test_a_missed_tap_is_found_and_asked(row):
    made = cleaned(WHERE, np.delete(taps(), row))
    assert np.array_equal(made.quarters, np.delete(BEATS, row))
    (question,) = made.questions
    assert question.tap == row - 1 and question.beats == (1, 2) and question.chosen == 2
    assert question.place == WHERE.position_text(float(BEATS[row - 1])) and question.place in question.message


@FEW
@given(st.integers(3, 58))
def test_a_beat_that_is_twice_as_long_is_asked_too(row):
    lengths = np.full(len(BEATS) - 1, 0.5)
    lengths[row] = 1.0
    made = cleaned(WHERE, taps(lengths))
    assert np.array_equal(made.quarters, BEATS)
    assert [(each.tap, each.chosen) for each in made.questions] == [(row, 1)]


def test_an_answer_is_kept_and_not_asked_again():
    missing = np.delete(taps(), [20, 40])
    asked = cleaned(WHERE, missing).questions
    assert [each.tap for each in asked] == [19, 38]
    made = cleaned(WHERE, missing, unit="beat", answers={each.tap: 2 for each in asked})
    assert made.questions == () and np.array_equal(made.quarters, np.delete(BEATS, [20, 40]))


def test_a_stretch_is_tapped_by_itself():
    made = cleaned(WHERE, np.arange(9) * 0.5, unit="beat", since=16.0, until=24.0)
    assert np.array_equal(made.quarters, np.arange(16.0, 24.1))


@pytest.mark.parametrize(
    ("seconds", "said"),
    [
        ([], "takes 4 to"),
        ([0, 1], "takes 4 to"),
        ([0, 1, float("nan"), 3], "a number"),
        ([0, 2, 1, 3], "comes before"),
        (["x"] * 5, "not numbers"),
        ([0, 0, 0, 0, 0], "apart"),
        ([[0, 1], [2, 3]], "one row"),
    ],
)
def test_taps_that_are_none_are_told_in_words(seconds, said):
    with pytest.raises(CannotDo) as refused:
        cleaned(WHERE, seconds)
    assert said in refused.value.remarks[0].message


def test_another_unit_is_refused():
    with pytest.raises(CannotDo, match="none of beat"):
        beat_quarters(WHERE, "furlong")


@FEW
@given(st.lists(st.floats(0.0, 3.0), min_size=3, max_size=80))
def test_any_taps_in_order_are_paired_or_refused_in_words(lengths):
    clock = np.append(0.0, np.cumsum(lengths))
    try:
        made = cleaned(WHERE, clock)
    except CannotDo:
        return
    assert len(made.quarters) == len(made.seconds) <= len(clock)
    assert np.all(np.diff(made.quarters) > 0) and np.all(np.diff(made.seconds) > 0)
    assert set(made.quarters) <= set(beat_quarters(WHERE, made.unit))
