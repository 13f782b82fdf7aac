"""Takes, measured in the rendered files. The bank is TimGM6mb, the one that is always there."""

from __future__ import annotations

import numpy as np
import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st
from laws import FEW
from performances import heard, level_of, performance
from support import reading

from render.events.levels import decibels, expression
from render.sound.audio import render_audio
from render.sound.stems import RATE
from soundfonts.banks import fingerprint, standard_bank

PIANO, GLOCKENSPIEL, ORGAN, GUITAR, VIOLIN, FLUTE, SQUARE, AGOGO = 0, 9, 19, 24, 40, 73, 80, 113


# -- time


@given(st.lists(st.floats(0.8, 1.6), min_size=1, max_size=8), st.sampled_from([AGOGO, SQUARE]))
@FEW
def test_onsets_are_heard_within_a_millisecond(tmp_path_factory, gaps, program):
    """Agogo bell and square wave start at once. Their onset is the first sample that is less than 60 dB below the
    note's own peak; every note begins in silence, so that nothing else can be meant."""
    onsets = np.cumsum(gaps)
    notes = [
        {"score_onset": n, "onset": on, "end": on + 0.05, "pitch": 72, "level": -6.0} for n, on in enumerate(onsets)
    ]
    made = performance(notes, programs=(program,))
    sound = np.abs(heard(made, tmp_path_factory.mktemp("on") / "a.wav")).max(axis=1)
    for onset in onsets:
        first = round((onset - 0.02) * RATE)
        here = sound[first : first + 4000]
        assert here[:700].max() < here.max() / 1000, "the note before still sounds"
        begins = (first + np.argmax(here > here.max() / 1000)) / RATE
        assert abs(begins - onset) < 1e-3


def test_notes_are_let_go_when_the_plan_says(tmp_path):
    ends = np.array([0.3, 1.7, 2.4])
    sounds = []
    for n, end in enumerate(ends):
        made = performance([{"end": end, "pitch": 72}], programs=(SQUARE,))
        sounds.append(np.abs(heard(made, tmp_path / f"{n}.wav")).max(axis=1))
    held = sounds[-1]
    for sound, end in zip(sounds[:-1], ends, strict=False):
        differs = np.flatnonzero(np.abs(sound[: len(held)] - held[: len(sound)]) > 1e-4)[0] / RATE
        assert differs == pytest.approx(end, abs=2e-3)


def test_the_tail_dies_away(tmp_path):
    take = render_audio(performance([{"end": 1.0}], programs=(SQUARE,)), tmp_path / "a.wav")
    sound = soundfile.read(tmp_path / "a.wav")[0]
    assert take.seconds == len(sound) / RATE
    assert 1.0 < take.seconds < 2.0
    assert np.abs(sound[-1000:]).max() < 10 ** (-85 / 20)


def test_a_tail_of_six_seconds_is_the_longest(tmp_path):
    take = render_audio(performance([{"end": 1.0, "level": 0.0}], programs=(GLOCKENSPIEL,)), tmp_path / "a.wav")
    sound = soundfile.read(tmp_path / "a.wav")[0]
    assert take.seconds == pytest.approx(7.0, abs=0.1)
    assert np.abs(sound[-1000:]).max() > 10 ** (-90 / 20)  # it could go on


# -- level


@given(
    st.sampled_from([PIANO, ORGAN, GUITAR, VIOLIN, FLUTE]),
    st.integers(55, 79),
    st.tuples(st.floats(-45, 0), st.floats(-45, 0)),
)
@FEW
def test_two_takes_differ_by_as_many_decibels_as_planned(tmp_path_factory, program, pitch, levels):
    """Also where velocities are too far apart for it (0.9 dB at -32 dB): CC11 makes up for what they lose."""
    folder = tmp_path_factory.mktemp("level")
    takes = []
    for level in levels:
        made = performance([{"level": level, "pitch": pitch, "end": 1.0}], programs=(program,))
        takes.append(level_of(heard(made, folder / "a.wav")[:RATE]))
    assert takes[0] - takes[1] == pytest.approx(levels[0] - levels[1], abs=0.5)


