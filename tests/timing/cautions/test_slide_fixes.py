"""What is offered to mend a slide earns no other caution at its place."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import HealthCheck, assume, example, given, settings
from hypothesis import strategies as st
from support import midi, reading, score

from timing.cautions import check
from timing.plan.edits import shown
from timing.remarks import Severity

CODES = ("slide-two-strings", "slide-from-open", "slide-to-open")
NAMES = ("c", "c#", "d", "d#", "e", "f", "f#", "g", "g#", "a", "a#", "b")
PLACES = ("1:1", "1:2", "1:3")
LOW, HIGH = midi("e2"), midi("b5")


def guitar(chords: list[list[int]], plan: dict):
    voice = " ".join(f"{'+'.join(f'{NAMES[p % 12]}{p // 12 - 1}' for p in chord)}:1" for chord in chords)
    return reading(plan, score(bars=1, voices={1: voice}, program=24))


def told(made) -> list:
    return [remark for remark in check(made) if remark.severity is Severity.CAUTION]


def entries(edits) -> list[dict]:
    from ruamel.yaml import YAML

    return [dict(YAML(typ="safe").load(edit.entry)) for edit in edits]


chords = st.lists(st.integers(LOW, HIGH), min_size=1, max_size=4, unique=True).map(sorted)


def what(remark) -> tuple:
    """What is told, wherever it is told: a chord that no hand takes is told once for each way in which it fails, and
    elsewhere in the music it may come to fail in another."""
    chord = remark.message.partition(". ")[0].partition(")")[0]
    return (remark.code, chord) if remark.code == "unplayable-chord" else (remark.code, remark.bar_name, remark.beat)


@settings(suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow])
@example([[46, 76], [59], [41], [46, 76]], 2, 1, "1:2")
@example([[40], [41], [59], [41, 42]], 1, 2, "1:2")
@given(st.lists(chords, min_size=4, max_size=4), st.integers(1, 6), st.integers(1, 6), st.sampled_from(PLACES))
def test_what_is_offered_for_a_slide_earns_no_other_caution(notes, one, other, place):
    assume(all(here[-1] != there[-1] for here, there in pairwise(notes)))
    goal = f"1:{int(place[-1]) + 1}"
    asked = [{"at": place, "string": one}, {"at": goal, "string": other}]
    plan = {"strings": asked, "glissandi": [{"from": place, "to": goal, "swell": "3 dB"}]}
    made = guitar(notes, plan)
    before = told(made)
    mended = [remark for remark in before if remark.code in CODES and remark.fix]
    assume(mended)
    for remark in mended:
        after = told(guitar(notes, plan | {"strings": asked + entries(remark.fix)}))
        assert remark.code not in [each.code for each in after], shown(remark.fix)
        known = {what(each) for each in before}
        new = [each for each in after if what(each) not in known]
        assert not new, (shown(remark.fix), [each.message for each in new])


def test_where_nothing_better_exists_that_is_said():
    """E5 to F5 beside a low chord: on one string, no hand reaches both."""
    plan = {"strings": [{"at": "1:1", "string": 2}], "glissandi": [{"from": "1:1", "to": "1:2", "swell": "3 dB"}]}
    made = guitar([[midi("f2"), midi("g#4")], [midi("f2"), midi("a5")], [midi("c4")], [midi("c4")]], plan)
    (remark,) = (remark for remark in told(made) if remark.code == "slide-two-strings")
    assert "no string can take both notes beside what else they are to be played with" in remark.message
    assert (remark.fix, remark.suggestion) == ((), "leave the slide out")
