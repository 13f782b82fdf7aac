"""How deep inner and outer ends are: whether the form is heard upside down, and what mends it."""

from __future__ import annotations

import pytest
from judged import entries_of, in_file, mended, told
from slowed import EIGHT, FOUR, NESTED, found
from support import reading, score


def ends(inner: str, outer: str | None, phrases: dict = NESTED, **more) -> dict:
    slowing = [{"rallentando": "3:3 - 4:4", "to": inner, "then": "a tempo"}]
    if outer:
        slowing.append({"rallentando": "7:1 - 8:4", "to": outer})
    return phrases | {"slowing": slowing} | more


@pytest.mark.parametrize(
    ("plan", "expected"),
    [
        (ends("75%", "80%"), ["advice"]),
        (ends("76%", "80%"), []),  # a difference that is hardly heard
        (ends("85%", "80%"), []),
        (ends("95%", None), ["advice"]),
        (ends("96%", None), []),
        (ends("80%", None, holds=[{"fermata": "8:4"}]), []),  # the larger end is held
        (ends("80%", None, holds=[{"caesura": "after 8"}]), []),
        (ends("80%", None, holds=[{"agogic": "8:4"}]), ["advice"]),  # that is no ending
        (ends("80%", None, holds=[{"delay": "8:4", "by": "40 ms"}]), ["advice"]),  # nor is that
        (ends("80%", None, holds=[{"fermata": "6:4"}]), ["advice"]),
        (ends("60%", "80%", FOUR), []),  # neither is in the other
        (ends("60%", "80%", EIGHT), []),
    ],
)
def test_an_inner_end_that_is_slower_than_the_outer_one(plan, expected):
    assert [str(remark.severity) for remark in found("inner-end-slower", plan)] == expected


@pytest.mark.parametrize(
    ("where", "there"),
    [("6:3 - 7:4", "which does not slow"), ("6:3 - 8:1", "which goes to 80%"), ("7:3 - 8:4", "which goes to 80%")],
)
def test_an_end_is_slowed_in_its_last_bar(where, there):
    plan = ends("70%", None)
    plan["slowing"].append({"rallentando": where, "to": "80%", "then": "a tempo"})
    (remark,) = found("inner-end-slower", plan)
    assert there in remark.message


def test_the_inner_end_is_made_milder():
    plan = in_file(ends("70%", "80%"))
    (remark,) = found("inner-end-slower", plan)
    assert remark.message.startswith(
        "the rallentando 3:3 - 4:4 brings the end of the phrase 1-4 to 70%, slower than the end of the phrase 1-8 that "
        "contains it, which goes to 80%"
    )
    assert remark.suggestion == "{rallentando: 3:3 - 4:4, to: 86%, then: a tempo}"
    assert found("inner-end-slower", mended(plan, remark)) == []


@pytest.mark.parametrize(("bars", "more"), [(8, {}), (12, {"then": "a tempo"})])
def test_an_outer_end_that_does_not_slow_is_slowed_as_much(bars, more):
    plan = in_file(ends("70%", None))
    (remark,) = found("inner-end-slower", plan, bars=bars)
    assert entries_of(remark) == [{"rallentando": "7:3 - 8:4", "to": "70%"} | more]
    assert found("inner-end-slower", mended(plan, remark), bars=bars) == []


def test_ends_that_a_pass_does_not_play_are_not_compared():
    """The first time the order goes back before the larger phrase is over."""
    plan = ends("70%", "60%") | {"order": ["1-6", "1-8"]}
    assert found("inner-end-slower", plan) == []


def test_an_outer_end_before_a_repeat_is_slowed_as_long_and_on_the_pass_of_the_inner_one():
    plan = ends("70%", None) | {"order": ["1-8", "1-8"]}
    (remark,) = found("inner-end-slower", in_file(plan), bars=8)
    assert entries_of(remark) == [{"rallentando": "7:3 - 8:4", "to": "70%", "then": "a tempo"}]
    plan["slowing"][0]["pass"] = 1
    (remark,) = found("inner-end-slower", in_file(plan), bars=8)
    assert entries_of(remark) == [{"rallentando": "7:3 - 8:4", "to": "70%", "then": "a tempo", "pass": 1}]


def test_a_rit_that_is_printed_at_the_inner_end_is_the_composers():
    marks = [{"kind": "words", "bar": 3, "text": "rit."}, {"kind": "words", "bar": 4, "text": "a tempo"}]
    made = reading(NESTED, score(bars=8, marks=marks))
    (slow,) = (slow for slow in made.pace.slowings if slow.to < 1)
    assert (slow.run.start, slow.until) == (12, 16) and slow.to < 0.95
    assert told("inner-end-slower", made) == []
