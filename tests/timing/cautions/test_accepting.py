"""Acceptances: which remark each means, which it just misses, and what is said of those that mean none."""

from __future__ import annotations

import pytest
from planfiles import SCORE, faults, plan_of, write
from support import reading, score

from timing.cautions import check
from timing.cautions.accepting import with_acceptances
from timing.cautions.rules import MOST_TOLD, RULES
from timing.plan.planfile import read_plan
from timing.remarks import Edit, Remark, Severity

CODE, REASON = "slowing-mid-phrase", "the shift is meant to be heard"
MISPLACED = {
    "phrases": [{"bars": "1-4"}, {"bars": "5-8"}],
    "slowing": [{"rallentando": "6:1 - 6:2", "to": "60%", "then": "a tempo"}],
}


def accepting(*entries: dict, plan: dict = MISPLACED, **options) -> list[Remark]:
    """What is said of a plan with these acceptances."""
    entries = [{"because": REASON} | entry for entry in entries]
    return check(reading(plan | {"accept": entries}, **options))


def of(code: str, remarks: list[Remark]) -> list[Remark]:
    return [remark for remark in remarks if remark.code == code]


@pytest.mark.parametrize("place", [{"at": "6:2"}, {"at": "6"}, {"at": "6:2", "pass": 1}, {"at": "6", "pass": "last"}])
def test_what_the_plan_accepts_keeps_its_words_and_bears_the_reason(place):
    remarks = accepting({"code": CODE, **place})
    (remark,) = of(CODE, remarks)
    assert remark.accepted == REASON and remark.severity is Severity.CAUTION and not remark.stands
    assert not any(remark.stands for remark in remarks)
    assert remark.message == of(CODE, check(reading(MISPLACED)))[0].message


@pytest.mark.parametrize(
    "place", [{"at": "6:1"}, {"at": "6:2.5"}, {"at": 5}, {"at": "6:2", "pass": 2}, {"at": 6, "pass": "da capo"}, {}]
)
def test_another_place_or_pass_is_not_meant(place):
    remarks = accepting({"code": CODE, **place})
    (remark,), (unmatched,) = of(CODE, remarks), of("acceptance-unmatched", remarks)
    assert remark.accepted is None and remark.stands
    assert unmatched.stands and unmatched.suggestion == "at: 6:2" and unmatched.fix == ()
    assert "is not told" in unmatched.message and "but at 6:2" in unmatched.message


def test_what_is_accepted_comes_last():
    plan = {**MISPLACED, "slowing": [*MISPLACED["slowing"], {"ritenuto": "2:1 - 2:2", "to": "60%", "then": "a tempo"}]}
    assert [r.accepted for r in of(CODE, accepting({"code": CODE, "at": "2:2"}, plan=plan))] == [None, REASON]


def test_only_that_hearing_is_accepted_which_the_pass_names():
    again = {"order": ["1-8", "1-8"], "second time": [{"bars": "1-8", "softer": "3 dB"}]}
    plan = MISPLACED | again
    plan["slowing"] = [
        MISPLACED["slowing"][0] | {"pass": 1},
        MISPLACED["slowing"][0] | {"rallentando": "6:1 - 6:1", "pass": 2},
    ]
    told = {r.pass_: r.accepted for r in of(CODE, accepting({"code": CODE, "at": 6, "pass": 2}, plan=plan))}
    assert told == {1: None, 2: REASON}


def test_what_has_no_place_in_the_music_is_accepted_without_one():
    plan = {"tempo": []}
    assert of("no-tempo", accepting({"code": "no-tempo"}, plan=plan))[0].accepted == REASON
    remarks = accepting({"code": "no-tempo", "at": 1}, plan=plan)
    assert of("no-tempo", remarks)[0].accepted is None and len(of("acceptance-unmatched", remarks)) == 1


def test_an_acceptance_that_has_outlived_its_caution_is_one():
    remarks = accepting({"code": CODE, "at": "6:2"}, plan={"phrases": MISPLACED["phrases"]})
    assert [(r.code, r.severity) for r in remarks if r.stands] == [("acceptance-unmatched", Severity.CAUTION)]
    assert "nothing is left to accept" in remarks[0].message


def test_it_can_be_taken_out(tmp_path):
    from timing.reading import perform

    plan = plan_of(tmp_path, "tempo: 60\naccept:\n  - {code: slowing-mid-phrase, at: 3, because: once}\n")
    (remark,) = of("acceptance-unmatched", check(perform(score(), plan)))
    assert remark.place.line == 4 and remark.place.column == 12
    assert remark.fix == (Edit("accept", None, plan.accept[0].place()),)
    assert (remark.fix[0].place.line, remark.fix[0].place.column) == (4, 5)


