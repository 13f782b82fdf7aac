"""Roles found from the texture, and voices by the names a plan may give them."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from support import midi, reading, score

from timing.notes.lines import find_roles
from timing.performance import ROLES
from timing.remarks import CannotDo
from timing.score import Score


def roles(voices: dict[int, str], bars: int = 4, made: Score | None = None) -> dict[int, str]:
    """The roles of each voice's notes in order, as letters: m(elody), i(nner), b(ass)."""
    made = made or score(bars, voices=voices)
    found = np.array([role[0] for role in ROLES])[find_roles(made)]
    return {v: "".join(found[made.notes["voice"] == v]) for v in np.unique(made.notes["voice"]).tolist()}


def test_a_single_line_is_melody():
    assert roles({1: "c4:1 d4:1 e4:1 f4:1"}) == {1: "mmmm"}


def test_a_chorale():
    """Four voices; where tenor and alto cross, they stay inner."""
    chorale = {
        1: "c5:1 d5:1 e5:1 c5:1",
        2: "g4:1 g4:1 f4:1 g4:1",
        3: "e4:1 b3:1 g4:1 e4:1",
        4: "c3:1 g2:1 c3:1 c3:1",
    }
    assert roles(chorale) == {1: "mmmm", 2: "iiii", 3: "iiii", 4: "bbbb"}


def test_a_held_melody_over_an_arpeggio_and_a_bass():
    """A guitar: while the melody's long note sounds, the arpeggio under it is on top of nothing."""
    guitar = {
        1: "e5:3 d5:3",
        2: "r:0.5 g4:0.5 b4:0.5 g4:0.5 b4:0.5 g4:0.5 r:0.5 f4:0.5 a4:0.5 f4:0.5 a4:0.5 f4:0.5",
        3: "c3:3 d3:3",
    }
    assert roles(guitar) == {1: "mm", 2: "i" * 10, 3: "bb"}


def test_an_arpeggio_that_rises_above_a_melody_that_has_ended_is_not_melody():
    guitar = {1: "e5:1 r:1 d5:1 r:1", 2: "r:1 c5:1 r:1 c5:1", 3: "c3:4"}
    assert roles(guitar)[1] == "mm"
    assert roles(guitar)[3] == "b"


def test_violin_and_piano():
    """The violin leads even where the piano's right hand is for a moment higher."""
    made = score(
        2,
        voices={1: "e5:1 f5:1 g5:1 c5:1", 2: "c5+e4:1 c5+e4:1 c5+e4:1 e5+c5:1", 3: "c3:2 g2:2"},
        parts=("Violin", "Piano"),
    )
    made.notes["part"][made.notes["voice"] > 1] = 1
    found = roles({}, made=made)
    assert found[1] == "mmmm"
    assert set(found[2]) == {"i"}
    assert found[3] == "bb"


def test_chords_in_one_voice():
    """The highest note of each chord is the melody, the lowest the bass."""
    made = score(1, voices={1: "c3+g3+e4:1 d3+g3+f4:1 e3+g3+g4:2"})
    found = dict(zip(made.notes["pitch"].tolist(), (ROLES[role] for role in find_roles(made)), strict=True))
    assert {found[midi(name)] for name in ("e4", "f4", "g4")} == {"melody"}
    assert found[midi("g3")] == "inner"


def test_a_bass_goes_on_being_the_bass_while_the_melody_rests():
    assert roles({1: "c5:2 r:2", 2: "c3:1 d3:1 e3:1 f3:1"}) == {1: "m", 2: "bbbb"}


def test_grace_notes_go_with_their_line():
    assert roles({1: "c5:1 d5:1g e5:3", 2: "c3:2 d3:1g e3:2"}) == {1: "mmm", 2: "bbb"}


def test_percussion_has_no_role_to_play():
    made = score(1, voices={1: "c5:4", 2: "c6:4"}, parts=("Flute", "Triangle"))
    made.notes["part"][made.notes["voice"] == 2] = 1
    made.parts["percussion"][1] = True
    assert roles({}, made=made) == {1: "m", 2: "i"}


