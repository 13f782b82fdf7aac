"""Phrases along the performed order."""

from __future__ import annotations

import numpy as np
import pytest
from support import reading


def runs(plan: dict, **options) -> list[tuple]:
    made = reading(plan, **{"bars": 8} | options)
    return [(p.start, p.end, p.depth, p.number, p.outer, p.bars) for p in made.phrases]


def test_phrases_are_found_with_those_inside_them():
    plan = {"phrases": [{"bars": "1-8", "inside": [{"bars": "1-4", "inside": ["1-2", "3:1 - 4:4"]}, "5-8"]}]}
    assert runs(plan) == [
        (0, 32, 0, 0, None, 8),
        (0, 16, 1, 1, 0, 4),
        (0, 8, 2, 2, 1, 2),
        (8, 16, 2, 3, 1, 2),
        (16, 32, 1, 4, 0, 4),
    ]


def test_a_phrase_is_heard_as_often_as_its_bars():
    plan = {"order": ["1-4", "1-8"], "phrases": [{"bars": "1-4"}, {"bars": "5-8", "pass": 1}]}
    assert [run[:2] for run in runs(plan)] == [(0, 16), (16, 32), (32, 48)]


def test_inner_phrases_belong_to_the_pass_of_the_outer_one():
    plan = {"order": ["1-4", "1-4"], "phrases": [{"bars": "1-4", "pass": 2, "inside": ["1-2", "3-4"]}]}
    assert [run[:2] for run in runs(plan)] == [(16, 32), (16, 24), (24, 32)]


@pytest.mark.parametrize(
    ("bars", "options", "length"),
    [
        ("1:3 - 3:2", {}, 2),
        ("1:2 - 1:2", {}, 0.25),
        ("0-4", {"pickup": 1.0}, 4.25),
        ("1-4", {"metre": (6, 8), "voices": {1: "c4:3 " * 8}}, 4),
    ],
)
def test_length_in_bars(bars, options, length):
    assert runs({"phrases": [{"bars": bars}]}, **options)[0][-1] == pytest.approx(length)


@pytest.mark.parametrize(
    ("bars", "rise"),
    [
        ("1-2", 0), ("1:1 - 3:3", 0), ("1-3", 8), ("1-4", 8), ("1-5", 8), ("1:1 - 6:3", 8), ("1-6", 6), ("1-8", 6),
    ],
)  # fmt: skip
def test_the_usual_arch_of_pace_goes_by_the_length_of_the_phrase(bars, rise):
    """Against the pace of its ends: none up to three bars, 8 % up to six, 6 % from there on."""
    made = reading({"phrases": [{"bars": bars, "arch": {"pace": "yes", "pace peak": "50%"}}]}, bars=8)
    (phrase,), time = made.phrases, made.performance.time
    assert time.tempo((phrase.start + phrase.end) / 2) / time.tempo(phrase.start) == pytest.approx(1 + rise / 100)


def test_the_table_names_phrases():
    phrases = [{"bars": "1-4", "name": "the tide"}, {"bars": "5-8"}]
    table = reading({"phrases": phrases}, bars=8).performance.phrases
    assert table["name"].tolist() == ["the tide", "5-8"]
    assert table["start"].tolist() == [0, 16]


@pytest.mark.parametrize("bars", ["3:2 - 3:2", "3:2.5 - 3:2.500000001", "1-8"])
def test_an_arch_over_however_little(bars):
    """A phrase of one beat, or of next to nothing, is odd but no reason to stumble."""
    arch = {"pace": "50%", "pace peak": "5%", "level": "20 dB", "level peak": "95%"}
    made = reading({"phrases": [{"bars": bars, "arch": arch}]}, bars=8).performance
    assert np.all(np.isfinite(made.notes["onset"])) and np.all(np.isfinite(made.notes["level"]))
    assert made.time.length == pytest.approx(32, abs=1e-9)


def test_many_levels_inside_each_other_keep_the_length():
    phrase: dict = {"bars": "4:3 - 4:4", "arch": "50%"}
    for bars in ("4", "3-4", "3-5", "2-5", "2-6", "2-7", "1-7", "1-8"):
        phrase = {"bars": bars, "arch": "50%", "inside": [phrase]}
    assert reading({"phrases": [phrase]}, bars=8).performance.time.length == pytest.approx(32, abs=1e-9)


def test_an_arch_acts_in_every_hearing_by_itself():
    plan = {"order": ["1-4", "1-4"], "tempo": [{"tempo": 60}, {"at": 1, "tempo": 90, "pass": 2}]}
    time = reading(plan | {"phrases": [{"bars": "1-4", "arch": "20%"}]}, bars=4).performance.time
    assert time.seconds(np.array([16.0, 32.0])) == pytest.approx([16, 16 + 16 / 1.5], abs=1e-9)
    assert time.tempo(16 + 6.4) / time.tempo(6.4) == pytest.approx(1.5)