@pytest.mark.parametrize(
    ("code", "near"), [("slowing-mid-phase", CODE), ("Slowing-Mid-Phrase", CODE), ("too loud for me", None)]
)
def test_a_code_that_there_is_not_is_told_with_the_nearest_one(code, near):
    (remark,) = of("acceptance-unmatched", accepting({"code": code, "at": "6:2"}))
    assert f"no caution is called '{code}'" in remark.message
    assert remark.suggestion == (near and f"code: {near}")
    assert (near or "did you mean") not in remark.message if near is None else f"'{near}'?" in remark.message


def test_a_place_that_the_score_does_not_have_is_met_by_nothing():
    assert len(of("acceptance-unmatched", accepting({"code": CODE, "at": 40}))) == 1


def test_two_acceptances_of_one_caution_are_both_met():
    remarks = accepting({"code": CODE, "at": 6}, {"code": CODE, "at": "6:2", "because": "another"})
    assert of(CODE, remarks)[0].accepted == REASON and of("acceptance-unmatched", remarks) == []


def test_beats_are_the_same_however_they_are_written():
    plan = {**MISPLACED, "slowing": [{"rallentando": "6:1 - 6:2", "to": "60%", "then": "a tempo"}]}
    for at in ("6:2.0", "6 : 2", "06:2"):
        assert of(CODE, accepting({"code": CODE, "at": at}, plan=plan))[0].accepted == REASON


# Twice in bar 2, twice in bar 6 and, the second time alone, in bar 3.
THRICE = MISPLACED | {
    "order": ["1-8", "1-8"],
    "slowing": [
        {"ritenuto": "2:1 - 2:1", "to": "60%", "then": "a tempo"},
        {"ritenuto": "2:2 - 2:2", "to": "60%", "then": "a tempo"},
        {"ritenuto": "6:1 - 6:1", "to": "60%", "then": "a tempo"},
        {"ritenuto": "6:2 - 6:2", "to": "60%", "then": "a tempo"},
        {"ritenuto": "2:4 - 3:1", "to": "60%", "then": "a tempo", "pass": 2},
    ],
}


@pytest.mark.parametrize(
    ("place", "there", "nearest"),
    [
        ({"at": 5}, " at 5", "6:1"),
        ({"at": "5:3"}, " at 5:3", "6:2"),  # of bar 6 the beat that is nearer
        ({"at": "6:4"}, " at 6:4", "6:2"),
        ({"at": 1}, " at 1", "2:1"),
        ({"at": 4}, " at 4", "3:1, pass: 2"),
        ({"at": 6, "pass": 2}, " at 6, pass 2", "6:1"),
        ({}, " of the piece as a whole", "2:1"),
    ],
)
def test_an_acceptance_beside_its_caution_is_told_the_nearest_place(place, there, nearest):
    (unmatched,) = of("acceptance-unmatched", accepting({"code": CODE, **place}, plan=THRICE))
    assert unmatched.message == f"{CODE} is not told{there}, but at {nearest}"
    assert (unmatched.suggestion, unmatched.fix) == (f"at: {nearest}", ())


def test_neither_what_is_accepted_nor_another_kind_is_offered_to_an_acceptance():
    plan = MISPLACED | {"order": ["1-8", "1-8"]}  # second-time-same stands as well
    remarks = accepting({"code": CODE, "at": "6:2"}, {"code": CODE, "at": "5:1"}, plan=plan)
    assert len(of("second-time-same", remarks)) == 1
    (unmatched,) = of("acceptance-unmatched", remarks)
    assert unmatched.message == f"{CODE} is not told at 5:1: nothing is left to accept"
    assert unmatched.suggestion == "leave the entry out" and len(unmatched.fix) == 1


def test_in_bars_of_one_number_the_nearest_place_is_named_with_its_letter():
    made = score(8)
    made.bars["number"][5:], made.bars["suffix"][5] = [5, 6, 7], "a"
    plan = {"phrases": [{"bars": "1-4"}, {"bars": "5-7"}]}
    plan["slowing"] = [{"ritenuto": "5a:1 - 5a:2", "to": "60%", "then": "a tempo"}]
    (unmatched,) = of("acceptance-unmatched", accepting({"code": CODE, "at": "5a:3"}, plan=plan, made=made))
    assert unmatched.suggestion == "at: 5a:2"


@pytest.mark.parametrize("code", [CODE, "slowing-mid-phase"])
def test_what_is_said_of_an_acceptance_points_at_its_code(tmp_path, code):
    from timing.reading import perform

    text = "tempo: 60\nphrases: [1-4, 5-8]\nslowing: [{ritenuto: 6:1 - 6:2, to: 60%, then: a tempo}]\n"
    plan = plan_of(tmp_path, f"{text}accept: [{{code: {code}, at: 5, because: a sigh}}]\n")
    (unmatched,) = of("acceptance-unmatched", check(perform(score(), plan)))
    assert (unmatched.place.line, unmatched.place.column) == (5, 17)


