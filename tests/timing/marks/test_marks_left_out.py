"""Single marks of the score that a plan leaves out."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError
from support import reading, score

from timing.marks.uses import Fate
from timing.plan import Plan
from timing.remarks import CannotDo
from timing.score import Ornament

MARKS = [
    {"kind": "fermata", "bar": 1, "offset": 2.0},
    {"kind": "fermata", "bar": 5, "offset": 0.0},
    {"kind": "dynamic", "bar": 0, "text": "p"},
    {"kind": "dynamic", "bar": 2, "text": "f"},
    {"kind": "dynamic", "bar": 3, "text": "pp"},
    {"kind": "tempo", "bar": 6, "text": "rit."},
    {"kind": "breath", "bar": 4, "offset": 4.0},
]
TWICE = "1-4, 1-4, 5-8"


def left_out(*entries: object, marks: list[dict] | None = None, **plan):
    return reading({"marks": {"ignore": list(entries)}, **plan}, score(marks=MARKS if marks is None else marks))


def fates(made) -> dict[str, Fate]:
    return {f"{use.text} {use.place}": use.fate for use in made.marks}


def codes(made) -> list[str]:
    return [remark.code for remark in made.remarks]


@pytest.mark.parametrize(("left", "kept"), [({}, [0, 0]), ({"pass": 2}, [0, 2, 0]), ({"at": 4}, [0, 2, 0, 2])])
def test_of_several_slides_one_is_left_out(left, kept):
    lines = [{"kind": "glissando", "bar": bar, "note": bar, "goal": bar + 1} for bar in (0, 2)]
    made = score(4, voices={1: "c5:4 e5:4 g5:4 c5:4"}, program=24, marks=lines)
    made = reading({"order": "1-4, 1-4", "marks": {"ignore": [{"at": "3:1", "mark": "slide"} | left]}}, made)
    slides = made.performance.glides
    assert made.performance.notes["id"][slides["note"]].tolist() == kept


def length(made) -> float:
    return float(made.performance.time.length)


def test_one_mark_is_left_out_and_told():
    made = left_out({"at": "2:3", "mark": "fermata"})
    assert fates(made)["fermata 2:3"] is Fate.IGNORED
    assert [use for use, fate in fates(made).items() if fate is Fate.IGNORED] == ["fermata 2:3"]
    assert length(left_out()) - length(made) == pytest.approx(0.5)  # half of a beat at 60
    assert made.marks[[use.fate for use in made.marks].index(Fate.IGNORED)].by.mark == "fermata"
    assert not codes(made)


@pytest.mark.parametrize(
    ("entry", "gone"),
    [
        ({"at": 3, "mark": "f"}, {"f 3:1"}),
        ({"bars": "3-4", "mark": "dynamics"}, {"f 3:1", "pp 4:1"}),
        ({"at": "7:1", "mark": "rit."}, {"rit. 7:1"}),
        ({"at": 7, "mark": "RIT"}, {"rit. 7:1"}),
        ({"at": 7, "mark": "slowing"}, {"rit. 7:1"}),
        ({"at": "6:1", "mark": "breath"}, {"breath 6:1"}),
        ({"bars": "1-8", "mark": "fermata"}, {"fermata 2:3", "fermata 6:1"}),
        ({"bars": "1-8", "mark": "holds"}, {"fermata 2:3", "fermata 6:1", "breath 6:1"}),
    ],
)
def test_a_mark_goes_by_what_is_printed_its_kind_or_its_section(entry, gone):
    made = left_out(entry)
    assert {use for use, fate in fates(made).items() if fate is Fate.IGNORED} == gone
    assert not codes(made)


def test_a_mark_may_be_left_out_on_one_pass():
    one = {"order": TWICE}
    all_of_them, first, none = (
        length(left_out(*entries, **one))
        for entries in ((), ({"at": "2:3", "mark": "fermata", "pass": 1},), ({"at": "2:3", "mark": "fermata"},))
    )
    assert all_of_them - first == pytest.approx(0.5)
    assert first - none == pytest.approx(0.5)
    made = left_out({"at": "2:3", "mark": "fermata", "pass": 1}, **one)
    (use,) = (use for use in made.marks if use.place == "2:3")
    assert (use.fate, use.passes, use.by.mark) == (Fate.USED, (1,), "fermata")


def test_kinds_and_single_marks_stand_side_by_side():
    made = left_out("dynamics", {"at": "2:3", "mark": "fermata"})
    gone = {use for use, fate in fates(made).items() if fate is Fate.IGNORED}
    assert gone == {"p 1:1", "f 3:1", "pp 4:1", "fermata 2:3"}


def signed() -> object:
    made = score(bars=2, voices={1: "c4:1.( d4:1( e4:1) f4:1> c4+e4:1~ d4:1- e4:2"})
    notes = made.notes
    notes["ornament"][-1], notes["upper"][-1] = Ornament.TRILL, 2
    notes["string"], notes["finger"] = 2, 1
    return made


SIGNS = {"staccato": "1:1", "accent": "1:4", "tenuto": "2:2", "trill": "2:3", "arpeggio": "2:1"}


@pytest.mark.parametrize("name", SIGNS)
def test_what_stands_on_notes_is_left_out(name):
    place = SIGNS[name]
    touch = {"articulation": {"plain": "90%"}}
    made = reading({"marks": {"ignore": [{"at": place, "mark": name}]}} | touch, signed())
    plain = reading(touch, signed())
    assert not codes(made)
    (use,) = (use for use in made.marks if use.fate is Fate.IGNORED)
    assert (use.text, use.place) == (name, place)
    assert not [use for use in made.marks if use.text == name and use.fate is not Fate.IGNORED]
    columns = ["onset", "end", "level"]
    assert str(made.performance.notes[columns]) != str(plain.performance.notes[columns])
    assert (made.score.notes == plain.score.notes).all()  # the sheet goes on printing it


def test_a_slur_is_left_out_as_a_whole():
    made = signed()
    marks = [{"kind": "slur", "bar": 0, "offset": 1.0, "end_bar": 0, "end_offset": 2.0, "note": 1, "goal": 2}]
    made = replace(made, marks=score(marks=marks).marks)
    entry = {"at": "1:2", "mark": "slur"}
    lengths = [
        (played := reading({"marks": {"ignore": ignore}}, made).performance.notes)["end"][1:3] - played["onset"][1:3]
        for ignore in ([], [entry])
    ]
    assert lengths[0] == pytest.approx([1.02, 0.9])
    assert lengths[1] == pytest.approx([1.0, 1.0])


def test_a_sign_may_be_left_out_on_one_pass():
    made = reading({"order": "1, 1, 2", "marks": {"ignore": [{"at": "1:4", "mark": "accent", "pass": 2}]}}, signed())
    notes = made.performance.notes
    here = notes[(notes["bar"] == 1) & (notes["beat"] == 4)]
    assert here["level"][0] - here["level"][1] == pytest.approx(3.0)


def test_where_no_such_mark_stands_those_that_do_are_told():
    made = left_out({"at": "3:1", "mark": "fermata"})
    (remark,) = made.remarks
    assert remark.code == "no-such-mark"
    assert remark.message == "no 'fermata' stands at 3:1, so nothing is left out; there stands 'f'"
    (other,) = left_out({"bars": "8", "mark": "mf", "pass": 2}).remarks
    assert other.message == "no 'mf' stands at 8 on pass 2, so nothing is left out; there stands no mark at all"


def test_faults_are_told():
    with pytest.raises(CannotDo, match="bar 90: the score ends at bar 8"):
        left_out({"at": 90, "mark": "fermata"})
    for entry in ({"at": 1}, {"mark": "p"}, {"at": 1, "bars": 2, "mark": "p"}, "fermatas", 7):
        with pytest.raises(ValidationError):
            Plan.model_validate({"score": "a.xml", "marks": {"ignore": [entry]}})


@given(st.lists(st.tuples(st.integers(1, 8), st.sampled_from(["fermata", "dynamics", "rit.", "breath"])), max_size=4))
def test_what_is_left_out_sounds_as_if_it_did_not_stand_there(entries):
    """Leaving marks out is the same as a score that does not have them."""
    called = {"dynamics": "dynamic", "rit.": "tempo"}
    asked = [{"at": bar, "mark": mark} for bar, mark in entries]
    gone = {(bar - 1, called.get(mark, mark)) for bar, mark in entries}
    over = {"breath": 5}  # it stands as bar 5 is over, where bar 6 begins
    rest = [mark for mark in MARKS if (over.get(mark["kind"], mark["bar"]), mark["kind"]) not in gone]
    made, without = left_out(*asked), left_out(marks=rest)
    assert made.performance.notes.tobytes() == without.performance.notes.tobytes()
    assert len([use for use in made.marks if use.fate is Fate.IGNORED]) == len(MARKS) - len(rest)
