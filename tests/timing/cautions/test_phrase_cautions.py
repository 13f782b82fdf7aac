"""The rules for phrases: a case that earns each, one that just misses it, and what its fix makes of the plan."""

from __future__ import annotations

from typing import Any

import pytest
from judged import entries_of, in_file, told
from support import reading

from timing.cautions import check
from timing.remarks import Remark, Severity


def phrases(*bars: Any) -> dict:
    return {"phrases": list(bars)}


def found(code: str, plan: dict, **options) -> list[Remark]:
    return told(code, reading(plan, **options))


def mended(plan: dict, remark: Remark) -> dict:
    """The plan (as from `in_file`) with the fix of a remark, at whatever depth its entries stand."""
    new = dict(zip([edit.place for edit in remark.fix], entries_of(remark), strict=True))

    def rewritten(value: Any) -> Any:
        if (place := getattr(value, "place", None)) in new and not isinstance(value, list):
            return new.pop(place)
        if isinstance(value, dict):
            return {key: rewritten(each) for key, each in value.items()}
        return [rewritten(each) for each in value] if isinstance(value, list) else value

    made = {key: rewritten(value) for key, value in plan.items()}
    made["phrases"] += [new.pop(None)] if None in new else []
    assert remark.fix and new == {}
    return in_file(made)


# -- overlaps


@pytest.mark.parametrize(
    ("phrases", "code"),
    [
        (["1-5", "5-8"], "phrases-overlap"),
        (["1-4", "5-8"], None),
        (["1:1 - 5:2", "5:3 - 8:4"], None),
        (["1:1 - 5:2.5", "5:2 - 8:4"], "phrases-overlap"),
        (["1-8", "2-3", "5-6"], "phrases-overlap"),  # both against the first, though 2-3 is over before 5
        ([{"bars": "1-4", "inside": ["3-5"]}], "phrase-outside"),
        ([{"bars": "2-4", "inside": ["1-3"]}], "phrase-outside"),
        ([{"bars": "1-4", "inside": ["1-2", "3-4"]}], None),
        ([{"bars": "1-4", "inside": ["5-6"]}, {"bars": "5-8"}], "phrase-outside"),
    ],
)
def test_phrases_that_overlap_or_reach_out(phrases, code):
    remarks = check(reading({"phrases": [p if isinstance(p, dict) else {"bars": p} for p in phrases]}, bars=8))
    codes = [r.code for r in remarks if r.code in ("phrases-overlap", "phrase-outside")]
    assert set(codes) == ({code} if code else set())
    if phrases == ["1-8", "2-3", "5-6"]:
        assert len(codes) == 2


def test_phrases_of_different_passes_do_not_overlap():
    plan = {"order": ["1-4", "1-8"], "phrases": [{"bars": "1-4", "pass": 1}, {"bars": "1-8", "pass": 2}]}
    assert found("phrases-overlap", plan, bars=8) == []


@pytest.mark.parametrize(
    ("plan", "entries"),
    [
        (phrases("1-5", "5-8"), ["1-4"]),
        (phrases({"bars": "1-5", "name": "a"}, "5-8"), [{"bars": "1-4", "name": "a"}]),
        (phrases("1:1 - 5:3", "5:2 - 8:4"), ["1:1 - 5:1"]),
        (phrases("1:1 - 5:4", "5-8"), ["1:1 - 4:4"]),  # written with beats as it was
        (phrases({"bars": "1-8", "inside": ["1-5", "5-8"]}), ["1-4"]),
    ],
)
def test_the_earlier_phrase_ends_where_the_later_one_begins(plan, entries):
    plan = in_file(plan)
    (remark,) = found("phrases-overlap", plan)
    assert entries_of(remark) == entries
    assert [r.code for r in check(reading(mended(plan, remark))) if r.code.startswith("phrase")] == []


@pytest.mark.parametrize(
    "plan",
    [
        phrases("1-8", "3-4"),
        phrases("1-8", "5-8"),  # they end together
        phrases("1-8", "1-4"),  # they begin together
        phrases({"bars": "1-5", "inside": ["1-2", "3-5"]}, "5-8"),
    ],
)
def test_a_musician_decides_where_a_phrase_lies_in_another_or_holds_others(plan):
    (remark,) = found("phrases-overlap", in_file(plan))
    assert remark.fix == () and "or list it 'inside' the other" in remark.suggestion


