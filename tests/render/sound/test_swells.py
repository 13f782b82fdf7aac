"""Swells of slides as they are heard: measured in the sound, K-weighted, from leaving to arriving. A string loses 16 to
23 dB a second meanwhile, so that what is only planned on top of it is not heard."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support import reading, score
from tracks_heard import k_levels, risen

import render.sound.trying
from render.events.levels import EXPRESSION, decibels
from render.midi.file import midi_bytes, to_midi
from render.sound.memory import render_sound
from render.sound.stems import RATE
from soundfonts.banks import standard_bank
from soundfonts.guitar import STANDARD_TUNING, fading
from timing.performance import CURVE, GLIDE
from timing.remarks import CannotDo
from timing.slides.made_good import FAINT, SETTLED

NAMES = ("c", "c#", "d", "d#", "e", "f", "f#", "g", "g#", "a", "a#", "b")
GUITAR, STEEL, VIOLIN, CHOIR, VOICE, SAXOPHONE, CLARINET = 24, 25, 40, 52, 53, 65, 71


def name(pitch: int) -> str:
    return f"{NAMES[pitch % 12]}{pitch // 12 - 1}"


def sliding(program: int, pitch: int, begun: float, length: float, swell: float, *, string: int = 0, **entry):
    """A slide by three semitones that leaves `begun` seconds after its note is struck and lasts for `length`."""
    whole = begun + length
    made = score(2, voices={1: f"{name(pitch)}:{whole} {name(pitch + 3)}:2 r:{6 - whole}"}, program=program)
    slide = {"from": "1:1", "to": f"1:{1 + whole:.6f}", "glide": f"{100 * length / whole:.6f}%", "swell": f"{swell} dB"}
    plan = {"tempo": 60, "glissandi": [slide | {"arrive": "slurred"} | entry]}
    return reading(plan | ({"strings": [{"bars": "1-2", "string": string}]} if string else {}), made).performance


def level(performance, **options) -> np.ndarray:
    return k_levels(render_sound(performance, **options).samples)


# -- what is planned is heard


@pytest.mark.parametrize("string", [1, 3, 5])
@pytest.mark.parametrize(("begun", "length", "swell"), [(0.2, 0.1, 8), (0.7, 0.25, 3), (0.7, 0.5, 2), (1.5, 0.35, 4)])
def test_a_string_rises_by_the_swell_that_is_planned(string, begun, length, swell):
    """In 0.25 s a swell of 3 dB was heard as one of -1.4 dB."""
    performance = sliding(GUITAR, STANDARD_TUNING[string - 1] + 4, begun, length, swell, string=string)
    assert risen(level(performance), begun, begun + length) == pytest.approx(swell, abs=0.3)


@pytest.mark.parametrize(
    ("program", "pitch"),
    [(VIOLIN, 69), (CLARINET, 65), (VOICE, 64), (SAXOPHONE, 62), (CHOIR, 60), (STEEL, 60), (GUITAR, 60)],
)
@pytest.mark.parametrize(("begun", "length", "swell"), [(0.2, 0.1, 8), (0.7, 0.35, 2), (1.5, 0.5, 4)])
def test_any_instrument_rises_by_the_swell_that_is_planned(program, pitch, begun, length, swell):
    """With a bank that nobody knows before: the standard one, as the user's own."""
    performance = sliding(program, pitch, begun, length, swell)
    sound = level(performance, soundfont=standard_bank())
    assert risen(sound, begun, begun + length) == pytest.approx(swell, abs=0.5)


@settings(max_examples=12, deadline=None)
@given(
    st.integers(1, 6), st.integers(1, 9), st.floats(0.1, 1.2), st.floats(0.1, 0.5), st.floats(2, 8), st.booleans(),
    st.sampled_from(["naturale", "sul tasto", "sul ponticello"]),
)  # fmt: skip
def test_whatever_slides_is_heard_to_swell_as_planned(string, fret, begun, length, swell, carried, tone):
    arrive = "slurred" if carried else "plucked"
    pitch = STANDARD_TUNING[string - 1] + fret
    performance = sliding(GUITAR, pitch, begun, length, swell, string=string, arrive=arrive)
    performance = replace(performance, notes=performance.notes[: 1 + carried])  # what is plucked would be heard as well
    performance.notes["tone"] = ("naturale", "sul tasto", "sul ponticello").index(tone)
    inside = risen(level(performance), begun + 0.01, begun + length - 0.015)  # before it is let go
    assert inside / (1 - 0.025 / length) == pytest.approx(swell, abs=0.6)


def test_slides_one_into_another_are_each_heard_to_swell():
    made = score(2, voices={1: "a4:1 b4:1 d5:1 r:5"}, program=GUITAR)
    entries = [
        {"from": f"1:{n}", "to": f"1:{n + 1}", "glide": "30%", "swell": f"{swell} dB", "arrive": "slurred"}
        for n, swell in ((1, 3), (2, 5))
    ]
    performance = reading({"tempo": 60, "glissandi": entries, "strings": [{"bars": 1, "string": 2}]}, made).performance
    sound = level(performance)
    for (leave, arrive), swell in zip(performance.glides[["leave", "arrive"]].tolist(), (3, 5), strict=True):
        assert risen(sound, leave, arrive) == pytest.approx(swell, abs=0.5)


