"""Tempo marks, fermatas, accents and breaths, at 60 quarters a minute unless said."""

from __future__ import annotations

import numpy as np
import pytest
from support import reading

from timing.remarks import CannotDo


def tempi(plan: dict, *quarters: float, **options) -> list[float]:
    """Quarters a minute just after each of these quarters."""
    time = reading(plan, **{"bars": 8} | options).performance.time
    return [round(float(time.tempo(at + 1e-7)), 3) for at in quarters]


def seconds(plan: dict, *quarters: float, **options) -> list[float]:
    time = reading(plan, **{"bars": 8} | options).performance.time
    return time.seconds(np.array(quarters)).round(9).tolist()


def tempo_mark(bar: int, value: float, offset: float = 0.0) -> dict:
    return {"kind": "tempo", "bar": bar, "offset": offset, "value": value}


# -- tempo marks


@pytest.mark.parametrize(
    ("tempo", "expected"),
    [
        (60, [60, 60, 60]),
        ("dotted quarter = 54", [81, 81, 81]),
        ([{"tempo": 60}, {"at": "3:2", "tempo": 90}], [60, 90, 90]),
        ([{"tempo": 60}, {"at": 3, "tempo": "150%"}, {"at": 5, "tempo": "150%"}], [60, 90, 135]),
        ([{"tempo": 60}, {"at": 3, "tempo": 90}, {"at": 5, "tempo": "tempo primo"}], [60, 90, 60]),
        ([{"at": 1, "tempo": 72}, {"at": 3, "tempo": 90}], [72, 90, 90]),
        ([{"at": 3, "tempo": 90}], [120, 90, 90]),  # none is said for the beginning
    ],
)
def test_tempi(tempo, expected):
    assert tempi({"tempo": tempo}, 0, 12, 30) == expected


@pytest.mark.parametrize("q", [1, 2, 3])
def test_a_gradual_tempo(q):
    tempo = [{"tempo": 60}, {"over": "3-4", "tempo": 90, "curvature": q}]
    assert tempi({"tempo": tempo}, 8, 12, 16) == [60, round(((60**q + 90**q) / 2) ** (1 / q), 3), 90]


def test_a_gradual_tempo_changes_evenly_in_time_unless_told():
    """As a metronome turned evenly: from 60 to 90 over 8 quarters it takes 8 / 75 minutes."""
    tempo = [{"tempo": 60}, {"over": "3-4", "tempo": 90}]
    start, end = seconds({"tempo": tempo}, 8, 16)
    assert end - start == pytest.approx(8 * 60 / 75, abs=1e-9)


def test_a_jump_interrupts_a_gradual_tempo():
    tempo = [{"tempo": 60}, {"over": "3-6", "tempo": 100, "curvature": 1}, {"at": 5, "tempo": 50}]
    assert tempi({"tempo": tempo}, 15.9999, 16, 24, 31) == [80, 50, 50, 50]


def test_the_scores_own_metronome_numbers_hold_where_the_plan_names_none():
    marks = [tempo_mark(0, 72), tempo_mark(2, 90, 2.0), tempo_mark(4, np.nan)]
    assert tempi({"tempo": []}, 0, 9, 10, 30, marks=marks) == [72, 72, 90, 90]
    assert tempi({}, 0, 10, marks=marks) == [60, 60]


def test_where_the_order_goes_back_the_tempo_does_too():
    """D.C.: the first hearing began at 60, whatever came later."""
    tempo = [{"tempo": 60}, {"at": "2:3", "tempo": 90}, {"at": 5, "tempo": 120}]
    assert tempi({"tempo": tempo, "order": ["1-6", "1-4"]}, 4, 6, 16, 24, 29.9, 30) == [60, 90, 120, 60, 60, 90]
    into_the_middle = {"tempo": tempo, "order": ["1-6", "3-4"]}
    assert tempi(into_the_middle, 24, 31) == [90, 90]  # as bar 3 was first heard


def test_tempi_of_one_pass():
    tempo = [{"tempo": 60}, {"at": 2, "tempo": 90, "pass": "last"}]
    assert tempi({"tempo": tempo, "order": ["1-4"] * 3}, 4, 20, 36) == [60, 60, 90]