@given(
    st.lists(
        st.lists(st.tuples(st.integers(36, 84), st.sampled_from([0.5, 1, 2])), min_size=1, max_size=8),
        min_size=1,
        max_size=4,
    )
)
def test_whatever_is_played_something_leads(voices):
    names = ["c", "c#", "d", "d#", "e", "f", "f#", "g", "g#", "a", "a#", "b"]
    written = {
        number: " ".join(f"{names[pitch % 12]}{pitch // 12 - 1}:{length}" for pitch, length in voice)
        for number, voice in enumerate(voices, 1)
    }
    assert "m" in "".join(roles(written, bars=8).values())


# -- names

QUARTET = {1: "e5:4", 2: "c5:4", 3: "g4:4", 4: "c3:4"}


def chosen(name: str, **voices) -> str:
    """The voices that a name means, by what becomes softer; two parts, two staves."""
    made = score(1, voices=QUARTET, parts=("Violin I", "Cello"))
    made.notes["part"] = made.notes["voice"] > 2
    made.notes["staff"] = 1 + (made.notes["voice"] == 4)
    notes = reading({"voices": {name: "-1 dB"} | voices}, made).performance.notes
    return "".join(map(str, sorted(notes["voice"][notes["level"] < -12].tolist())))


@pytest.mark.parametrize(
    ("name", "voices"),
    [
        ("melody", "1"), ("bass", "4"), ("inner", "23"), ("voice 2", "2"), ("staff 2", "4"), ("part 1", "12"),
        ("violin i", "12"), ("Cello", "34"),
        ("melody, bass", "14"),  # of one kind: each of them
        ("voice 1, voice 3", "13"),
        ("Violin I, Cello", "1234"), ("part 1, Cello", "1234"),
        ("inner, Cello", "3"),  # of two kinds: what they have in common
        ("Cello, voice 3, voice 2", "3"),
        ("Voice  3", "3"),
    ],
)  # fmt: skip
def test_names(name, voices):
    assert chosen(name) == voices


@pytest.mark.parametrize(
    ("name", "near"), [("melodie", "melody"), ("celo", "Cello"), ("voice 9", "voice 4"), ("inner, bas", None)]
)
def test_unknown_names(name, near):
    with pytest.raises(CannotDo, match=f"no notes are called '{name}'.*" + (f"did you mean '{near}'" if near else "")):
        chosen(name)


def test_a_role_that_this_score_does_not_have_is_no_fault():
    made = reading({"voices": {"melody": "1 dB", "inner": "-9 dB"}}, bars=1)
    (remark,) = made.remarks
    assert (remark.severity, remark.code) == ("advice", "role-not-found")


def test_a_role_that_the_plan_gives_to_a_voice():
    made = score(1, voices=QUARTET)
    notes = reading({"voices": {"melody": {"level": "2 dB", "is": "voice 3"}}}, made).performance.notes
    found = {int(note["voice"]): (ROLES[note["role"]], note["level"]) for note in notes}
    assert found == {1: ("inner", -12), 2: ("inner", -12), 3: ("melody", -10), 4: ("bass", -12)}


def test_a_part_whose_name_has_a_comma():
    made = score(1, voices=QUARTET, parts=("Violin, solo",))
    notes = reading({"voices": {"violin, solo": "-1 dB"}}, made).performance.notes
    assert set(notes["level"]) == {-13}


def test_only_a_role_can_be_told_where_it_lies():
    made = reading({"voices": {"Melody": {"is": "voice 2"}}}, bars=1, voices={1: "c5:4", 2: "c4:4"})
    notes = made.performance.notes
    assert ROLES[notes["role"][notes["voice"] == 2][0]] == "melody"
    with pytest.raises(CannotDo, match="'voice 1' is no role"):
        reading({"voices": {"voice 1": {"is": "voice 2"}}}, bars=1, voices={1: "c5:4", 2: "c4:4"})
