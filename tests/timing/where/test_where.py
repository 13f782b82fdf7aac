"""Positions, ranges and passes along a performed order, worked out by hand."""

from __future__ import annotations

from dataclasses import FrozenInstanceError

import numpy as np
import pytest
from places import DA_CAPO, ending, spans, where
from support import reading, score

from timing.performance import PASSAGE
from timing.plan.position import parse_position, parse_range
from timing.plan.sound import Dynamic
from timing.plan.time import Hold, Slowing
from timing.remarks import CannotDo
from timing.score import Score
from timing.where import Fault, Where
from timing.where.beats import is_compound
from timing.where.hearings import Hearings
from timing.where.naming import position_over

# -- ranges, sentence by sentence (4/4: bar 7 begins at quarter 24, and again at 56)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("7:2 - 8:3", [(25, 31), (57, 63)]),  # until beat 3 of bar 8 is over
        ("7-8", [(24, 32), (56, 64)]),  # until bar 8 is over
        ("7:2 - 8:3.5", [(25, 30.5), (57, 62.5)]),  # an end with a fraction is that instant
        ("7:2 - 8:3.0", [(25, 30), (57, 62)]),
        ("7:2 - 8", [(25, 32), (57, 64)]),
        ("7 - 8:1", [(24, 29), (56, 61)]),
        ("7", [(24, 28), (56, 60)]),
        ("7:2", [(25, 26), (57, 58)]),
        ("7:2.5", [(25.5, 26), (57.5, 58)]),  # what is left of the beat
        ("7:4+1/3", [(27 + 1 / 3, 28), (59 + 1 / 3, 60)]),
        ("7:1 - 9:1.0", [(24, 32), (56, 64)]),  # up to a bar line
        ("8-9", [(28, 32), (60, 68)]),  # the repeat cuts it the first time
        ("12", [(76, 80)]),
    ],
)
def test_ranges_count_both_ends_in(text, expected):
    assert np.allclose(spans(where(), text), expected, atol=1e-12)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("5:1 - 7:1", [(16, 24), (48, 56)]),
        ("5:1 - 7:2", [(16, 25), (48, 57)]),
        ("5-7", [(16, 28), (48, 60)]),  # a bar alone is over in any case
        ("5:2.5 - 7:3.5", [(17.5, 26.5), (49.5, 58.5)]),
    ],
)
def test_a_crescendo_arrives_on_its_end_position(text, expected):
    assert spans(where(), text, arriving=True) == expected
    assert all(run.complete for run in where().runs(parse_range(text), arriving=True))


def test_arriving_on_a_bar_line_does_not_enter_that_bar():
    first, second = where().runs(parse_range("7:1 - 9:1"), arriving=True)
    assert (first.first, first.last, first.complete) == (6, 7, True)
    assert (second.first, second.last, second.complete) == (14, 15, True)


def test_a_run_is_complete_where_the_end_of_the_range_lies_in_it():
    assert [run.complete for run in where().runs(parse_range("8-9"))] == [False, True]
    assert [run.complete for run in where(DA_CAPO).runs(parse_range("4:1 - 5:1"))] == [True, False]


@pytest.mark.parametrize(
    ("passes", "expected"),
    [
        (None, [(0, 8), (48, 56)]),
        (1, [(0, 8)]),
        (2, [(48, 56)]),
        (3, []),
        ("last", [(48, 56)]),
        ("da capo", [(48, 56)]),
    ],
)
def test_a_pass_counts_times_through_the_music(passes, expected):
    assert spans(where(DA_CAPO, returned=2), "1-2", passes) == expected


def test_the_last_time_is_the_only_one_for_a_bar_heard_once():
    assert spans(where(DA_CAPO), "9", "last") == [(32, 36)]


# -- endings: |: 1-3 [1. 4 :| [2. 5 ] 6-8


ENDINGS = {"bars": 8, "marks": [ending("1", 3, 3), ending("2", 4, 4)]}
WITH_ENDINGS = ((1, 4, 1), (1, 3, 2), (5, 5, 2), (6, 8, 1))


