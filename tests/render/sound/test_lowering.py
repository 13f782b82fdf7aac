"""How loud takes are: ordinary music near -20 LUFS, none beyond -1 dBTP, and what is compared is lowered alike."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st
from performances import performance
from support import reading, score

from render import lowered_alike, render_audio, render_sound, sound_blocks
from render.sound.audio import render_takes
from render.sound.peaks import CEILING, STEP, TruePeak, lowering
from timing.listening import heard
from timing.remarks import CannotDo

PIANO, ORGAN, GUITAR, VIOLIN, STRINGS, CLARINET = 0, 19, 24, 40, 48, 71
KEYS = {1: "e5:1 g5:1 a5:1 b5:1 " * 4, 2: "c5:2 d5:2 " * 4, 3: "c3:4 g3:4 " * 2}
FRETS = {1: "e5:1 g5:1 a4:1 b4:1 " * 4, 2: "c4:2 d4:2 " * 4, 3: "c3:4 g2:4 " * 2}


def chord(level: float, program: int = ORGAN, pitches=(48, 52, 55, 60, 64)):
    return performance([{"pitch": pitch, "level": level, "end": 1.0} for pitch in pitches], programs=(program,))


# -- the gain


def test_ordinary_music_is_near_minus_20_lufs():
    """Three voices at mf, 8 dB softer until all could be lowered alike: sustained ones a little above it, plucked and
    struck ones a little below."""
    found = []
    for program in (GUITAR, PIANO, STRINGS, CLARINET, ORGAN):
        voices = FRETS if program == GUITAR else KEYS
        found.append(render_sound(reading({"tempo": 80}, score(4, voices=voices, program=program)).performance))
    loudness = np.array([sound.loudness for sound in found])
    assert loudness.mean() == pytest.approx(-20, abs=2) and np.abs(loudness + 20).max() < 6
    assert [sound.lowered for sound in found] == [0.0] * 5


# -- the true peak


@pytest.mark.parametrize(("part", "phase"), [(4, np.pi / 4), (8, 0.3), (44.2, 0.1), (3, 1.0)])
def test_a_sine_has_its_own_peak_between_its_samples(part, phase):
    """At a quarter of the rate, with samples an eighth of a turn beside its peaks, it is 3 dB louder than they are."""
    at = np.arange(20_000)
    swell = np.minimum(1, np.minimum(at, at[::-1]) / 2_000)
    sine = (0.5 * swell * np.sin(2 * np.pi * at / part + phase)).astype(np.float32)
    peak = TruePeak()
    peak.feed(np.stack([sine, 0 * sine], axis=1))
    assert peak.value() == pytest.approx(20 * np.log10(0.5), abs=0.05)


@given(st.lists(st.integers(0, 3_000), max_size=6), st.integers(0, 2**32 - 1))
def test_it_does_not_matter_how_the_samples_come(cuts, seed):
    noise = np.random.default_rng(seed).normal(0, 0.2, (3_002, 2)).astype(np.float32)
    sound = noise[:-2] / 4 + noise[1:-1] / 2 + noise[2:] / 4  # as little at the top as music has
    whole, parts = TruePeak(), TruePeak()
    whole.feed(sound)
    for part in np.split(sound, sorted(cuts)):
        parts.feed(part)
    peak = whole.value()
    assert parts.value() == pytest.approx(peak, abs=0.02)  # what is near the peak so far is another thing
    assert peak >= 20 * np.log10(np.abs(sound).max()) - 1e-5


def test_it_is_what_oversampling_all_of_it_finds():
    from scipy.signal import resample_poly

    sound = render_sound(chord(-12, GUITAR)).samples
    all_of_it = np.abs(resample_poly(sound.astype(float), 4, 1, axis=0, window=("kaiser", 9.0))).max()
    peak = TruePeak()
    peak.feed(sound)
    assert peak.value() == pytest.approx(20 * np.log10(all_of_it), abs=0.02)


def test_silence_has_no_peak():
    peak = TruePeak()
    assert peak.value() == -np.inf == TruePeak().value()
    peak = TruePeak()
    peak.feed(np.zeros((1, 2), np.float32))
    assert peak.value() == -np.inf and lowering(-np.inf) == 0


@given(st.floats(-60, 30))
def test_takes_are_lowered_by_the_fewest_half_decibels(peak):
    less = lowering(peak)
    assert less >= 0 and less / STEP == round(less / STEP)
    assert peak - less <= CEILING + 1e-3
    assert less == 0 or peak - less + STEP > CEILING - 1e-3


# -- one rule for all


def test_a_loud_take_lowers_what_it_is_compared_with(tmp_path):
    loud, soft = chord(0), chord(-20)
    takes = render_takes([(soft, tmp_path / "soft.wav"), (loud, tmp_path / "loud.flac")])
    alike = lowered_alike([soft, loud])
    assert [take.lowered for take in takes] == [alike, alike] and alike > 2
    assert takes[1].peak <= CEILING and takes[1].peak > CEILING - STEP - 0.01
    alone = render_audio(soft, tmp_path / "alone.wav")
    assert alone.lowered == 0 and alone.peak - takes[0].peak == pytest.approx(alike, abs=0.02)
    sounds = [soundfile.read(tmp_path / name)[0] for name in ("soft.wav", "alone.wav")]
    assert np.allclose(sounds[0] * 10 ** (alike / 20), sounds[1], atol=2**-20)


@settings(max_examples=10, deadline=None)
@given(
    st.lists(st.tuples(st.sampled_from([PIANO, ORGAN, GUITAR, STRINGS]), st.floats(-30, 0)), min_size=2, max_size=3)
)
def test_differences_of_level_are_kept_and_nothing_passes_the_ceiling(wanted):
    """Whatever is compared: against the same without any lowering, sample by sample."""
    takes = [chord(level, program) for program, level in wanted]
    alike = lowered_alike(takes)
    for take in takes:
        plain, lowered = render_sound(take, lowered=0.0), render_sound(take, lowered=alike)
        assert lowered.peak <= CEILING + 0.01 and lowered.clipped == 0
        assert np.allclose(lowered.samples, plain.samples * 10 ** (-alike / 20), atol=1e-6)
        assert lowered.peak == pytest.approx(plain.peak - alike, abs=0.02)
    assert alike == max(render_sound(take).lowered for take in takes)


def test_array_blocks_and_file_are_one_sound(tmp_path):
    loud = chord(0)
    sound, take = render_sound(loud), render_audio(loud, tmp_path / "a.wav")
    assert sound.lowered == take.lowered > 0 and sound.peak == pytest.approx(take.peak, abs=0.01)
    assert sound.loudness == pytest.approx(take.loudness, abs=0.01)
    blocks = np.concatenate(list(sound_blocks(loud)))
    assert np.allclose(blocks, sound.samples, atol=1e-6)
    assert np.allclose(soundfile.read(tmp_path / "a.wav")[0], sound.samples, atol=2**-22)
    said = soundfile.SoundFile(tmp_path / "a.wav").comment
    assert said.endswith(f"lowered by {take.lowered:g} dB")


@pytest.mark.parametrize("ways", [{"bars": "1-2"}, {"only": ["voice 2"]}, {"bars": "3-4", "click": True}])
def test_a_part_of_the_music_is_lowered_with_the_whole_of_it(ways, tmp_path):
    """Bars 1 and 2 are soft, and would not be lowered by themselves."""
    plan = {"dynamics": [{"at": 1, "mark": "pp"}, {"at": 3, "mark": "fff"}]}
    voices = {1: "c5+e5+g5:4 " * 4, 2: "c3+g3+c4+e4:4 " * 4}
    made = reading(plan, score(4, voices=voices, program=ORGAN))
    part, whole = heard(made, **ways), made.performance
    alone = replace(part, whole=None)
    assert render_sound(part).lowered == render_sound(whole).lowered == lowered_alike([part]) > 0
    assert render_audio(part, tmp_path / "a.wav").lowered == lowered_alike([whole])
    if ways == {"bars": "1-2"}:
        assert render_sound(alone).lowered < render_sound(part).lowered


def test_no_take_is_there_before_all_are_made(tmp_path):
    with pytest.raises(CannotDo, match="gone"):
        render_takes([(chord(-20), tmp_path / "a.wav"), (chord(0), tmp_path / "gone" / "b.wav")])
    assert list(tmp_path.iterdir()) == []


def test_what_is_too_loud_is_told_twice_from_the_beginning(tmp_path):
    told: list[float] = []
    render_audio(chord(0), tmp_path / "a.wav", progress=lambda done, _: told.append(done))
    begun = 1 + int(np.count_nonzero(np.diff(told) < 0))
    assert begun == 2 and told[-1] == 1.0
