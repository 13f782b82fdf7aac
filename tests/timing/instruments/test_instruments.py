"""Instruments by name. The programs are those of General MIDI 1 (MMA, 1991), counted from 0."""

from __future__ import annotations

import pytest

from timing.instruments.programs import GENERAL_MIDI, guess_program, program_of, sustains


@pytest.mark.parametrize(
    ("name", "program"),
    [
        ("acoustic grand piano", 0),
        ("Violin", 40),
        ("flute", 73),
        ("gunshot", 127),
        ("classical guitar", 24),
        ("cello", 42),
    ],
)
def test_names_of_instruments(name, program):
    assert program_of(name) == program


def test_there_are_128_of_them_and_all_are_found():
    assert [program_of(name) for name in GENERAL_MIDI] == list(range(128))


def test_an_unknown_name_is_told_with_the_nearest():
    with pytest.raises(ValueError, match="'vioiln' is not an instrument known here: did you mean 'violin'"):
        program_of("vioiln")


@pytest.mark.parametrize(
    ("part", "program"),
    [
        ("Violin I", 40),
        ("Flöte", 73),
        ("Flauto 2", 73),
        ("Electric Bass", 33),
        ("Upright Bass", 43),
        ("Bass Drum", 117),
        ("Bass", 52),  # beside a soprano, an alto and a tenor
        ("Classical guitar", 24),
        ("Guitar: 1", 24),
        ("Guitar, capo 2", 24),
        ("Something else", 0),
    ],
)
def test_what_a_part_s_name_says(part, program):
    assert guess_program(part) == program


@pytest.mark.parametrize(
    ("name", "swells"), [("violin", True), ("voice", True), ("flute", True), ("piano", False), ("harp", False)]
)
def test_who_can_swell_on_a_held_note(name, swells):
    assert sustains(program_of(name)) == swells
