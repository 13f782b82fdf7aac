"""Where notes lie on a guitar. The expected fingerings are common practice: any tutor for the instrument has them."""

from __future__ import annotations

import numpy as np
import pytest
from strung import fingered, places
from support import midi, reading, score

from timing.performance import HARMONIC, ORDINARY, PIZZICATO, PLUCKED, SLURRED
from timing.score import Sign


def codes(*args, **more) -> list[str]:
    return [remark.code for remark in fingered(*args, **more).remarks]


# -- what a hand does unasked


@pytest.mark.parametrize(
    ("chord", "shape"),
    [
        ("c3+e3+g3+c4+e4", "5/3 4/2 3/0 2/1 1/0"),  # C
        ("g2+b2+d3+g3+b3+g4", "6/3 5/2 4/0 3/0 2/0 1/3"),  # G
        ("d3+a3+d4+f#4", "4/0 3/2 2/3 1/2"),  # D
        ("a2+e3+a3+c4+e4", "5/0 4/2 3/2 2/1 1/0"),  # Am
        ("a2+e3+a3+c#4+e4", "5/0 4/2 3/2 2/2 1/0"),  # A
        ("e2+b2+e3+g#3+b3+e4", "6/0 5/2 4/2 3/1 2/0 1/0"),  # E
        ("e2+b2+e3+g3+b3+e4", "6/0 5/2 4/2 3/0 2/0 1/0"),  # Em
        ("b2+d#3+a3+b3+f#4", "5/2 4/1 3/2 2/0 1/2"),  # B7
        ("f2+c3+f3+a3+c4+f4", "6/1 5/3 4/3 3/2 2/1 1/1"),  # F, the first finger across all strings
        ("b2+f#3+b3+d4+f#4", "5/2 4/4 3/4 2/3 1/2"),  # Bm, the same a string higher
        ("g2+d3+g3+b3+d4+g4", "6/3 5/5 4/5 3/4 2/3 1/3"),  # G with a barre
    ],
)
def test_chords(chord, shape):
    assert places(f"{chord}:4") == shape.split()


def test_a_scale_stays_in_first_position():
    """C major over the open strings, as every first book has it."""
    scale = "c3:1 d3:1 e3:1 f3:1 g3:1 a3:1 b3:1 c4:1 d4:1 e4:1 f4:1 g4:1"
    assert " ".join(places(scale, bars=3)) == "5/3 4/0 4/2 4/3 3/0 3/2 2/0 2/1 2/3 1/0 1/1 1/3"


def test_a_cadence_in_e():
    """I, IV, V7 and I in E major: every chord in first position."""
    assert places("e2+g#3+b3+e4:2 a2+a3+c#4+e4:2 b2+a3+d#4+f#4:2 e2+g#3+b3+e4:2") == [
        *("6/0", "3/1", "2/0", "1/0"),
        *("5/0", "3/2", "2/2", "1/0"),
        *("5/2", "3/2", "2/4", "1/2"),
        *("6/0", "3/1", "2/0", "1/0"),
    ]


def test_a_melody_over_a_held_bass():
    """The finger stays on the bass while the melody moves above it."""
    assert places({1: "e4:1 g4:1 e4:1 c4:1", 2: "c3:4"}, bars=1) == ["5/3", "1/0", "1/3", "1/0", "2/1"]


def test_a_held_note_keeps_its_string():
    """E4 would be the open first string again, were this not still sounding a fourth above."""
    rows = fingered({1: "a4:4", 2: "r:1 e4:3"}, bars=1).performance.notes
    assert rows["string"].tolist() == [1, 2]
    assert rows["end"].tolist() == [4, 4]


def test_two_voices_on_one_notehead_are_one_sound():
    rows = fingered({1: "e4:1 d4:3", 2: "e4:4"}, bars=1).performance.notes
    assert [(n["string"], n["fret"]) for n in rows[rows["pitch"] == midi("e4")]] == [(1, 0), (1, 0)]


def test_small_notes_come_before_their_note():
    """A grace note and its main note may share a string, since they do not sound together."""
    assert places("f4:0g e4:4", bars=1, strings=[{"bars": 1, "string": 1}]) == ["1/0", "1/1"]


def test_low_strings_for_what_lies_low():
    assert places("e2:1 a2:1 d3:1 g3:1 b3:1 e4:1") == ["6/0", "5/0", "4/0", "3/0", "2/0", "1/0"]


# -- tuning and capo


def test_dropped_d():
    chord = "d2+a2+d3+a3+d4+f#4:4"
    assert places(chord, tuning="dropped D") == ["6/0", "5/0", "4/0", "3/2", "2/3", "1/2"]
    assert "off-the-instrument" in codes(chord)  # the low D is below the usual sixth string


def test_the_tuning_of_the_score_and_of_the_plan():
    made = score(bars=1, voices={1: "d4:4"}, program=24)
    made.parts["tuning"][0, :6] = [62, 57, 53, 48, 43, 38]  # a tone lower
    assert reading({}, made).performance.notes[["string", "fret"]].tolist() == [(1, 0)]
    standard = reading({"tuning": "standard"}, made).performance.notes
    assert standard[["string", "fret"]].tolist() == [(2, 3)]


