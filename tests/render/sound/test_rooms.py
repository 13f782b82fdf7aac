"""Rooms: what they add to a sound, and what they leave as it is. Measured on the response and on real takes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from laws import FEW
from support import reading, score

from render.sound.memory import render_sound
from render.sound.rooms import ROOMS, in_room, response
from render.sound.stems import RATE
from timing.plan import ROOMS as NAMES

GUITAR = 24
BOTH = pytest.mark.parametrize("name", ROOMS)


def blocks_of(sound: np.ndarray, cuts: list[int]) -> list[np.ndarray]:
    return np.split(sound, sorted(cuts))


def heard(sound: np.ndarray, name: str | None, cuts: tuple[int, ...] = ()) -> np.ndarray:
    return np.concatenate(list(in_room(iter(blocks_of(sound, list(cuts))), name, RATE)))


def noise(frames: int, seed: int = 0) -> np.ndarray:
    return np.random.default_rng(seed).normal(0, 0.1, (frames, 2)).astype(np.float32)


def test_every_room_of_a_plan_is_made_of_something():
    assert ("dry", *ROOMS) == NAMES


@BOTH
def test_a_click_comes_back_as_the_response_and_the_dry_sound_is_untouched(name):
    click = np.zeros((1000, 2), np.float32)
    click[100] = 1
    sound, added = heard(click, name), response(name, RATE).copy()
    assert len(sound) == len(click) + added.shape[1] - 1
    added[:, 0] += 1
    assert pytest.approx(added, abs=1e-6) == sound[100 : 100 + added.shape[1]].T
    assert np.abs(sound[:100]).max() < 1e-6


@FEW
@given(
    st.just("small"),
    st.integers(1, 250_000),
    st.lists(st.integers(0, 250_000), max_size=5),
    st.floats(-2, 2),
)
@example("hall", 500_000, [1, 70_000, 70_001, 480_000], 0.5)
def test_a_room_is_linear_and_the_same_however_the_sound_is_cut(name, frames, cuts, factor):
    one, other = noise(frames, 1), noise(frames, 2)
    whole = heard(one, name)
    assert np.array_equal(heard(one, name, tuple(cut for cut in cuts if cut < frames)), whole)
    both = heard((one + np.float32(factor) * other).astype(np.float32), name)
    assert both == pytest.approx(whole + factor * heard(other, name), abs=2e-5)


def test_dry_is_as_it_was():
    sound = noise(5000)
    assert np.array_equal(heard(sound, None), sound)


@BOTH
def test_early_and_late_part_have_the_energy_and_the_decay_that_they_are_given(name):
    """The decay by the slope from -5 to -25 dB of the energy still to come (M. R. Schroeder, JASA 37, 1965); the treble
    dies sooner, so it comes out a little shorter than what it is called."""
    room, added = ROOMS[name], response(name, RATE)
    asked = 10 ** (room.early_level / 10) + 10 ** (room.late_level / 10)
    assert 10 * np.log10((added**2).sum(axis=1)) == pytest.approx(np.full(2, 10 * np.log10(asked)), abs=0.4)
    left = np.cumsum((added.astype(float) ** 2).sum(axis=0)[::-1])[::-1]
    fallen = 10 * np.log10(left / left[0])
    slope = (np.searchsorted(-fallen, 25) - np.searchsorted(-fallen, 5)) / RATE * 3
    assert 0.85 * room.decay < slope < room.decay
    assert np.abs(added[:, : int(room.gap * RATE) - 1]).max() == 0, "nothing comes back before the gap"


def take(room: str):
    """Six notes of the guitar, apart; the fifth is the second again, softer."""
    plan = {"room": room, "tempo": 60, "dynamics": [{"at": 1, "mark": "mf"}, {"at": "3:1", "mark": "pp"}]}
    tune = "e4:1 r:1 a4:1 r:1 c5:1 r:1 g4:1 r:1 a4:1 r:1 e5:1 r:1"
    return reading(plan, score(3, voices={1: tune}, program=GUITAR)).performance


@BOTH
def test_onsets_stay_within_a_millisecond(name):
    """Of each note the first sample that reaches a tenth of its peak in the take without a room."""
    plain, inside = render_sound(take("dry")).samples[:, 0], render_sound(take(name)).samples[:, 0]
    for onset in take(name).notes["onset"]:
        first = int(onset * RATE)
        one, other = (np.abs(sound[first : first + RATE // 10]) for sound in (plain, inside))
        begins = [int(np.argmax(each > one.max() / 10)) for each in (one, other)]
        assert abs(begins[1] - begins[0]) <= RATE // 1000


def _levels(sound: np.ndarray) -> list[float]:
    """In dB, of the first half second of each note."""
    begins = range(0, 12 * RATE, 2 * RATE)
    return [float(10 * np.log10((sound[begin : begin + RATE // 2] ** 2).sum())) for begin in begins]


@BOTH
def test_the_planned_decibels_between_two_takes_of_a_note_stay_exact(name):
    plain, inside = (_levels(render_sound(take(each)).samples) for each in ("dry", name))
    assert inside[1] - inside[4] == pytest.approx(plain[1] - plain[4], abs=0.5)


def test_the_plan_says_the_room_and_a_part_of_the_music_is_in_it_too():
    made = take("hall")
    assert made.room == "hall"
    assert render_sound(made).seconds > render_sound(replace(made, room=None)).seconds + 0.3
