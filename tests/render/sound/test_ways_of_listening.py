"""Stretches, rounds, single voices and clicks, as they sound: measured in the rendered files, sample by sample."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile
from house import PLANS
from performances import level_of
from support import reading, score

from render.sound.audio import render_audio
from render.sound.stems import RATE
from render.sound.synth import BLOCK
from timing.listening import heard, stretch
from timing.listening.clicks import NO_NOTE
from timing.listening.excerpt import some_of
from timing.loading import load
from timing.performance import CARRIED, PLUCKED

GRID = BLOCK / RATE
GUITAR, VIOLIN, FLUTE, SQUARE = 24, 40, 73, 80


@pytest.fixture(scope="module")
def demo():
    return load(PLANS / "low-water-flowing.yaml")


@pytest.fixture(scope="module")
def colourful():
    """Two bowed voices with everything that a stretch could cut: swells, slides near and far, dark and bright."""
    plan = {
        "tempo": 97,
        "slowing": [{"ritardando": "3:1 - 4:4", "to": "70%", "then": "a tempo"}],
        "dynamics": [{"at": 1, "mark": "p"}, {"crescendo": "2:1 - 6:1", "by": "9 dB"}],
        "tone": [{"bars": "2 - 4", "tone": "dark"}, {"bars": "6 - 7", "tone": "bright"}],
        "glissandi": [
            {"from": "1:1", "to": "1:3", "for": "voice 1"},
            {"from": "3:1", "to": "3:3", "arrive": "slurred", "swell": "8 dB", "for": "voice 1"},
            {"from": "4:3", "to": "5:1", "arrive": "slurred", "for": "voice 1"},
            {"from": "6:3", "to": "7:1", "for": "voice 1"},
        ],
        "voices": {"voice 1": {"level": "0 dB", "lead": "23 ms"}},
        "order": "1-8, 1-8",
    }
    upper = "c5:2 c6:2 e5:1 f5:1 g5:2 e5:2 a5:2 g5:2 e5:2 b5:4 c5:2 d5:2 e6:4 g5:1 f5:1 e5:2"
    lower = "c3:4 g3:4 a3:2 f3:2 c3:4 e2:4 a3:4 b3:4 c4:4"
    return reading(plan, score(8, voices={1: upper, 2: lower}, program=VIOLIN))


def samples(performance, path: Path) -> np.ndarray:
    """(frames, 2) 24-bit samples as whole numbers, read back from the file."""
    render_audio(performance, path)
    return soundfile.read(path, dtype="int32")[0] >> 8


def apart(one: np.ndarray, other: np.ndarray, onsets: np.ndarray) -> int:
    """The greatest difference of two sounds of one length, the beginnings of notes left out. FluidSynth fades the first
    block of a note in where it takes a voice that has not sounded before, so that a note's first 64 samples depend on
    all that was played earlier, whatever it was."""
    difference = np.abs(one - other).max(axis=1)
    for onset in np.rint(onsets * RATE).astype(int):
        difference[max(onset - BLOCK, 0) : onset + 3 * BLOCK] = 0
    return int(difference.max())


def frames_before(part, whole) -> int:
    """By how many frames the notes of a part come earlier than in the whole: by one constant, whole blocks."""
    apart = (whole.notes["onset"] - part.notes["onset"]) / GRID
    assert np.ptp(apart) < 1e-6 and abs(apart[0] - round(apart[0])) < 1e-6
    return round(apart[0]) * BLOCK


@pytest.mark.parametrize(
    ("bars", "passes"),
    [("5-8", None), ("5-8", 2), ("22-25", None), ("7:2 - 8:3", 1), ("3-9", "da capo"), ("24", None), ("0-2", None)],
)
def test_a_stretch_of_the_guitar_is_that_stretch_of_the_whole_to_the_sample(demo, tmp_path, bars, passes):
    """With strings, slides, tones and a leading voice. The whole is played with the notes of the stretch alone, so that
    no other note still rings: the same events, cut at the same sample."""
    run, notes = stretch(demo, bars, passes), demo.performance.notes
    inside = (notes["score_onset"] >= run.start - 1e-6) & (notes["score_onset"] < run.end - 1e-6)
    whole, part = some_of(demo.performance, inside), heard(demo, bars=bars, passes=passes, grid=GRID)
    cut = frames_before(part, whole)
    long, short = samples(whole, tmp_path / "a.wav"), samples(part, tmp_path / "b.wav")
    assert cut > 0 or bars == "0-2"
    assert len(short) >= len(long) - cut
    assert np.array_equal(short[: len(long) - cut], long[cut:])
    assert np.abs(short).max() > 10_000 and not long[:cut].any()


@pytest.mark.parametrize(("bars", "passes"), [("3-4", None), ("2-6", 2), ("5-7", "last"), ("4:3 - 6:2", 2)])
def test_a_stretch_in_colours_is_that_stretch_of_the_whole(colourful, tmp_path, bars, passes):
    """With swells, slides, dark and bright. The Fourier transforms of the shelves begin elsewhere in the whole, which
    moves the last two of the 24 bits."""
    run, notes = stretch(colourful, bars, passes), colourful.performance.notes
    inside = (notes["score_onset"] >= run.start - 1e-6) & (notes["score_onset"] < run.end - 1e-6)
    whole, part = some_of(colourful.performance, inside), heard(colourful, bars=bars, passes=passes, grid=GRID)
    cut = frames_before(part, whole)
    long, short = samples(whole, tmp_path / "a.wav"), samples(part, tmp_path / "b.wav")
    both = min(len(short), len(long) - cut)
    assert np.abs(short[:both] - long[cut : cut + both]).max() <= 3
    assert abs(len(short) - (len(long) - cut)) <= 64 * BLOCK


@pytest.mark.parametrize("program", [GUITAR, VIOLIN, FLUTE])
def test_between_silences_a_stretch_is_simply_cut_out_of_the_whole(tmp_path, program):
    """Bars 4 and 5 between bars of rest, where all has died away. Wheels and colours are set up for the whole: the
    wider slide of bar 1 and the higher notes of bar 8 are not in the stretch."""
    low = "sul tasto" if program == GUITAR else "dark"
    plan = {
        "tempo": 60,
        "tone": [{"bars": "1-5", "tone": low}, {"bars": "8", "tone": "bright"}],
        "glissandi": [{"from": "1:1", "to": "1:3"}, {"from": "4:1", "to": "4:3"}, {"from": "8:1", "to": "8:3"}],
    }
    voices = {1: "e4:2 b4:1 r:1 r:4 r:4 e4:2 g4:1 a4:1 b4:2 r:2 r:4 r:4 g4:2 b5:2"}
    made = reading(plan, score(8, voices=voices, program=program))
    part = heard(made, bars="4-5", grid=GRID)
    long, short = samples(made.performance, tmp_path / "a.wav"), samples(part, tmp_path / "b.wav")
    cut = int(12 / GRID) * BLOCK
    assert apart(short, long[cut : cut + len(short)], part.notes["onset"]) <= 3 * (program != GUITAR)
    assert level_of(short / 2**23) > -60


def test_events_that_fall_between_two_blocks_are_rounded_alike(tmp_path):
    """At 60 quarters a minute every eighth quarter lies halfway between two blocks."""
    made = reading({"tempo": 60}, score(12, voices={1: "c5:4 " * 12}, program=SQUARE))
    long = samples(made.performance, tmp_path / "a.wav")
    for bars, second in (("2-12", 4), ("3-12", 8), ("6-12", 20)):
        part = heard(made, bars=bars, grid=GRID)
        short, cut = samples(part, tmp_path / "b.wav"), int(second / GRID) * BLOCK
        late = int(1.0 * RATE)  # the note before has died away
        assert apart(short[late:], long[cut + late :], part.notes["onset"] - 1) == 0


# -- voices


def test_voices_alone_add_up_to_the_whole(tmp_path):
    """Two bowed voices, each in a lane of its own: what is shared is only the sum. Each file is rounded to 24 bits."""
    voices = {1: "c5:1 e5:1 g5:2 a5:1 g5:1 e5:2 d5:4", 2: "c3:4 a3:2 f3:2 g3:4"}
    plan = {
        "tempo": 80,
        "dynamics": [{"at": 1, "mark": "p"}, {"crescendo": "1:1 - 3:1", "by": "9 dB"}],
        "voices": {"bass": "-3 dB", "melody": {"level": "0 dB", "lead": "20 ms"}},
        "tone": [{"bars": "2", "tone": "dark", "for": "melody"}],
    }
    made = reading(plan, score(3, voices=voices, program=VIOLIN))
    for way in ({}, {"bars": "2-3", "grid": GRID}):
        performance = heard(made, **way)
        whole = samples(performance, tmp_path / "a.wav")
        alone = [samples(heard(made, only=[voice], **way), tmp_path / "b.wav") for voice in ("melody", "bass")]
        both = min(map(len, alone))  # the end of one is cut off where it has died away
        together = np.sum([sound[:both] for sound in alone], axis=0)
        assert apart(together, whole[:both], performance.notes["onset"]) <= 2
        assert both > 0.9 * len(whole)
        whole = whole[:both]
        assert level_of(together / 2**23) == pytest.approx(level_of(whole / 2**23), abs=0.001)
        assert all(np.abs(sound).max() > 20_000 for sound in alone)


# -- rounds


def test_every_round_is_the_same_sound(tmp_path):
    """In bars that end in silence."""
    slowing = [{"ritardando": "3:1 - 3:4", "to": "60%"}]
    plan = {"tempo": 71, "voices": {"voice 1": {"lead": "20 ms"}}, "slowing": slowing}
    voices = {1: "d5:4 c5:1 e5:1 g5:2 a5:1 g5:1 r:2", 2: "r:4 c4:3 r:1 d4:2 r:2"}
    made = reading(plan, score(3, voices=voices, program=FLUTE))
    once = heard(made, bars="2-3", grid=GRID)
    whole = samples(heard(made, bars="2-3", loop=3, grid=GRID), tmp_path / "a.wav")
    single = samples(once, tmp_path / "b.wav")
    lasts = once.time.length - float(once.time.seconds(once.bars["length"][0]))
    each = min(len(single), int(lasts * RATE) - 100)  # until what leads into the next
    assert once.bars["pass"][0] == 0 and once.notes["onset"][0] < 0.0015
    for number in range(3):
        at = round(number * lasts / GRID) * BLOCK
        assert apart(whole[at : at + each], single[:each], once.notes["onset"]) == 0
    assert len(whole) == round(2 * lasts / GRID) * BLOCK + len(single)


def test_what_rings_at_the_end_of_a_round_rings_on_into_the_next(tmp_path):
    made = reading({"tempo": 120}, score(2, voices={1: "r:4 r:3 c5:1", 2: "c4:1 r:7"}, program=SQUARE))
    performance = heard(made, loop=2, grid=GRID)
    performance.notes["end"][performance.notes["pitch"] == 72] += 0.5
    alone = some_of(performance, performance.notes["pitch"] == 72)
    assert level_of((samples(alone, tmp_path / "a.wav") / 2**23)[int(4.1 * RATE) : int(4.4 * RATE)]) > -40


def test_rounds_of_the_guitar_repeat_its_slides_cleanly(demo, tmp_path):
    """A bar with a slide, over and over: while the first still dies away the next has a wheel of its own, so that the
    third round is the first, two rounds later, in every event."""
    performance = heard(demo, bars="23:4 - 24:1", loop=4, grid=GRID)
    sliding = np.flatnonzero(performance.lanes["sliding"])
    used = [lane for lane in sliding if (performance.bends["lane"] == lane).any()]
    assert len(used) > 1
    for lane in used:
        mine = performance.notes[performance.notes["lane"] == lane]
        struck = mine[mine["attack"] != CARRIED]
        assert (struck["onset"][1:] - struck["end"][:-1] >= 0.5 - 1e-6).all()
    assert np.abs(samples(performance, tmp_path / "a.wav")).max() > 10_000


# -- clicks


def test_clicks_are_heard_on_the_planned_beats_within_a_block(tmp_path):
    """A slowdown in 6/8 under clicks in dotted quarters. Woodblock: its onset is the first sample that is less than 60
    dB below its peak; what is played beside it is a voice that is taken away again."""
    plan = {"tempo": "dotted quarter = 66", "slowing": [{"rallentando": "2:1 - 4:6", "to": "45%"}]}
    made = reading(plan, score(4, (6, 8), voices={1: "c4:12"}, program=SQUARE))
    performance = heard(made, click=True, count_in=True, grid=GRID)
    assert performance.lanes["name"][-1] == "click"
    alone = some_of(performance, performance.notes["id"] == NO_NOTE)
    sound = np.abs(samples(alone, tmp_path / "a.wav")).max(axis=1)
    planned = made.performance.time.seconds(np.arange(8) * 1.5) + 2 * 60 / 66
    beats = np.append([0, 60 / 66], planned)
    assert len(alone.notes) == 10
    for beat in beats:
        here = sound[max(round((beat - 0.02) * RATE), 0) :][: RATE // 4]
        begins = max(round((beat - 0.02) * RATE), 0) + np.argmax(here > here.max() / 1000)
        assert abs(begins / RATE - beat) <= 1.5 * GRID


def test_the_first_of_a_bar_is_louder_and_no_click_is_loud(tmp_path):
    made = reading({"tempo": 60}, score(2, voices={1: "c4:8"}))
    performance = heard(made, click=True)
    sound = np.abs(samples(some_of(performance, performance.notes["id"] == NO_NOTE), tmp_path / "a.wav")).max(axis=1)
    peaks = 20 * np.log10([sound[n * RATE : n * RATE + RATE // 2].max() / 2**23 for n in range(8)])
    assert peaks[0] == pytest.approx(peaks[4]) and (peaks[[1, 2, 3, 5, 6, 7]] < peaks[0] - 2).all()
    assert peaks.min() > -22 and peaks.max() < -10


def test_the_music_under_clicks_is_the_music_without(tmp_path):
    """Moved by the count-in, whole blocks, and by nothing else."""
    made = reading({"tempo": 83}, score(2, pickup=1, program=SQUARE, voices={1: "c5:1 e5:2 g5:2 e5:4"}))
    plain = heard(made)
    counted = heard(made, click=True, count_in=True, grid=GRID)
    alone = some_of(counted, counted.notes["id"] != NO_NOTE)
    cut = frames_before(plain, alone)
    assert cut / RATE == pytest.approx(7 * 60 / 83, abs=GRID / 2 + 1e-9)  # a bar, and the three beats before the pickup
    long, short = samples(alone, tmp_path / "a.wav"), samples(plain, tmp_path / "b.wav")
    assert np.array_equal(long[cut:], short) and not long[:cut].any()


def test_a_bank_of_ones_own_leaves_the_click_alone(tmp_path):
    """The guitar's bank has no woodblock."""
    from soundfonts.guitar import guitar_bank

    made = reading({"tempo": 60}, score(2, voices={1: "r:7 c5:1"}, program=GUITAR))
    sounds = []
    for bank in (None, guitar_bank()):
        render_audio(heard(made, click=True), tmp_path / "a.wav", soundfont=bank)
        sounds.append(soundfile.read(tmp_path / "a.wav")[0][: 6 * RATE])
    assert np.array_equal(*sounds) and np.abs(sounds[0]).max() > 0.01


# -- slides from outside


def test_a_goal_that_is_slid_into_from_outside_is_plucked(tmp_path):
    entry = {"from": "1:1", "to": "2:1", "arrive": "slurred"}
    made = reading({"glissandi": [entry]}, score(2, voices={1: "e4:4 a4:4"}, program=GUITAR))
    part = heard(made, bars="2", grid=GRID)
    assert part.notes["attack"].tolist() == [PLUCKED] and not len(part.bends)
    assert level_of(samples(part, tmp_path / "a.wav")[: RATE // 2] / 2**23) > -50