def test_a_capo_moves_the_sound_and_not_the_hand():
    plain, raised = fingered("c3+e3+g3+c4+e4:4"), fingered("c3+e3+g3+c4+e4:4", capo=2)
    for column in ("string", "fret"):
        assert plain.performance.notes[column].tolist() == raised.performance.notes[column].tolist()
    assert (raised.performance.notes["pitch"] - plain.performance.notes["pitch"]).tolist() == [2] * 5


def test_parts_without_strings():
    notes = fingered("c4:1 e4:1", Sign.PIZZICATO, program=40).performance.notes
    assert notes[["string", "fret", "technique"]].tolist() == [(0, -1, PIZZICATO)] * 2
    assert "no-strings" in codes("c4:4", program=40, capo=2)
    assert "no-strings" in codes("c4:4", program=40, strings=[{"at": "1:1", "string": 2}])


# -- what the score says


def test_a_string_mark_of_the_score_holds():
    melody = "e4:1 d4:1 c4:1 b3:1"
    assert places(melody, bars=1) == ["1/0", "2/3", "2/1", "2/0"]
    marked = places(melody, bars=1, marks=[(0, "string", 2), (1, "string", 3), (2, "string", 3), (3, "string", 3)])
    assert marked == ["2/5", "3/7", "3/5", "3/4"]


def test_a_fret_mark_of_the_score_holds():
    assert places("e4:4", bars=1, marks=[(0, "fret", 5)]) == ["2/5"]
    assert places("e4:4", bars=1, marks=[(0, "fret", 9)]) == ["3/9"]


def test_fingers_say_where_the_hand_is():
    """A 1 over E4 is not the open string; with a 4 over the G it is fifth position."""
    assert places("e4:1 g4:3", bars=1, marks=[(0, "finger", 1), (1, "finger", 4)]) == ["2/5", "2/8"]
    assert places("e4:1 g4:3", bars=1, marks=[(0, "finger", 0), (1, "finger", 3)]) == ["1/0", "1/3"]


def test_a_fret_that_contradicts_the_pitch():
    made = fingered("e4:4", bars=1, marks=[(0, "string", 2), (0, "fret", 7)])
    assert made.performance.notes[["string", "fret"]].tolist() == [(2, 5)]
    told = [r for r in made.remarks if r.code == "fret-contradicts"]
    assert [(r.bar, r.beat) for r in told] == [(1, 1)]
    assert "at fret 5 of string 2, not at fret 7" in told[0].message


# -- what the plan says


def test_a_string_for_a_note_and_for_a_passage():
    assert places("e4:1 g4:1 e4:2", bars=1, strings=[{"at": "1:1", "string": 3}])[0] == "3/9"
    assert places("e4:1 g4:1 e4:2", bars=1, strings=[{"bars": 1, "string": 2}]) == ["2/5", "2/8", "2/5"]


def test_the_plan_goes_over_the_score_and_a_note_over_its_passage():
    marks = [(0, "string", 1), (1, "string", 1)]
    plan = [{"at": "1:1", "string": 4}, {"bars": 1, "string": 2}]
    assert places("e4:2 g4:2", bars=1, marks=marks, strings=plan) == ["4/14", "2/8"]


def test_a_position():
    melody = "c4:1 d4:1 e4:1 f4:1"
    assert places(melody, bars=1) == ["2/1", "2/3", "1/0", "1/1"]
    assert places(melody, bars=1, strings=[{"bars": 1, "position": 5}]) == ["3/5", "3/7", "1/0", "2/6"]


def test_one_voice_alone():
    voices = {1: "g4:2 g4:2", 2: "c3:4"}
    notes = fingered(voices, bars=1, strings=[{"bars": 1, "string": 2, "for": "voice 1"}]).performance.notes
    assert notes[notes["voice"] == 1]["string"].tolist() == [2, 2]
    assert notes[notes["voice"] == 2]["fret"].tolist() == [8]  # where the hand is for a G4 on the second string


def test_one_pass_alone():
    made = score(bars=1, voices={1: "e4:4"}, program=24)
    plan = {"order": ["1", "1"], "strings": [{"at": 1, "string": 2, "pass": 2}]}
    assert reading(plan, made).performance.notes["string"].tolist() == [1, 2]


def test_of_a_chord_the_note_that_can_lie_there():
    chord = "e2+e4:4"
    assert places(chord, bars=1, strings=[{"at": 1, "string": 2}]) == ["6/0", "2/5"]
    assert places(chord, bars=1, strings=[{"at": 1, "fret": 9}]) == ["6/0", "3/9"]


