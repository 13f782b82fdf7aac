"""Slides and tones measured in the sound: pitch, level, and that nothing else moves."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import soundfile
from support import reading, score
from tracks_heard import cents, planned, seconds_of

from render.sound.audio import render_audio
from render.sound.stems import RATE
from timing.listening import heard
from timing.performance import BEND


def sound(performance, tmp_path, name="take.wav") -> np.ndarray:
    """One channel of what is heard."""
    render_audio(performance, tmp_path / name)
    return soundfile.read(tmp_path / name)[0][:, 0]


def slide(line: str, program: int, **entry):
    made = score(2, voices={1: line}, program=program)
    return reading({"glissandi": [{"from": "1:1", "to": "1:3"} | entry]}, made).performance


# Sounds of the standard bank with a pitch of their own that can be followed: a choir or a horn section wavers by 13 to
# 24 cents rms without any slide. Violin, cello, voice, saxophone, clarinet, flute, recorder, ocarina.
@pytest.mark.parametrize("program", [40, 42, 53, 65, 71, 73, 74, 79])
def test_without_frets_the_pitch_follows_the_plan(program, tmp_path):
    performance = slide("a4:2 c#5:2 r:4", program, glide="60%", arrive="slurred")
    straight = replace(performance, bends=np.zeros(0, BEND))
    bent, plain = (cents(sound(p, tmp_path), 360, 660) for p in (performance, straight))
    second = seconds_of(len(bent))
    inside = (second > 0.4) & (second < 3.6)  # most of an instrument's vibrato is in both, and falls out
    length = min(len(bent), len(plain))
    error = (bent[:length] - plain[:length] - 100 * planned(performance, second[:length]))[inside[:length]]
    assert np.sqrt(np.mean(error**2)) < 5
    assert bent[(second > 2.2) & (second < 3.6)].mean() - plain[(second > 2.2) & (second < 3.6)].mean() > 390


def test_over_frets_the_pitch_goes_by_semitones(tmp_path):
    performance = slide("a4:2 c#5:2 r:4", 24, glide="60%", arrive="slurred")
    track = cents(sound(performance, tmp_path), 380, 640, per=64)
    second = seconds_of(len(track), 64)
    steps = np.unique(performance.bends["second"])
    settled = (second > 0.1) & (second < 3.5) & (np.abs(second[:, None] - steps).min(axis=1) > 0.04)
    error = track[settled] - 100 * planned(performance, second[settled])
    assert np.sqrt(np.mean(error**2)) < 5
    assert {round(value / 100) for value in track[settled]} == {0, 1, 2, 3, 4}


@pytest.mark.parametrize("program", [24, 40, 0])
def test_nothing_but_the_slide_moves(program, tmp_path):
    made = score(2, voices={1: "a4:2 c#5:2 e5:4", 2: "a2:4 e2:4", 3: "c4:4 c4:4"}, program=program)
    # a slide may move the other notes to other strings, so these are told where they lie
    hold = {"strings": [{"bars": "1-2", "for": "voice 3", "string": 3}, {"bars": "1", "for": "voice 2", "string": 5}]}
    plan = hold | {"glissandi": [{"from": "1:1", "to": "1:3", "swell": "4 dB", "for": "voice 1"}]}
    performance = reading(plan, made)
    whole = sound(performance.performance, tmp_path)
    parts = [sound(heard(performance, only=[f"voice {voice}"]), tmp_path) for voice in (1, 2, 3)]
    still = [sound(heard(reading(hold, made), only=[f"voice {voice}"]), tmp_path) for voice in (2, 3)]
    total = np.zeros(max(map(len, [whole, *parts])))
    for part in parts:
        total[: len(part)] += part
    assert np.abs(total[: len(whole)] - whole).max() < 1e-4
    for part, before in zip(parts[1:], still, strict=True):
        assert np.abs(part - before).max() < 1e-6  # to a 24-bit step


def test_the_goal_is_plucked_again_or_not(tmp_path):
    def bump(**entry) -> float:
        wave = sound(slide("a4:2 c#5:2 r:4", 24, **entry), tmp_path)
        at = 2 * RATE
        before, after = (np.sqrt(np.mean(wave[a:b] ** 2)) for a, b in ((at - 4410, at), (at + 441, at + 4851)))
        return 20 * np.log10(after / before)

    assert bump() > 6
    assert -4 < bump(arrive="slurred") < 0.5  # it goes on dying away


def test_a_goal_that_is_plucked_leaves_no_chirp(tmp_path):
    """The note that slid dies away at the pitch it has reached, and is not bent back."""
    performance = slide("a4:2 c#5:2 r:4", 24, glide="60%")
    sliding = replace(performance, notes=performance.notes[:1])
    wave = sound(sliding, tmp_path)
    track = cents(wave, 380, 640)
    second = seconds_of(len(track))
    tail = track[(second > 2.02) & (second < 2.1)]
    assert np.abs(tail - 400).max() < 8


def test_slides_of_two_colours_in_one_lane_turn_the_wheel_alike(tmp_path):
    made = score(4, voices={1: "a4:2 b4:2 r:4 a4:2 a5:2 r:4"}, program=74)
    entries = [{"from": "1:1", "to": "1:3", "arrive": "slurred"}, {"from": "3:1", "to": "3:3", "arrive": "slurred"}]
    plan = {"glissandi": entries, "tone": [{"bars": "3-4", "tone": "dark"}]}
    performance = reading(plan, made).performance
    assert performance.lanes["sliding"].sum() == 1
    track = cents(sound(performance, tmp_path), 380, 980)
    second = seconds_of(len(track))
    assert track[(second > 2.2) & (second < 3.6)].mean() == pytest.approx(200, abs=12)
    assert track[(second > 10.2) & (second < 11.6)].mean() == pytest.approx(1200, abs=12)
