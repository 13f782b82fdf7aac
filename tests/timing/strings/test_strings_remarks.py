"""What is said about strings and frets that cannot be had: what is wrong, where, and what can be had instead."""

from __future__ import annotations

import numpy as np
import pytest
from ruamel.yaml import YAML
from support import reading, score

from timing.instruments.tuning import pitch_name
from timing.plan import Plan
from timing.remarks import CannotDo, Severity
from timing.strings.playable import why_not_together


def told(voices, code, bars=2, **plan):
    """The remarks of one kind on a guitar's notes, which always sound all the same."""
    voices = {1: voices} if isinstance(voices, str) else voices
    made = reading(plan, score(bars=bars, voices=voices, program=24))
    assert all(note["end"] > note["onset"] for note in made.performance.notes)
    found = [remark for remark in made.remarks if remark.code == code]
    assert all(remark.severity is Severity.CAUTION for remark in found)
    return made, found


def by_pitch(made) -> list[int]:
    """The strings of a chord, lowest note first."""
    notes = made.performance.notes
    return notes["string"][np.argsort(notes["pitch"])].tolist()


def test_seven_notes():
    made, found = told("e2+g2+b2+e3+g3+b3+e4:4", "unplayable-chord")
    assert [(r.bar, r.beat, r.pass_) for r in found] == [(1, 1, 1)]
    assert "7 notes and 6 strings" in found[0].message
    strings = by_pitch(made)
    assert sorted(strings) == [0, 1, 2, 3, 4, 5, 6]
    assert strings[0] == 6 and strings[-1] == 1  # what is left out is within the chord


def test_two_notes_on_one_string():
    made, found = told("e2+f2:4", "unplayable-chord")
    assert found[0].message == (
        "this chord cannot be played on the strings: E2 and F2 lie only on string 6. On no string: F2; E2 on string 6 "
        "(open)"
    )
    assert by_pitch(made) == [6, 0]


def test_a_stretch_beyond_any_hand():
    _, found = told("f2+f4+e5:4", "unplayable-chord")
    assert found[0].message == (
        "this chord (F2, F4 and E5) is a stretch from fret 1 to fret 12: no hand reaches from F2 on string 6 (fret 1) "
        "to E5 on string 1 (fret 12)"
    )


@pytest.mark.parametrize("chord", ["f2+c3+a3+e4+a4", "c3+g3+d4+a4", "g2+b2+d3+g3+b3+g4", "f2+c3+f3+a3+c4+f4"])
def test_ordinary_chords_are_no_trouble(chord):
    assert told(f"{chord}:4", "unplayable-chord")[1] == []


def test_many_hard_chords_are_told_in_few_words():
    _, found = told(" ".join(["e2+f2:1"] * 40), "unplayable-chord", bars=10)
    assert len(found) <= 6


def test_off_the_instrument():
    made, found = told("c2:1 e2:1 g6:1 g6:1", "off-the-instrument")
    assert [r.bar for r in found] == [1, 1]
    assert "C2 is below the lowest string (E2)" in found[0].message
    assert "G6 is above the highest fret (2 notes)" in found[1].message
    notes = made.performance.notes
    assert notes["string"].tolist() == [0, 6, 0, 0]
    assert notes["fret"].tolist() == [-1, 0, -1, -1]


def test_a_string_that_cannot_give_the_note():
    _, found = told("e2:2 e4:2", "string-cannot-reach", strings=[{"at": "1:1", "string": 1}])
    assert "string 1 cannot give E2; strings that can: 6 (fret 0)" in found[0].message
    assert found[0].suggestion == "strings: [{at: 1:1, string: 6}]"


def test_suggestions_can_be_written_into_the_plan():
    voices = {1: "r:.5 e4:1.5 e4:2"}
    for wish in ({"string": 6}, {"fret": 1}, {"string": 2, "fret": 1}):
        made = reading({"strings": [{"at": "1:1.5", **wish}]}, score(bars=1, voices=voices, program=24))
        fixes = [r.suggestion for r in made.remarks if r.suggestion and r.suggestion.startswith("strings")]
        fixed = reading(YAML(typ="safe").load(fixes[0]), score(bars=1, voices=voices, program=24))
        assert [r for r in fixed.remarks if r.code in ("string-cannot-reach", "fret-contradicts")] == []


