"""Accidentals for parts that have none: by the key that holds, whatever else a file says."""

from __future__ import annotations

from xml.etree.ElementTree import fromstring

import pytest
from written import FOUR_FOUR, bar, musicxml, note

from timing.reader.accidentals import write_accidentals


def written(*bars: str) -> list[str | None]:
    """The accidental of each note."""
    root = fromstring(musicxml(list(bars)))
    write_accidentals(root)
    return [each.findtext("accidental") for each in root.iter("note")]


def key(fifths: int) -> str:
    return f"<attributes><key><fifths>{fifths}</fifths></key></attributes>"


@pytest.mark.parametrize(("first", "second", "accidental"), [(0, 1, None), (1, 0, "sharp")])
def test_of_two_keys_at_one_moment_the_later_one_holds(first, second, accidental):
    assert written(bar(key(first) + key(second) + note("F#4", 4), 1, FOUR_FOUR)) == [accidental]


def test_a_key_that_is_written_after_what_another_voice_plays_holds_from_its_moment():
    back = "<backup><duration>48</duration></backup>"
    content = note("F#4", 2) + key(1) + note("F#4", 2) + back + note("F#5", 2, voice=2) + note("F#5", 2, voice=2)
    assert written(bar(content, 1, FOUR_FOUR)) == ["sharp", None, "sharp", None]


@pytest.mark.parametrize("length", ["nan", "inf", "1e999", "x"])
def test_the_length_of_what_is_no_note_is_of_no_account(length):
    bass = f"<figured-bass><figure/><duration>{length}</duration></figured-bass>"
    assert written(bar(note("C4", 2) + bass + note("F#4", 2), 1, FOUR_FOUR)) == [None, "sharp"]


@pytest.mark.parametrize("value", ["nan", "inf", "x"])
def test_numbers_that_are_none_break_nothing(value):
    attributes = FOUR_FOUR.replace("12", value) + f"<key><fifths>{value}</fifths></key>"
    assert written(bar(note("C4", 2) + note("F#4", 2), 1, attributes)) == [None, "sharp"]
