"""All that is told of a reading: the order of the remarks, and of every rule its page, its example and the demo."""

from __future__ import annotations

import shutil
from collections import Counter
from functools import lru_cache
from pathlib import Path

import pytest
from house import PLANS
from judged import told
from support import reading

from soundfonts import guitar
from timing import load
from timing.cautions import RULES, check
from timing.remarks import Remark

FOUR = {"phrases": [{"bars": "1-4"}, {"bars": "5-8"}]}
SHOWN = [rule for rule in RULES if rule.find is not None and rule.example.startswith("score:")]


# -- the list of rules


def test_every_code_is_told_by_one_rule():
    assert [code for code, count in Counter(rule.code for rule in RULES).items() if count > 1] == []


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.code)
def test_all_there_is_to_say_of_a_code_is_said(rule):
    assert rule.why.endswith(".") and rule.why[0].isupper()
    assert rule.threshold and rule.source and rule.example
    assert "wrong" not in rule.why + rule.threshold + rule.example + rule.mends


@pytest.fixture(scope="module")
def plans(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("plans")
    for file in PLANS.glob("*.musicxml"):
        shutil.copy(file, folder)
    return folder


@pytest.mark.parametrize("rule", SHOWN, ids=lambda rule: rule.code)
def test_the_example_of_a_rule_is_told_so(rule, plans):
    plan = plans / "example.yaml"
    plan.write_text(rule.example, encoding="utf-8")
    remarks = [remark for remark in check(load(plan), sound=guitar) if remark.code == rule.code]
    assert remarks
    assert any(remark.fix for remark in remarks) == bool(rule.mends)


# -- the demo


@lru_cache
def of_demo(name: str) -> tuple[Remark, ...]:
    return tuple(check(load(PLANS / f"{name}.yaml"), sound=guitar))


@pytest.mark.parametrize("name", ["low-water-flowing", "low-water-inward", "umbrella-stand-dancing"])
def test_a_good_plan_of_the_demo_earns_no_caution(name):
    assert [remark.code for remark in of_demo(name) if remark.severity != "advice"] == []


def test_the_plan_with_a_fault_to_find_earns_just_that_caution():
    assert [r.code for r in of_demo("low-water-misplaced") if r.severity != "advice"] == ["slowing-mid-phrase"]


# -- their order


def test_the_gravest_comes_first():
    plan = FOUR | {
        "slowing": [{"rallentando": "1:1 - 2:1", "to": "70%"}, {"rallentando": "1:1 - 3:1", "to": "70%"}],
    }
    weights = [("error", "caution", "advice").index(remark.severity) for remark in check(reading(plan, bars=8))]
    assert weights == sorted(weights) and len(set(weights)) == 2


def test_what_performing_met_is_told_too():
    plan = FOUR | {"slowing": [{"rallentando": "1:1 - 4:4"}, {"rallentando": "3:1 - 4:4", "then": "a tempo"}]}
    assert len(told("slowings-overlap", reading(plan, bars=8))) == 1


# -- the score's own marks


def test_what_the_score_has_is_the_composers():
    """A printed rit. in the middle of a phrase, which nothing takes back, and a sudden new tempo in another."""
    marks = [
        {"kind": "words", "bar": 1, "text": "rit."},
        {"kind": "double bar", "bar": 2},
        {"kind": "tempo", "bar": 5, "value": 90.0},
        {"kind": "hairpin", "bar": 0, "end_bar": 1, "value": 1.0},
    ]
    made = reading(FOUR | {"tempo": ()}, bars=12, marks=marks)
    assert len(made.pace.slowings) == 1
    assert [remark.code for remark in check(made)] == []


# -- once each


def test_what_is_the_same_on_several_passes_is_told_once():
    holds = [{"fermata": "1:1 - 1:3"}, {"fermata": "1:2"}]
    (twice,) = told("holds-overlap", reading({"order": "1-2, 1-2", "holds": holds}, bars=2))
    assert (twice.pass_, twice.passes) == (1, (1, 2))
    (once,) = told("holds-overlap", reading({"holds": holds}, bars=2))
    assert (once.pass_, once.passes) == (1, ())