def test_a_passage_on_a_string_is_told_once_for_each_pitch():
    _, found = told("e3:1 e3:1 f3:1 e4:1", "string-cannot-reach", bars=1, strings=[{"bars": 1, "string": 1}])
    assert ["(2 notes)" in r.message for r in found] == [True, False]


def test_a_string_that_the_instrument_has_not():
    _, found = told("e4:4", "string-cannot-reach", strings=[{"at": 1, "string": 9}])
    assert "string 9 cannot give E4" in found[0].message


def test_an_unknown_fingering():
    strings = [{"at": 1, "string": 2, "name": "dark"}]
    with pytest.raises(CannotDo, match="no entry of `strings` is called 'drak': did you mean 'dark'") as refused:
        reading({"fingering": "drak", "strings": strings}, score(bars=1, program=24))
    assert [r.code for r in refused.value.remarks] == ["plan-fingering"]
    assert refused.value.remarks[0].suggestion == "fingering: dark"
    with pytest.raises(CannotDo, match="none has a name"):
        reading({"fingering": "dark"}, score(bars=1, program=24))


def test_no_note_at_a_place():
    with pytest.raises(CannotDo, match="no note begins at 1:2"):
        reading({"strings": [{"at": "1:2", "string": 2}]}, score(bars=1, voices={1: "c4:4"}, program=24))


def test_faults_of_a_way_to_play_that_is_not_chosen():
    strings = [{"at": 1, "string": 2, "name": "warm"}, {"at": 9, "string": 3, "name": "dark"}]
    with pytest.raises(CannotDo, match="bar 9"):
        reading({"fingering": "warm", "strings": strings}, score(bars=1, program=24))


def test_a_voice_that_is_not_there():
    made = reading({"strings": [{"at": 1, "string": 2, "for": "bass"}]}, score(bars=1, voices={1: "e4:4"}, program=24))
    assert {r.code for r in made.remarks} == {"role-not-found"}


def test_strings_for_an_instrument_without_strings_are_told_once():
    entries = [{"at": n, "string": 2} for n in range(1, 5)]
    told = [r for r in reading({"strings": entries}, score(bars=4, program=73)).remarks if r.code == "no-strings"]
    assert len(told) == 1
    assert "4 entries choose strings" in told[0].message


def test_beyond_the_last_fret_under_a_capo():
    """The nineteenth fret is the fourteenth from a capo at the fifth."""
    assert told("b5:4", "off-the-instrument")[1] == []
    assert "above the highest fret" in told("g5:4", "off-the-instrument", capo=5)[1][0].message


def test_a_place_that_is_never_heard():
    made = reading({"strings": [{"at": 1, "string": 2, "pass": 3}]}, score(bars=1, program=24))
    assert "never-heard" in [r.code for r in made.remarks]


@pytest.mark.parametrize(
    ("entry", "message"),
    [
        ({"bars": 1, "fret": 3}, "a passage is not played at one fret"),
        ({"at": 1}, "does not say how the notes are played"),
        ({"at": 1, "harmonic": "yes", "pizzicato": "yes"}, "cannot both hold"),
        ({"bars": 1, "campanella": "yes", "string": 2}, "cannot both hold"),
        ({"at": 1, "string": 0}, "it can be 1 to 12"),
        ({"at": 1, "string": 2.5}, "not a whole number"),
    ],
)
def test_entries_that_make_no_sense(entry, message):
    with pytest.raises(ValueError, match=message):
        Plan.model_validate({"strings": [entry]})


def test_tunings():
    for written in ("dropped D", "drop d", "E4 B3 G3 D3 A2 D2", ["D2", "A2", "D3", "G3", "B3", "E4"]):
        assert Plan.model_validate({"tuning": written}).tuning == (64, 59, 55, 50, 45, 38)
    for wrong in ("open H", ["E4", "X"], [], ["E4"] * 13, "E4 B3 G9"):
        with pytest.raises(ValueError):
            Plan.model_validate({"tuning": wrong})


def test_reasons():
    """Three notes for two strings, found among others that are well placed."""
    assert (
        why_not_together([40, 41, 45, 64], [{6}, {6, 5}, {6, 5}, {1}], 6) == "E2, F2 and A2 lie only on strings 5 and 6"
    )
    assert pitch_name(60) == "C4"  # MIDI 1.0: middle C is 60; common practice: it is called C4
