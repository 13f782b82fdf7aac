"""A softer pluck is darker and as loud as before: in the model, and in what FluidSynth plays."""

from __future__ import annotations

import io
import struct

import numpy as np
import pytest
from guitars import RATE, Player, centroid, k_weighted, keys, player
from hypothesis import given
from hypothesis import strategies as st
from laws import FEW

from soundfonts.guitar import (
    HARMONIC,
    LIGADO,
    NATURALE,
    PIZZICATO,
    PONTICELLO,
    STANDARD_TUNING,
    TASTO,
    TONES_IN_BANK,
    point_bank,
    preset,
)
from soundfonts.notes import notes
from soundfonts.sf2 import BankWriter, Instrument, Modulator, Preset, Zone
from soundfonts.softer import CONCAVE, softer

SOFT = np.array([127, 96, 64, 48, 40, 32, 28, 25])  # down to ppp
PLACES = [(1, 0), (1, 7), (1, 12), (1, 19), (2, 5), (3, 0), (4, 7), (5, 3), (6, 0), (6, 12)]


def played_softer(synth: Player, key: int) -> tuple[np.ndarray, np.ndarray]:
    """(velocities,) K-weighted level in dB and centroid in Hz."""
    sounds = np.array([synth.note(key, int(velocity)) for velocity in SOFT])
    return k_weighted(sounds), centroid(sounds)


@pytest.mark.parametrize("tone", [NATURALE, TASTO, PONTICELLO, HARMONIC], ids=lambda tone: TONES_IN_BANK[tone])
def test_soft_notes_are_darker_and_as_loud_as_planned(tone):
    """Within 0.15 dB, of which 0.1 are the whole centibels in which the player counts."""
    for string, fret in PLACES if tone != HARMONIC else [(1, 1), (3, 0), (6, 2)]:
        player().choose(*preset(string, tone))
        level, bright = played_softer(player(), keys(string, tone)[fret])
        assert np.abs(level - level[0] - 40 * np.log10(SOFT / 127)).max() < 0.15
        ratio = bright / bright[0]
        assert (np.diff(ratio) < 0).all()
        assert 0.78 < ratio[5] < 0.97  # pianissimo


@pytest.mark.parametrize("tone", [LIGADO, PIZZICATO], ids=lambda tone: TONES_IN_BANK[tone])
def test_what_is_muffled_already_keeps_its_colour(tone):
    """Over 0.1 s, before the last bits of a soft note's samples count."""
    player().choose(*preset(2, tone))
    loud, soft = (player().note(62, velocity)[: RATE // 10] for velocity in (112, 40))
    alike = loud * np.sqrt(np.mean(soft**2) / np.mean(loud**2))
    assert np.abs(soft - alike).max() < np.abs(soft).max() / 200


def test_a_plucking_point_of_the_plan_is_not_moved_by_velocity(tmp_path, monkeypatch):
    monkeypatch.setenv("LENTANDO_CACHE", str(tmp_path))
    synth = Player(point_bank((64,), 12.5))
    synth.choose(*preset(1, NATURALE))
    bright = played_softer(synth, 66)[1]
    assert bright == pytest.approx(np.full(len(SOFT), bright[0]), rel=0.02)


@FEW
@given(string=st.integers(1, 6), fret=st.integers(0, 19), tone=st.sampled_from([NATURALE, TASTO, PONTICELLO]))
def test_every_note_has_a_law_of_its_own(string, fret, tone):
    """The filter only ever closes; the law of velocity is a little less steep where it takes more."""
    cents, concave, linear = (float(value[0]) for value in softer(_note(string, fret, tone), RATE))
    assert 1_500 < cents < 8_000
    assert 0.9 * CONCAVE < concave <= CONCAVE + 20
    assert abs(linear) < 30
    assert softer(_note(string, fret, tone), RATE) == (cents, concave, linear)


def _note(string: int, fret: int, tone: int):
    return notes(string, STANDARD_TUNING[string - 1], np.array([fret]), tone)


def test_modulators_of_a_zone_are_its_own():
    """Each bag begins at a modulator of its own (SoundFont 2.04 §7.7, §7.8)."""
    file = io.BytesIO()
    bank = BankWriter(file, "Two", "for a test")
    for number in range(2):
        bank.add(str(number), np.full(100, 1_000, "<i2"), None, 60, RATE)
    mine = (Modulator(0x0102, 8, -1_200), Modulator(0x0502, 48, 940))
    zones = [Zone(0, 59, 0, {}, mine), Zone(60, 127, 1, {})]
    bank.finish([Instrument("two", {}, zones)], [Preset("two", 0, 0, 0)])
    content = file.getvalue()
    begins = [modulator for _, modulator in struct.iter_unpack("<HH", _chunk(content, b"ibag"))]
    assert begins == [0, 1, 3, 3]
    held = [row[:3] for row in struct.iter_unpack("<HHhHH", _chunk(content, b"imod"))]
    assert held == [(0x0102, 8, 0), *mine, (0, 0, 0)]


def _chunk(content: bytes, name: bytes) -> bytes:
    at = content.index(name) + 8
    return content[at : at + struct.unpack("<I", content[at - 4 : at])[0]]
