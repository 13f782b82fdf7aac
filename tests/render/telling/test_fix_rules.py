"""The example of every rule, mended: its remark is gone and no other has come, or it is known to take a musician."""

from __future__ import annotations

import shutil
from collections import Counter
from pathlib import Path

import pytest
from house import PLANS

from soundfonts import guitar
from timing.cautions import check
from timing.cautions.fixing import everything, fix
from timing.cautions.rules import RULES
from timing.loading import load
from timing.remarks import Severity

EXAMPLES = {rule.code: rule.example for rule in RULES if rule.example.startswith(("score:", "based on:", "title:"))}

# Of these a change is offered that the example does not bear; what it would bring instead.
LEFT = {
    "no-strings": "unplayable-chord",  # it was written for another instrument
}


@pytest.fixture
def plan(tmp_path) -> Path:
    for file in PLANS.iterdir():
        shutil.copy(file, tmp_path)
    return tmp_path / "example.yaml"


def kinds(remarks) -> Counter:
    return Counter((r.severity, r.code, r.bar, r.beat, r.pass_) for r in remarks)


@pytest.mark.parametrize("code", EXAMPLES)
def test_the_example_is_mended_or_takes_a_musician(plan, code):
    plan.write_text(text := EXAMPLES[code], encoding="utf-8")
    before = check(load(plan), guitar)
    offered = [remark for remark in before if remark.code == code and remark.fix]
    mended = fix(plan, text, guitar, everything)
    cautions = [remark for remark in mended.remarks if remark.severity is Severity.CAUTION]
    assert kinds(cautions) <= kinds(before)
    assert mended.remarks == check(load(plan, text=mended.text), guitar)
    left = [remark for remark in mended.remarks if remark.code == code and remark.fix]
    reasons = [why for remark, why in mended.refused if remark.code == code]
    if code in LEFT:
        assert offered and left and all(LEFT[code] in why for why in reasons) and reasons
    else:
        assert left == [] and reasons == []
        assert not offered or code in [remark.code for remark in mended.fixed]


def test_most_rules_that_have_a_plan_for_an_example_are_mended_in_it():
    assert EXAMPLES.keys() >= LEFT.keys() and len(EXAMPLES) > 30
