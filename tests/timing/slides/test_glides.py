"""Slides from one performed note into another, at 60 quarters a minute."""

from __future__ import annotations

import pytest
from support import midi, reading, score

from timing.performance import CARRIED, PLUCKED
from timing.reading import Reading
from timing.remarks import CannotDo

LINE = {1: "c4:2 e4:2 g4:4"}


def slides(entry: dict, bars: int = 2, lines: dict | None = None, **plan) -> tuple[Reading, list[tuple]]:
    """The reading, and for each slide: pitches from and to, seconds of leaving and arriving."""
    made = reading({"glissandi": [entry]} | plan, bars=bars, voices=lines or LINE)
    notes = made.performance.notes
    pitch = notes["pitch"]
    return made, [
        (int(pitch[g["note"]]), int(pitch[g["goal"]]), round(float(g["leave"]), 6), round(float(g["arrive"]), 6))
        for g in made.performance.glides
    ]


@pytest.mark.parametrize(
    ("more", "leave"),
    [({}, 1.4), ({"glide": "30%"}, 1.4), ({"glide": "100%"}, 0), ({"glide": "5%"}, 1.9)],
)
def test_it_leaves_late_and_arrives_on_the_goal(more, leave):
    _, found = slides({"from": "1:1", "to": "1:3"} | more)
    assert found == [(60, 64, leave, 2)]


def test_it_moves_with_the_clock():
    _, found = slides({"from": "1:1", "to": "1:3", "glide": "50%"}, slowing=[{"ritenuto": "1", "to": "50%"}])
    assert found == [(60, 64, 2, 4)]


def test_swell_and_arrival():
    made, _ = slides({"from": "1:1", "to": "1:3", "swell": "4 dB", "arrive": "slurred"})
    (glide,) = made.performance.glides
    assert (glide["swell"], glide["attack"]) == (4, CARRIED)
    assert made.performance.notes["attack"].tolist() == [PLUCKED, CARRIED, PLUCKED]
    plain, _ = slides({"from": "1:1", "to": "1:3"})
    assert plain.performance.glides["swell"].tolist() == [0]
    assert plain.performance.notes["attack"].tolist() == [PLUCKED] * 3


def test_the_sliding_note_sounds_until_its_goal():
    made, _ = slides({"from": "1:1", "to": "2:1"}, lines={1: "c4:1. r:3 e4:4"})
    assert made.performance.notes["end"].tolist() == pytest.approx([4, 8])


def test_of_chords_the_highest_notes_slide():
    _, found = slides({"from": "1:1", "to": "1:3"}, lines={1: "c4+e4:2 d4+f4:2", 2: "c5:1 g4:1 g4:2"})
    assert found == [(midi("c5"), midi("g4"), 1.4, 2)]
    _, found = slides({"from": "1:1", "to": "1:3", "for": "voice 1"}, lines={1: "c4+e4:2 d4+f4:2", 2: "c5:2 g4:2"})
    assert found == [(midi("e4"), midi("f4"), 1.4, 2)]


def test_only_a_voice_that_has_both_notes_can_slide():
    """The upper voice begins no note at 1:3, so the lower one slides."""
    _, found = slides({"from": "1:1", "to": "1:3"}, lines={1: "c5:4", 2: "c4:2 d4:2"})
    assert found == [(midi("c4"), midi("d4"), 1.4, 2)]


def test_every_time_through():
    _, found = slides({"from": "1:1", "to": "1:3"}, order=["1", "1-2"])
    assert found == [(60, 64, 1.4, 2), (60, 64, 5.4, 6)]
    _, found = slides({"from": "1:1", "to": "1:3", "pass": 2}, order=["1", "1-2"])
    assert found == [(60, 64, 5.4, 6)]


def test_a_slide_over_the_bar_line_is_left_out_where_another_bar_follows():
    """The first time bar 1 comes after bar 1."""
    _, found = slides({"from": "1:3", "to": "2:1"}, order=["1", "1-2"])
    assert found == [(64, 67, 7.4, 8)]


def test_rows_are_those_of_the_finished_performance():
    """A leading voice changes the order of the notes."""
    plan = {"voices": {"melody": {"lead": "100 ms"}}}
    _, found = slides({"from": "1:1", "to": "1:3", "for": "bass"}, lines={1: "c5:2 d5:2", 2: "c4:2 e4:2"}, **plan)
    assert found == [(60, 64, 1.4, 2)]


@pytest.mark.parametrize(
    ("entry", "message"),
    [
        ({"from": "1:2", "to": "1:3"}, "no note begins at 1:2"),
        ({"from": "1:1", "to": "1:4"}, "no note begins at 1:4"),
        ({"from": "1:3", "to": "1:1"}, "the slide ends at 1:1, which does not follow 1:3 in this order"),
        ({"from": "1:1", "to": "9:1"}, "bar 9: the score ends at bar 2"),
    ],
)
def test_faults(entry, message):
    with pytest.raises(CannotDo, match=message):
        slides(entry)


def test_voices_that_share_no_slide():
    with pytest.raises(CannotDo, match="no voice has both a note at 1:1 and one at 1:3: name the voice with `for`"):
        slides({"from": "1:1", "to": "1:3"}, lines={1: "c5:4", 2: "r:2 c4:2"})


def test_a_grace_note_does_not_slide():
    made = score(1, voices={1: "c4:2 b4:1g e4:2"})
    found = reading({"glissandi": [{"from": "1:1", "to": "1:3"}]}, made).performance
    assert found.notes["pitch"][found.glides["goal"]].tolist() == [midi("e4")]


def test_a_slide_whose_goal_comes_too_early_is_left_out():
    """A melody that leads by more than the note lasts."""
    lines = {1: "c5:1 e5:1 r:2", 2: "r:1 g4:0.25 r:0.75 r:2"}
    marks = [{"kind": "glissando", "bar": 0, "note": 1, "goal": 2}]
    made = score(1, voices=lines, marks=marks, program=40)
    made.notes["offset"][2], made.notes["offset"][1] = 1.05, 1.0
    assert sorted(made.notes["pitch"].tolist()) == sorted([midi("c5"), midi("e5"), midi("g4")])
    plan = {"glissandi": [{"swell": "3 dB"}], "voices": {"voice 2": {"level": "0 dB", "lead": "100 ms"}}}
    read = reading(plan, made)
    assert not len(read.performance.glides) and not len(read.performance.bends)
    assert "slide-no-time" in [remark.code for remark in read.remarks]


def test_a_carried_goal_keeps_the_tone_of_its_slide():
    plan = {"tone": [{"at": "1:3", "tone": "dark"}]}
    read, _ = slides({"from": "1:1", "to": "1:3", "arrive": "slurred"}, **plan)
    assert read.performance.notes["tone"].tolist() == [0, 0, 0]
    assert [remark.code for remark in read.remarks] == ["tone-carried"]
    plucked, _ = slides({"from": "1:1", "to": "1:3"}, **plan)
    assert plucked.performance.notes["tone"][1] > 0 and not plucked.remarks