def test_named_ways_to_play():
    strings = [
        {"at": 1, "string": 2, "name": "warm"},
        {"at": 1, "string": 3, "name": "dark"},
        {"at": 2, "string": 4, "name": "dark"},
    ]
    chosen = {
        name: [n["string"] for n in fingered("e4:4 e4:4", strings=strings, **plan).performance.notes]
        for name, plan in {"none": {}, "warm": {"fingering": "warm"}, "dark": {"fingering": "dark"}}.items()
    }
    assert chosen["dark"] == [3, 4]
    assert chosen["warm"][0] == 2
    assert chosen["none"] == [2, 4]  # the first that the plan names, wherever it names several


# -- how it is sounded


def test_campanella_crosses_the_strings_and_rings():
    """Neighbours on different strings, with the open ones wherever there are any; each rings into the next."""
    line = "g4:.5 f#4:.5 e4:.5 d4:.5 c4:.5 b3:.5 a3:.5 g3:.5"
    made = fingered(line, bars=1, strings=[{"bars": 1, "campanella": "yes"}]).performance.notes
    assert np.all(np.diff(made["string"]) != 0)
    assert [int(n["string"]) for n in made if n["fret"] == 0] == [1, 2, 3]
    assert np.all(made["end"][:-1] > made["onset"][1:] + 0.4)


def test_let_ring_until_the_string_is_needed():
    """B3 is struck again after two beats; E4 has its string to itself and dies away after the passage."""
    plan = [{"bars": 1, "let ring": "yes"}]
    notes = fingered("b3:1 e4:1 b3:1 r:1", bars=1, strings=plan).performance.notes
    assert notes["end"].tolist() == [2, 6, 6]
    assert fingered("b3:1 e4:1 b3:1 r:1", bars=1).performance.notes["end"].tolist() == [1, 2, 3]


def test_no_note_rings_for_ever():
    """Ten seconds after its own end at most, however long the passage."""
    line = "e4:1 " + "b3:1 " * 31
    notes = fingered(line, bars=8, strings=[{"bars": "1-8", "let ring": "yes"}]).performance.notes
    assert notes["end"][0] == 11
    assert notes["end"][-1] == 35


def test_let_ring_of_the_score():
    assert fingered("b3:1 c4:3", Sign.LET_RING, bars=1).performance.notes["end"].tolist() == [1, 7]


def test_ligado():
    """The first note of a passage is plucked, the others are not; at a place it is that note."""
    notes = fingered("e4:1 f4:1 e4:2", bars=1, strings=[{"bars": "1:1 - 1:2", "ligado": "yes"}]).performance.notes
    assert notes["attack"].tolist() == [PLUCKED, SLURRED, PLUCKED]
    notes = fingered("d4:1 e4:1 r:2", bars=1, strings=[{"at": "1:2", "ligado": "yes"}]).performance.notes
    assert notes["attack"].tolist() == [PLUCKED, SLURRED]
    assert notes[["string", "fret"]].tolist() == [(2, 3), (2, 5)]  # a hammer-on is on one string


def test_left_hand_signs_of_the_score():
    assert fingered("e4:4", Sign.LEFT_HAND, bars=1).performance.notes["attack"].tolist() == [SLURRED]


@pytest.mark.parametrize(
    ("pitch", "place"),
    [("e5", "1/12"), ("b4", "2/12"), ("b5", "1/7"), ("d5", "3/7"), ("f#5", "2/7"), ("e6", "1/5"), ("g#6", "1/4")],
)
def test_natural_harmonics(pitch, place):
    """Touched at the twelfth, seventh, fifth and fourth fret, the lower partial where there is a choice."""
    notes = fingered(f"{pitch}:4", bars=1, strings=[{"at": 1, "harmonic": "yes"}])
    assert [f"{n['string']}/{n['fret']}" for n in notes.performance.notes] == [place]
    assert notes.performance.notes["technique"].tolist() == [HARMONIC]


def test_no_harmonic():
    made = fingered("f4:4", bars=1, strings=[{"at": 1, "harmonic": "yes"}])
    assert made.performance.notes[["technique", "string", "fret"]].tolist() == [(ORDINARY, 1, 1)]
    assert [r.code for r in made.remarks] == ["no-harmonic"]


def test_pizzicato():
    assert fingered("e4:4", bars=1, strings=[{"at": 1, "pizzicato": "yes"}]).performance.notes["technique"] == PIZZICATO


def test_a_slide_lies_on_one_string():
    """C4 to E4 would go to the open first string."""
    plan = {"glissandi": [{"from": "1:1", "to": "1:3"}]}
    assert places("c4:2 e4:2", bars=1) == ["2/1", "1/0"]
    assert places("c4:2 e4:2", bars=1, **plan) == ["2/1", "2/5"]


@pytest.mark.parametrize(
    ("chord", "grip"),
    [
        ("a2+c#4+e4+a4:4", ["1/5", "2/5", "3/6", "5/0"]),
        ("c3+g3+c4+e4+g4:4", ["1/3", "2/5", "3/5", "4/5", "5/3"]),  # across the third fret
    ],
)
def test_high_chords_are_taken_in_one_place(chord, grip):
    """Common practice: no open string amid the fingers of a high position where the hand has a grip of its own."""
    assert sorted(places(chord)) == grip