def test_an_error_is_never_accepted():
    plan = MISPLACED | {"accept": [{"code": CODE, "at": "6:2", "because": REASON}]}
    for severity, reason in ((Severity.ERROR, None), (Severity.CAUTION, REASON)):
        told = with_acceptances([Remark(severity, CODE, "x", bar_name="6", beat=2.0)], reading(plan))
        assert told[0].accepted == reason and len(told) == 1 + (reason is None)


@pytest.mark.parametrize(
    ("place", "reason"),
    [({"at": 6}, REASON), ({"at": 6, "pass": 1}, REASON), ({"at": 6, "pass": 2}, None), ({"at": 5}, None)],
)
def test_what_is_told_of_a_whole_bar_is_accepted_there(place, reason):
    """As of a fault of the score, which has neither beat nor pass: it is there from the first time on."""
    plan = {"order": ["1-8", "1-8"], "accept": [{"code": CODE, "because": REASON} | place]}
    told, *unmatched = with_acceptances([Remark(Severity.CAUTION, CODE, "x", bar_name="6")], reading(plan))
    assert told.accepted == reason
    assert [each.suggestion for each in unmatched] == ([] if reason else ["at: 6"])


# -- where only the first few are told

# Six plucked chords, each with two tones at once.
SIX = {
    "instrument": "classical guitar",
    "tone": [{"bars": "1-6", "tone": "sul tasto", "for": "voice 1"}, {"bars": "1-6", "tone": "5 cm", "for": "voice 2"}],
}
GUITAR = {"bars": 6, "voices": {1: "e5:4 " * 6, 2: "c4:4 " * 6}, "parts": ("Guitar",)}


def test_each_place_that_is_accepted_lets_another_one_be_told():
    code = "tone-two-places"
    told = of(code, accepting(plan=SIX, **GUITAR))
    assert [(r.bar, r.more) for r in told] == [(1, 0), (2, 0), (3, 0), (4, 3)] and len(told) == MOST_TOLD + 1
    told = of(code, accepting({"code": code, "at": 5}, {"code": code, "at": "2:1"}, plan=SIX, **GUITAR))
    assert [(r.bar, r.more, r.accepted) for r in told] == [
        (1, 0, None), (3, 0, None), (4, 0, None), (6, 1, None), (2, 0, REASON), (5, 0, REASON),
    ]  # fmt: skip


def test_what_stands_for_several_places_is_not_accepted():
    told = of("tone-two-places", accepting({"code": "tone-two-places", "at": 4}, plan=SIX, **GUITAR))
    assert [(r.bar, r.accepted) for r in told if r.more] == [(5, None)]


# -- in the plan


@pytest.mark.parametrize(
    ("entry", "says"),
    [
        ("{code: no-tempo}", "'because' is missing from this entry"),
        ("{at: 3, because: x}", "'code' is missing from this entry"),
        ("{code: no-tempo, because: ''}", "empty"),
        ("{code: no-tempo, because: true}", "must be a text"),
        ("{code: no-tempo, because: }", "nothing stands after 'because'"),
        ("{code: no-tempo, at: 7.2, because: x}", "as in 7:2"),
        ("{code: no-tempo, pass: 2, because: x}", "say 'at' which bar"),
        ("{code: no-tempo, becouse: x}", "did you mean 'because'?"),
        ("{code: no-tempo, because: a, b}", "a comma inside { } ends the value"),
    ],
)
def test_a_fault_in_an_acceptance_is_told_in_words(tmp_path, entry, says):
    assert any(says in fault.message for fault in faults(tmp_path, f"{SCORE}accept: [{entry}]\n"))


def test_acceptances_add_up_in_a_plan_that_is_based_on_another(tmp_path):
    base = "accept: [{code: a, at: 1:1, because: old}, {code: b, because: old}, {code: c, at: 2, pass: 1, because: o}]"
    write(tmp_path, SCORE + base, "base.yaml")
    own = "accept: [{code: a, at: '1 : 1', because: new}, {code: a, at: 2, because: own}, {code: b, omit: yes}]"
    plan = read_plan(write(tmp_path, f"based on: base.yaml\n{own}", "own.yaml"))
    assert [(e.code, str(e.at), e.passes, e.because) for e in plan.accept] == [
        ("a", "1:1", None, "new"), ("c", "2", 1, "o"), ("a", "2", None, "own"),
    ]  # fmt: skip
    assert read_plan(write(tmp_path, "based on: base.yaml\nwithout: accept", "own.yaml")).accept == ()


def test_the_page_of_an_unmatched_acceptance_has_everything():
    (rule,) = [rule for rule in RULES if rule.code == "acceptance-unmatched"]
    assert rule.why and rule.example and rule.threshold and rule.source