@pytest.mark.parametrize("program", [ORGAN, VIOLIN, SQUARE])
def test_a_swell_moves_the_sounding_note_and_the_next_one_is_at_rest(tmp_path, program):
    """The same two notes with and without steps of level, one every 200 ms, up and down."""
    steps = np.array([0.0, 2.0, 4.0, 5.9, 3.0, -3.0, -10.0, -20.0])
    curve = [(0, 0, 1.0 + 0.2 * n, step) for n, step in enumerate(steps)]
    notes = [{"score_length": 4.0, "end": 2.6, "pitch": 72}, {"score_onset": 4.0, "pitch": 72}]
    flat = heard(performance(notes, programs=(program,)), tmp_path / "a.wav")
    moving = heard(performance(notes, programs=(program,), curves=curve), tmp_path / "b.wav")

    def change(second: float) -> float:
        part = slice(int(second * RATE), int((second + 0.1) * RATE))
        return level_of(moving[part]) - level_of(flat[part])

    for n, step in enumerate(steps):
        nearest = decibels(expression(step)) - decibels(90)  # what whole numbers allow
        assert nearest == pytest.approx(step, abs=0.5)
        assert change(1.05 + 0.2 * n) == pytest.approx(nearest, abs=0.1)
    assert change(0.5) == pytest.approx(0, abs=1e-3)
    assert change(4.5) == pytest.approx(0, abs=0.01)


def test_a_crescendo_over_held_violin_notes_is_heard_as_planned(tmp_path):
    """Against the same notes at an even level, so that vibrato and attack of the samples (program 40) fall out."""
    start, voices = {"at": 1, "mark": "p"}, {1: "c5:4 e5:4 g5:8"}
    plan = {"dynamics": [start, {"crescendo": "1:1 - 5:1", "by": "8 dB"}]}
    swelling = reading(plan, bars=5, voices=voices, program=VIOLIN).performance
    even = reading({"dynamics": [start]}, bars=5, voices=voices, program=VIOLIN).performance
    one, two = heard(swelling, tmp_path / "a.wav"), heard(even, tmp_path / "b.wav")
    for second in (0.3, 1.9, 3.8, 4.3, 7.7, 8.5, 10.0, 12.5, 15.8):
        here = slice(int((second - 0.05) * RATE), int((second + 0.05) * RATE))
        assert level_of(one[here]) - level_of(two[here]) == pytest.approx(8 * second / 16, abs=0.5)


def test_what_else_is_played_does_not_change_how_loud_a_note_is(tmp_path):
    """One fixed gain: no take is brought up or down to a common level by itself."""
    note = {"pitch": 60, "level": -20.0, "end": 1.0}
    loud = [{"pitch": p, "level": 0.0, "score_onset": 4.0, "lane": 1} for p in (48, 52, 55)]
    alone = heard(performance([note], programs=(PIANO, ORGAN)), tmp_path / "a.wav", lowered=12.0)
    before = heard(performance([note, *loud], programs=(PIANO, ORGAN)), tmp_path / "b.wav", lowered=12.0)
    assert (alone[:RATE] == before[:RATE]).all() and np.abs(alone).max() > 0
    assert np.abs(before).max() > 4 * np.abs(alone).max()


