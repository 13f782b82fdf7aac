"""In which octave a part sounds: guitar music in a plain treble clef, and what the plan says of any part."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from support import score as by_hand
from written import FOUR_FOUR, bar, musicxml, note

from timing.drafting import draft
from timing.instruments.sounding import sounding
from timing.performance import MELODY
from timing.plan import Plan
from timing.reader import _parse, guard, read_score, tabulate
from timing.reading import Reading, perform
from timing.remarks import CannotDo

TREBLE = "<clef><sign>G</sign><line>2</line></clef>"
EIGHT = "<clef><sign>G</sign><line>2</line><clef-octave-change>-1</clef-octave-change></clef>"
BASS = "<clef><sign>F</sign><line>4</line></clef>"
TAB = '<clef number="2"><sign>TAB</sign><line>5</line></clef>'
DOWN = "<transpose><chromatic>0</chromatic><octave-change>-1</octave-change></transpose>"


def technical(inside: str) -> str:
    return f"<notations><technical>{inside}</technical></notations>"


def written(*pitches: str, clef: str = TREBLE, name: str = "Classical Guitar", more: str = "") -> str:
    content = "".join(note(pitch, 4 / len(pitches), more) for pitch in pitches)
    return musicxml([bar(content, 1, FOUR_FOUR + clef)], names=(name,))


def read(text: str, **plan) -> Reading:
    score = tabulate(_parse(guard.Raw(Path("x.musicxml"), "xml", text.encode())))
    return perform(score, Plan.model_validate({"score": "x.musicxml", "tempo": 60} | plan))


def pitches(reading: Reading) -> list[int]:
    return reading.performance.notes["pitch"].tolist()


def told(reading: Reading) -> list[str | None]:
    return [remark.suggestion for remark in reading.remarks if remark.code == "octave-assumed"]


# -- what is assumed


def test_a_guitar_in_a_plain_treble_clef_sounds_an_octave_lower():
    played = read(written("E3", "A3", "G5", "E5"))
    assert pitches(played) == [40, 45, 67, 64]
    assert played.performance.notes[["string", "fret"]].tolist()[:2] == [(6, 0), (5, 0)]
    assert told(played) == ["sounds: as written"]


def test_a_guitar_with_notes_below_what_it_writes_is_at_pitch():
    played = read(written("C3", "E4", "G4", "C5"))
    assert pitches(played) == [48, 64, 67, 72]
    assert told(played) == ["sounds: an octave lower"]


@pytest.mark.parametrize(("lowest", "sounds"), [("D3", 38), ("C#3", 49), ("E3", 40), ("G5", 67)])
def test_the_lowest_string_may_be_taken_down_a_tone(lowest, sounds):
    assert pitches(read(written(lowest))) == [sounds]


def test_a_string_that_the_score_takes_lower_counts():
    direction = "<direction><direction-type><words>⑥ = C</words></direction-type></direction>"
    text = musicxml([bar(direction + note("C3", 4), 1, FOUR_FOUR + TREBLE)], names=("Guitar",))
    played = read(text)
    assert pitches(played) == [36]
    assert played.performance.notes["string"].tolist() == [6]


@pytest.mark.parametrize(
    ("pitch", "inside", "sounds"),
    [
        ("D#5", "<string>1</string>", 75),  # an octave lower it is no note of the first string
        ("G5", "<string>1</string><fret>3</fret>", 67),
        ("G5", "<string>1</string><fret>15</fret>", 79),
        ("G4", "<string>6</string>", 55),  # as written it lies beyond the last fret of the sixth
        ("E4", "<fingering>0</fingering>", 64),  # an open string
        ("E5", "<fingering>0</fingering>", 64),
        ("E5", "<string>6</string><harmonic/>", 64),  # the note of a harmonic says nothing of the octave
    ],
)
def test_the_strings_that_the_score_names_decide(pitch, inside, sounds):
    assert pitches(read(written(pitch, more=technical(inside)))) == [sounds]


@pytest.mark.parametrize("clef", [EIGHT, TREBLE + DOWN, TREBLE + BASS.replace("<clef>", '<clef number="2">'), ""])
@pytest.mark.parametrize("name", ["Classical Guitar"])
def test_a_score_that_says_its_octave_is_believed(clef, name):
    lower = 12 if DOWN in clef else 0
    played = read(written("E4", "G5", clef=clef, name=name))
    assert pitches(played) == [64 - lower, 79 - lower]
    assert told(played) == []


@pytest.mark.parametrize("name", ["Violin", "Piano", "Mandolin", "Ukulele", "Lute", "Bass guitar", "Voice"])
def test_other_instruments_sound_as_they_are_written(name):
    played = read(written("E4", "G5", name=name))
    assert pitches(played) == [64, 79]
    assert told(played) == []


@pytest.mark.parametrize(("name", "pitch"), [("Violin", 64), ("Piano", 64), ("Music", 52)])
def test_a_guitar_by_the_plan_alone(name, pitch):
    """What the score gives to another instrument is not written for a guitar."""
    assert pitches(read(written("E4", name=name), instrument="classical guitar")) == [pitch]


def test_a_tablature_below_the_staff_changes_nothing():
    assert pitches(read(written("E4", clef=f"<staves>2</staves>{TREBLE}{TAB}"))) == [52]


def test_without_a_clef_that_music_is_read_from_nothing_is_assumed():
    made = by_hand(1, voices={1: "e4:4"}, program=24)
    assert pitches(perform(made, Plan(score="made-by-hand.musicxml"))) == [64]


# -- what the plan says


@pytest.mark.parametrize(("said", "higher"), [("an octave lower", -12), ("as written", 0), ("an octave higher", 12)])
@pytest.mark.parametrize(
    ("name", "clef", "sounds"), [("Guitar", TREBLE, 64), ("Guitar", TREBLE + DOWN, 52), ("Flute", TREBLE, 64)]
)
def test_the_plan_says_the_octave_of_any_part(said, higher, name, clef, sounds):
    played = read(written("E4", name=name, clef=clef), sounds=said)
    assert pitches(played) == [sounds + higher]
    assert told(played) == []


def test_one_octave_for_each_part():
    text = musicxml(
        [bar(note("E4", 4), 1, FOUR_FOUR + TREBLE)], [bar(note("G4", 4), 1, FOUR_FOUR + TREBLE)],
        names=("Guitar 1", "Guitar 2"),
    )  # fmt: skip
    played = read(text, sounds={"Guitar 2": "as written"})
    assert dict(played.performance.notes[["part", "pitch"]].tolist()) == {0: 52, 1: 67}
    assert told(played) == ["sounds: {Guitar 1: as written}"]
    with pytest.raises(CannotDo, match="no part 'Guitar 3'"):
        read(text, sounds={"Guitar 3": "as written"})


@pytest.mark.parametrize("said", ["an octave", "lower", 12, ["as written"], {"Guitar": "down"}])
def test_an_octave_that_is_none(said):
    with pytest.raises(ValueError, match="not an octave to sound in"):
        Plan.model_validate({"score": "x.musicxml", "sounds": said})


def test_percussion_stays():
    made = by_hand(1, voices={1: "e4:4"})
    made.parts["percussion"] = True
    assert pitches(perform(made, Plan(score="made-by-hand.musicxml", sounds="an octave lower"))) == [64]


def test_roles_are_those_of_what_sounds():
    """A guitar that accompanies a flute lies below it, though its notes are written higher."""
    flute = [bar(note("C5", 4), 1, FOUR_FOUR + TREBLE)]
    text = musicxml(flute, [bar(note("G5", 4), 1, FOUR_FOUR + TREBLE)], names=("Flute", "Guitar"))
    notes = read(text).performance.notes
    assert dict(notes[["part", "pitch"]].tolist()) == {0: 72, 1: 67}
    assert notes["role"][notes["part"] == 0].tolist() == [MELODY]


@given(st.lists(st.integers(0, 127), min_size=1, max_size=8), st.sampled_from([-24, -12, 0, 5, 12, 24]))
def test_every_note_stays_within_midi_and_keeps_its_name(given_pitches, semitones):
    made = by_hand(2, voices={1: " ".join(["c4:1"] * len(given_pitches))})
    made.notes["pitch"] = given_pitches
    heard = sounding(made, np.array([semitones])).notes["pitch"]
    wanted = np.array(given_pitches) + semitones
    assert np.all((heard >= 0) & (heard <= 127))
    assert np.all((heard - wanted) % 12 == 0)
    within = (wanted >= 0) & (wanted <= 127)
    assert np.array_equal(heard[within], wanted[within])
    assert np.array_equal(made.notes["pitch"], given_pitches)  # the score itself stays as it is


# -- the draft


@pytest.mark.parametrize(
    ("text", "lines"),
    [
        (written("E3", "G5"), ["sounds: an octave lower"]),
        (written("A2", "G4"), ["sounds: as written"]),
        (written("E4", "G5", clef=EIGHT), []),
    ],
)
def test_a_draft_says_the_octave(tmp_path, text, lines):
    file = tmp_path / "made.musicxml"
    file.write_text(text, encoding="utf-8")
    made = draft(read_score(file, cache=False), tmp_path / "made.yaml").text
    assert [line.partition("#")[0].strip() for line in made.splitlines() if line.startswith("sounds")] == lines


@pytest.mark.parametrize(
    ("said", "line"),
    [
        ("⑥ = D", "tuning: dropped D"), ("⑥ in D ⑤ in G", "tuning: [E4, B3, G3, D3, G2, D2]"), ("Capo III", "capo: 0"),
        ("Andante", None),
    ],
)  # fmt: skip
def test_a_draft_says_the_tuning_and_the_capo_that_are_printed(tmp_path, said, line):
    words = f"<direction><direction-type><words>{said}</words></direction-type></direction>"
    file = tmp_path / "made.musicxml"
    file.write_text(musicxml([bar(words + note("G3", 4), 1, FOUR_FOUR + EIGHT)], names=("Guitar",)), encoding="utf-8")
    made = draft(read_score(file, cache=False), tmp_path / "made.yaml").text
    found = [text for text in made.splitlines() if text.startswith(("tuning:", "capo:", "# printed: Capo III"))]
    if line is None:
        assert found == []
    else:
        assert any(text.partition("#")[0].strip() == line for text in found)
        assert any(f"printed: {said}" in text for text in made.splitlines())
