"""The rules for the pace: a case that earns each, one that just misses it, and what its fix makes of the plan."""

from __future__ import annotations

import io

import pytest
from judged import entries_of, in_file, mended, told
from ruamel.yaml import YAML
from support import reading, score

from timing import read_plan
from timing.cautions import check
from timing.plan import Plan
from timing.reading import perform
from timing.remarks import Remark, Severity

FOUR = {"phrases": [{"bars": "1-4"}, {"bars": "5-8"}]}


def found(code: str, plan: dict, **options) -> list[Remark]:
    return told(code, reading(plan, **options))


def yaml(text: str):
    return YAML(typ="safe").load(io.StringIO(text))


# -- phrases, and coming back


def test_slowdowns_without_phrases_cannot_be_judged():
    slowing = {"slowing": [{"rallentando": "4:1 - 4:4", "then": "a tempo"}]}
    (remark,) = found("no-phrases", slowing, bars=8)
    assert remark.severity is Severity.ADVICE
    assert found("no-phrases", slowing | yaml(remark.suggestion), bars=8) == []
    assert found("no-phrases", {"slowing": [{"accelerando": "4", "then": "a tempo"}]}, bars=8) == []


def test_a_printed_rit_asks_for_no_phrases():
    made = reading({}, score(bars=8, marks=[{"kind": "words", "bar": 3, "text": "rit."}]))
    assert len(made.pace.slowings) == 1 and told("no-phrases", made) == []


@pytest.mark.parametrize(
    ("plan", "expected"),
    [
        ({"slowing": [{"rallentando": "4:1 - 4:4"}]}, 1),
        ({"slowing": [{"accelerando": "4:1 - 4:4"}]}, 1),
        ({"slowing": [{"rallentando": "4:1 - 4:4", "then": "a tempo"}]}, 0),
        ({"slowing": [{"rallentando": "4:1 - 4:4"}, {"a tempo": "5"}]}, 0),
        ({"slowing": [{"rallentando": "4:1 - 4:4"}], "tempo": [{"tempo": 60}, {"at": "5:1", "tempo": 50}]}, 0),
        ({"slowing": [{"rallentando": "4:1 - 4:4"}], "tempo": [{"tempo": 60}, {"at": "4:1", "tempo": 50}]}, 1),
        ({"slowing": [{"rallentando": "8:1 - 8:4"}]}, 0),  # the end of the piece
        ({"slowing": [{"rallentando": "7:1 - 7:4"}]}, 0),  # its last bar goes on as slowly
        ({"slowing": [{"rallentando": "6:1 - 7:1"}]}, 1),
        (
            {"slowing": [{"rallentando": "4:1 - 4:2"}, {"rallentando": "4:3 - 4:4", "then": "a tempo"}]},
            0,
        ),  # in two steps
        ({"slowing": [{"rallentando": "2:1 - 2:2"}, {"rallentando": "4:3 - 4:4", "then": "a tempo"}]}, 1),
        ({"slowing": [{"rallentando": "4:1 - 4:2"}, {"rallentando": "4:4 - 5:2", "then": "a tempo"}]}, 0),  # a beat on
        ({"slowing": [{"rallentando": "4:1 - 4:2"}, {"rallentando": "5:1 - 5:2", "then": "a tempo"}]}, 1),
        (
            {"slowing": [{"rallentando": "3"}, {"a tempo": "5"}, {"rallentando": "5:1 - 5:2", "then": "a tempo"}]},
            0,
        ),  # back just as the next one begins
        (
            {"slowing": [{"rallentando": "4:1 - 4:4"}], "order": ["1-4", "1-8"]},
            1,
        ),  # back at bar 1 the tempo is back too
        ({"slowing": [{"rallentando": "4:1 - 4:4", "pass": 1}], "order": ["1-4", "1-8"]}, 0),
    ],
)
def test_no_return(plan, expected):
    assert len(found("no-return", FOUR | plan, bars=8)) == expected


def test_what_never_comes_back_on_either_pass_is_told_once():
    slowing = [{"rallentando": "2:1 - 2:4"}, {"rallentando": "6:1 - 6:4", "then": "a tempo"}]
    (remark,) = found("no-return", FOUR | {"order": ["1-8", "1-8"], "slowing": slowing}, bars=8)
    assert (remark.bar, remark.beat, remark.pass_) == (2, 4, 1)


def test_a_printed_rit_that_the_score_never_takes_back_is_the_composers():
    made = reading(FOUR, score(bars=8, marks=[{"kind": "words", "bar": 1, "text": "rit."}]))
    assert len(made.pace.slowings) == 1 and told("no-return", made) == []


