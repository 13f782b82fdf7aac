"""What a slide does to pitch and level, at 60 quarters a minute."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from support import midi, reading, score

from timing.performance import CARRIED, PLUCKED
from timing.slides.bends import BEND_STEP, SWELL_STEP


def slide(entry: dict, line: str = "c4:2 e4:2 g4:4", program: int = 40, **plan):
    made = score(2, voices={1: line}, program=program)
    return reading({"glissandi": [{"from": "1:1", "to": "1:3"} | entry]} | plan, made).performance


def pitch_at(performance, second: float) -> float:
    bends = performance.bends
    return float(np.interp(second, bends["second"], bends["semitones"]))


def test_without_frets_it_moves_smoothly_and_late():
    performance = slide({"glide": "50%"})
    assert [pitch_at(performance, second) for second in (0, 1, 1.5, 2)] == pytest.approx([0, 0, 2, 4], abs=1e-9)
    quarter = 4 * (1 - np.cos(np.pi / 4)) / 2  # a raised cosine
    assert pitch_at(performance, 1.25) == pytest.approx(quarter, abs=BEND_STEP)


def test_over_frets_it_steps_by_semitones():
    performance = slide({"glide": "50%"}, "f4:2 a4:2 r:4", program=24)
    bends = performance.bends
    assert sorted(set(bends["semitones"].tolist())) == [0, 1, 2, 3, 4]
    steps = bends["second"][1::2][bends["semitones"][::2] != bends["semitones"][1::2]]
    assert steps.tolist() == pytest.approx([1.125, 1.375, 1.625, 1.875])  # the finger moves evenly


def test_downwards_too():
    performance = slide({}, "g4:2 e4:2 r:4")
    assert pitch_at(performance, 2) == pytest.approx(-3)


@given(st.integers(-24, 24).filter(bool), st.sampled_from(["5%", "30%", "100%"]), st.sampled_from([0, 3, 12]))
def test_neighbouring_points_are_too_close_to_tell_apart(interval, glide, swell):
    steps = ["c", "c#", "d", "d#", "e", "f", "f#", "g", "g#", "a", "a#", "b"]
    name = f"{steps[interval % 12]}{4 + interval // 12}"
    performance = slide({"glide": glide, "swell": f"{swell} dB"}, f"c4:2 {name}:2 r:4")
    assert np.abs(np.diff(performance.bends["semitones"])).max() <= BEND_STEP + 1e-9
    assert performance.bends["semitones"][-1] == pytest.approx(interval)
    assert np.all(np.diff(performance.bends["second"]) >= 0)
    if swell:
        assert np.abs(np.diff(performance.curves["level"])).max() <= SWELL_STEP + 1e-9


def test_the_swell_rises_from_where_the_slide_leaves():
    performance = slide({"glide": "50%", "swell": "4 dB"}, program=24, line="f4:2 a4:2 r:4")
    curve = performance.curves
    level = np.interp([0.5, 1, 1.5, 2], curve["second"], curve["level"])
    assert level.tolist() == pytest.approx([0, 0, 2, 4])
    goal = performance.notes[1]
    assert goal["level"] == performance.notes[0]["level"] == -12  # it is plucked as the plan has it
    assert goal["attack"] == PLUCKED


def test_a_carried_goal_is_as_loud_as_the_slide_has_become():
    performance = slide({"swell": "4 dB", "arrive": "slurred"})
    assert performance.notes["level"].tolist() == [-12, -8, -12]
    assert performance.notes["attack"].tolist() == [PLUCKED, CARRIED, PLUCKED]
    lanes = performance.notes["lane"]
    assert lanes[0] == lanes[1] != lanes[2]
    assert performance.lanes["sliding"][lanes[0]] and not performance.lanes["sliding"][lanes[2]]


def test_slides_follow_one_another_in_one_sound():
    entries = [{"from": "1:1", "to": "1:3", "arrive": "slurred", "swell": "2 dB"}, {"from": "1:3", "to": "2:1"}]
    made = score(2, voices={1: "c4:2 e4:2 g4:4"}, program=40)
    performance = reading({"glissandi": entries}, made).performance
    assert np.unique(performance.bends["note"]).tolist() == [0]
    assert [pitch_at(performance, second) for second in (1, 2, 3, 4)] == pytest.approx([0, 4, 4, 7], abs=1e-9)
    assert performance.curves["note"].tolist() == [0] * len(performance.curves)


def test_a_hairpin_goes_on_under_a_slide():
    plan = {"dynamics": [{"crescendo": "1:1 - 1:3", "by": "6 dB"}]}
    performance = slide({"swell": "2 dB", "glide": "100%"}, **plan)
    curve = performance.curves[performance.curves["note"] == 0]
    assert np.interp([0, 1, 2 - 1e-4], curve["second"], curve["level"]) == pytest.approx([0, 4, 8], abs=0.05)


def test_only_the_sliding_voice_moves_lanes():
    made = score(2, voices={1: "c5:2 e5:2 g5:4", 2: "c3:4 g3:4"}, program=40)
    performance = reading({"glissandi": [{"from": "1:1", "to": "1:3", "for": "melody"}]}, made).performance
    sliding = performance.lanes["sliding"][performance.notes["lane"]]
    assert performance.notes["pitch"][sliding].tolist() == [midi("c5")]


def test_slides_in_two_voices_at_once_bend_each_its_own():
    made = score(2, voices={1: "c5:2 e5:2 g5:4", 2: "c3:2 g3:2 c3:4"}, program=40)
    entries = [{"from": "1:1", "to": "1:3", "for": f"voice {voice}"} for voice in (1, 2)]
    performance = reading({"glissandi": entries}, made).performance
    assert performance.lanes["sliding"].sum() == 2
    ends = {int(note): float(performance.bends["semitones"][performance.bends["note"] == note][-1]) for note in (0, 1)}
    pitches = performance.notes["pitch"]
    assert {int(pitches[note]): rise for note, rise in ends.items()} == pytest.approx({60 + 12: 4, 48: 7})
