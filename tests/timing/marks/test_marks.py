"""The score's own marks and the plan: ignoring them, speaking over them, and what is told of them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from support import reading, score

from timing.marks.uses import Fate
from timing.plan import MARKS
from timing.reading import perform
from timing.score import MARK, Score, Sign

WORDS = (
    "rit.", "poco rit.", "molto rall.", "accel.", "a tempo", "Tempo I", "Allegro", "meno mosso", "cresc.", "dim.",
    "calando", "dolce", "sul tasto", "nat.", "pizz.", "cullando", "cresc. ed accel.", "arm.", "rasg.",
    "cresc. al f", "dim. al rfz", "loco", "Tema. Lento", "(♩ = 72)",
)  # fmt: skip
DYNAMICS = ("p", "mf", "ff", "sf", "fp", "rfz", "pppp")
ORDERS = (None, ["1-4", "1-4", "5-8"], ["1-8", "1-8"], ["1-6", "3-8"])

PLACES = st.tuples(st.integers(0, 7), st.sampled_from([0.0, 1.0, 1.5, 3.0, 4.0]))
MARKS_MADE = st.one_of(
    st.tuples(st.sampled_from(["words", "tempo"]), PLACES, st.just(0), st.sampled_from(WORDS), st.just(np.nan)),
    st.tuples(st.just("tempo"), PLACES, st.just(0), st.just(""), st.sampled_from([60.0, 90.0])),
    st.tuples(st.just("words"), PLACES, st.integers(1, 3), st.sampled_from(WORDS), st.just(np.nan)),  # with dashes
    st.tuples(st.just("dynamic"), PLACES, st.just(0), st.sampled_from(DYNAMICS), st.just(np.nan)),
    st.tuples(st.just("hairpin"), PLACES, st.integers(1, 3), st.just(""), st.sampled_from([1.0, -1.0])),
    st.tuples(st.just("fermata"), PLACES, st.just(0), st.just(""), st.just(np.nan)),
)
SILENCES = st.tuples(st.sampled_from(["breath", "caesura"]), PLACES, st.just(0), st.just(""), st.just(np.nan))
SHAPES = (
    {},
    {"tempo": 72},
    {"slowing": [{"rallentando": "3:2 - 4:4", "to": "80%", "then": "a tempo"}]},
    {"dynamics": [{"at": 2, "mark": "f"}, {"crescendo": "5:1 - 6:3", "by": "3 dB"}]},
    {"holds": [{"fermata": "4:1"}], "accents": [{"at": "2:2"}], "tone": [{"bars": "2-3", "tone": "dark"}]},
    {"phrases": ["1-4", "5-8"]},
)


def marked(drawn: list[tuple], accents: list[int], program: int) -> Score:
    """Eight bars of quarters, in two voices of one part, with these marks and accents."""
    made = score(8, voices={1: "c5:1 " * 32, 2: "c4:2 " * 16}, program=program)
    made.notes["signs"][accents] = Sign.ACCENT
    marks = np.zeros(len(drawn), MARK)
    marks["note"], marks["goal"], marks["staff"] = -1, -1, 1
    for row, (kind, (bar, offset), bars, text, value) in zip(marks, drawn, strict=True):
        row["kind"], row["bar"], row["offset"], row["text"], row["value"] = kind, bar, offset, text, value
        row["end_bar"], row["end_offset"] = min(bar + bars, 7), offset if bars == 0 else 2.0
    order = np.lexsort([marks["offset"], marks["bar"]])
    return replace(made, marks=marks[order])


def played(made: Score, plan: dict, order) -> bytes:
    """The table of notes, to the last bit."""
    settings = {"tempo": ()} | plan | ({"order": order} if order else {})
    return reading(settings, made).performance.notes.tobytes()


@given(
    st.lists(MARKS_MADE | SILENCES, max_size=12),
    st.lists(st.integers(0, 47), max_size=4),
    st.sampled_from(ORDERS),
    st.sampled_from(SHAPES),
    st.sampled_from([0, 24, 40]),
)
def test_ignored_marks_are_as_if_they_were_not_there(drawn, accents, order, shape, program):
    made = marked(drawn, accents, program)
    bare = replace(made, marks=made.marks[:0], notes=made.notes.copy())
    bare.notes["signs"] = 0
    expected = played(bare, shape, order)
    assert played(made, shape | {"marks": "ignore"}, order) == expected
    kinds = {"marks": {"ignore": list(MARKS)}}
    assert played(made, shape | kinds, order) == expected


EVERYTHING = {
    "tempo": 72,
    "slowing": [{"a tempo": "1-8"}],
    "holds": [{"agogic": "1-8", "length": "120%"}],
    "dynamics": [{"at": 1, "mark": "p"}, {"crescendo": "1-8", "by": "3 dB"}],
    "accents": [{"at": f"{bar}:{beat}", "by": "1 dB"} for bar in range(1, 9) for beat in (1, 2, 2.5, 3, 4)],
    "tone": [{"bars": "1-8", "tone": "bright"}],
    "strings": [{"bars": "1-8", "pizzicato": "yes"}],
}


@given(
    st.lists(MARKS_MADE, max_size=12),
    st.lists(st.integers(0, 47), max_size=4),
    st.sampled_from([None, ["1-8", "1-8"]]),
    st.sampled_from([0, 24, 40]),
)
def test_a_plan_that_says_everything_leaves_nothing_to_the_marks(drawn, accents, order, program):
    drawn = [mark for mark in drawn if mark[0] != "fermata" or mark[1][1] < 4]  # over a bar line it is a silence
    made = marked(drawn, accents, program)
    said, alone = (played(made, EVERYTHING | marks, order) for marks in ({}, {"marks": "ignore"}))
    assert said == alone


@given(st.lists(MARKS_MADE | SILENCES, max_size=12), st.sampled_from(ORDERS))
def test_every_mark_is_told_of_at_its_place_and_brings_no_remarks(drawn, order):
    made = reading({"tempo": ()} | ({"order": order} if order else {}), marked(drawn, [], 24))
    expected = {
        (str(bar + 2), 1.0) if offset == 4 and bar < 7 else (str(bar + 1), offset + 1)
        for _, (bar, offset), *_ in drawn
    }  # fmt: skip
    assert {(use.bar, use.beat) for use in made.marks} == expected
    assert sum(use.count for use in made.marks) >= len(drawn)
    assert {remark.code for remark in made.remarks if remark.severity != "advice"} <= {"no-harmonic"}  # c4 and c5


# -- ignoring some kinds


def test_kinds_can_be_ignored_one_by_one():
    marks = [
        {"kind": "dynamic", "text": "p"},
        {"kind": "tempo", "text": "Allegro"},
        {"kind": "words", "bar": 2, "text": "rit."},
    ]
    for kinds, fates in (
        ("tempo", [Fate.USED, Fate.IGNORED, Fate.USED]),
        (["dynamics", "slowing"], [Fate.IGNORED, Fate.USED, Fate.IGNORED]),
        ([], [Fate.USED] * 3),
    ):
        made = reading({"tempo": (), "marks": {"ignore": kinds}}, score(marks=marks))
        assert [use.fate for use in made.marks] == fates


@pytest.mark.parametrize(
    ("marks", "message"),
    [
        ("ignored", "'ignored': marks can be 'ignore', or some kinds, .* did you mean 'ignore'"),
        ({"ignore": ["dynamic"]}, "'dynamic' is not a kind of mark: tempo, .* did you mean 'dynamics'"),
        ({"ignor": ["dynamics"]}, "Extra inputs"),
    ],
)
def test_what_cannot_be_ignored(marks, message):
    with pytest.raises(ValueError, match=message):
        reading({"marks": marks})


# -- places


def test_a_mark_at_the_end_of_a_bar_acts_in_the_next():
    made = reading({}, score(marks=[{"kind": "dynamic", "bar": 1, "offset": 4.0, "text": "p"}]))
    assert made.performance.notes["level"][7:9].tolist() == [-12, -20]
    assert (made.marks[0].place, made.marks[0].fate) == ("3:1", Fate.USED)


def test_after_the_last_note_there_is_nothing_to_mark():
    made = reading({}, score(marks=[{"kind": "dynamic", "bar": 7, "offset": 4.0, "text": "p"}]))
    assert [use.fate for use in made.marks] == [Fate.WITHOUT_EFFECT]


def test_bars_whose_numbers_come_twice():
    """Two movements of four bars, both numbered from 1."""
    made = score(8, marks=[{"kind": "dynamic", "bar": 5, "text": "p"}, {"kind": "hairpin", "bar": 6, "end_bar": 7}])
    made.marks["value"][1] = 1
    made.bars["number"] = [1, 2, 3, 4, 1, 2, 3, 4]
    levels = reading({}, made).performance.notes["level"]
    assert levels[[3, 19, 20, 24, 28]].tolist() == [-12, -12, -20, -20, -16]


def test_split_bars_and_thirds_of_beats():
    made = score(3, voices={1: "c4:4 c4:1 c4:0.3333333333333333 c4:0.3333333333333333 c4:0.3333333333333333 c4:6"})
    third = made.notes["offset"][2]
    made = replace(made, marks=score(1, marks=[{"kind": "dynamic", "bar": 1, "offset": third, "text": "f"}]).marks)
    made.bars["number"] = [1, 2, 2]
    assert reading({}, made).performance.notes["level"].tolist() == [-12, -12, -8, -8, -8, -8]


def test_a_mark_in_bars_that_are_not_played():
    made = reading({"order": ["1-2"]}, score(marks=[{"kind": "dynamic", "bar": 4, "text": "p"}]))
    assert [(use.fate, use.why) for use in made.marks] == [
        (Fate.WITHOUT_EFFECT, "it is not heard in this order of the bars")
    ]


def test_going_back_restores_what_was_marked():
    marks = [{"kind": "dynamic", "bar": 0, "text": "p"}, {"kind": "dynamic", "bar": 3, "text": "f"}]
    levels = reading({"order": ["1-4", "1-4"]}, score(marks=marks)).performance.notes["level"]
    assert levels[[0, 12, 16, 28]].tolist() == [-20, -8, -20, -8]


def test_more_marks_than_a_plan_has_entries():
    marks = [{"kind": "dynamic", "bar": n // 8, "offset": n % 8 / 2, "text": "pf"[n % 2]} for n in range(6400)]
    made = reading({}, score(800, voices={1: "c4:0.5 " * 6400}, marks=marks))
    assert made.performance.notes["level"].tolist() == [-20.0, -8.0] * 3200
    assert [use.fate for use in made.marks] == [Fate.USED] * 6400


def test_words_that_say_several_things():
    made = reading({"tempo": ()}, score(marks=[{"kind": "words", "bar": 1, "text": "Lento, cullando e dolce"}]))
    assert [(use.section, use.text, use.fate) for use in made.marks] == [
        ("tempo", "Lento", Fate.USED),
        ("dynamics", "cullando e dolce", Fate.USED),
    ]
    made = reading({"tempo": ()}, score(marks=[{"kind": "words", "bar": 1, "text": "Andante espressivo, sempre"}]))
    assert [(use.text, use.fate) for use in made.marks] == [
        ("Andante espressivo", Fate.USED),
        ("sempre", Fate.WITHOUT_EFFECT),
    ]


def test_pedal_lines_are_not_played():
    made = reading({}, score(marks=[{"kind": "pedal"}, {"kind": "pedal", "bar": 2}]))
    assert [(use.text, use.fate, use.count) for use in made.marks] == [("pedal", Fate.WITHOUT_EFFECT, 2)]


def test_the_same_score_can_be_performed_again():
    made = score(marks=[{"kind": "words", "bar": 1, "text": "rit."}, {"kind": "dynamic", "text": "p"}])
    plan = reading({}, made).plan
    again = perform(made, reading({}, score()).plan)
    assert len(again.plan.slowing) == len(plan.slowing) == 1


@pytest.mark.parametrize(
    ("text", "told"), [("Медленно", ["not understood"]), ("ゆっくり", ["not understood"]), ("____", [])]
)
def test_words_of_any_script_and_lines_are_read(text, told):
    rows = [{"kind": kind, "bar": 1, "text": text, "end_bar": 1} for kind in ("words", "tempo")]
    uses = reading({}, score(4, marks=rows)).marks
    assert [str(use.fate) for use in uses] == 2 * told and {use.text for use in uses} <= {text}
