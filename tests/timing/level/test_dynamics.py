"""Levels in dB: marks, hairpins, voices, accents, and what a repeat changes. Unmarked music is mf, -12 dB."""

from __future__ import annotations

import numpy as np
import pytest
from support import reading, score


def levels(plan: dict, **options) -> dict[float, float]:
    """Score onset to level, rounded."""
    notes = reading(plan, **{"bars": 8} | options).performance.notes
    return dict(zip(notes["score_onset"].tolist(), notes["level"].round(6).tolist(), strict=True))


def at(plan: dict, *quarters: float, **options) -> list[float]:
    found = levels(plan, **options)
    return [found[quarter] for quarter in quarters]


def dynamics(*entries: dict, **plan) -> dict:
    return {"dynamics": list(entries)} | plan


def test_unmarked_music_is_even():
    assert set(levels({}).values()) == {-12}


@pytest.mark.parametrize(("mark", "level"), [("ppp", -28), ("p", -20), ("mf", -12), ("fff", 0)])
def test_marks(mark, level):
    assert at(dynamics({"at": "3:2", "mark": mark}), 8, 9, 31) == [-12, level, level]


def test_a_mark_on_a_third_of_a_beat_catches_the_note_there():
    triplets = {1: "c4:0.3333333333333333 d4:0.3333333333333333 e4:0.3333333333333334 f4:3"}
    plan = dynamics({"at": "1:1+2/3", "mark": "f"})
    assert list(levels(plan, bars=1, voices=triplets).values()) == [-12, -12, -8, -8]


def test_a_hairpin_arrives_on_its_end():
    plan = dynamics({"crescendo": "3:1 - 5:1", "by": "8 dB"})
    assert at(plan, 8, 12, 15, 16, 17) == [-12, -8, -5, -4, -4]
    assert at(dynamics({"crescendo": "3-4", "by": "8 dB"}), 12, 15, 16) == [-8, -5, -4]  # when bar 4 is over


@pytest.mark.parametrize("kind", ["diminuendo", "decrescendo"])
def test_growing_softer(kind):
    assert at(dynamics({kind: "3:1 - 5:1", "by": "8 dB"}), 12, 16) == [-16, -20]
    assert at(dynamics({kind: "3:1 - 5:1"}), 16) == [-16]  # one mark, unless told
    assert at(dynamics({kind: "3:1 - 5:1", "to mark": "pp"}), 12, 16) == [-18, -24]


def test_a_mark_on_the_end_of_a_hairpin_holds_and_one_inside_cuts_it():
    growing = {"crescendo": "3:1 - 5:1", "by": "8 dB"}
    assert at(dynamics(growing, {"at": "5:1", "mark": "pp"}), 15, 16) == [-5, -24]
    assert at(dynamics(growing, {"at": "4:1", "mark": "pp"}), 11, 12, 16) == [-9, -24, -24]


def test_a_mark_where_a_hairpin_begins_is_what_it_grows_from():
    plan = dynamics({"crescendo": "3:1 - 5:1", "by": "8 dB"}, {"at": "3:1", "mark": "p"})
    assert at(plan, 8, 12, 16) == [-20, -16, -12]


def test_a_repeat_into_the_middle_of_a_hairpin_arrives_at_the_same_level():
    plan = dynamics({"crescendo": "1:1 - 4:4.0", "by": "15 dB"}, order=["1-4", "3-5"])
    assert at(plan, 8, 15, 16, 23) == [-4, 3, -4, 3]


def test_where_the_order_goes_back_the_level_does_too():
    plan = dynamics({"at": "2:3", "mark": "p"}, {"at": "5", "mark": "ff"}, order=["1-6", "1-4"])
    assert at(plan, 0, 6, 23, 24, 29, 30) == [-12, -20, -4, -12, -12, -20]


def test_dynamics_of_one_pass():
    plan = dynamics({"at": "1", "mark": "f"}, {"at": "1", "mark": "p", "pass": 2}, order=["1-2", "1-2"])
    assert at(plan, 0, 8) == [-8, -20]


TWO = {"bars": 2, "voices": {1: "c5:1 d5:1 e5:1 f5:1 g5:4", 2: "c3:1 d3:1 e3:1 f3:1 g3:4"}}


def by_voice(plan: dict, **options) -> dict[int, list[float]]:
    notes = reading(plan, **TWO | options).performance.notes
    return {v: notes["level"][notes["voice"] == v].round(6).tolist() for v in np.unique(notes["voice"]).tolist()}


def test_dynamics_for_one_voice():
    plan = dynamics({"at": "1", "mark": "p"}, {"crescendo": "1:1 - 2:1", "by": "4 dB", "for": "bass"})
    assert by_voice(plan) == {1: [-20] * 5, 2: [-20, -19, -18, -17, -16]}


