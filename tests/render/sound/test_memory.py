"""Sound without files: as an array with its facts, block by block, and coded. The bank is TimGM6mb."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from io import BytesIO

import numpy as np
import pytest
import soundfile
from performances import level_of
from support import reading, score

from render import encoded, midi_bytes, render_audio, render_sound, sound_blocks, write_midi
from render.kinds import FLAC, MP3, SOUND, WAV
from render.sound.memory import open_sound
from render.sound.stems import RATE

GUITAR, VIOLIN, OBOE = 24, 40, 68
TONES = {"tone": [{"bars": 1, "tone": "dark"}, {"bars": 2, "tone": "bright"}]}


@pytest.fixture(scope="module")
def made():
    """Two bars of a violin, dark and bright."""
    return reading(TONES, score(2, voices={1: "a4:1 c5:1 e5:2 a4:4"}, program=VIOLIN)).performance


def test_the_array_is_what_the_file_holds(made, tmp_path):
    sound, take = render_sound(made), render_audio(made, tmp_path / "a.wav")
    assert sound.samples.dtype == np.float32 and sound.samples.shape == (round(sound.seconds * RATE), 2)
    written = soundfile.read(tmp_path / "a.wav", dtype="int32")[0] >> 8
    assert np.array_equal(np.rint(sound.samples * np.float32(2**23)), written)
    facts = {name: value for name, value in vars(sound).items() if name != "samples"}
    assert facts == {name: value for name, value in vars(take).items() if name != "path"}
    assert 0 <= sound.peak - 20 * np.log10(np.abs(written).max() / 2**23) < 0.2  # what lies between the samples
    assert sound.rate == RATE and sound.loudness < 0 and len(sound.banks) == 1


def test_blocks_are_the_parts_of_the_array(made):
    blocks = list(sound_blocks(made))
    assert len(blocks) > 2
    assert np.array_equal(np.concatenate(blocks), render_sound(made).samples)


def test_blocks_are_made_when_they_are_asked_for(made):
    blocks = sound_blocks(made)
    first = next(blocks)
    blocks.close()  # the synths are let go
    assert np.array_equal(first, render_sound(made).samples[: len(first)])
    assert list(blocks) == []


def test_progress_is_told_in_seconds_of_the_music(made):
    told = []
    render_sound(made, progress=lambda done, total: told.append((done, total)))
    total = float(made.notes["end"].max())
    assert [done for done, _ in told] == sorted(done for done, _ in told) and told[-1] == (total, total)
    assert len(told) > 2 and {each for _, each in told} == {total}


@pytest.mark.parametrize("kind", SOUND)
def test_memory_and_file_have_one_coding(made, tmp_path, kind):
    render_audio(made, tmp_path / f"a{kind}")
    with open_sound(made) as source:
        content = encoded(source.blocks, kind, comment=source.record)
    file = (tmp_path / f"a{kind}").read_bytes()
    if kind in (WAV, FLAC, MP3):
        assert content == file
    else:  # a stream of Ogg has a number by chance
        assert np.array_equal(soundfile.read(BytesIO(content))[0], soundfile.read(BytesIO(file))[0])


@pytest.mark.parametrize("kind", SOUND)
def test_it_does_not_matter_how_the_sound_comes(made, kind):
    samples = render_sound(made).samples
    pieces = np.split(samples, [1, 100, 50_000, 150_000])
    whole, parts = (soundfile.read(BytesIO(encoded(blocks, kind)))[0] for blocks in ([samples], pieces))
    assert np.abs(whole - parts).max() < 1e-4 and len(whole) >= len(samples)
    lost = level_of(whole[: len(samples)] - samples) - level_of(samples)
    assert lost < (-80 if kind in (WAV, FLAC) else -20)


def test_one_channel_at_another_rate_with_a_bit_rate_that_varies(made):
    samples = render_sound(made).samples.mean(axis=1)[::2]
    small, large = (encoded([samples], MP3, rate=RATE // 2, channels=1, compression=each) for each in (0.9, 0.1))
    found = soundfile.info(BytesIO(small))
    assert (found.format, found.samplerate, found.channels) == ("MP3", RATE // 2, 1)
    assert found.frames == len(samples) and len(small) < len(large)


def test_midi_in_memory_is_what_the_file_holds(made, tmp_path):
    write_midi(made, tmp_path / "a.mid")
    assert midi_bytes(made) == (tmp_path / "a.mid").read_bytes() != b""


def test_two_at_once_sound_as_each_alone(made):
    """Violin in two colours, a guitar on its strings, and an oboe, each twice in three threads."""
    line = {1: "e4:1 g4:1 c5:2 e4:4"}
    others = (reading(TONES, score(2, voices=line, program=program)).performance for program in (GUITAR, OBOE))
    performances = [made, *others]
    alone = [(midi_bytes(each), render_sound(each)) for each in performances]
    with ThreadPoolExecutor(3) as threads:
        music = list(threads.map(midi_bytes, performances * 2))
        sounds = list(threads.map(render_sound, performances * 2))
    for (midi, sound), others in zip(alone * 2, zip(music, sounds, strict=True), strict=True):
        assert others[0] == midi
        assert np.array_equal(others[1].samples, sound.samples) and others[1].loudness == sound.loudness