def test_a_goal_goes_on_at_the_level_that_was_reached_or_is_plucked_at_its_own():
    slurred = sliding(GUITAR, 68, 0.7, 0.3, 6, string=1)
    sound = level(slurred)
    after = sound[round(1.05 * RATE)] - sound[round(0.98 * RATE)]
    assert after == pytest.approx(-0.05 * 20 + 0.03 * 20, abs=1)  # it only dies away, by some 20 dB a second
    plucked = sliding(GUITAR, 68, 0.7, 0.3, 6, string=1, arrive="plucked")
    alone = replace(plucked, notes=plucked.notes[1:], glides=np.zeros(0, GLIDE), curves=np.zeros(0, CURVE))
    alone = replace(alone, bends=plucked.bends[:0])
    at = slice(round(1.35 * RATE), round(1.5 * RATE))  # what slid has died away
    assert level(plucked)[at].mean() == pytest.approx(level(alone)[at].mean(), abs=0.2)


def test_a_slide_that_does_not_swell_dies_away_as_it_does():
    performance = sliding(GUITAR, 68, 0.7, 0.3, 0, string=1)
    assert controllers(performance) == [(7, 100), (11, EXPRESSION)]
    assert risen(level(performance), 0.7, 1.0) < -4


# -- sung


@pytest.mark.parametrize(("string", "begun", "length"), [(1, 1.5, 0.3), (3, 1.8, 0.2), (2, 1.2, 0.5)])
def test_a_note_that_is_sung_dies_away_more_slowly_before_its_slide(string, begun, length):
    pitch = STANDARD_TUNING[string - 1] + 4
    plain, sung = (level(sliding(GUITAR, pitch, begun, length, 4, string=string, sung=way)) for way in (False, True))

    def lost(sound: np.ndarray) -> float:
        return float(sound[round(SETTLED * RATE)] - sound[round((begun - 0.015) * RATE)])

    assert lost(plain) > FAINT + 3
    assert lost(sung) == pytest.approx(FAINT, abs=0.6)
    assert risen(sung, begun, begun + length) == pytest.approx(4, abs=0.5)
    assert np.abs(np.diff(sung[round(0.15 * RATE) : round(begun * RATE) : 441])).max() < 0.4  # evenly: no step in it
    # what is struck harder to find room is a little brighter, and levels are those of half a second
    assert np.allclose(sung[: round(0.1 * RATE)], plain[: round(0.1 * RATE)], atol=0.1)


def test_what_has_not_died_away_is_not_changed_by_being_sung():
    plain, sung = (render_sound(sliding(GUITAR, 68, 0.3, 0.2, 4, string=1, sung=way)).samples for way in (False, True))
    assert np.array_equal(plain, sung)


# -- in MIDI files


def controllers(performance, **options) -> list[tuple[int, int]]:
    """(controller, value) in order, of the lane that slides."""
    lane = 1 + int(np.flatnonzero(performance.lanes["sliding"])[0])
    told = [m for m in to_midi(performance, **options).tracks[lane] if m.type == "control_change"]
    return [(m.control, m.value) for m in told if m.control in (7, 11)]


def test_a_midi_file_has_what_makes_the_swell_good():
    performance = sliding(GUITAR, 68, 0.7, 0.5, 6, string=1)
    tuned = np.array([0.7, 1.2])
    bend = performance.bends["second"], performance.bends["semitones"]
    lost = -float(np.diff(fading(1, 0, STANDARD_TUNING, 4, tuned, bend))[0])
    told = controllers(performance)
    assert told[:2] == [(7, 50), (11, EXPRESSION)]
    reached = sum(float(decibels(max(v for c, v in told if c == one)) - decibels(rest)) for one, rest in told[:2])
    assert reached == pytest.approx(6 + lost, abs=0.2) and lost > 8


def test_a_midi_file_keeps_its_volume_where_nothing_swells_far():
    performance = sliding(VIOLIN, 69, 0.7, 0.5, 3)
    assert [value for control, value in controllers(performance) if control == 7] == [100]


@pytest.mark.parametrize(("needed", "code"), [("open_synth", "no-synth"), ("general_bank", "no-bank")])
def test_a_midi_file_is_written_without_a_synth_though_its_samples_are_not_known(monkeypatch, needed, code):
    performance = sliding(SAXOPHONE, 62, 0.7, 0.35, 4)
    known = controllers(performance)

    def missing(*_):
        raise CannotDo.because(code, "there is none")

    monkeypatch.setattr(render.sound.trying, needed, missing)
    plain = controllers(performance)
    assert plain != known and plain[-1] == (11, round(EXPRESSION * 10 ** (4 / 40)))
    assert midi_bytes(sliding(GUITAR, 68, 0.7, 0.5, 6, string=1))  # the guitar is known without


def test_a_midi_file_can_be_meant_for_a_bank():
    performance = sliding(GUITAR, 68, 0.7, 0.5, 6, string=1)
    assert controllers(performance) != controllers(performance, soundfont=standard_bank())
