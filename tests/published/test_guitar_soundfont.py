"""The guitar's file against the SoundFont Technical Specification 2.04 (E-mu Systems, 2006), read by sf2utils, a parser
that shares nothing with the writer, and against FluidSynth's ear for the seams of its loops."""

from __future__ import annotations

import logging

import numpy as np
import pytest
from guitars import STRINGS, bank, player

from soundfonts.guitar import STANDARD_TUNING, TONES_IN_BANK, preset


@pytest.fixture(scope="module")
def parsed():
    from sf2utils.sf2parse import Sf2File

    with bank().open("rb") as file:
        yield Sf2File(file)


@pytest.fixture(scope="module")
def samples(parsed):
    """(sample, its int16 data, the data with 46 points after it)"""
    with bank().open("rb") as file:
        content = file.read()
    smpl = np.frombuffer(content, "<i2", offset=content.index(b"smpl") + 8, count=_size(content, b"smpl") // 2)
    return [(s, smpl[s.start : s.end], smpl[s.end : s.end + 46]) for s in parsed.samples[:-1]]


def _size(content: bytes, name: bytes) -> int:
    at = content.index(name) + 4
    return int.from_bytes(content[at : at + 4], "little")


@pytest.mark.filterwarnings("ignore:'audioop' is deprecated")
def test_an_independent_parser_reads_it_without_complaint(caplog):
    from sf2utils.sf2parse import Sf2File

    with caplog.at_level(logging.WARNING), bank().open("rb") as file:
        font = Sf2File(file)
        for made in font.presets[:-1]:
            for bag in made.bags:
                assert all(zone.sample is None or zone.sample.raw_sample_data for zone in bag.instrument.bags)
    assert caplog.messages == []


def test_the_version_is_2_04_and_all_lists_end_with_their_terminals(parsed):
    """The parser takes the minor number for a byte of the major one, so the version is read here (§5.1)."""
    head = bank().read_bytes()[:100]
    assert head[head.index(b"ifil") + 4 :][:8] == bytes([4, 0, 0, 0, 2, 0, 4, 0])
    assert [part[-1].name for part in (parsed.presets, parsed.instruments, parsed.samples)] == ["EOP", "EOI", "EOS"]


def test_every_string_and_tone_has_its_preset(parsed):
    there = {(made.bank, made.preset) for made in parsed.presets[:-1]}
    assert there == {preset(string, tone) for string in range(7) for tone in range(len(TONES_IN_BANK))}


def test_every_key_has_one_zone_in_every_instrument(parsed):
    for instrument in parsed.instruments[:-1]:
        ranges = [zone.key_range for zone in instrument.bags if zone.sample]
        covered = [key for low, high in ranges for key in range(low, high + 1)]
        assert covered == list(range(128))


def test_samples_are_followed_by_46_zeros_and_loops_lie_inside(samples):
    for sample, data, after in samples:
        assert not after.any()
        assert 8 <= sample.start_loop < sample.end_loop <= len(data) - 8
        assert sample.end_loop - sample.start_loop >= 32
        assert 1_000 < np.abs(data.astype(int)).max() <= 32_000


def test_eight_points_are_alike_on_both_sides_of_a_loop(samples):
    """§7.10: whatever a player interpolates with, it cannot hear the seam."""
    for sample, data, _ in samples:
        if "pizz" in sample.name:
            continue
        first, last = sample.start_loop, sample.end_loop
        assert (data[first - 8 : first + 8] == data[last - 8 : last + 8]).all()


def test_each_fret_has_its_own_sample_at_its_own_key(samples):
    found = {sample.name: sample.original_pitch for sample, _, _ in samples}
    for string in STRINGS:
        for fret in range(20):
            assert found[f"sul tasto {string}/{fret}"] == STANDARD_TUNING[string - 1] + fret


def test_the_first_bank_plays_each_key_on_the_string_where_it_lies_lowest(parsed):
    whole = next(made for made in parsed.presets[:-1] if (made.bank, made.preset) == (0, 24))
    names = {}
    for zone in whole.bags[0].instrument.bags:
        if zone.sample:
            names |= dict.fromkeys(range(zone.key_range[0], zone.key_range[1] + 1), zone.sample.name)
    assert [names[key] for key in (0, 40, 44, 45, 58, 59, 63, 64, 83, 127)] == [
        f"naturale {place}" for place in ("6/0", "6/0", "6/4", "5/0", "3/3", "2/0", "2/4", "1/0", "1/19", "1/19")
    ]


@pytest.mark.parametrize("tone", range(len(TONES_IN_BANK)), ids=TONES_IN_BANK)
@pytest.mark.parametrize("string", range(7))
def test_every_key_sounds_in_every_preset(tone, string):
    player().choose(*preset(string, tone))
    assert min(np.abs(player().note(key, seconds=0.25)).max() for key in range(0, 128, 9 if string else 3)) > 0.001
