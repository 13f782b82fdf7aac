"""Ornaments among what is around them: small notes, accents, hearings, marks, slides."""

from __future__ import annotations

import numpy as np
import pytest
from ornamented import DELAYED, MORDENT, TRILL, TURN, ornamented
from support import reading, score

from timing.marks.uses import Fate
from timing.notes.ornaments import realise
from timing.performance import CARRIED, PLUCKED, SLURRED
from timing.remarks import CannotDo
from timing.score import Ornament, Score, Sign

# -- what they leave as it was


def test_notes_without_a_sign_are_not_touched():
    plain = reading({}, score(2, voices={1: "c4:1 e4:1 d4:1g f4:2 g4:4"})).performance.notes
    also = reading({}, ornamented("c4:1 e4:1 d4:1g f4:2 g4:4", {4: TURN}, bars=2)).performance.notes
    columns = [name for name in plain.dtype.names if name != "pluck"]  # which is nan
    assert plain[columns][:4].tolist() == also[columns][:4].tolist()


def test_small_notes_know_where_they_are():
    notes = reading({}, ornamented("c4:6 e4:2", {0: TRILL}, bars=2)).performance.notes
    second = notes["score_onset"] >= 4
    assert np.array_equal(notes["bar"] == 2, second) and np.array_equal(notes["ordinal"] == 1, second)
    assert notes["beat"][:3] == pytest.approx([1, 1 + 1 / 12, 1 + 2 / 12])
    assert notes["beat"][second][:2] == pytest.approx([1, 1 + 1 / 12])
    assert notes["step"][notes["id"] == 0].tolist() == list(range(71))


def signs_of(text: str, sign: Ornament, **options) -> list[Sign]:
    made = ornamented(text, {0: sign}, **options)
    done = reading({}, made)
    played = np.zeros(len(made.notes), done.performance.notes.dtype)
    played["id"], played["part"] = np.arange(len(played)), 0
    played["score_length"], played["score_onset"] = made.notes["length"], made.notes["offset"]
    _, notes = realise(
        played, made.notes, done.plan.articulation, done.performance.time, done.performance.bars, np.array([True])
    )
    return [Sign(int(signs)) for signs in notes["signs"][: (len(notes) - len(made.notes) + 1)]]


def test_accents_are_of_the_first_note_and_what_shapes_the_end_is_of_the_last():
    first, middle, last = signs_of("c4:1>.) e4:3", MORDENT)
    assert first == Sign.ACCENT | Sign.SLURRED
    assert middle == Sign.SLURRED | Sign.LEFT_HAND
    assert last == Sign.STACCATO | Sign.SLUR_END | Sign.LEFT_HAND


def test_only_the_last_note_is_short_under_a_dot():
    notes = reading({}, ornamented("c4:1. e4:3", {0: MORDENT})).performance.notes
    assert notes["end"][:2] == pytest.approx([1 / 16 + 0.02, 2 / 16 + 0.02])  # legato
    assert notes["end"][2] - notes["onset"][2] == pytest.approx(14 / 16 / 2)


def test_an_accent_of_the_plan_is_on_the_first_note():
    notes = reading({"accents": [{"at": "1:1"}]}, ornamented("c4:1 e4:3", {0: TRILL})).performance.notes
    assert notes["level"][0] - notes["level"][1] == pytest.approx(3)
    assert np.ptp(notes["level"][1:]) == 0


def test_an_appoggiatura_comes_before_the_ornament():
    made = ornamented("d4:1G c4:2 e4:2", {})
    main = int(np.flatnonzero(made.notes["pitch"] == 60)[0])
    made.notes["ornament"][main], made.notes["upper"][main] = TRILL, 2
    notes = reading({"tempo": 60}, made).performance.notes
    assert notes["pitch"].tolist() == [62, *([60, 62] * 6)[:11], 64]
    assert notes["onset"][:3] == pytest.approx([0, 1, 1 + 1 / 12])


def test_a_chord_waits_with_its_ornamented_note():
    made = ornamented("d5:1G c4+c5:2 e4:2", {})
    main = int(np.flatnonzero(made.notes["pitch"] == 72)[0])
    made.notes["ornament"][main], made.notes["lower"][main] = MORDENT, 1
    notes = reading({"tempo": 60}, made).performance.notes
    assert notes["pitch"].tolist() == [74, 60, 72, 71, 72, 64]
    assert notes["onset"] == pytest.approx([0, 1, 1, 1 + 1 / 16, 1 + 2 / 16, 2])
    assert notes["end"][1] == pytest.approx(2)


