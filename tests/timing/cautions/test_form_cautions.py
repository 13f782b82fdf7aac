"""The rules for the form: a case that earns each, one that just misses it, and what its fix makes of the plan."""

from __future__ import annotations

from dataclasses import replace

import pytest
from judged import entries_of, in_file, mended, told
from support import reading, score

from timing.cautions import check
from timing.remarks import Remark, Severity


def found(code: str, plan: dict, **options) -> list[Remark]:
    return told(code, reading(plan, **options))


# -- the second time

TWICE = {"order": ["1-4", "1-8"]}


@pytest.mark.parametrize(
    ("plan", "expected"),
    [
        ({}, 1),
        ({"second time": [{"bars": "4", "softer": "1 dB"}]}, 0),
        ({"second time": [{"bars": "5-8", "softer": "1 dB"}]}, 1),  # which is heard once
        ({"tone": [{"bars": "1", "tone": "dark", "pass": 2}]}, 0),
        ({"tone": [{"bars": "1", "tone": "dark"}]}, 1),  # both times
        ({"holds": [{"fermata": "2:1", "pass": 1}]}, 0),
        ({"holds": [{"breath": "after 2:1", "in time": "yes", "pass": 1}]}, 0),  # only a note is shorter
        ({"slowing": [{"rallentando": "4", "to": "80%", "then": "a tempo"}]}, 1),
        ({"slowing": [{"rallentando": "4", "to": "80%", "then": "a tempo", "pass": 2}]}, 0),
        ({"dynamics": [{"at": "3", "mark": "p", "pass": 2}]}, 0),
        ({"order": ["1-8"]}, 0),
    ],
)
def test_the_second_time_exactly_like_the_first(plan, expected):
    remarks = found("second-time-same", TWICE | plan, bars=8)
    assert len(remarks) == expected
    for remark in remarks:
        assert (remark.severity, remark.bar, remark.pass_) == (Severity.ADVICE, 1, 2)
        assert remark.message == "bars 1-4 are heard again (pass 2) exactly as before"
        again = TWICE | plan | {"second time": entries_of(remark)}
        assert found("second-time-same", again, bars=8) == []


def test_a_second_ending_does_not_hide_that_the_rest_is_the_same():
    endings = [
        {"kind": "ending", "bar": 3, "end_bar": 3, "text": "1"},
        {"kind": "ending", "bar": 4, "end_bar": 4, "text": "2"},
        {"kind": "repeat end", "bar": 3, "offset": 4.0},
    ]
    made = reading({}, bars=6, marks=endings)
    assert made.order == "1-4, 1-3, 5-6"
    (remark,) = [r for r in check(made) if r.code == "second-time-same"]
    assert remark.message == "bars 1-3 are heard again (pass 2) exactly as before"


def test_the_third_time_is_named_in_the_suggestion():
    plan = {"order": ["1-4", "1-4", "1-4"], "second time": [{"bars": "1-4", "softer": "2 dB"}]}
    third = plan | {"second time": [*plan["second time"], {"bars": "1-4", "softer": "2 dB", "pass": 3}]}
    assert found("second-time-same", plan, bars=4) == []
    (remark,) = found("second-time-same", third, bars=4)
    assert remark.suggestion == "second time: [{bars: 1-4, softer: 3 dB, pass: 3}]"


# -- endings

# bars 1-3, 1-2, 4-8: bar 3 is the first ending, bar 4 the second
ENDINGS = [
    {"kind": "ending", "bar": 2, "end_bar": 2, "text": "1"},
    {"kind": "ending", "bar": 3, "end_bar": 3, "text": "2"},
    {"kind": "repeat end", "bar": 2, "offset": 4.0},
]


def skipped(plan: dict, **options) -> list[Remark]:
    made = reading(plan, bars=8, marks=ENDINGS, **options)
    assert made.order == "1-3, 1-2, 4-8"
    return told("end-skipped", made)


def slowing(where: str, *more: dict, **keys) -> dict:
    return {"slowing": [{"rallentando": where, "to": "80%", "then": "a tempo"} | keys, *more]}


@pytest.mark.parametrize(
    ("plan", "expected"),
    [
        (slowing("2:1 - 3:4"), [2]),
        (slowing("2:1 - 3:4", **{"pass": 1}), []),  # it says so itself
        (slowing("2:1 - 2:4"), []),  # both times
        (slowing("3:1 - 3:4"), []),  # its beginning is not played either
        (slowing("2:1 - 4:4"), [1]),  # into the second ending
        (slowing("2:1 - 3:4", {"ritenuto": "2:3 - 2:4", "then": "a tempo", "pass": 2}), []),
        (slowing("2:1 - 3:4", {"ritenuto": "1:3 - 1:4", "then": "a tempo", "pass": 2}), [2]),
        ({"dynamics": [{"crescendo": "2:1 - 3:4"}]}, [2]),
        ({"dynamics": [{"crescendo": "2:1 - 3:2"}]}, [2]),
        ({"dynamics": [{"crescendo": "2:1 - 3:1"}]}, []),  # it arrives on the bar line, which is there each time
        ({"dynamics": [{"at": "3", "mark": "f"}]}, []),
        ({"tempo": [{"tempo": 60}, {"over": "2:1 - 3:4", "tempo": 50}]}, [2]),
    ],
)
def test_what_leads_to_an_ending_that_is_not_played(plan, expected):
    remarks = skipped(plan)
    assert [(remark.severity, remark.pass_) for remark in remarks] == [(Severity.ADVICE, n) for n in expected]


@pytest.mark.parametrize(("where", "pass_"), [("2:1 - 3:4", 1), ("2:1 - 4:4", 2)])
def test_the_pass_that_is_meant_is_said_and_nothing_sounds_different(where, pass_):
    plan = in_file(slowing(where, why="a sigh"))
    (remark,) = skipped(plan)
    (entry,) = entries_of(remark)
    assert list(entry.items())[-2:] == [("pass", pass_), ("why", "a sigh")]
    again = mended(plan, remark)
    assert skipped(again) == []
    before, after = (reading(each, bars=8, marks=ENDINGS).performance.notes for each in (plan, again))
    assert before.tobytes() == after.tobytes()


def test_an_end_that_is_played_on_several_passes_is_left_to_a_musician():
    plan = {"order": ["1-3", "1-2", "1-3"]} | slowing("2:1 - 3:4")
    (remark,) = found("end-skipped", in_file(plan))
    assert (remark.fix, remark.suggestion) == ((), "give each pass an entry of its own")


@pytest.mark.parametrize(("end", "expected"), [("4:1", []), ("4:2", [2])])
def test_an_entry_of_its_own_may_end_a_beat_later(end, expected):
    """The second time bar 4 follows bar 2: a slowdown that ends there with its first beat stands for the silent one."""
    other = {"ritenuto": f"4:1 - {end}", "then": "a tempo", "pass": 2}
    assert [remark.pass_ for remark in skipped(slowing("2:1 - 3:4", other))] == expected


# -- percussion


def test_a_drum_that_would_sound_like_a_tune():
    made = score(parts=("Drum",))
    made.parts["percussion"] = True
    (remark,) = [r for r in check(reading({}, made)) if r.code == "percussion-pitched"]
    assert (remark.severity, remark.suggestion) == (Severity.ADVICE, "instrument: {Drum: woodblock}")
    plan = {"instrument": entries_of(remark)[0]}
    assert [r for r in check(reading(plan, made)) if r.code == "percussion-pitched"] == []
    plain = replace(made, parts=made.parts.copy())
    plain.parts["percussion"] = False
    assert [r for r in check(reading({}, plain)) if r.code == "percussion-pitched"] == []