@pytest.mark.parametrize("new", ["150%", 90])
def test_a_repeat_into_the_middle_of_a_gradual_tempo_arrives_at_the_same(new):
    tempo = [{"tempo": 60}, {"over": "1-4", "tempo": new, "curvature": 3}]
    plan = {"tempo": tempo, "order": ["1-4", "3-4"]}
    first = tempi(plan, 8, 15.9999)
    assert tempi(plan, 16, 23.9999) == first


# -- fermatas and accents


NOTES = {1: "c4:1 d4:2 e4:1 f4:4", 2: "r:4 c3:2 c3:2"}


@pytest.mark.parametrize(
    ("hold", "expected"),
    [
        ({"fermata": "1:1"}, [1.5, 3.5, 4.5, 8.5]),  # half as long again
        ({"fermata": "1:1", "length": "200%"}, [2, 4, 5, 9]),
        ({"fermata": "1:2", "length": "200%"}, [1, 5, 6, 10]),  # the whole half note
        ({"fermata": "1:3", "length": "200%"}, [1, 4, 5, 9]),  # no note begins here: the beat
        ({"fermata": "1:3.5", "length": "200%"}, [1, 3.5, 4.5, 8.5]),  # what is left of it
        ({"fermata": "2:1", "length": "200%"}, [1, 3, 4, 10]),  # of two notes the shorter one
        ({"fermata": "2", "length": "200%"}, [1, 3, 4, 12]),  # a bar
        ({"fermata": "1:4 - 2:1", "length": "200%"}, [1, 3, 5, 10]),  # a range
        ({"agogic": "1:1"}, [1.1, 3.1, 4.1, 8.1]),  # a tenth longer
        ({"agogic": "1:1", "length": "50%"}, [0.5, 2.5, 3.5, 7.5]),
    ],
)
def test_holds(hold, expected):
    assert seconds({"holds": [hold]}, 1, 3, 4, 8, bars=2, voices=NOTES) == expected


def test_a_fermata_on_a_slowed_beat_multiplies():
    plan = {"slowing": [{"ritenuto": "1", "to": "50%"}], "holds": [{"fermata": "1:1", "length": "300%"}]}
    assert seconds(plan, 1, bars=2, voices=NOTES) == [6]


def test_a_fermata_on_the_last_note():
    plan = {"holds": [{"fermata": "2:1", "length": "200%"}]}
    assert seconds(plan, 8, bars=2, voices={1: "c4:4 d4:4"}) == [12]


def test_a_fermata_on_a_note_tied_out_of_the_page_ends_with_the_page():
    """A whole note from beat 3 of bar 1 reaches into bar 2, which is not what comes next the first time."""
    plan = {"order": ["1", "1-2"], "holds": [{"fermata": "1:3", "length": "200%", "pass": 1}]}
    assert seconds(plan, 2, 4, 12, bars=2, voices={1: "c4:2 d4:4 r:2"}) == [2, 6, 14]


# -- breaths


def ends(plan: dict, **options) -> list[tuple[float, float]]:
    notes = reading(plan, **options).performance.notes
    return [(round(float(n["onset"]), 6), round(float(n["end"]), 6)) for n in notes]


LINE = {"bars": 1, "voices": {1: "c4:1 d4:1 e4:2"}}


@pytest.mark.parametrize(("kind", "usual"), [("breath", 0.2), ("caesura", 0.5)])
def test_the_clock_waits_for_a_breath(kind, usual):
    for more, silence in (({}, usual), ({"seconds": 0.35}, 0.35)):
        played = ends({"holds": [{kind: "after 1:2"} | more]}, **LINE)
        # the note before keeps its length, the silence is added
        assert played == [(0, 1), (1, 2), (round(2 + silence, 6), round(4 + silence, 6))]


def test_in_time_the_breath_comes_from_the_note_before():
    played = ends({"holds": [{"breath": "after 1:2", "seconds": 0.3, "in time": "yes"}]}, **LINE)
    assert played == [(0, 1), (1, 1.7), (2, 4)]


def test_two_breaths_of_one_moment_may_differ_in_being_in_time():
    holds = [{"breath": "after 1:2", "in time": "yes"}, {"breath": "after 1:2"}]
    assert ends({"holds": holds}, **LINE) == [(0, 1), (1, 2), (2.2, 4.2)]