def test_a_skipped_ending_does_not_break_a_run():
    here = where(WITH_ENDINGS, **ENDINGS)
    assert [(run.start, run.end, run.complete) for run in here.runs(parse_range("3-5"))] == [
        (8, 16, False),
        (24, 32, True),
    ]
    assert spans(here, "3-6") == [(8, 16), (24, 36)]
    assert spans(here, "3:3 - 5:1", passes=2) == [(26, 29)]


def test_without_the_ending_bracket_a_skipped_bar_breaks_it():
    assert spans(where(WITH_ENDINGS, bars=8), "3-5") == [(8, 16), (24, 28), (28, 32)]


def test_a_bar_line_behind_a_skipped_ending_is_arrived_at():
    runs = where(WITH_ENDINGS, **ENDINGS).runs(parse_range("2:1 - 5:1"), 2, arriving=True)
    assert [(run.start, run.end, run.complete) for run in runs] == [(20, 28, True)]


# -- positions


def test_moments_are_all_the_times_a_place_is_heard():
    assert where().moments(parse_position("7:2.5")).tolist() == [25.5, 57.5]
    assert where().moments(parse_position("7")).tolist() == [24, 56]
    assert where().moments(parse_position("7:2"), passes=2).tolist() == [57]


def test_after_a_place_is_when_it_is_over():
    assert where().moments(parse_position("7:2"), after=True).tolist() == [26, 58]
    assert where().moments(parse_position("7"), after=True).tolist() == [28, 60]
    assert where().moments(parse_position("7:4"), after=True).tolist() == [28, 60]


def test_after_a_fraction_is_that_very_moment_also_at_the_end_of_the_bar():
    for text, moment in (("7:4.5", 27.5), ("7:2+1/3", 25 + 1 / 3), ("7:3.0", 26), ("7:5.0", 28)):
        assert where().moments(parse_position(text), after=True) == pytest.approx([moment, moment + 32], abs=1e-9)
    with pytest.raises(Fault, match=r"^bar 7 has 4 beats: there is no 7:5\.5$"):
        where().moments(parse_position("7:5.5"), after=True)


def test_a_pickup_of_one_quaver_in_six_eight_holds_beat_six():
    here = where(((0, 2, 1),), bars=2, metre=(6, 8), pickup=0.5)
    assert here.point(parse_position("0:6")) == (0, 0.0)
    assert spans(here, "0:6") == [(0, 0.5)]
    assert spans(here, "0:6 - 1:3") == [(0, 2)]
    assert here.moments(parse_position("1:1")).tolist() == [0.5]


@pytest.mark.parametrize(("pickup", "beat", "not_begun"), [(0.25, "4", "3"), (0.75, "4", "3"), (1.25, "3", "2")])
def test_a_pickup_that_comes_in_on_a_part_of_a_beat_has_what_is_left_of_that_beat(pickup, beat, not_begun):
    here = where(((0, 2, 1),), bars=2, pickup=pickup)
    assert here.point(parse_position(f"0:{beat}")) == (0, 0.0)
    assert spans(here, f"0:{beat}") == [(0, pickup % 1)]
    assert here.point(parse_position(f"0:{5 - pickup}")) == (0, 0.0)
    for missing in (not_begun, f"{beat}.0", f"{beat}.125"):  # a fraction is a moment, and the music begins later
        with pytest.raises(Fault, match=f"^bar 0 begins at beat {5 - pickup} and has no beat"):
            here.point(parse_position(f"0:{missing}"))


def test_a_moment_in_a_pickup_counts_from_the_bar_that_it_is_a_part_of():
    here = where(((0, 2, 1),), bars=2, pickup=1.5)
    for text, moment in (("0:3.5", 0), ("0:4.5", 1), ("0:5.0", 1.5)):
        assert here.moments(parse_position(text), after=True).tolist() == [moment]
    assert spans(here, "0:4 - 0:5.0") == [(0.5, 1.5)]


def test_a_pickup_goes_with_the_bar_that_it_leads_to():
    here = where(((0, 3, 1),), bars=3, metre=(6, 8), pickup=0.5)
    assert [text for text in ("0", "0:6", "1", "1:1", "1:2", "2", "9") if here.opens(parse_position(text))] == [
        "0",
        "0:6",
        "1",
        "1:1",
    ]
    assert [text for text in ("1", "1:1", "1:2", "2") if where().opens(parse_position(text))] == ["1", "1:1"]


