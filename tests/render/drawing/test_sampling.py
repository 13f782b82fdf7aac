"""The curves that are drawn: pace against closed forms, level against what sounds, hearings that look alike."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from support import reading, score

from render.drawing.sampling import alike, level_points, pace_points, same_level, same_pace

REPEAT = [{"kind": "repeat start", "bar": 0}, {"kind": "repeat end", "bar": 3, "offset": 4.0, "value": 2.0}]


def at(points, ordinal):
    return points[points["ordinal"] == ordinal]


@given(
    to=st.integers(30, 95), curvature=st.sampled_from([1, 2, 3]), first=st.integers(1, 6), length=st.integers(1, 3)
)
def test_a_rallentando_is_drawn_as_friberg_and_sundberg_have_it(to, curvature, first, length):
    """v(x) = [1 + (w^q - 1) x]^(1/q): A. Friberg and J. Sundberg, JASA 105, 1999."""
    last = min(first + length - 1, 8)
    entry = {"rallentando": f"{first}-{last}", "to": f"{to}%", "then": "a tempo", "curvature": curvature}
    made = reading({"slowing": [entry]})
    points = pace_points(made)
    x = (points["ordinal"] + points["offset"] / 4 - (first - 1)) / (last - first + 1)
    inside = (x > 1e-9) & (x < 1 - 1e-9)
    law = (1 + ((to / 100) ** curvature - 1) * x[inside]) ** (1 / curvature)
    assert np.abs(points["value"][inside] - law).max() < 1e-9
    outside = (x < -1e-9) | (x > 1 + 1e-9)
    assert np.all(np.abs(points["value"][outside] - 1) < 1e-9)


def test_what_is_left_at_a_bar_line_is_drawn_before_what_is_come_to():
    points = pace_points(reading({"slowing": [{"rallentando": "3-4", "to": "50%", "then": "a tempo"}]}))
    before, after = at(points, 3), at(points, 4)
    assert before["offset"][-1] == 4.0 and before["value"][-1] == pytest.approx(0.5)
    assert after["offset"][0] == 0.0 and after["value"][0] == pytest.approx(1.0)


def test_a_held_back_tempo_is_a_step_with_two_points_at_one_place():
    points = at(pace_points(reading({"slowing": [{"ritenuto": "3:3 - 3:4", "to": "70%", "then": "a tempo"}]})), 2)
    step = points["value"][points["offset"] == 2.0]
    assert step == pytest.approx([1.0, 0.7])


def test_holds_leave_the_curve_alone():
    holds = [{"fermata": "2:4", "length": "300%"}, {"breath": "after 3", "seconds": 1}, {"agogic": "5:1"}]
    assert np.allclose(pace_points(reading({"holds": holds}))["value"], 1.0)


def test_a_new_tempo_is_no_slowing():
    made = reading({"tempo": [{"tempo": 60}, {"at": 5, "tempo": 40}]})
    assert np.allclose(pace_points(made)["value"], 1.0)


@given(st.lists(st.floats(0.05, 3.95), min_size=1, max_size=6))
def test_every_hearing_of_a_bar_is_sampled_at_the_same_places_in_their_order(places):
    entries = [{"at": f"2:{1 + place:.3f}", "tempo": 50 + n} for n, place in enumerate(places)]
    points = pace_points(reading({"tempo": [{"tempo": 60}, *entries]}, score(marks=REPEAT)))
    for row in range(4):
        first, second = at(points, row)["offset"], at(points, row + 4)["offset"]
        assert np.array_equal(first, second) and np.all(np.diff(first) >= 0)
        assert first[0] == 0.0 and first[-1] == 4.0


def test_a_hearing_that_differs_is_told_from_one_that_does_not():
    slow = {"rallentando": "3-4", "to": "80%", "then": "a tempo", "pass": 2}
    made = reading({"slowing": [slow]}, score(marks=REPEAT))
    bars = made.performance.bars
    assert same_pace(pace_points(made), bars).tolist() == [0, 1, 2, 3, 0, 1, 6, 7, 8, 9, 10, 11]
    assert same_level(level_points(made), bars)[:8].tolist() == [0, 1, 2, 3, 0, 1, 2, 3]


def test_the_softer_second_time_is_drawn_as_it_sounds():
    made = reading({"second time": [{"bars": "1-4", "softer": "3 dB"}]}, score(marks=REPEAT))
    points = level_points(made)
    assert np.allclose(at(points, 0)["value"] - at(points, 4)["value"], 3.0)
    assert same_level(points, made.performance.bars)[4:8].tolist() == [4, 5, 6, 7]


def test_the_level_is_that_of_the_melody_at_each_of_its_notes():
    dynamics = [{"at": 1, "mark": "p"}, {"crescendo": "2:1 - 4:1", "to mark": "f"}, {"at": 6, "mark": "pp"}]
    made = reading({"dynamics": dynamics, "voices": {"melody": "-2 dB"}})
    points, notes = level_points(made), made.performance.notes
    for note in notes:
        mine = at(points, note["ordinal"])
        offset = note["score_onset"] - made.performance.bars["start"][note["ordinal"]]
        assert mine["value"][mine["offset"] == offset][-1] == pytest.approx(note["level"])


def test_where_nothing_sounds_there_is_no_level():
    made = reading({}, score(voices={1: "r:4"}))
    assert len(level_points(made)) == 0 and len(pace_points(made)) > 0
    assert alike(level_points(made), made.performance.bars, 0.1).tolist() == list(range(8))
