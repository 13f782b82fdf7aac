"""What the score marks for the left hand holds: 0 is an open string, finger f at fret n puts the hand at n - f + 1."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from strung import fingered, places
from support import midi, reading, score

from timing.instruments.tuning import FRETS

TUNING = np.array([64, 59, 55, 50, 45, 40])


def marked(voices, *marks: tuple[int, int], bars: int = 1, **plan) -> list[str]:
    """string/fret of notes of which some have fingers: (row in the score's notes, finger)."""
    return places(voices, bars=bars, marks=[(row, "finger", finger) for row, finger in marks], **plan)


# -- an open string and a stopped one


@pytest.mark.parametrize(("note", "place"), [("b3", "2/0"), ("g3", "3/0"), ("d3", "4/0"), ("a2", "5/0"), ("e4", "1/0")])
def test_0_is_the_open_string(note, place):
    """Even amid a high position: the notes around it lie at the ninth fret."""
    line = f"c#5:.5 {note}:.5 c#5:1 c#5:2"
    assert marked(line, (1, 0), strings=[{"at": at, "string": 1} for at in ("1:1", "1:2", "1:3")])[1] == place


def test_0_over_a_broken_chord():
    """Unmarked, B3 would be stopped so that it rings with D4."""
    line = {1: "r:.5 b3:.25 d4:.25 g#4:.25 d4:.25", 2: "e2:2"}
    assert marked(line)[1] == "3/4"
    assert marked(line, (1, 0))[1] == "2/0"


def test_0_where_no_string_is_open_is_passed_over():
    made = fingered("c4:1 f4:1", bars=1, marks=[(0, "finger", 0), (1, "finger", 0)])
    assert made.performance.notes["fret"].tolist() == [1, 1]
    assert made.remarks == reading({}, score(bars=1, voices={1: "c4:1 f4:1"}, program=24)).remarks


def test_a_finger_is_no_open_string():
    assert marked("b3:4", (0, 4)) == ["3/4"]
    assert marked("e4:4", (0, 2)) == ["2/5"]
    assert marked("e2:4", (0, 3)) == ["6/0"]  # which there is no other way to play


# -- the position


def test_a_finger_says_where_the_hand_is():
    """The third finger on D4 at the third fret is first position; on C4 at the fifth fret it is third position, and
    there the next notes lie, which would be E4 and B3 on open strings."""
    assert marked("d4:1 e4:1 d4:2", (0, 3)) == ["2/3", "1/0", "2/3"]
    assert marked("c4:.25 e4:.25 g4:.25 e4:.25", (0, 3), (1, 3))[:3] == ["3/5", "2/5", "1/3"]


def test_the_same_note_with_each_finger():
    """G4 with E4 by the fourth finger, at the eighth fret: fifth position."""
    assert marked("g4:1 a4:1", (0, 3), (1, 4)) == ["1/3", "1/5"]
    assert marked("e4:1 g4:1", (0, 1), (1, 4)) == ["2/5", "2/8"]
    assert marked("g4:1 c5:1", (0, 1), (1, 4))[0] in ("1/3", "2/8", "3/12")


def test_fingers_of_a_chord_agree():
    """D4 by the third and F#4 by the fourth: not at the third and second fret of first position, as without marks."""
    assert marked("d4+f#4:4") == ["2/3", "1/2"]
    assert marked("d4+f#4:4", (0, 3), (1, 4)) == ["3/7", "2/7"]
    assert marked("d4+f#4:4", (0, 3), (1, 2)) == ["2/3", "1/2"]


def test_a_string_and_a_finger_together():
    marks = [(0, "string", 3), (0, "finger", 4), (1, "finger", 1)]
    assert places("b3:.5 d4:.5", bars=1, marks=marks)[0] == "3/4"
    assert places("b3:4", bars=1, marks=[(0, "string", 4), (0, "finger", 0)]) == ["4/9"]  # the string says more


def test_one_notehead_of_two_is_marked():
    """B3 is written in both voices, and the finger stands at one of them."""
    for row in (0, 1):
        assert set(marked({1: "b3:1 d4:1", 2: "b3:2"}, (row, 4))[:2]) == {"3/4"}


def test_the_plan_goes_over_the_finger():
    assert marked("b3:4", (0, 4), strings=[{"at": 1, "string": 2}]) == ["2/0"]


# -- fingers of other instruments


def guitar_from(program: int, name: str, *fingers: int) -> list[tuple[int, int]]:
    """(string, fret) of E4s with these fingers, written for another instrument and played on the guitar."""
    made = score(bars=2, voices={1: " ".join(["e4:1"] * len(fingers))}, program=program, parts=(name,))
    made.notes["finger"] = fingers
    notes = reading({"instrument": "classical guitar"}, made).performance.notes
    return list(zip(notes["string"].tolist(), notes["fret"].tolist(), strict=True))


def test_a_pianists_fingers_are_no_guitarists():
    assert guitar_from(0, "Piano", 1, 2, 3) == [(1, 0)] * 3
    assert guitar_from(-1, "Klavier", 1, 2, 3) == [(1, 0)] * 3
    assert guitar_from(-1, "Melody", 1, 2, 5) == [(1, 0)] * 3  # no left hand on a guitar has a fifth finger


def test_a_violinists_fingers_are_no_guitarists():
    assert guitar_from(40, "Violin", 1, 4, 0) == [(1, 0)] * 3
    assert guitar_from(-1, "Violin", 1, 4, 0) == [(1, 0)] * 3


def test_a_guitarists_fingers_wherever_they_are_written():
    for program, name in ((24, "Piano"), (-1, "Guitar"), (-1, "Melody")):
        assert guitar_from(program, name, 4, 4, 4) == [(2, 5)] * 3
    assert guitar_from(0, "Piano", 0, 4, 4)[1:] == [(2, 5)] * 2  # no pianist has a finger 0


def test_a_fifth_finger_on_a_guitar_says_nothing():
    assert guitar_from(24, "Guitar", 5) == [(1, 0)]


# -- whatever the music

_NAMES = [f"{step}{octave}" for octave in range(2, 6) for step in ("c", "d", "e", "f#", "g", "a", "b")][2:]
lines = st.lists(
    st.tuples(st.sampled_from(_NAMES), st.sampled_from((0.25, 0.5, 1, 2)), st.sampled_from((-1, -1, 0, 1, 2, 3, 4))),
    min_size=1,
    max_size=12,
)


@given(lines)
def test_a_finger_is_met_wherever_some_way_meets_it(line):
    """A melody: 0 on an open string if one has the note, 1 to 4 on a stopped one."""
    words = " ".join(f"{name}:{length}" for name, length, _ in line)
    marks = [(row, "finger", finger) for row, (_, _, finger) in enumerate(line)]
    notes = fingered(words, bars=8, marks=marks).performance.notes
    for note, (name, _, finger) in zip(notes, line, strict=True):
        frets = midi(name) - TUNING
        frets = frets[(frets >= 0) & (frets <= FRETS)]
        if finger == 0 and (frets == 0).any():
            assert note["fret"] == 0
        if finger > 0 and (frets > 0).any():
            assert note["fret"] > 0


@given(st.integers(1, 9), st.lists(st.integers(1, 6), min_size=2, max_size=3, unique=True), st.data())
def test_the_fingers_of_a_grip_find_one_position(position, strings, data):
    """A grip is made up and its fingers are marked: the frets that are chosen for it lie in one position too."""
    fingers = sorted(data.draw(st.lists(st.integers(1, 4), min_size=len(strings), max_size=len(strings), unique=True)))
    pitches = [int(TUNING[string - 1]) + position + finger - 1 for string, finger in zip(strings, fingers, strict=True)]
    if len(set(pitches)) < len(pitches):
        return
    made = score(bars=1, voices={1: "+".join(["c4"] * len(pitches)) + ":4"}, program=24)
    made.notes["pitch"], made.notes["finger"] = pitches, fingers
    notes = reading({}, made).performance.notes
    by_pitch = dict(zip(notes["pitch"].tolist(), notes["fret"].tolist(), strict=True))
    places = [max(by_pitch[pitch] - finger + 1, 1) for pitch, finger in zip(pitches, fingers, strict=True)]
    assert len(set(places)) == 1


@given(lines, st.integers(0, 11), st.integers(1, 6))
def test_a_marked_string_holds_whatever_the_fingers(line, row, string):
    words = " ".join(f"{name}:{length}" for name, length, _ in line)
    row %= len(line)
    marks = [(number, "finger", finger) for number, (_, _, finger) in enumerate(line)]
    notes = fingered(words, bars=8, marks=[*marks, (row, "string", string)]).performance.notes
    if 0 <= midi(line[row][0]) - TUNING[string - 1] <= FRETS:
        assert notes["string"][row] == string