def split_bar() -> Score:
    """Bars 1, 2 and 3 in 4/4, bar 2 printed in two halves."""
    made = score(bars=4)
    made.bars["number"], made.bars["length"][1:3], made.bars["shift"][2] = (1, 2, 2, 3), 2, 2
    return made


def test_the_halves_of_a_split_bar_are_one_bar():
    bars = np.zeros(4, PASSAGE)
    made = split_bar()
    bars["row"], bars["pass"], bars["last"] = range(4), 1, True
    for column in ("number", "length", "beats", "unit", "shift"):
        bars[column] = made.bars[column]
    bars["start"] = (0, 4, 6, 8)
    here = Where(made, bars)
    assert spans(here, "2") == [(4, 8)]
    assert spans(here, "2:2 - 2:3") == [(5, 7)]
    assert spans(here, "2:3") == [(6, 7)]
    assert here.moments(parse_position("2:4")).tolist() == [7]
    assert here.moments(parse_position("2"), after=True).tolist() == [8]
    with pytest.raises(Fault, match="bar 2 has 4 beats: there is no 2:5"):
        here.point(parse_position("2:5"))


def test_what_is_over_as_the_second_part_of_a_bar_begins_is_no_beat_of_that_part():
    """Where a repeat parts them beat 2 may have been heard long before, so that the moment itself is named."""
    over = [str(position_over(split_bar(), 2, offset)) for offset in (0.0, 0.5, 1.0, 2.0)]
    assert over == ["2:3.0", "2:3.5", "2:3", "2:4"]


def test_a_bar_with_a_letter_has_a_name_of_its_own():
    made = score(bars=4)
    made.bars["number"], made.bars["suffix"] = (1, 2, 2, 3), ("", "", "a", "")
    here = where(((1, 4, 1),), made)
    assert spans(here, "2") == [(4, 8)]
    assert spans(here, "2a") == spans(here, "2A") == [(8, 12)]
    assert here.range_text(8, 12) == "2a:1 - 2a:4"


def test_a_number_that_comes_again_means_its_first_bar():
    made = score(bars=4)
    made.bars["number"] = (1, 2, 1, 2)
    assert spans(where(((1, 4, 1),), made), "2") == [(4, 8)]


# -- faults


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("40", "bar 40: the score ends at bar 24"),
        ("20 - 40:2", "bar 40: the score ends at bar 24"),
        ("0", "bar 0: the score begins at bar 1 (it has no pickup)"),
        ("7b", "bar 7b: the score has no such bar (it has 7)"),
        ("3:4", "bar 3 has 3 beats: there is no 3:4"),
        ("3:3.5 - 3:4.5", "bar 3 has 3 beats: there is no 3:4.5"),
        ("8:1 - 7:1", "8:1 - 7:1 ends before it begins: did you mean 7:1 - 8:1?"),
        ("8-7", "8-7 ends before it begins: did you mean 7-8?"),
        ("7:3 - 7:2", "7:3 - 7:2 ends before it begins: did you mean 7:2 - 7:3?"),
        ("7:2 - 7:2.0", "7:2 - 7:2.0 ends where it begins"),
    ],
)
def test_a_range_the_score_does_not_have(text, message):
    with pytest.raises(Fault) as found:
        where(((1, 24, 1),), metre=(3, 4)).runs(parse_range(text))
    assert str(found.value) == message


def test_leading_zeros_are_read_over():
    assert spans(where(), "007:2") == spans(where(), "7:2")


@pytest.mark.parametrize(("text", "beat"), [("0:5", "5"), ("0:7", "7"), ("0:1", "1"), ("0:5.5", "5.5")])
def test_a_pickup_has_no_other_beats(text, beat):
    here = where(((0, 2, 1),), bars=2, metre=(6, 8), pickup=0.5)
    with pytest.raises(Fault, match=f"^bar 0 begins at beat 6 and has no beat {beat}$"):
        here.point(parse_position(text))


