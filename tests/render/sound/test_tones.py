"""Tones as they are heard: a plan's words, through the whole way to the sound."""

from __future__ import annotations

import numpy as np
import pytest
import soundfile
from support import reading, score

from render.sound.audio import render_audio
from render.sound.loudness import Loudness
from render.sound.stems import RATE
from soundfonts.banks import standard_bank
from timing.listening import heard

GUITAR, PIANO, VIOLIN, OBOE = 24, 0, 40, 68


def take(made, tmp_path, **more) -> np.ndarray:
    """(frames, 2) of what is heard of a reading or performance."""
    render_audio(getattr(made, "performance", made), tmp_path / "take.wav", **more)
    return soundfile.read(tmp_path / "take.wav")[0]


def toned(tone: str | None, program: int, tmp_path, line: str = "a4:4 r:4", **more) -> np.ndarray:
    plan = {"tone": [{"bars": "1-2", "tone": tone}]} if tone else {}
    return take(reading(plan, score(2, voices={1: line}, program=program)), tmp_path, **more)


def centroid(wave: np.ndarray) -> float:
    """The mean frequency, weighted by magnitude, from 20 to 520 ms after the onset."""
    part = wave[int(0.02 * RATE) : int(0.52 * RATE), 0]
    size = np.abs(np.fft.rfft(part * np.hanning(len(part))))
    return float(np.sum(np.fft.rfftfreq(len(part), 1 / RATE) * size) / size.sum())


def level(wave: np.ndarray) -> float:
    """LUFS of the first half second."""
    measure = Loudness(RATE)
    measure.feed(np.ascontiguousarray(wave[: RATE // 2], np.float32))
    return measure.value()


def test_the_guitar_has_its_three_places(tmp_path):
    plain, tasto, ponticello = (toned(tone, GUITAR, tmp_path) for tone in (None, "sul tasto", "sul ponticello"))
    assert centroid(tasto) < 0.8 * centroid(plain) and centroid(ponticello) > 1.4 * centroid(plain)
    for wave in (tasto, ponticello):
        assert level(wave) == pytest.approx(level(plain), abs=0.5)
    assert np.array_equal(toned("dark", GUITAR, tmp_path), tasto)
    assert np.array_equal(toned("naturale", GUITAR, tmp_path), plain)


def test_a_distance_from_the_bridge_lies_between_the_places_that_have_names(tmp_path):
    bright = [centroid(toned(tone, GUITAR, tmp_path)) for tone in ("sul tasto", "16 cm", "naturale", "8 cm")]
    assert bright == sorted(bright)
    assert level(toned("8 cm", GUITAR, tmp_path)) == pytest.approx(level(toned(None, GUITAR, tmp_path)), abs=0.5)


def test_dolce_is_warmer_and_softer(tmp_path):
    marks = [{"kind": "words", "bar": 0, "offset": 2.0, "text": "dolce"}]
    wave = take(reading({"tempo": 120}, score(1, voices={1: "a4:2 a4:2"}, program=GUITAR, marks=marks)), tmp_path)
    before, sweet = wave[:RATE], wave[RATE:]
    assert centroid(sweet) < 0.95 * centroid(before)
    assert level(before) - level(sweet) == pytest.approx(2, abs=0.5)


def test_the_tone_returns_and_what_rings_keeps_its_own(tmp_path):
    """On a string of its own the held bass is the same samples, whatever the melody's tone does."""
    made = score(1, voices={1: "a4:1 a4:1 a4:2", 2: "e2:4"}, program=GUITAR)
    plan = {"tone": [{"at": "1:2", "tone": "sul ponticello", "for": "melody"}]}
    changing, still = (heard(reading(p, made), only=["bass"]) for p in (plan, {}))
    assert np.array_equal(take(changing, tmp_path), take(still, tmp_path))
    wave = take(heard(reading(plan, made), only=["melody"]), tmp_path)
    first, second, third = (centroid(wave[int(at * RATE) :]) for at in (0, 1, 2))
    assert second > 1.4 * first and third == pytest.approx(first, rel=0.03)


@pytest.mark.parametrize("program", [PIANO, VIOLIN, OBOE])
def test_other_instruments_are_dark_plain_and_bright(program, tmp_path):
    plain, dark, bright = (toned(tone, program, tmp_path) for tone in (None, "dark", "bright"))
    assert centroid(dark) < 0.95 * centroid(plain) < 0.95 * centroid(bright)
    for wave in (dark, bright):  # balanced over the first half second, while the sound goes on changing
        assert level(wave) == pytest.approx(level(plain), abs=0.7)
    assert np.array_equal(toned("sul tasto", program, tmp_path), dark)


def test_a_coloured_voice_leaves_the_others_alone(tmp_path):
    made = score(1, voices={1: "a4:4", 2: "a2:4"}, program=VIOLIN)
    made = reading({"tone": [{"bars": "1", "tone": "bright", "for": "melody"}]}, made)
    both, melody, bass = (take(heard(made, only=only), tmp_path) for only in ([], ["melody"], ["bass"]))
    plain = take(heard(reading({}, made.score), only=["bass"]), tmp_path)
    assert np.array_equal(bass, plain)
    total = np.zeros_like(both)
    for part in (melody, bass):
        total[: len(part)] += part[: len(total)]
    assert np.abs(total - both).max() < 1e-5


def test_a_bank_of_ones_own_colours_the_guitar_too(tmp_path):
    bank = standard_bank()
    plain, dark = (toned(tone, GUITAR, tmp_path, soundfont=bank) for tone in (None, "sul tasto"))
    assert centroid(dark) < 0.95 * centroid(plain)


def test_a_take_names_the_banks_it_was_played_with(tmp_path):
    made = score(1, voices={1: "a4:4"}, program=GUITAR)
    (bank,) = render_audio(reading({}, made).performance, tmp_path / "a.wav").banks
    assert bank.name.startswith("guitar-")
    placed = reading({"tone": [{"bars": "1", "tone": "5 cm"}]}, made).performance
    names = [bank.name for bank in render_audio(placed, tmp_path / "b.wav").banks]
    assert len(names) == 2 and "5.0cm" in names[1]