def test_the_tempo_is_brought_back():
    slow = {"rallentando": "4:1 - 4:4", "to": "70%", "why": "a sigh"}
    plan = in_file(FOUR | {"slowing": [slow]})
    (remark,) = found("no-return", plan)
    assert remark.suggestion == "{rallentando: 4:1 - 4:4, to: 70%, then: a tempo, why: a sigh}"
    assert found("no-return", mended(plan, remark)) == []


# -- what multiplies


def falling(slow: str = "3:1 - 4:4", over: str = "3:1 - 4:4", tempo: object = 48, **more) -> dict:
    slowing = [{"rallentando": slow, "to": "75%", "then": "a tempo"}]
    return FOUR | {"slowing": slowing, "tempo": [{"tempo": 60}, {"over": over, "tempo": tempo} | more]}


@pytest.mark.parametrize(
    ("plan", "expected"),
    [
        (falling(), 1),
        (falling(tempo="95%"), 1),
        (falling(tempo="96%"), 0),  # hardly heard
        (falling(tempo=72), 0),  # it rises
        (falling(over="1:1 - 2:4"), 0),  # it is over before
        (falling(over="5:1 - 6:4"), 0),
        (falling(over="1:1 - 8:4"), 1),
        (falling() | {"tempo": [{"tempo": 60}, {"at": "4:1", "tempo": 48}]}, 1),  # at once, in the middle of it
        (falling() | {"tempo": [{"tempo": 60}, {"at": "3:1", "tempo": 48}]}, 0),
        (falling() | {"tempo": [{"tempo": 60}, {"at": "5:1", "tempo": 48}]}, 0),
        (falling() | {"slowing": [{"accelerando": "3:1 - 4:4", "then": "a tempo"}]}, 0),
        (FOUR | {"slowing": [{"rallentando": "2:1 - 3:4"}, {"rallentando": "3:1 - 4:4", "then": "a tempo"}]}, 0),
    ],
)
def test_a_slowdown_over_a_falling_tempo(plan, expected):
    remarks = found("slowings-multiply", plan)
    assert [remark.severity for remark in remarks] == [Severity.CAUTION] * expected


def test_the_new_tempo_waits_for_the_end_of_the_slowdown():
    plan = in_file(falling(curvature=1))
    (remark,) = found("slowings-multiply", plan)
    assert "from 60 to 48 quarters a minute: the two multiply, and its end is at 60% of the tempo" in remark.message
    assert entries_of(remark) == [{"tempo": 48, "at": "5:1"}]
    made = reading(mended(plan, remark))
    assert told("slowings-multiply", made) == []
    assert float(made.performance.time.tempo(16.0, before=True)) == pytest.approx(45)  # 75 % of 60
    assert float(made.performance.time.tempo(16.0)) == pytest.approx(48)


@pytest.mark.parametrize("plan", [falling("7:1 - 8:4", "7:1 - 8:4"), falling() | {"order": ["1-4", "1-8"]}])
def test_where_the_music_does_not_go_on_as_on_the_page_a_musician_decides(plan):
    (remark,) = found("slowings-multiply", in_file(plan))
    assert remark.fix == ()
    assert remark.suggestion == "let one of the two do it: end the slowdown where the new tempo begins"


OFFERED = [{"tempo": 48, "at": "5:1"}]


@pytest.mark.parametrize(
    ("tempi", "offered"),
    [
        ([{"over": "3:1 - 4:4", "tempo": 48}, {"at": "8:1", "tempo": 60}], OFFERED),  # long after
        ([{"over": "1:1 - 2:4", "tempo": 56}, {"over": "3:1 - 4:4", "tempo": 48}], OFFERED),  # reached before it begins
        ([{"at": "3:3", "tempo": 56}, {"at": "4:1", "tempo": 48}], []),  # two: which of them waits?
    ],
)
def test_only_one_tempo_that_changes_under_a_slowdown_can_wait(tempi, offered):
    (remark,) = found("slowings-multiply", in_file(falling() | {"tempo": [{"tempo": 60}, *tempi]}))
    assert entries_of(remark) == offered


def test_within_the_first_bar_after_a_repeat_the_music_goes_on_as_on_the_page():
    """The new tempo of the second time waits until 1:4."""
    plan = falling("1:1 - 1:3", "1:1 - 1:3", **{"pass": 2}) | {"order": ["1-8", "1-8"]}
    plan["slowing"][0]["pass"] = 2
    (remark,) = found("slowings-multiply", in_file(plan), bars=8)
    assert entries_of(remark) == [{"tempo": 48, "at": "1:4", "pass": 2}]


def test_a_new_tempo_of_the_score_is_not_put_off():
    marks = [{"kind": "tempo", "bar": 0, "value": 60.0}, {"kind": "tempo", "bar": 3, "value": 48.0}]
    plan = in_file(FOUR | {"tempo": (), "slowing": falling()["slowing"]})
    (remark,) = found("slowings-multiply", plan, made=score(bars=8, marks=marks))
    assert (remark.fix, remark.suggestion) == (
        (),
        "let one of the two do it: end the slowdown where the new tempo begins",
    )