def test_every_lane_sounds_even_beyond_one_port(tmp_path):
    lanes = 33
    notes = [
        {"lane": lane, "score_onset": lane, "onset": lane * 0.5, "end": lane * 0.5 + 0.1, "pitch": 72, "level": -6.0}
        for lane in range(lanes)
    ]
    sound = heard(performance(notes, programs=[SQUARE] * lanes), tmp_path / "a.wav")
    levels = [level_of(sound[int(n * 0.5 * RATE) :][: RATE // 10]) for n in range(lanes)]
    assert np.ptp(levels) < 0.1


def test_the_same_key_on_two_ports_is_two_keys(tmp_path):
    """Lanes 0 and 15 have the same channel number, on the first and the second port."""
    notes = [{"end": 2.0, "pitch": 72}, {"lane": 15, "onset": 0.5, "end": 0.7, "pitch": 72}]
    sound = heard(performance(notes, programs=[SQUARE] * 16), tmp_path / "a.wav")
    alone = heard(performance(notes[:1], programs=(SQUARE,)), tmp_path / "b.wav")
    late = slice(int(1.4 * RATE), int(1.9 * RATE))
    assert level_of(sound[late]) == pytest.approx(level_of(alone[late]), abs=0.05)


def test_lanes_do_not_disturb_each_other(tmp_path):
    """A swell in one voice leaves the other one as it is."""
    notes = [{"end": 2.0, "pitch": 72}, {"end": 2.0, "pitch": 72, "lane": 1}]
    curve = [(1, 1, 0.5, -60.0)]
    both = heard(performance(notes, programs=(SQUARE, SQUARE), curves=curve), tmp_path / "a.wav")
    alone = heard(performance(notes[:1], programs=(SQUARE,)), tmp_path / "b.wav")
    late = slice(int(0.6 * RATE), int(1.9 * RATE))
    assert level_of(both[late]) == pytest.approx(level_of(alone[late]), abs=0.05)


def test_a_unison_in_one_lane_lasts_as_long_as_the_longer_note(tmp_path):
    notes = [{"end": 0.5, "pitch": 72}, {"end": 2.0, "pitch": 72}]
    sound = heard(performance(notes, programs=(SQUARE,)), tmp_path / "a.wav")
    assert level_of(sound[int(1.5 * RATE) : int(1.6 * RATE)]) > -40


# -- what a take says of itself


def test_the_peak_and_clipped_samples_are_those_of_the_file(tmp_path):
    """The chord is beyond full scale at the gain of all takes, and is lowered unless one says otherwise."""
    chord = performance([{"pitch": pitch, "level": 0.0, "end": 1.0} for pitch in (48, 52, 55, 60)], programs=(ORGAN,))
    take = render_audio(chord, tmp_path / "a.wav")
    sound = soundfile.read(tmp_path / "a.wav")[0]
    assert take.clipped == 0 and take.lowered > 0
    assert take.peak == pytest.approx(20 * np.log10(np.abs(sound).max()), abs=0.2)

    more = 10 ** (take.lowered / 20)
    loud = render_audio(chord, tmp_path / "b.wav", lowered=0.0)
    samples = soundfile.read(tmp_path / "b.wav", dtype="int32")[0] >> 8
    assert loud.clipped == np.count_nonzero((samples == 2**23 - 1) | (samples == -(2**23))) > 0
    assert loud.clipped == pytest.approx(np.count_nonzero(np.abs(sound) * more > 1), rel=1e-3)
    assert loud.peak == pytest.approx(take.peak + take.lowered, abs=0.01)


@pytest.mark.parametrize("program", [PIANO, ORGAN, 48])
def test_a_full_chord_at_ff_is_not_clipped(tmp_path, program):
    pitches = (36, 43, 48, 52, 55, 60, 64, 67, 72, 76)
    chords = [{"pitch": p, "level": -4.0, "score_onset": float(n)} for n in range(4) for p in pitches]
    assert render_audio(performance(chords, programs=(program,)), tmp_path / "a.wav").clipped == 0


def test_loudness_is_that_of_the_file(tmp_path):
    import pyloudnorm

    made = performance([{"score_onset": n, "pitch": 60 + n, "level": -3.0 * n} for n in range(8)], programs=(VIOLIN,))
    take = render_audio(made, tmp_path / "a.wav")
    meter = pyloudnorm.Meter(RATE, filter_class="DeMan")
    assert take.loudness == pytest.approx(meter.integrated_loudness(soundfile.read(tmp_path / "a.wav")[0]), abs=0.1)


def test_nothing_to_play_is_silence(tmp_path):
    take = render_audio(performance([]), tmp_path / "a.wav")
    assert (take.clipped, take.loudness, take.peak) == (0, None, -np.inf)
    assert not soundfile.read(tmp_path / "a.wav")[0].any()


def test_a_take_names_its_synth_and_bank(tmp_path):
    take = render_audio(performance([{}]), tmp_path / "a.flac")
    digest = fingerprint(standard_bank())
    assert take.banks == {standard_bank(): digest}
    with soundfile.SoundFile(tmp_path / "a.flac") as file:
        assert digest in file.comment
        assert take.synth in file.comment


def test_progress_runs_from_the_beginning_to_the_end(tmp_path):
    told = []
    made = performance([{"score_onset": n} for n in range(30)])
    render_audio(made, tmp_path / "a.wav", progress=lambda done, total: told.append((done, total)))
    done, totals = np.array(told).T
    assert (np.diff(done) >= 0).all()
    assert set(totals) == {made.notes["end"].max()}
    assert done[0] < 2
    assert 28 < done[-1] <= totals[0]