@pytest.mark.parametrize(
    ("inner", "entry"), [("5-9", "5:1 - 8:4"), ("1:3 - 5:2", "2:1 - 5:2"), ({"bars": "7-9"}, {"bars": "7:1 - 8:4"})]
)
def test_of_an_inner_phrase_is_kept_what_lies_in_the_outer_one(inner, entry):
    plan = in_file(phrases({"bars": "2-8", "inside": [inner]}))
    (remark,) = found("phrase-outside", plan, bars=12)
    assert entries_of(remark) == [entry]
    assert found("phrase-outside", mended(plan, remark), bars=12) == []


@pytest.mark.parametrize(("outer", "inner"), [("1-4", "5-6"), ("5-8", "3-4")])
def test_a_musician_decides_where_nothing_of_an_inner_phrase_lies_in_the_outer_one(outer, inner):
    (remark,) = found("phrase-outside", in_file(phrases({"bars": outer, "inside": [inner]})))
    assert (remark.fix, remark.suggestion) == ((), "keep it within the bars of the outer phrase")


# -- gaps


@pytest.mark.parametrize(
    ("plan", "expected"),
    [
        (phrases("1-4", "5-8"), 0),
        (phrases("1:1 - 4:3", "5-8"), 1),
        (phrases("1:1 - 4:4.5", "5-8"), 0),  # no note begins in it
        (phrases("1:1 - 4:3", "4:4 - 8:4"), 0),
        (phrases("1-4", "7-8"), 1),
        (phrases("2-4", "5-7"), 0),  # before the first and after the last
        (phrases({"bars": "1-8", "inside": ["1-4", "6-8"]}), 1),
        (phrases({"bars": "1-8", "inside": ["2-4", "5-7"]}), 0),
        (phrases({"bars": "1-4", "inside": ["1-2"]}, {"bars": "5-8", "inside": ["7-8"]}), 0),  # of different ones
        (phrases("1-2", "5-8") | {"order": ["1-2", "5-8"]}, 0),  # what lies between is not played
        (phrases("1-3", "5-8") | {"order": ["1-4", "5-8"]}, 1),
        (phrases("1-3") | {"order": ["1-4", "1-4"]}, 0),  # the order goes back in it
    ],
)
def test_notes_between_two_phrases(plan, expected):
    assert [remark.severity for remark in found("phrases-gap", plan)] == [Severity.ADVICE] * expected


@pytest.mark.parametrize(
    ("plan", "entry"),
    [
        (phrases("1:1 - 4:3", "5-8"), "4:4 - 8"),
        (phrases("1:1 - 4:3", {"bars": "5:1 - 8:2", "name": "b"}), {"bars": "4:4 - 8:2", "name": "b"}),
        (phrases("1:1 - 3:4", "5:1 - 8:4"), "4:1 - 8:4"),  # written with beats as it was
        (phrases("1-4", "6-8"), "5-8"),  # a bar, which may be an upbeat
        (phrases("1-4", "7-8"), {"bars": "5:1 - 6:4"}),  # more than that is a phrase
        (phrases({"bars": "1-8", "inside": ["1:1 - 4:3", "5-8"]}), "4:4 - 8"),
    ],
)
def test_what_lies_between_is_an_upbeat_or_a_phrase_of_its_own(plan, entry):
    plan = in_file(plan)
    (remark,) = found("phrases-gap", plan)
    assert entries_of(remark) == [entry]
    assert [r.code for r in check(reading(mended(plan, remark))) if r.code.startswith("phrase")] == []


def test_what_the_musician_reads_of_a_gap():
    (remark,) = found("phrases-gap", in_file(phrases("1-4", "7-8")))
    assert remark.message == (
        "the notes of 5:1 - 6:4 belong to no phrase: they come after the phrase 1-4 and before the phrase 7-8"
    )
    assert (remark.bar, remark.beat) == (5, 1)
    assert remark.suggestion == "phrases: [{bars: 5:1 - 6:4}]"