# -- sudden jumps


def hurried(where: str = "5:1 - 6:4", to: str = "120%", **more) -> dict:
    return FOUR | {"slowing": [{"stringendo": where, "to": to, "then": "a tempo"}]} | more


@pytest.mark.parametrize(
    ("plan", "expected"),
    [
        (hurried(), 1),
        (hurried(to="110%"), 1),
        (hurried(to="109%"), 0),
        (hurried("7:1 - 8:4"), 0),  # at the end of a phrase
        (hurried("7:1 - 8:3"), 0),  # a beat before it
        (hurried("7:1 - 8:2"), 1),
        (hurried("3:1 - 5:1"), 0),  # a beat after the beginning of the next
        (hurried("3:1 - 5:2"), 1),
        (hurried() | {"phrases": []}, 0),
        (FOUR | {"tempo": [{"tempo": 60}, {"at": "6:1", "tempo": 66}]}, 1),
        (FOUR | {"tempo": [{"tempo": 60}, {"at": "6:1", "tempo": 65}]}, 0),
        (FOUR | {"tempo": [{"tempo": 60}, {"at": "6:1", "tempo": "90%"}]}, 1),
        (FOUR | {"tempo": [{"tempo": 60}, {"at": "5:1", "tempo": 40}]}, 0),  # with a phrase
        (FOUR | {"tempo": [{"tempo": 60}, {"over": "6:1 - 7:4", "tempo": 90}]}, 0),  # by degrees
        (FOUR | {"slowing": [{"stringendo": "5", "to": "130%"}, {"a tempo": "6:3"}]}, 1),
        (FOUR | {"slowing": [{"stringendo": "5", "to": "130%"}, {"a tempo": "6:3 - 8:4"}]}, 0),
        (  # and slows from there on
            FOUR | {"slowing": [{"stringendo": "5", "to": "130%"}, {"a tempo": "6:3"}, {"rallentando": "6:3 - 8:4"}]},
            1,
        ),
        (FOUR | {"slowing": [{"a tempo": "6:3"}]}, 0),  # from nothing
        # a beat that is held is as fast as the others, were it not held
        (FOUR | {"tempo": [{"tempo": 60}, {"at": "6:1", "tempo": 63}], "holds": [{"fermata": "5:4"}]}, 0),
        # what is said of slowdowns is said of where they end
        (FOUR | {"slowing": [{"rallentando": "5:1 - 6:1", "to": "70%", "then": "a tempo"}]}, 0),
        (FOUR | {"slowing": [{"rallentando": "7:1 - 8:1", "to": "70%", "then": "a tempo"}]}, 0),
        (FOUR | {"slowing": [{"rallentando": "5:1 - 6:1", "to": "70%"}, {"a tempo": "6:3"}]}, 0),
        (FOUR | {"slowing": [{"ritenuto": "7:1 - 8:4", "to": "70%", "then": "a tempo"}]}, 0),
        (FOUR | {"holds": [{"fermata": "6:2"}, {"caesura": "after 6:3"}]}, 0),
    ],
)
def test_a_sudden_jump_of_pace_inside_a_phrase(plan, expected):
    assert [remark.severity for remark in found("pace-jump", plan)] == [Severity.CAUTION] * expected


def test_a_jump_that_is_heard_on_both_passes_is_told_once():
    (remark,) = found("pace-jump", hurried(order=["1-8", "1-8"]), bars=8)
    assert (remark.bar, remark.pass_) == (7, 1)


def test_a_new_tempo_of_the_score_is_the_composers():
    marks = [{"kind": "tempo", "bar": 0, "value": 60.0}, {"kind": "tempo", "bar": 5, "value": 90.0}]
    made = reading(FOUR | {"tempo": ()}, score(bars=8, marks=marks))
    assert [float(made.performance.time.tempo(20.0, before=side)) for side in (True, False)] == pytest.approx([60, 90])
    assert told("pace-jump", made) == []


@pytest.mark.parametrize(
    ("plan", "entry"),
    [
        (hurried(), {"stringendo": "5:1 - 6:4", "to": "120%", "then": "a tempo by 8:4"}),
        (FOUR | {"slowing": [{"stringendo": "5", "to": "130%"}, {"a tempo": "6:3"}]}, {"a tempo": "6:3 - 8:4"}),
        (FOUR | {"tempo": [{"tempo": 60}, {"at": "6:1", "tempo": 72}]}, {"at": "5:1", "tempo": 72}),
    ],
)
def test_the_pace_comes_back_by_degrees_and_a_tempo_comes_with_a_phrase(plan, entry):
    plan = in_file(plan)
    (remark,) = found("pace-jump", plan, bars=12)
    assert entries_of(remark) == [entry]
    assert found("pace-jump", mended(plan, remark), bars=12) == []


