"""Sound that begins in the middle, against the whole take."""

from __future__ import annotations

import numpy as np
import pytest
from house import PLANS
from hypothesis import given, settings
from hypothesis import strategies as st
from performances import level_of, performance, performances
from support import reading, score

from render.events.table import BEND, CONTROL, OFF, ON, PRESET
from render.sound.joining import Joining, Synths
from render.sound.memory import render_sound
from render.sound.stems import RATE, Stem, _from, _in_playing_order
from render.sound.synth import BLOCK
from timing.loading import load

SOFTER = -60  # dB against the music, below which nobody hears that a take is not the whole one


def joined(joining: Joining, second: float, seconds: float = 0.5) -> tuple[int, np.ndarray]:
    """What sounds from a second on, with the frame at which it begins."""
    start = int(second * RATE) // BLOCK * BLOCK
    synths = Synths()
    with joining.sounding(start, synths) as sounding:
        return start, sounding.read(int(seconds * RATE))


def residual(made, second: float, whole: np.ndarray) -> float:
    """dB of what differs from the whole take after a join, against the music there; at -90 dBFS nothing is heard."""
    start, there = joined(Joining(made), second)
    there, here = there[: len(whole) - start], whole[start : start + len(there)]
    return level_of(there - here) - max(level_of(here), -90.0 - SOFTER)


@pytest.mark.parametrize("plan", ["low-water-flowing.yaml", "umbrella-stand-dancing.yaml"])
def test_from_a_join_on_it_is_the_whole_take(plan):
    made = load(PLANS / plan).performance
    whole = render_sound(made).samples
    seconds = np.random.default_rng(7).uniform(0, len(whole) / RATE - 1, 12)
    found = [residual(made, second, whole) for second in seconds]
    assert max(found) < SOFTER
    assert np.median(found) < -100  # most of them are the same to the bit


def test_from_its_beginning_a_take_is_the_whole_one_to_the_bit():
    made = load(PLANS / "low-water-flowing.yaml").performance
    whole, joining, synths = render_sound(made).samples, Joining(made), Synths()
    with joining.sounding(0, synths) as sounding:
        assert np.array_equal(np.concatenate(list(sounding.blocks(8192, 4416))), whole)


ORGAN, STRINGS = 19, 48
TONES = {"tone": [{"bars": 1, "tone": "dark"}, {"bars": 3, "tone": "bright"}]}


@pytest.mark.parametrize("program", [ORGAN, STRINGS])
def test_a_note_held_for_longer_than_is_played_unheard_is_still_there(program):
    """Without looking for what still sounds, nothing would be heard at all."""
    made = performance([{"onset": 0.5, "end": 20.0, "level": -6.0}], programs=[program])
    whole = render_sound(made).samples
    assert level_of(whole[12 * RATE : 13 * RATE]) > -60
    assert residual(made, 12.0, whole) < SOFTER


def test_a_note_just_let_go_still_dies_away():
    made = performance([{"onset": 0.0, "end": 8.0}, {"onset": 9.5, "pitch": 72, "end": 10.0}], programs=[STRINGS])
    whole = render_sound(made).samples
    assert residual(made, 8.1, whole) < SOFTER


def test_colours_and_levels_are_those_of_the_place():
    written = score(4, voices={1: "a4:4 c5:4 e5:4 a4:4"}, program=40)
    made = reading(TONES | {"dynamics": [{"at": 1, "mark": "p"}, {"crescendo": "2:1 - 4:1", "by": "12 dB"}]}, written)
    made = made.performance
    whole = render_sound(made).samples
    for second in (0.7, 2.3, 4.4, 6.1):
        assert residual(made, second, whole) < SOFTER


def test_what_is_set_before_is_set_again_and_only_that():
    made = load(PLANS / "low-water-flowing.yaml").performance
    (stave,) = Joining(made).staves
    events, begin = stave.events, int(48.0 * RATE) // BLOCK * BLOCK
    rows = _from(stave, begin)
    before = events["moment"][rows] < begin
    assert set(events["kind"][rows[before]].tolist()) <= {CONTROL, PRESET, BEND}
    assert np.array_equal(rows[~before], np.flatnonzero(events["moment"] >= begin))
    state, expected = {}, {}
    for into, chosen in ((expected, np.flatnonzero(events["moment"] < begin)), (state, rows[before])):
        for row in chosen:
            _, _, kind, data, value = events[row].item()
            if kind not in (ON, OFF):
                into[int(stave.channels[row]), kind, data] = value
    assert state == expected and len(rows[before]) == len(expected)


class Silent:
    """What a synth is told, without its sound."""

    def __init__(self):
        self.state, self.struck = {}, []

    def program(self, channel, program, *, font, bank):
        self.state[channel, "program"] = font, bank, program

    def control(self, channel, number, value):
        self.state[channel, number] = value

    def bend(self, channel, value):
        self.state[channel, "bend"] = value

    def note_on(self, channel, pitch, velocity):
        met = sorted(f"{what}: {value}" for (where, what), value in self.state.items() if where == channel)
        self.struck.append((channel, pitch, velocity, met))

    def note_off(self, channel, pitch):
        pass


@settings(max_examples=25)
@given(performances(), st.floats(0, 1))
def test_every_note_finds_its_channel_as_in_the_whole(made, share):
    """Whatever the place: each note that is struck from there on meets the settings that it would have met."""
    from render.sound.sounds import find_sounds
    from render.sound.stems import staves

    for stave in staves(made, find_sounds(made, None)):
        last = int(stave.events["moment"].max(initial=0))
        begin = int(share * last) // BLOCK * BLOCK
        told = []
        for start in (0, begin):
            synth = Silent()
            for _, act, arguments in _in_playing_order([Stem(synth, stave, None)], start):
                act(*arguments)
            told.append(synth.struck)
        later = int((stave.events["kind"][stave.events["moment"] >= begin] == ON).sum())
        assert told[1] == told[0][len(told[0]) - later :]


def test_synths_that_wait_are_fresh_and_of_the_kind_that_is_wanted():
    made, other = (performance([{"level": -6.0}], programs=[program]) for program in (0, ORGAN))
    one, two = Joining(made).staves, Joining(other).staves
    synths = Synths()
    synths.want(one)
    assert [synths.make_one() for _ in range(3)] == [True, True, False]
    taken = [synths.take(one[0]) for _ in range(3)]
    assert len(set(map(id, taken))) == 3 and synths.make_one()
    synths.want(two)
    assert synths.make_one()
    waiting = synths.take(two[0])
    assert waiting not in taken
    for synth in (*taken, waiting):
        synth.close()
    synths.close()
    assert not synths.make_one()


def test_a_take_sounds_the_same_with_synths_that_waited():
    made = performance([{"level": -6.0}, {"score_onset": 1.0, "pitch": 64}], programs=[0])
    joining, synths = Joining(made), Synths()
    synths.want(joining.staves)
    while synths.make_one():
        pass
    heard = []
    for _ in range(3):
        with joining.sounding(0, synths) as sounding:
            heard.append(sounding.read(RATE))
    assert np.array_equal(heard[0], heard[1]) and np.array_equal(heard[1], heard[2])
    synths.close()