def test_a_long_gap_inside_a_phrase_is_left_to_a_musician():
    (remark,) = found("phrases-gap", in_file(phrases({"bars": "1-8", "inside": ["1-3", "6-8"]})))
    assert (remark.fix, remark.suggestion) == ((), "list 4:1 - 5:4 as a phrase of its own")


@pytest.mark.parametrize(
    ("code", "plan"),
    [
        ("phrases-overlap", phrases("1-5", "5-8")),
        ("phrase-outside", phrases({"bars": "1-4", "inside": ["3-5"]})),
        ("phrases-gap", phrases("1-3", "5-8")),
    ],
)
def test_what_is_so_on_both_passes_is_told_once(code, plan):
    (remark,) = found(code, plan | {"order": ["1-8", "1-8"]}, bars=8)
    assert remark.pass_ == 1


# -- held notes

TIED = "c5:4 c5:4 c5:4 c5:3 d5:2 c5:3 c5:4 c5:4 c5:4"  # from 4:4 to 5:1


@pytest.mark.parametrize(
    ("plan", "voices", "expected"),
    [
        (phrases("1-4", "5-8"), {1: TIED}, 1),
        (phrases("1-4"), {1: TIED}, 1),
        (phrases("1:1 - 5:1", "5:2 - 8:4"), {1: TIED}, 0),
        (phrases("1:1 - 4:3", "4:4 - 8:4"), {1: TIED}, 0),
        (phrases("1-4", "5-8"), {1: "c5:4 " * 8, 2: TIED.replace("5:", "3:")}, 0),  # not in the melody
        (phrases("1-4", "5-8"), {1: TIED, 2: "c3:4 " * 8}, 1),
        (phrases("1-8"), {1: "c5:4 " * 7 + "c5:8"}, 0),  # the end of the piece
    ],
)
def test_a_phrase_that_ends_while_its_last_note_sounds(plan, voices, expected):
    remarks = found("phrase-cuts-tie", plan, voices=voices)
    assert [remark.severity for remark in remarks] == [Severity.CAUTION] * expected


def test_the_phrase_ends_with_its_note():
    plan = in_file(phrases("1-4", {"bars": "5-8", "name": "b"}))
    (remark,) = found("phrase-cuts-tie", plan, voices={1: TIED})
    assert remark.message == "the phrase 1-4 ends at 4:4 while the melody's note from 4:4 still sounds"
    assert entries_of(remark) == ["1 - 5:1", {"bars": "5:2 - 8", "name": "b"}]
    again = check(reading(mended(plan, remark), voices={1: TIED}))
    assert [r.code for r in again if r.code.startswith("phrase")] == []


@pytest.mark.parametrize(
    "plan",
    [
        phrases({"bars": "1-4", "inside": ["1-2", "3-4"]}, "5-8"),
        phrases("1-4", "5:1 - 5:1", "5:2 - 8:4"),
        phrases("1-4", {"bars": "5-8", "inside": ["5-6", "7-8"]}),  # two begin there
    ],
)
def test_a_musician_decides_where_several_phrases_meet_at_a_held_note(plan):
    remark, *_ = found("phrase-cuts-tie", in_file(plan), voices={1: TIED})
    assert (remark.fix, remark.suggestion) == ((), "end the phrase with the note, and begin the next one after it")


def test_a_phrase_may_end_with_the_note_that_ends_the_piece():
    plan = in_file(phrases("1:1 - 8:2"))
    (remark,) = found("phrase-cuts-tie", plan, voices={1: "c5:4 " * 8}, bars=8)
    assert entries_of(remark) == ["1:1 - 8:4"]
    assert found("phrase-cuts-tie", mended(plan, remark), voices={1: "c5:4 " * 8}, bars=8) == []


def test_a_note_that_is_held_over_the_end_of_a_repeat_is_cut_only_where_the_music_goes_on():
    """The first time the order goes back to bar 1 after bar 8; the second time the note sounds on in bar 9."""
    plan = in_file(phrases("1-8") | {"order": ["1-8", "1-12"]})
    (remark,) = found("phrase-cuts-tie", plan, voices={1: "c5:4 " * 7 + "c5:8 " + "c5:4 " * 3}, bars=12)
    assert (remark.bar, remark.beat, remark.pass_) == (8, 4, 2)
    assert entries_of(remark) == ["1-9"]