def test_a_new_tempo_stays_on_its_side_of_a_repeat():
    plan = in_file(FOUR | {"order": ["1-8", "1-8"], "tempo": [{"tempo": 60}, {"at": "7:3", "tempo": 72}]})
    (remark,) = found("pace-jump", plan, bars=8)
    assert entries_of(remark) == [{"at": "5:1", "tempo": 72}]  # the repeat begins sooner, with bar 1
    assert found("pace-jump", mended(plan, remark), bars=8) == []


def test_a_new_tempo_may_go_to_where_a_repeat_begins():
    """The second time, a bar and a half after bar 1 and more before bar 5."""
    tempi = [{"tempo": 60}, {"at": "2:3", "tempo": 72, "pass": 2}]
    (remark,) = found("pace-jump", in_file(FOUR | {"order": ["1-8", "1-8"], "tempo": tempi}), bars=8)
    assert entries_of(remark) == [{"at": "1:1", "tempo": 72, "pass": 2}]


def test_the_pace_is_back_when_the_smaller_phrase_ends():
    plan = in_file(hurried("1:1 - 2:4", phrases=[{"bars": "1-8", "inside": ["1-4", "5-8"]}]))
    (remark,) = found("pace-jump", plan, bars=8)
    assert entries_of(remark) == [{"stringendo": "1:1 - 2:4", "to": "120%", "then": "a tempo by 4:4"}]
    assert found("pace-jump", mended(plan, remark), bars=8) == []


# -- the basic tempo


@pytest.mark.parametrize(
    ("metre", "tempo", "suggestion"),
    [
        ((6, 8), "63", "tempo: dotted quarter = 42"),
        ((6, 8), "58.5", "tempo: dotted quarter = 39"),
        ((6, 8), "[{tempo: 60}, {at: 3, tempo: 80}]", "tempo: dotted quarter = 40"),
        ((12, 16), "63", "tempo: dotted eighth = 84"),
        ((6, 8), "dotted quarter = 42", None),
        ((6, 8), "quarter = 63", None),
        ((3, 8), "63", None),
        ((4, 4), "63", None),
    ],
)
def test_a_bare_tempo_in_a_compound_metre(tmp_path, metre, tempo, suggestion):
    made = score(4, metre, voices={1: "c4:3 c4:3"})

    def suggested(text: str) -> list[str | None]:
        file = tmp_path / "plan.yaml"
        file.write_text(f"score: made-by-hand.musicxml\n{text}\n")
        plan = read_plan(file)
        return [r.suggestion for r in check(perform(made, plan)) if r.code == "bare-tempo"]

    assert suggested(f"tempo: {tempo}") == ([suggestion] if suggestion else [])
    if suggestion:
        assert suggested(suggestion) == []


def test_all_bare_tempi_are_mended_together():
    plan = in_file({"tempo": [{"tempo": 60}, {"at": "3", "tempo": 80}]})
    options = {"metre": (6, 8), "voices": {1: "c4:3 c4:3"}}
    (remark,) = found("bare-tempo", plan, **options)
    tempi = [{"tempo": "dotted quarter = 40"}, {"at": 3, "tempo": "dotted quarter = 53.33"}]
    assert entries_of(remark) == tempi
    assert found("bare-tempo", in_file({"tempo": tempi}), **options) == []


@pytest.mark.parametrize(
    ("tempo", "marks", "expected"),
    [
        ((), [], True),
        (72, [], False),
        ((), [{"kind": "tempo", "bar": 0, "value": 90.0}], False),
        ((), [{"kind": "tempo", "bar": 0, "text": "Andante"}], False),
        ((), [{"kind": "tempo", "bar": 0, "text": "Like a kite"}], True),
    ],
)
def test_a_tempo_that_nobody_chose(tempo, marks, expected):
    made = reading({"tempo": tempo}, score(bars=2, marks=marks))
    assert ("no-tempo" in [remark.code for remark in check(made)]) == expected


def test_a_tempo_that_the_plan_ignores_is_not_said_to_be_missing():
    marks = [{"kind": "tempo", "value": 72, "text": ""}]
    plan = Plan.model_validate({"score": "made-by-hand.musicxml", "marks": "ignore"})
    (remark,) = told("no-tempo", perform(score(marks=marks), plan))
    assert remark.message == "the plan says no tempo and ignores the score's: 120 quarters a minute are played"
    (remark,) = told("no-tempo", perform(score(), plan))
    assert remark.message.startswith("neither plan nor score says a tempo")