def test_an_irregular_bar_says_how_much_it_holds():
    made = score(bars=3)
    made.bars["length"][1] = 2.5
    here = where(((1, 3, 1),), made)
    with pytest.raises(Fault, match=r"^bar 2 has 2.5 beats: there is no 2:4$"):
        here.point(parse_position("2:4"))
    assert spans(here, "2:3") == [(6, 6.5)]
    assert spans(here, "2:1 - 2:3.5") == [(4, 6.5)]  # the instant at which it is over


def test_a_bar_that_the_numbering_leaves_out():
    made = score(bars=3)
    made.bars["number"] = (1, 2, 7)
    with pytest.raises(Fault, match=r"^bar 4: the score's numbering leaves this bar out$"):
        where(((1, 3, 1),), made).point(parse_position("4"))


def test_what_is_never_heard_is_a_caution():
    here = Hearings(where(DA_CAPO))
    assert here.runs_of(Slowing.model_validate({"rallentando": "9-12", "pass": 2}), "rallentando") == []
    assert here.moments_of(
        Hold.model_validate({"breath": "after 9:1", "pass": "last"}), "breath", after=True
    ).tolist() == [33]
    here.moments_of(Dynamic.model_validate({"at": 1, "mark": "f", "pass": "da capo"}), "at")
    assert [(remark.code, remark.message) for remark in here.remarks] == [
        ("never-heard", "bars 9-12 are never heard on pass 2 in this order of the bars: the entry does nothing"),
        ("never-heard", "bar 1 is never heard after a da capo in this order of the bars: the entry does nothing"),
    ]


def test_a_slowdown_whose_end_is_never_reached_is_a_caution():
    here = Hearings(where(DA_CAPO))
    here.runs_of(Slowing.model_validate({"rallentando": "3-5", "pass": 2}), "rallentando")
    here.runs_of(Slowing.model_validate({"a tempo": "3-5", "pass": 2}), "a tempo")
    assert [remark.message for remark in here.remarks] == [
        "the end of 3-5 is never reached on pass 2 in this order of the bars: the entry does nothing"
    ]


def test_a_fault_is_told_once_and_as_an_error():
    here = Hearings(where())
    entry = Slowing.model_validate({"rallentando": "40"})
    assert here.runs_of(entry, "rallentando") == here.runs_of(entry, "rallentando") == []
    assert [(remark.severity, remark.message) for remark in here.remarks] == [
        ("error", "bar 40: the score ends at bar 16")
    ]


def test_bars_played_one_by_one_are_each_their_own_line():
    here = where(((3, 3, 1), (2, 2, 1), (1, 1, 1)), bars=3)
    assert here.line_ends.tolist() == [4, 8, 12]
    assert here.returns == []
    assert where().returns == [(32, 0)]


def test_a_felt_beat_of_six_eight_is_dotted():
    here = where(((1, 2, 1),), bars=2, metre=(6, 8))
    assert here.felt_beat(1.0) == 1.5
    assert where().felt_beat(1.0) == 1.0


@pytest.mark.parametrize(
    ("beats", "unit", "compound"),
    [(6, 8, True), (9, 8, True), (6, 16, True), (3, 8, False), (4, 4, False), (6, 4, False)],
)
def test_compound_metres_are_felt_in_threes(beats, unit, compound):
    assert is_compound(score(bars=1, metre=(beats, unit)).bars[0]) == compound


def test_an_endless_plan_is_refused():
    """5,000 entries in an order of 1,000 hearings of one bar: five million hearings, told at once."""
    plan = {"order": ["1"] * 1000, "accents": [{"at": f"1:{1 + n % 4}"} for n in range(5000)]}
    with pytest.raises(CannotDo, match="more than 250,000 times"):
        reading(plan, bars=2)


def test_asking_a_reading_changes_nothing():
    here = where(DA_CAPO)
    with pytest.raises(FrozenInstanceError):
        here.bars = here.bars[:1]
    with pytest.raises(Fault):
        here.runs(parse_range("40"))
    one, other = Hearings(here), Hearings(here)
    one.runs_of(Slowing.model_validate({"rallentando": "40"}), "rallentando")
    assert len(one.remarks) == 1 and not other.remarks and not hasattr(here, "remarks")
