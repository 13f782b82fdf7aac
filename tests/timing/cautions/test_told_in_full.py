"""All that is told of a place: how grave it is, where it stands in the plan, bar, beat and pass, what would mend it."""

from __future__ import annotations

import shutil

import pytest
from house import PLANS

from soundfonts import guitar
from timing.cautions import check
from timing.cautions.rules import RULES
from timing.loading import load

# For the example of each code, by its page: how grave; line and column in the plan (None: it is of the music alone);
# bar, beat and pass (None: of the piece as a whole); whether something is suggested, and how many changes are offered.
TOLD = {
    "second-time-same": ("advice", None, ("1:1", 2), True, 1),
    "end-skipped": ("advice", (5, 19), ("9:4", 2), True, 1),
    "open-string-out": ("caution", None, ("4:4", 1), True, 1),
    "tuning-unknown": ("advice", (2, 9), None, False, 0),
    "tone-too-quick": ("caution", None, ("13:1", 1), True, 1),
    "tone-two-places": ("caution", None, ("7:1", 1), True, 1),
    "level-out-of-range": ("caution", None, ("7:1", 1), True, 0),
    "level-not-restored": ("advice", (7, 17), ("6:3", 3), True, 1),
    "tone-not-restored": ("advice", (5, 12), ("18:6", 1), True, 1),
    "inner-over-melody": ("caution", None, ("1:1", 1), True, 0),
    "no-such-mark": ("caution", (2, 32), None, False, 0),
    "never-heard": ("caution", (2, 25), None, False, 0),
    "role-not-found": ("advice", (2, 53), None, False, 0),
    "slowings-overlap": ("caution", (4, 16), ("10:1", 1), True, 1),
    "holds-overlap": ("caution", (2, 42), ("27:2", 1), True, 0),
    "no-strings": ("caution", (2, 9), None, True, 1),
    "no-harmonic": ("caution", None, ("21:1", 1), False, 0),
    "off-the-instrument": ("caution", None, ("5:4", 1), False, 0),
    "string-cannot-reach": ("caution", (2, 38), ("3:1", 1), True, 1),
    "fret-contradicts": ("caution", (2, 40), ("3:1", 1), True, 1),
    "unplayable-chord": ("caution", None, ("27:1", 1), False, 0),
    "rubato-overlap": ("caution", (2, 41), ("7:1", 1), True, 0),
    "rubato-limited": ("caution", (2, 26), ("3:1", 1), True, 0),
    "delay-limited": ("caution", (2, 26), ("2:6", 1), True, 0),
    "tone-carried": ("advice", None, ("24:1", 1), False, 0),
    "no-phrases": ("advice", (4, 19), None, True, 1),
    "no-return": ("advice", (6, 19), ("8:1", 1), True, 1),
    "slowings-multiply": ("caution", (7, 19), ("8:1", 1), True, 1),
    "pace-jump": ("caution", (5, 45), ("7:1", 1), True, 1),
    "bare-tempo": ("advice", (2, 8), None, True, 1),
    "phrases-overlap": ("caution", (3, 16), ("5:1", 1), True, 1),
    "phrase-outside": ("caution", (3, 37), ("5:1", 2), True, 1),
    "phrases-gap": ("advice", (3, 24), ("4:3", 1), True, 1),
    "phrase-cuts-tie": ("caution", (3, 11), ("8:1", 1), True, 2),
    "slide-from-open": ("caution", (3, 13), ("19:6", 1), True, 2),
    "slide-to-open": ("caution", (3, 13), ("3:4", 1), True, 2),
    "slide-two-strings": ("caution", (3, 13), ("23:4", 1), True, 2),
    "slide-long": ("caution", (2, 13), ("23:4", 1), True, 1),
    "slide-faint": ("advice", (3, 13), ("23:4", 1), True, 0),
    "slide-no-swell": ("caution", (2, 13), ("23:4", 1), True, 1),
    "slide-over-rest": ("caution", (2, 13), ("23:4", 1), True, 0),
    "ligado-after-rest": ("caution", None, ("3:2", 1), True, 0),
    "slowing-mid-phrase": ("caution", (5, 19), ("6:1", 1), True, 1),
    "slowing-over-end": ("caution", (5, 19), ("6:1", 1), True, 1),
    "inner-end-slower": ("advice", (5, 19), ("4:3", 1), True, 1),
    "acceptance-unmatched": ("caution", (6, 12), None, True, 1),
}
EXAMPLES = {rule.code: rule.example for rule in RULES if rule.example.startswith("score:")}


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    place = tmp_path_factory.mktemp("told")
    for score in PLANS.glob("*.musicxml"):
        shutil.copy(score, place)
    return place


def test_every_example_that_is_a_plan_is_here():
    assert EXAMPLES.keys() == TOLD.keys()


@pytest.mark.parametrize("code", TOLD)
def test_what_is_told_is_told_in_full(code, folder):
    plan = folder / f"{code}.yaml"
    plan.write_text(EXAMPLES[code], encoding="utf-8")
    remark = next(remark for remark in check(load(plan), sound=guitar) if remark.code == code)
    grave, place, at, suggested, changes = TOLD[code]
    assert remark.severity == grave
    assert (remark.place and (remark.place.line, remark.place.column)) == place
    assert place is None or remark.place.excerpt == EXAMPLES[code].splitlines()[place[0] - 1]
    assert (remark.bar_name and (f"{remark.bar_name}:{remark.beat:g}", remark.pass_)) == at
    assert (bool(remark.suggestion), len(remark.fix)) == (suggested, changes)
    assert len(remark.message.split()) > 4 and not remark.message.endswith(".")
    for said in filter(None, (remark.message, remark.suggestion)):
        assert "None" not in said and said == " ".join(said.split())
