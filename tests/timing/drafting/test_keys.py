"""Keys: what signature, basses and notes say together, and how keys are spelt."""

from __future__ import annotations

import numpy as np
import pytest
from support import score

from timing.drafting.harmony import WrittenNotes, tonality
from timing.drafting.keys import Tonality, usual_signature

# A study in D that lives on its dominant: most of its notes are those of A major.
ON_THE_DOMINANT = "d3+f#4+a4:2 a2+e4+a4:2 " + "a2+c#4+e4+a4:2 a2+c#4+e4+g#4:1 a2+c#4+e4+a4:1 " * 3 + "d3+f#4+a4+d5:4"


def signed(fifths: int | None, voices: str = ON_THE_DOMINANT, bars: int = 5) -> WrittenNotes:
    marks = [] if fifths is None else [{"kind": "key", "value": fifths}]
    return WrittenNotes(score(bars, voices={1: voices}, marks=marks))


def test_a_piece_is_in_the_key_of_its_signature_and_its_last_bass():
    found = signed(2)
    assert str(tonality(found, 0, 20, [20], whole=True)) == "D major"
    assert str(tonality(found, 4, 16)) == "A major"  # what stands between


def test_relative_keys_part_by_their_basses():
    """The same pitch classes and signature, once at home on C and once on A."""
    chords = {"C": "c3+e4+g4+c5:4", "a": "a2+e4+a4+c5:4", "d": "d3+f4+a4+d5:4", "G": "g2+d4+g4+b4:4", "E": "e3+e4+b4:4"}
    major, minor = (" ".join(chords[name] for name in names) for names in ("CadGC", "aCdEa"))
    assert str(tonality(signed(0, major), 0, 20, [20], whole=True)) == "C major"
    assert str(tonality(signed(0, minor), 0, 20, [20], whole=True)) == "A minor"


def test_a_signature_holds_until_the_next_one():
    marks = [{"kind": "key", "value": 0}, {"kind": "key", "value": -3, "bar": 4}]
    found = WrittenNotes(score(8, voices={1: "c4:4 " * 8}, marks=marks))
    assert [found.signature(at) for at in (0.0, 15.9, 16.0, 31.0)] == [0, 0, -3, -3]
    assert WrittenNotes(score(8)).signature(3.0) is None


@pytest.mark.parametrize(
    ("keynote", "minor", "near", "name"),
    [(0, False, 0, "C major"), (6, False, 6, "F♯ major"), (6, False, -6, "G♭ major"), (3, True, -6, "E♭ minor"),
     (3, True, 6, "D♯ minor"), (8, True, 5, "G♯ minor"), (10, False, 0, "B♭ major"), (1, False, -5, "D♭ major"),
     (1, False, 7, "C♯ major"), (9, True, 0, "A minor")],
)  # fmt: skip
def test_keys_are_spelt_as_the_signature_has_them(keynote, minor, near, name):
    assert str(Tonality(keynote, minor, usual_signature(keynote, minor, near))) == name


def test_every_signature_is_that_of_its_key():
    for fifths in range(-7, 8):
        keynote = 7 * fifths % 12
        assert usual_signature(keynote, False, fifths) == fifths
        assert usual_signature((keynote + 9) % 12, True, fifths) == fifths


def test_no_key_where_nothing_but_one_pitch_sounds():
    assert tonality(WrittenNotes(score(8, voices={1: "c4:1 " * 32})), 0, 32, [32], whole=True) is None
    assert np.count_nonzero(WrittenNotes(score(8, voices={1: "c4:1 " * 32})).between(0, 32)[0]) == 1
