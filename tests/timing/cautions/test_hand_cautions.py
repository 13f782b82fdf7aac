"""Moves of the plucking hand: a case that earns each rule, one that just misses it, and what mends it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from judged import entries_of, guitar, mended, told
from support import reading, score

from timing.cautions.hands import MOVE_TIME, TOGETHER
from timing.remarks import Severity


def toned(*entries: tuple, **more) -> dict:
    return {"tone": [{"bars": bars, "tone": tone} for bars, tone in entries]} | more


SIXTEENTHS = guitar("c4:0.25 d4:0.25 f4:0.25 a4:0.25 " * 8)
EIGHTHS = guitar("c4:0.5 d4:0.5 f4:0.5 a4:0.5 " * 4)


@pytest.mark.parametrize(
    ("made", "tempo", "told_of"),
    [
        (SIXTEENTHS, 99, []),  # 152 ms
        (SIXTEENTHS, 101, [(2, 1)]),  # 149 ms
        (EIGHTHS, 199, []),
        (EIGHTHS, 201, [(2, 1)]),
    ],
)
def test_the_hand_needs_its_time(made, tempo, told_of):
    remarks = told("tone-too-quick", reading(toned(("2", "sul ponticello"), tempo=tempo), made))
    assert [(remark.bar, remark.beat) for remark in remarks] == told_of
    for remark in remarks:
        assert remark.severity is Severity.CAUTION
        assert "from naturale to sul ponticello at 2:1" in remark.message


def test_the_way_back_needs_time_too():
    plan = toned(("1:1 - 1:4", "sul tasto"), tempo=120)
    (remark,) = told("tone-too-quick", reading(plan, SIXTEENTHS))
    assert (remark.bar, remark.beat) == (2, 1) and "from sul tasto to naturale" in remark.message


@pytest.mark.parametrize(
    ("one", "other", "quick"), [("8 cm", "9.1 cm", 1), ("8 cm", "8.9 cm", 0), ("12 cm", "naturale", 0)]
)
def test_less_than_a_centimetre_is_no_move(one, other, quick):
    plan = toned(("1", one), ("2", other), tempo=120)
    assert len(told("tone-too-quick", reading(plan, SIXTEENTHS))) == quick


@pytest.mark.parametrize(
    ("first", "tempo", "bars"),
    [
        ("c4:0.25 " * 12 + "c4:0.5 c4:0.25 c4:0.25", 120, "1:4.5 - 1:5.0"),  # it begins after the longer note
        ("c4:0.25 " * 16, 120, None),  # later, in bar 2
    ],
)
def test_the_change_is_moved_to_where_there_is_time(first, tempo, bars):
    made = guitar(first + " c4:0.25 c4:0.25 c4:0.5 c4:1 c4:2")
    plan = toned(("2", "sul ponticello"), tempo=tempo)
    (remark,) = told("tone-too-quick", reading(plan, made))
    (entry,) = entries_of(remark)
    assert entry["tone"] == ("sul ponticello" if bars else "naturale")
    assert entry["bars"] == (bars or "2:1 - 2:1")
    again = reading(mended(plan, remark), made)
    assert told("tone-too-quick", again) == []
    assert set(again.performance.notes["tone"].tolist()) == {0, 2}


def test_a_change_that_would_move_far_away_is_left_to_the_player():
    made = guitar("c4:0.25 " * 64, bars=4)
    (remark,) = told("tone-too-quick", reading(toned(("3-4", "sul tasto"), tempo=120), made))
    assert remark.suggestion is None  # the piece begins eight quarters before


def test_on_all_passes_alike_the_suggestion_is_for_all():
    made = guitar("c4:1 c4:1 c4:1 " + "c4:0.25 " * 8 + "c4:1 c4:1 c4:1")
    plan = toned(("2", "sul tasto"), order=["1-2", "1-2"], tempo=120)
    (remark,) = told("tone-too-quick", reading(plan, made))
    assert entries_of(remark) == [{"bars": "1:4 - 1:4", "tone": "sul tasto"}]
    assert told("tone-too-quick", reading(mended(plan, remark), made)) == []


def test_in_a_duo_each_part_has_a_hand_of_its_own():
    made = score(2, voices={1: "c5:2 c5:1.875 e5:0.125 c5:4", 2: "c4:4 c4:4"}, parts=("One", "Two"), program=24)
    made.notes["part"] = made.notes["voice"] - 1
    plan = {"tone": [{"bars": "2", "tone": "sul tasto"}], "tempo": 60}
    (remark,) = told("tone-too-quick", reading(plan, made))
    assert entries_of(remark)[0]["for"] == "part 1"
    again = reading(mended(plan, remark), made)
    assert told("tone-too-quick", again) == []
    second = again.performance.notes[again.performance.notes["part"] == 1]
    assert second["tone"].tolist() == [0, 1]


def test_the_left_hand_moves_nothing():
    ligado = {"strings": [{"bars": "2:1 - 2:2", "ligado": True}]}
    plan = toned(("2:1.25 - 2:2", "sul ponticello"), tempo=120) | ligado
    assert told("tone-too-quick", reading(plan, SIXTEENTHS)) == []


def test_a_colour_needs_no_hand_on_other_instruments():
    made = score(2, voices={1: "c4:0.25 d4:0.25 f4:0.25 a4:0.25 " * 8}, program=40)
    assert told("tone-too-quick", reading(toned(("2", "bright"), tempo=200), made)) == []


def test_what_both_voices_pluck_counts():
    made = guitar({1: "c5:4 c5:4", 2: "c3:3.875 d3:0.125 c3:4"})
    (remark,) = told("tone-too-quick", reading(toned(("2", "sul tasto")), made))
    assert "125 ms after the last note" in remark.message
    alone = guitar({1: "c5:4 c5:4", 2: "c3:3.75 d3:0.25 c3:4"})
    assert told("tone-too-quick", reading(toned(("2", "sul tasto")), alone)) == []


def test_a_change_on_one_pass_is_told_for_that_pass():
    plan = {"order": ["1-2", "1-2"], "tempo": 120, "tone": [{"bars": "2:1", "tone": "sul tasto", "pass": 2}]}
    remarks = told("tone-too-quick", reading(plan, SIXTEENTHS))
    assert [(remark.bar, remark.beat, remark.pass_) for remark in remarks] == [(2, 1, 2), (2, 2, 2)]


def test_a_tone_of_the_second_time_is_moved_only_where_it_can_be():
    made = guitar("c4:1 c4:1 c4:1 " + "c4:0.25 " * 4 + "c4:0.25 " * 4 + "c4:1 c4:1 c4:1")
    plan = {"order": ["1-2", "1-2"], "tempo": 120, "second time": [{"bars": "2", "tone": "sul tasto"}]}
    (remark,) = told("tone-too-quick", reading(plan, made))
    assert remark.pass_ == 2 and entries_of(remark)[0]["bars"] == "1:4 - 1:4"
    assert told("tone-too-quick", reading(mended(plan, remark), made)) == []


def test_a_tone_may_begin_with_the_piece():
    """Sixteenths from the first note on: nowhere later has the hand its time, so the tone is there from the start."""
    plan = toned(("1:3 - 4", "sul tasto"), tempo=120)
    made = guitar("c4:0.25 " * 64, bars=4)
    (remark,) = told("tone-too-quick", reading(plan, made))
    assert entries_of(remark) == [{"bars": "1:1 - 1:2", "tone": "sul tasto"}]
    assert told("tone-too-quick", reading(mended(plan, remark), made)) == []


@pytest.mark.parametrize(("before", "bars"), [(4, "1:4 - 2:3"), (4.25, None)])
def test_a_change_moves_by_four_quarters_at_most(before, bars):
    """So many quarters of sixteenths lie between the longer note and the change at 2:4; after it they go on."""
    made = guitar(f"c4:{7 - before} " + "c4:0.25 " * int(before * 4 + 20), bars=3)
    (remark,) = told("tone-too-quick", reading(toned(("2:4 - 3", "sul tasto"), tempo=120), made))
    assert [entry["bars"] for entry in entries_of(remark)] == ([bars] if bars else [])


AWAY = guitar("c4:1 " * 3 + "c4:0.25 " * 8 + "c4:1 " * 3)  # the hand has its time at 1:4 and from 2:2 on


@pytest.mark.parametrize(
    ("second", "more"),
    [
        ("2", {}),  # the same the second time
        ("2:1.5 - 2:4", {"pass": 1}),  # half a beat later, the second time
    ],
)
def test_a_tone_that_changes_elsewhere_the_second_time_is_moved_for_one_pass(second, more):
    tones = [{"bars": "2", "tone": "sul tasto", "pass": 1}, {"bars": second, "tone": "sul tasto", "pass": 2}]
    first, *_ = told("tone-too-quick", reading({"order": ["1-2", "1-2"], "tempo": 120, "tone": tones}, AWAY))
    assert first.pass_ == 1 and entries_of(first) == [{"bars": "1:4 - 1:4", "tone": "sul tasto"} | more]


def test_where_the_second_time_has_a_tone_of_its_own_no_other_is_offered():
    """There is time only after the change, under the tone of the second time, which no other entry takes away."""
    made = guitar("c4:0.25 " * 36 + "c4:1 c4:1 c4:1", bars=3)
    plan = {"order": ["1-3", "1-3"], "tempo": 120, "second time": [{"bars": "3", "tone": "sul tasto"}]}
    (remark,) = told("tone-too-quick", reading(plan, made))
    assert (remark.bar, remark.pass_, remark.suggestion) == (3, 2, None)
    plain = {"order": ["1-3", "1-3"], "tempo": 120, "tone": [{"bars": "3", "tone": "sul tasto", "pass": 2}]}
    (remark,) = told("tone-too-quick", reading(plain, made))
    assert entries_of(remark) == [{"bars": "3:1 - 3:2", "tone": "naturale", "pass": 2}]


def test_a_tone_of_the_second_time_leaves_the_first_time_alone():
    tones = [{"bars": "2", "tone": "sul ponticello", "pass": 1}]
    plan = {"order": ["1-2", "1-2"], "tempo": 120, "tone": tones, "second time": [{"bars": "1", "tone": "sul tasto"}]}
    remark, *_ = told("tone-too-quick", reading(plan, AWAY))
    assert (remark.bar, remark.pass_) == (2, 1)
    assert entries_of(remark) == [{"bars": "1:4 - 1:4", "tone": "sul ponticello", "pass": 1}]


def test_a_tone_of_the_second_time_may_go_on_for_a_little():
    """It ends with bar 1, and the hand has its time a beat later."""
    made = guitar("c4:0.25 " * 20 + "c4:1 c4:1 c4:1")
    plan = {"order": ["1-2", "1-2"], "tempo": 120, "second time": [{"bars": "1", "tone": "sul tasto"}]}
    (remark,) = told("tone-too-quick", reading(plan, made))
    assert (remark.bar, remark.pass_) == (2, 2)
    assert entries_of(remark) == [{"bars": "2:1 - 2:2", "tone": "sul tasto", "pass": 2}]
    assert told("tone-too-quick", reading(mended(plan, remark), made)) == []


def test_two_tones_at_once_are_two_hands():
    made = guitar({1: "c5:2 c5:2", 2: "c3:2 c3:2"}, bars=1)
    plan = {"tone": [{"bars": "1:3", "tone": "sul tasto", "for": "voice 1"}]}
    (remark,) = told("tone-two-places", reading(plan, made))
    assert (remark.severity, remark.bar, remark.beat) == (Severity.CAUTION, 1, 3)
    assert "as naturale and as sul tasto" in remark.message or "as sul tasto and as naturale" in remark.message
    assert entries_of(remark) == [{"at": "1:3", "tone": "sul tasto"}]
    assert told("tone-two-places", reading(mended(plan, remark), made)) == []
    assert told("tone-too-quick", reading(plan, made)) == []
    apart = guitar({1: "c5:2 c5:2", 2: "c3:1 c3:3"}, bars=1)
    assert told("tone-two-places", reading(plan, apart)) == []


@pytest.mark.parametrize(("one", "other", "torn"), [("8 cm", "9 cm", 1), ("8 cm", "8.9 cm", 0)])
def test_a_centimetre_apart_are_two_places(one, other, torn):
    tones = [{"bars": "1", "tone": tone, "for": f"voice {n}"} for n, tone in enumerate((one, other), 1)]
    made = guitar({1: "c5:4", 2: "c3:4"}, bars=1)
    assert len(told("tone-two-places", reading({"tone": tones}, made))) == torn


@pytest.mark.parametrize(
    ("tempo", "code"),
    [
        (248, "tone-too-quick"),  # 60.5 ms from one pluck to the next
        (252, "tone-two-places"),  # 59.5 ms: as of one chord
    ],
)
def test_what_follows_within_sixty_milliseconds_is_one_stroke(tempo, code):
    made = reading(toned(("2", "sul ponticello"), tempo=tempo), SIXTEENTHS)
    assert {each for each in ("tone-too-quick", "tone-two-places") if told(each, made)} == {code}


def test_a_stroke_in_two_tones_is_told_as_that_and_not_as_a_move():
    """Before and after it lie 125 ms, but which of the two places would the hand come from, or go to?"""
    made = guitar({1: "c5:0.25 " * 16, 2: "c3:0.25 " * 16}, bars=1)
    plan = {"tempo": 120, "tone": [{"at": "1:3", "tone": "sul ponticello", "for": "voice 1"}]}
    assert len(told("tone-two-places", reading(plan, made))) == 1
    assert told("tone-too-quick", reading(plan, made)) == []


def test_a_rolled_chord_and_a_leading_melody_are_one_stroke():
    rolled = guitar("c3+g3+e4+c5:2~ " * 4)
    wide = {"articulation": {"roll": "200 ms"}, "tempo": 60}
    assert told("tone-too-quick", reading(toned(("2", "sul tasto")) | wide, rolled)) == []
    lead = {"voices": {"voice 1": {"lead": "50 ms"}}}
    both = guitar({1: "c5:1 " * 8, 2: "c3:1 " * 8})
    assert told("tone-too-quick", reading(toned(("2", "sul tasto")) | lead, both)) == []
    torn = {"tone": [{"bars": "2:1", "tone": "sul tasto", "for": "voice 1"}]}
    assert len(told("tone-two-places", reading(torn | lead, both))) == 1


def test_what_is_rolled_to_the_end_leaves_no_time():
    rolled = guitar("c3+g3+e4+c5:0.5~ c5:0.5 c5:1 c5:2 " * 2)
    wide = {"articulation": {"roll": "80 ms"}, "tempo": 60}  # plucked for 240 ms of the 500
    plan = toned(("1:1.5 - 2:4", "sul tasto")) | wide
    assert told("tone-too-quick", reading(plan, rolled)) == []
    (remark,) = told("tone-too-quick", reading(plan | {"tempo": 110}, rolled))
    assert "136 ms after the last note" in remark.message  # rolled for half of the eighth, 273 ms


@given(
    lengths=st.lists(st.sampled_from([0.25, 0.5, 1.0]), min_size=4, max_size=20),
    start=st.integers(1, 12),
    tone=st.sampled_from(["sul tasto", "sul ponticello", "6 cm"]),
    tempo=st.integers(80, 140),
)
def test_every_suggestion_for_a_tone_gives_the_hand_its_time(lengths, start, tone, tempo):
    made = guitar(" ".join(f"c4:{length}" for length in lengths), bars=int(np.ceil(sum(lengths) / 4)))
    at = 0.25 * (start % int(4 * sum(lengths)))
    bar, beat = int(at // 4) + 1, 1 + at % 4
    plan = {"tempo": tempo, "tone": [{"bars": f"{bar}:{beat:g} - {len(made.bars)}:4", "tone": tone}]}
    for _ in range(3):
        remarks = told("tone-too-quick", reading(plan, made))
        if not remarks or remarks[0].suggestion is None:
            break
        (first, *_), before = remarks, len(remarks)
        plan = mended(plan, first)
        after = told("tone-too-quick", reading(plan, made))
        assert len(after) < before
        assert (first.bar, first.beat) not in [(remark.bar, remark.beat) for remark in after]


def test_the_times_are_in_their_order():
    assert 0 < TOGETHER < MOVE_TIME
