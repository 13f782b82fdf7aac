"""Companions of a reading: what each leaves of the plan, and what the misplaced one is told."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from judged import told
from support import score

from timing.cautions import check
from timing.companions import KINDS, companion
from timing.plan import Plan
from timing.reading import Reading, perform
from timing.remarks import CannotDo, Severity
from timing.score import Score
from timing.time.scale import Scale

EIGHT = {"phrases": [{"bars": "1-8", "inside": ["1-4", "5-8"]}]}
RIT = {"rallentando": "4:1 - 4:4", "to": "80%", "then": "a tempo"}


def plan_of(plan: dict) -> Plan:
    return Plan.model_validate({"score": "made-by-hand.musicxml", "tempo": 60} | plan)


def made(kind: str, plan: dict, **options) -> Reading:
    return companion(kind, perform(score(**options), plan_of(plan))).reading


def moved_to(plan: dict, **options) -> list[str]:
    """Where the slowdowns of a plan are when they are misplaced."""
    return [str(entry.where) for entry in made("misplaced", plan, **options).plan.slowing]


def in_strict_time(reading: Reading) -> bool:
    """Whether the clock has the basic tempi and nothing else, and every note begins by it."""
    time, notes = reading.performance.time, reading.performance.notes
    factors = [np.allclose(time.pieces[name], 1) for name in ("v0", "v1", "hold")]
    arches = [not time.pieces[name].any() for name in ("a0", "a1", "a2")]
    return all([*factors, *arches, np.allclose(notes["onset"], time.seconds(notes["score_onset"]), atol=1e-9)])


# -- every kind


def test_the_kinds_say_what_is_heard():
    assert list(KINDS) == ["plain", "exaggerated", "misplaced"]
    for kind in KINDS:
        beside = companion(kind, perform(score(), plan_of(EIGHT | {"title": "One", "slowing": [RIT]})))
        assert beside.kind == kind and beside.told.startswith(KINDS[kind].heard)
        assert beside.reading.performance.title == f"One, {KINDS[kind].title}"


def test_an_unknown_kind_is_answered_with_the_nearest():
    with pytest.raises(CannotDo, match="did you mean plain"):
        companion("plane", perform(score(), plan_of({})))


@pytest.mark.parametrize("kind", KINDS)
def test_what_the_plan_accepts_does_not_come_along(kind):
    accepted = {"code": "inner-end-slower", "because": "it is a question"}
    plan = EIGHT | {"slowing": [RIT], "accept": [accepted | {"at": "4:4"}]}
    assert any(remark.accepted for remark in check(perform(score(), plan_of(plan))))
    beside = made(kind, plan)
    assert not beside.plan.accept
    assert not [r for r in check(beside) if r.accepted or r.code == "acceptance-unmatched"]


# -- in strict time


TIMED = EIGHT | {
    "slowing": [{"allargando": "7:1 - 8:4", "to": "60%", "louder": "3 dB"}, {"accelerando": "5:1 - 5:4", "to": "120%"}],
    "holds": [{"fermata": "4:4"}, {"breath": "after 2:4"}, {"agogic": "3:1"}, {"delay": "6:1"}],
    "rubato": [{"bars": "2-3", "hurry": "10%"}, {"bars": "5-6", "late": "60 ms", "for": "melody"}],
    "voices": {"melody": {"lead": "20 ms", "level": "1 dB"}, "bass": "-5 dB"},
    "dynamics": [{"at": 1, "mark": "p"}, {"crescendo": "3:1 - 4:1", "to mark": "f"}],
    "tone": [{"bars": "3-4", "tone": "bright"}],
}
TIMED["phrases"] = [
    {"bars": "1-8", "arch": {"pace": "8%", "level": "3 dB"}, "inside": [{"bars": "1-4", "arch": "6%"}, "5-8"]}
]
VOICES = {1: "c5:1 d5:0.5 e5:0.5 r:1 f5:1 " * 8, 2: "c3:2 g2:2 " * 8}


def test_in_strict_time_nothing_else_changes():
    shaped, plain = perform(score(voices=VOICES), plan_of(TIMED)), made("plain", TIMED, voices=VOICES)
    assert not in_strict_time(shaped) and in_strict_time(plain)
    assert plain.performance.time.length == pytest.approx(32)

    def sorted_notes(reading: Reading) -> np.ndarray:
        return np.sort(reading.performance.notes, order=["score_onset", "pitch"])

    one, two = sorted_notes(shaped), sorted_notes(plain)
    np.testing.assert_allclose(one["level"], two["level"], atol=1e-9)  # what the allargando grows by included
    for column in ("pitch", "tone", "role", "voice"):
        np.testing.assert_array_equal(one[column], two[column])


def test_basic_tempi_stay_in_strict_time():
    tempi = {"tempo": [60, {"over": "3:1 - 4:4", "tempo": 90}, {"at": 7, "tempo": 50}]}
    shaped, plain = perform(score(), plan_of(EIGHT | tempi)), made("plain", EIGHT | tempi | {"slowing": [RIT]})
    assert in_strict_time(plain)
    assert plain.performance.time.length == pytest.approx(shaped.performance.time.length, abs=1e-9)


def test_marks_of_the_score_are_left_out_in_strict_time():
    marks = [{"kind": "words", "text": "rit.", "bar": 3}, {"kind": "fermata", "bar": 3, "offset": 3.0}]
    assert not in_strict_time(perform(score(marks=marks), plan_of(EIGHT)))
    plain = made("plain", EIGHT, marks=marks)
    assert in_strict_time(plain) and not plain.plan.slowing and not plain.plan.holds
    assert plain.plan.marks.ignore == ()  # the plan itself ignores nothing


# -- exaggerated


def test_exaggerated_is_twice_as_far_in_pace_and_level():
    plan = EIGHT | {"slowing": [RIT], "voices": {"bass": "-3 dB"}}
    shaped, beside = perform(score(), plan_of(plan)), made("exaggerated", plan)
    (slow,) = beside.pace.slowings
    assert slow.to == pytest.approx(0.8**2)
    assert beside.performance.time.tempo(16.0, before=True) == pytest.approx(60 * 0.8**2)
    level = [each.performance.notes["level"] + 12 for each in (shaped, beside)]  # from mf on
    np.testing.assert_allclose(2 * level[0], level[1], atol=1e-9)


# -- misplaced


@pytest.mark.parametrize(
    ("plan", "where"),
    [
        # the middle of bars 1-4 in 4/4 is at 3:1: slowest on the beat before
        ({"phrases": ["1-4", "5-8"], "slowing": [RIT]}, "2"),
        ({"phrases": ["1-4", "5-8"], "slowing": [RIT | {"rallentando": "3:3 - 4:4"}]}, "1:3 - 2:4"),
        ({"phrases": ["1-4", "5-8"], "slowing": [RIT | {"rallentando": "3:4 - 5:1"}]}, "1:3 - 2:4"),  # a beat after
        (EIGHT | {"slowing": [RIT]}, "2"),  # the inner phrase
        # of three bars at least, since the middle of two is near their ends; clear of the inner end at 7:1
        ({"phrases": [{"bars": "5-8", "inside": ["5-6", "7-8"]}], "slowing": [RIT | {"rallentando": "8"}]}, "5"),
        ({"phrases": ["1-8"], "slowing": [RIT | {"rallentando": "8"}]}, "4"),  # the middle is at 5:1
        # as long as the phrase has room for it
        ({"phrases": ["1-4", "5-8"], "slowing": [RIT | {"rallentando": "5:3 - 8:4"}]}, "5:1 - 6:4"),
    ],
)
def test_a_slowdown_goes_to_the_middle_of_its_phrase(plan, where):
    beside = made("misplaced", plan)
    (entry,) = beside.plan.slowing
    expected = perform(score(), plan_of({"slowing": [RIT | {"rallentando": where}]})).pace.slowings[0].run
    (slow,) = beside.pace.slowings
    assert (slow.run.start, slow.run.end) == pytest.approx((expected.start, expected.end))
    assert (entry.to, entry.then, entry.why) == (0.8, True, None)
    (remark,) = told("slowing-mid-phrase", beside)
    assert remark.severity is Severity.CAUTION


def divided(made: Score, row: int, at: float) -> Score:
    """The score with a bar that is printed in two parts, of which the first is so many quarters long."""
    bars, notes = np.insert(made.bars, row, made.bars[row]), made.notes.copy()
    bars["length"][row] = bars["shift"][row + 1] = at
    bars["length"][row + 1] -= at
    later = (notes["bar"] == row) & (notes["offset"] >= at)
    notes["offset"][later] -= at
    notes["bar"][later | (notes["bar"] > row)] += 1
    return replace(made, bars=bars, notes=notes)


@pytest.mark.parametrize(
    ("music", "row", "at", "phrase", "end", "where"),
    [
        # from upbeat to upbeat in 6/8: the middle is at the upbeat 4:6, and the beat next to it is 5:1
        (score(9, (6, 8), pickup=0.5, voices={1: "c5:.5 " * 55}), 4, 2.5, "0:6 - 8:5", "8:1 - 8:5", "4:2 - 4:6"),
        (score(9), 3, 2.0, "1:1 - 8:2", "8:1 - 8:2", "4:2 - 4:3"),  # the middle is at 4:4
    ],
)
def test_in_a_bar_of_two_parts_a_slowdown_goes_to_a_beat(music, row, at, phrase, end, where):
    plan = plan_of({"phrases": [phrase], "slowing": [RIT | {"rallentando": end, "to": "60%"}]})
    (entry,) = companion("misplaced", perform(divided(music, row, at), plan)).reading.plan.slowing
    assert str(entry.where) == where


def test_a_return_by_a_place_comes_as_much_later():
    plan = {"phrases": ["1-4", "5-8"], "slowing": [RIT | {"then": "a tempo by 5:3"}]}
    (slow,) = made("misplaced", plan).pace.slowings
    assert (slow.run.end, slow.back) == (8, 10)


def test_at_the_end_of_the_piece_the_tempo_comes_back():
    (slow,) = made("misplaced", {"phrases": ["1-4", "5-8"], "slowing": [{"ritenuto": "8:3 - 8:4"}]}).pace.slowings
    assert slow.to == 0.5  # what is usual at the end of a piece
    assert slow.back == slow.run.end == 24


def test_a_slowdown_that_the_score_prints_moves_too():
    marks = [{"kind": "words", "text": "rit.", "bar": 2}, {"kind": "words", "text": "a tempo", "bar": 4}]
    shaped = perform(score(marks=marks), plan_of(EIGHT))
    beside = made("misplaced", EIGHT, marks=marks)
    assert [slow.run.end for slow in shaped.pace.slowings] == [16]
    slowings = [(slow.run.end, slow.to) for slow in beside.pace.slowings]
    assert slowings == [(6, shaped.pace.slowings[0].to)]  # clear of the printed word
    assert told("slowing-mid-phrase", beside) and not told("slowing-mid-phrase", shaped)
    assert beside.plan.marks.ignore == ()


def test_holds_stay_where_they_are():
    holds = {"holds": [{"fermata": "4:4", "length": "110%"}, {"breath": "after 8:4"}]}
    assert made("misplaced", EIGHT | holds | {"slowing": [RIT]}).plan.holds == plan_of(holds).holds


def test_a_slowdown_stays_where_a_fermata_would_be_heard_as_the_ending():
    """Slowest at 80 %, while the end of its phrase waits twice as long."""
    plan = EIGHT | {"holds": [{"fermata": "4:4"}], "slowing": [RIT, RIT | {"rallentando": "8"}]}
    assert moved_to(plan) == ["4:1 - 4:4", "6:1 - 6:4"]


def test_passes_are_kept_and_each_pass_has_its_own():
    plan = {"order": ["1-8", "1-8"], "phrases": ["1-4", "5-8"]}
    plan["slowing"] = [RIT | {"pass": 1}, RIT | {"to": "70%", "pass": 2}, RIT | {"rallentando": "8"}]
    beside = made("misplaced", plan)
    assert [entry.passes for entry in beside.plan.slowing] == [1, 2, None]
    assert [(slow.run.end, slow.to) for slow in beside.pace.slowings] == [(8, 0.8), (24, 0.8), (40, 0.7), (56, 0.8)]


def test_under_an_ending_only_that_hearing_moves():
    # bars 1-4 are heard twice, but bar 4 only the first time
    plan = {"order": ["1-4", "1-3", "5-8"], "phrases": ["1-4", "5-8"], "slowing": [RIT]}
    (slow,) = made("misplaced", plan).pace.slowings
    assert (slow.run.end, slow.run.length, slow.entry.passes) == (8, 4, 1)


@pytest.mark.parametrize(
    "stays",
    [
        {"rallentando": "2:1 - 2:3", "to": "80%", "then": "a tempo"},  # it is in the middle already
        {"rallentando": "7:1 - 8:4", "to": "80%", "then": "a tempo", "pass": 2},  # never heard
        {"accelerando": "8", "to": "120%", "then": "a tempo"},
        {"a tempo": 8},
    ],
)
def test_what_ends_no_phrase_stays(stays):
    plan = {"phrases": ["1-4", "5-8"], "slowing": [stays, RIT | {"rallentando": "8:1 - 8:4"}]}
    beside = companion("misplaced", perform(score(), plan_of(plan)))
    assert str(beside.reading.plan.slowing[0].where) == str(plan_of(plan).slowing[0].where)
    assert [entry.source.get("rallentando") for entry in beside.reading.plan.slowing][1] == "6:1 - 6:4"


def test_a_pace_that_is_held_on_stays_and_so_does_what_goes_on_from_it():
    held, further = {"rallentando": "3", "to": "80%"}, {"rallentando": "4", "to": "60%", "then": "a tempo"}
    plan = {"phrases": ["1-3", "1-4", "5-8"], "slowing": [held, further, RIT | {"rallentando": "8"}]}
    assert moved_to(plan)[:2] == ["3", "4"]


def test_mild_slowdowns_move_where_there_are_no_others():
    mild = RIT | {"to": "95%"}
    plan = {"phrases": ["1-4", "5-8"], "slowing": [mild, mild | {"rallentando": "8"}]}
    assert moved_to(plan) == ["2:1 - 2:4", "6:1 - 6:4"]
    assert told("slowing-mid-phrase", made("misplaced", plan)) == []  # hardly heard, and nothing is told
    plan["slowing"][1] |= {"to": "85%"}
    assert moved_to(plan) == ["4:1 - 4:4", "6:1 - 6:4"]


def test_two_slowdowns_never_meet():
    plan = {"phrases": ["1-4", "5-8"], "slowing": [{"stringendo": "1:1 - 3:2", "to": "110%", "then": "a tempo"}, RIT]}
    with pytest.raises(CannotDo, match="none of the slowdowns"):
        made("misplaced", plan)


def test_it_says_how_many_are_moved():
    plan = {"phrases": ["1-4", "5-8"], "slowing": [RIT, RIT | {"rallentando": "6:1 - 6:2"}]}
    assert companion("misplaced", perform(score(), plan_of(plan))).told.endswith("(1 of 2 moved)")


@pytest.mark.parametrize(
    ("plan", "why"),
    [
        (EIGHT, "no slowdowns"),
        (EIGHT | {"slowing": [{"accelerando": "1-2"}]}, "no slowdowns"),
        ({"slowing": [RIT]}, "no phrases"),
        ({"phrases": ["1-8"], "slowing": [RIT]}, "none of the slowdowns"),
    ],
)
def test_without_anything_to_misplace_it_says_so(plan, why):
    with pytest.raises(CannotDo, match=f"nothing to misplace: .*{why}"):
        made("misplaced", plan)


# -- the marks of the score


def test_the_marks_of_the_score_are_read_anew_for_a_companion_and_not_twice():
    marks = [
        {"kind": "words", "bar": 2, "text": "rit."}, {"kind": "words", "bar": 4, "text": "a tempo"},
        {"kind": "dynamic", "bar": 0, "text": "p"}, {"kind": "dynamic", "bar": 5, "text": "f"},
    ]  # fmt: skip
    music, plan = score(marks=marks), plan_of(EIGHT)
    original = perform(music, plan)
    assert [entry.printed for entry in (*original.plan.slowing, *original.plan.dynamics)].count(True) >= 3
    beside, larger = companion("exaggerated", original).reading, perform(music, plan, Scale(amount=2.0))
    assert beside.marks == larger.marks
    for column in ("onset", "end", "level"):
        assert np.array_equal(beside.performance.notes[column], larger.performance.notes[column])
    assert [entry.printed for entry in beside.plan.slowing] == [entry.printed for entry in larger.plan.slowing]