def test_a_breath_does_not_touch_what_is_held_over_it():
    options = {"bars": 1, "voices": {1: "c5:2 d5:2", 2: "c3:4"}}
    played = ends({"holds": [{"breath": "after 1:2", "seconds": 0.5}]}, **options)
    assert sorted(played) == [(0, 2), (0, 4.5), (2.5, 4.5)]


def test_a_long_breath_after_short_notes():
    options = {"bars": 1, "voices": {1: "c4:1 d4:0.25 e4:0.25 f4:0.5 g4:2"}}
    played = ends({"holds": [{"caesura": "after 1:2", "seconds": 10}]}, **options)
    assert played == [(0, 1), (1, 1.25), (1.25, 1.5), (1.5, 2), (12, 14)]


def test_a_long_silence_after_a_long_note_is_no_slower_than_a_midi_file_can_say():
    """3.58 quarters a minute, in 24 bits of microseconds; also where the next bar runs in short notes."""
    voices = {1: "c4:4 " + "d4:0.25 " * 16}
    time = reading({"holds": [{"caesura": "after 1", "seconds": 10}]}, bars=2, voices=voices).performance.time
    assert time.seconds(np.array([4.0, 8.0])) == pytest.approx([14, 18], abs=1e-9)
    assert time.tempo(np.linspace(0, 7.99, 800)).min() > 3.58


def test_a_breath_at_the_end_of_a_bar_and_of_the_piece():
    played = ends({"holds": [{"breath": "after 1"}, {"breath": "after 2"}]}, bars=2, voices={1: "c4:4 d4:4"})
    assert played == [(0, 4), (4.2, 8.2)]


def test_a_breath_in_a_bar_of_rests_waits_as_any_other():
    plan = {"holds": [{"breath": "after 2:2", "seconds": 0.5}]}
    time = reading(plan, bars=3, voices={1: "c4:4 r:4 d4:4"}).performance.time
    assert time.seconds(np.array([4.0, 5.0, 6.0, 8.0])) == pytest.approx([4, 5, 6.5, 8.5], abs=1e-9)


def test_many_breaths_near_each_other_all_wait():
    holds = [{"breath": f"after 1:{beat}", "seconds": 0.5} for beat in (1, 2, 3, 4)] * 5
    time = reading({"holds": holds}, bars=1, voices={1: "c4:4"}).performance.time
    assert time.seconds(np.array([1.0, 2.0, 3.0, 4.0])) == pytest.approx([3.5, 7, 10.5, 14], abs=1e-9)


# -- beyond all music


def test_holds_that_multiply_beyond_all_measure_are_refused():
    with pytest.raises(CannotDo, match=r"at 3:1 the tempo marks, .* multiply to a tempo outside"):
        reading({"holds": [{"fermata": "3:1", "length": "1000%"}] * 30}, bars=8)


def test_arches_that_multiply_beyond_all_measure_are_refused():
    phrases = [{"bars": "1-8", "arch": "50%"}] * 1500
    with pytest.raises(CannotDo, match="multiply to a tempo outside"):
        reading({"phrases": phrases}, bars=8)


def test_a_silent_plan_is_strict_time():
    made = reading({}, bars=8).performance
    assert made.time.seconds(np.arange(33.0)) == pytest.approx(np.arange(33.0), rel=1e-14)


def test_a_fermata_waits_at_least_a_beat():
    """Under a whole note over eighths it holds the first beat, not the first eighth."""
    made = reading({"holds": [{"fermata": "1:1", "length": "200%"}]}, bars=1, voices={1: "c5:4", 2: "c4:0.5 " * 8})
    assert made.performance.time.seconds([0.5, 1.0, 2.0]) == pytest.approx([1.0, 2.0, 3.0])


def test_a_metronome_mark_in_bar_1_holds_for_the_pickup():
    marks = [{"kind": "tempo", "bar": 1, "value": 90.0}]
    time = reading({"tempo": []}, bars=2, pickup=1.0, marks=marks).performance.time
    assert time.tempo([0.0, 1.0]) == pytest.approx([90, 90])


@pytest.mark.parametrize(("second", "told"), [("2", True), ("2:1 - 2:2", True), ("2:2", False), ("3", False)])
def test_two_holds_that_meet_are_a_caution(second, told):
    made = reading({"holds": [{"fermata": "2:1"}, {"agogic": second}]}, bars=3)
    assert ([remark.code for remark in made.remarks] == ["holds-overlap"]) == told