def test_what_is_said_of_one_voice_goes_over_what_is_said_of_all_at_that_moment():
    one, all_ = {"at": "1", "mark": "f", "for": "melody"}, {"at": "1", "mark": "p"}
    for entries in ((one, all_), (all_, one)):
        assert by_voice(dynamics(*entries)) == {1: [-8] * 5, 2: [-20] * 5}
    later = dynamics(one, all_, {"at": "2", "mark": "mf"})
    assert by_voice(later) == {1: [-8, -8, -8, -8, -12], 2: [-20, -20, -20, -20, -12]}


def test_a_note_that_two_names_mean_follows_both():
    plan = dynamics({"at": "1", "mark": "f", "for": "melody"}, {"at": "1:3", "mark": "pp", "for": "voice 1"})
    assert by_voice(plan) == {1: [-8, -8, -24, -24, -24], 2: [-12] * 5}


def test_voices_and_accents():
    plan = {
        "voices": {"melody": "2 dB", "bass": "-3 dB"},
        "accents": [{"at": "1:2"}, {"at": "1:3", "by": "5 dB", "for": "bass"}],
    }
    assert by_voice(plan) == {1: [-10, -7, -10, -10, -10], 2: [-15, -12, -10, -15, -15]}


TWICE = {"order": ["1-4", "1-8"]}


def test_the_second_time_softer_and_then_back_by_itself():
    plan = TWICE | {"second time": [{"bars": "1-4", "softer": "4 dB"}]}
    assert at(plan, 0, 15, 16, 31, 32) == [-12, -12, -16, -16, -12]
    louder = TWICE | {"second time": [{"bars": "2:2 - 2:3", "louder": "1 dB"}]}
    assert at(louder, 5, 20, 21, 22, 23) == [-12, -12, -11, -11, -12]


def test_the_second_time_another_mark_with_the_hairpins_in_place():
    hairpin = dynamics({"at": "1", "mark": "f"}, {"diminuendo": "2:1 - 3:1", "by": "4 dB"})
    plan = TWICE | hairpin | {"second time": [{"bars": "1-4", "dynamics": "p"}]}
    assert at(plan, 0, 6, 8) == [-8, -10, -12]
    assert at(plan, 16, 22, 24) == [-20, -22, -24]


def test_the_third_time():
    plan = {"order": ["1-4"] * 3, "second time": [{"bars": "1-4", "softer": "4 dB", "pass": 3}]}
    assert at(plan, 0, 16, 32) == [-12, -12, -16]


def test_everything_adds_up():
    plan = TWICE | {
        "dynamics": [{"at": "1", "mark": "mp"}, {"crescendo": "1:1 - 3:1", "by": "8 dB"}],
        "phrases": [{"bars": "1-4", "arch": {"level": "4 dB", "level peak": "50%"}}],
        "slowing": [{"allargando": "1-2", "louder": "2 dB", "then": "a tempo"}],
        "accents": [{"at": "2:1", "by": "1 dB"}],
        "voices": {"melody": "0.5 dB"},
        "second time": [{"bars": "1-4", "softer": "3 dB"}],
    }
    # at 2:1, halfway through the crescendo, a quarter of the way through the phrase, halfway through the allargando
    assert at(plan, 4, 20) == [-16 + 4 + 3 + 1 + 1 + 0.5, -16 + 4 + 3 + 1 + 1 + 0.5 - 3]


def test_thousands_of_marks_and_accents():
    marks = [{"at": f"{1 + k % 8}:{1 + k % 4}", "mark": "p" if k % 2 else "f"} for k in range(4000)]
    accents = [{"at": f"{1 + k % 8}:{1 + k % 4}", "by": "0.001 dB", "for": "melody"} for k in range(4000)]
    assert at(dynamics(*marks, accents=accents), 0) == [-8 + 0.5]


def test_a_hairpin_arrives_whole_after_a_skipped_ending():
    """|: 1-3 [1. 4 :|] [2. 5 ] with 6 dB from 3:1 to 5:1: the second time it has one bar, and still all of it."""
    marks = [
        {"kind": "repeat start", "bar": 0},
        {"kind": "ending", "bar": 3, "end_bar": 3, "text": "1"},
        {"kind": "repeat end", "bar": 3, "value": 2},
        {"kind": "ending", "bar": 4, "end_bar": 4, "text": "2"},
    ]
    made = reading({"dynamics": [{"crescendo": "3:1 - 5:1", "by": "6 dB"}]}, score(bars=6, marks=marks))
    notes = made.performance.notes
    arrived = notes[(notes["bar"] == 5) & (notes["beat"] == 1)]
    assert arrived["level"] == pytest.approx([-6])
