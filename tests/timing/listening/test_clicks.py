"""Clicks on the felt beats, and the count-in."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from performances import performances
from support import reading, score

from timing.listening import heard
from timing.listening.clicks import NO_NOTE, felt_beats, with_clicks

GRID = 64 / 44_100


def clicks(performance):
    return performance.notes[performance.notes["id"] == NO_NOTE]


@pytest.mark.parametrize(
    ("metre", "felt"),
    [((4, 4), 1), ((3, 4), 1), ((2, 2), 2), ((6, 8), 1.5), ((9, 8), 1.5), ((12, 8), 1.5), ((3, 8), 0.5), ((5, 8), 0.5),
     ((6, 16), 0.75), ((6, 4), 1)],
)  # fmt: skip
def test_beats_are_those_that_are_felt(metre, felt):
    """Common practice: dotted beats in compound metres."""
    made = reading({}, bars=2, metre=metre)
    beats, first = felt_beats(made.performance.bars)
    full = metre[0] * 4 / metre[1]
    assert beats.tolist() == np.arange(0, 2 * full, felt).tolist()
    assert beats[first].tolist() == [0, full]


def test_a_pickup_has_the_beats_that_it_has():
    bars = reading({}, bars=2, metre=(6, 8), pickup=0.5).performance.bars
    assert [column.tolist() for column in felt_beats(bars)] == [[0.5, 2, 3.5, 5], [True, False, True, False]]
    bars = reading({}, bars=1, pickup=2).performance.bars
    assert [column.tolist() for column in felt_beats(bars)] == [[0, 1, 2, 3, 4, 5], [False, False, True] + [False] * 3]


@given(performances())
def test_clicks_follow_the_planned_time_and_the_music_stays(made):
    performance = with_clicks(made, through=True, count_in=False)
    found = clicks(performance)
    assert np.array_equal(found["score_onset"], np.arange(made.quarters))
    assert np.array_equal(found["onset"], made.time.seconds(np.arange(made.quarters)))
    assert (found["beat"] == 1 + np.arange(made.quarters) % 4).all()
    strong = found["beat"] == 1
    assert found["level"][strong].min() > found["level"][~strong].max()
    rest = performance.notes[performance.notes["id"] != NO_NOTE]
    assert rest.tolist() == made.notes.tolist()
    assert (np.diff(performance.notes["onset"]) >= 0).all()
    assert performance.lanes["name"][-1] == "click" and len(performance.lanes) == len(made.lanes) + 1


@pytest.mark.parametrize(
    ("options", "bars", "beats", "before"),
    [
        ({"bars": 2}, None, [0, 1, 2, 3], 4),
        ({"bars": 2, "pickup": 1}, None, [0, 1, 2, 3, 4, 5, 6], 7),
        ({"bars": 2, "metre": (6, 8), "pickup": 0.5}, None, [0, 1.5, 3, 4.5], 5.5),
        ({"bars": 3}, "2:2 - 3:1", [0, 1, 2, 3, 4], 5),
        ({"bars": 3}, "2:2.5 - 3:1", [0, 1, 2, 3, 4, 5], 5.5),
        ({"bars": 3, "metre": (3, 4)}, "2", [0, 1, 2], 3),
    ],
)
def test_the_count_in_is_a_bar_and_what_is_missing_before_the_music(options, bars, beats, before):
    """As players count: after a pickup the bar is filled up (common practice)."""
    voices = {1: "c4:0.5 " * 24}
    made = reading({"tempo": 60}, voices=voices, **options)
    performance = heard(made, bars=bars, count_in=True)
    assert clicks(performance)["score_onset"].tolist() == beats
    assert clicks(performance)["onset"] == pytest.approx(beats)
    first = performance.notes[performance.notes["id"] != NO_NOTE][0]
    assert first["score_onset"] == before and first["onset"] == pytest.approx(before)
    assert performance.bars["pass"][:2].tolist() == [0, 1]
    full = options.get("metre", (4, 4))
    full = full[0] * 4 / full[1]
    assert performance.bars["length"][:2].tolist() == [full, full] and performance.bars["start"][1] == full
    assert performance.bars["shift"][:2].tolist() == [0, 0]
    starts = np.append(0, np.cumsum(performance.bars["length"]))[:-1]
    assert performance.bars["start"] == pytest.approx(starts)


def test_the_count_in_has_the_tempo_of_the_beginning_without_its_fermata():
    plan = {"tempo": [{"at": 1, "tempo": 60}, {"at": 3, "tempo": 120}], "holds": [{"fermata": "3:1", "length": "300%"}]}
    made = reading(plan, bars=4)
    performance = heard(made, bars="3-4", count_in=True)
    assert clicks(performance)["onset"] == pytest.approx([0, 0.5, 1, 1.5])
    assert performance.notes[performance.notes["id"] != NO_NOTE]["onset"][:2] == pytest.approx([2, 3.5])


def test_with_a_leading_voice_the_last_click_is_a_beat_before_the_bar_line():
    plan = {"tempo": 60, "voices": {"voice 1": {"level": "0 dB", "lead": "40 ms"}}}
    made = reading(plan, score(3, voices={1: "c5:4 " * 3, 2: "c4:4 " * 3}))
    performance = heard(made, bars="2", click=True, count_in=True, grid=GRID)
    music = performance.notes[performance.notes["id"] != NO_NOTE]
    line = music["onset"][music["voice"] == 2][0]
    assert line == pytest.approx(4, abs=GRID) and music["onset"][0] == pytest.approx(line - 0.04)
    assert clicks(performance)["onset"] == pytest.approx(np.arange(8) * line / 4, abs=GRID)
    assert clicks(performance)["onset"][4] == pytest.approx(line, abs=1e-9)


def test_rounds_are_counted_in_once_and_clicked_through():
    made = reading({"tempo": 60}, bars=3)
    performance = heard(made, bars="2", loop=3, click=True, count_in=True)
    assert clicks(performance)["onset"] == pytest.approx(np.arange(16))
    assert (clicks(performance)["level"][::4] > clicks(performance)["level"][1]).all()
    only = heard(made, bars="2", loop=3, count_in=True)
    assert clicks(only)["onset"] == pytest.approx(np.arange(4))
    assert performance.bars["number"].tolist() == [2, 2, 2, 2] and performance.bars["pass"].tolist() == [0, 1, 1, 1]


def test_what_is_left_out_does_not_click_otherwise():
    made = reading({}, score(2, voices={1: "c5:8", 2: "r:4 c4:4"}))
    alone, all_ = (heard(made, only=names, click=True) for names in (["voice 2"], []))
    assert np.array_equal(clicks(alone)["onset"], clicks(all_)["onset"])