def test_an_acciaccatura_before_the_next_note_takes_its_time_from_the_last_note():
    made = ornamented("c4:1 f4:1g e4:3", {0: TRILL})
    notes = reading({}, made).performance.notes
    assert notes["onset"][-2:] == pytest.approx([0.93, 1]) and notes["end"][-3] == pytest.approx(0.93)


def test_each_hearing_has_its_ornament_and_a_slower_one_more_notes():
    marks = [{"kind": "repeat end", "bar": 0, "offset": 4.0, "end_offset": 4.0, "value": 2.0}]
    made = ornamented("c4:4 e4:4", {0: TRILL}, bars=2, marks=marks)
    slow = {"slowing": [{"ritenuto": "1", "to": "50%", "then": "a tempo", "pass": 2}]}
    notes = reading(slow | {"tempo": 90}, made).performance.notes
    trills = [notes[(notes["id"] == 0) & (notes["pass"] == number)] for number in (1, 2)]
    assert [len(trill) for trill in trills] == [31, 63]
    assert [float(trill["score_length"].sum()) for trill in trills] == pytest.approx([4, 4])
    same = reading({"tempo": 90}, made).performance.notes
    assert (same["id"] == 0).sum() == 2 * 31


def test_a_slowdown_stretches_a_trill():
    plan = {"slowing": [{"rallentando": "1", "to": "50%"}]}
    notes = reading(plan, ornamented("c4:4", {0: TRILL})).performance.notes
    assert np.all(np.diff(np.diff(notes["onset"])) > 0)
    assert np.allclose(np.diff(notes["score_onset"]), notes["score_length"][0])


def test_more_notes_than_memory_can_hold_are_refused():
    made = ornamented("c4:4000", {0: TRILL}, bars=1000)
    many = Score(**{**vars(made), "notes": np.repeat(made.notes, 100)})
    with pytest.raises(CannotDo, match="more than 1,000,000 notes"):
        reading({"tempo": 10, "articulation": {"trill speed": 16}}, many)


# -- as marks of the score


def test_ornaments_are_ignored_with_the_score_s_other_marks_or_by_themselves():
    made = ornamented("c4:1 e4:3", {0: TRILL, 1: MORDENT})
    made.notes["tremolo"][1] = 0.5
    for ignored in ("ignore", {"ignore": ["ornaments"]}):
        done = reading({"marks": ignored}, made)
        assert done.performance.notes["pitch"].tolist() == [60, 64]
        assert [(use.text, use.fate) for use in done.marks] == [
            ("trill", Fate.IGNORED), ("mordent", Fate.IGNORED), ("tremolo", Fate.IGNORED),
        ]  # fmt: skip
    assert len(reading({"marks": {"ignore": ["dynamics"]}}, made).performance.notes) == 11 + 3


def test_what_became_of_ornaments_is_told():
    made = ornamented("c4:4 c4:1 d4:1 e4:2", {0: DELAYED, 1: TRILL, 2: TRILL}, bars=2)
    uses = reading({}, made).marks
    assert [(use.section, use.text, use.place, use.count, use.fate) for use in uses] == [
        ("ornaments", "delayed turn", "1:1", 1, Fate.USED), ("ornaments", "trill", "2:1", 2, Fate.USED),
    ]  # fmt: skip
    (unheard, used) = reading({"order": ["2"]}, made).marks
    assert (unheard.text, unheard.fate) == ("delayed turn", Fate.WITHOUT_EFFECT) and used.fate == Fate.USED


# -- slides


def slide(note: int, goal: int) -> dict:
    return {"kind": "glissando", "note": note, "goal": goal, "bar": 0, "end_bar": 0, "value": np.nan}


@pytest.mark.parametrize("entry", [{"glide": "50%"}, {"from": "1:1"}, {"from": "1:1", "to": "1:3"}])
def test_a_slide_leaves_from_the_last_note_and_comes_to_the_first(entry):
    marks = [slide(0, 1)]
    made = ornamented("c4:2 e4:2", {0: TURN, 1: TRILL}, marks=marks)
    performance = reading({"glissandi": [entry]}, made).performance
    (glide,) = performance.glides
    note, goal = performance.notes[glide["note"]], performance.notes[glide["goal"]]
    assert (note["id"], note["step"], note["pitch"]) == (0, 3, 60)
    assert (goal["id"], goal["step"], goal["pitch"]) == (1, 0, 64)
    assert note["end"] == goal["onset"] == glide["arrive"]


def test_a_slide_may_carry_the_first_note_of_an_ornament():
    made = ornamented("c4:2 e4:2", {1: MORDENT}, marks=[slide(0, 1)], program=24)
    notes = reading({"glissandi": [{"arrive": "slurred"}]}, made).performance.notes
    assert notes["attack"].tolist() == [PLUCKED, CARRIED, SLURRED, SLURRED]
