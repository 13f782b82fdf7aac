"""Keys and closes: the cadences of any harmony book (common practice), and what transposing does to them."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from laws import FEW
from support import score

from timing.drafting.harmony import WrittenNotes, close_at, tonality
from timing.drafting.keys import Tonality

FULL = "c3+e4+g4+c5:2 f3+a4+c5:2 g3+d4+g4+b4:2 c3+e4+g4+c5:2"  # I IV V I
HALF = "c3+e4+g4+c5:2 f3+a4+c5:2 c3+e4+g4+c5:2 g3+d4+g4+b4:2"  # I IV I V
DECEPTIVE = "c3+e4+g4+c5:2 f3+a4+c5:2 g3+d4+g4+b4:2 a3+e4+a4+c5:2"  # I IV V vi
MINOR = "a2+e4+a4+c5:2 d3+f4+a4:2 e3+e4+g4+b4:2 e3+g4+b4+d5:2 a2+e4+a4+c5:4"


def sounds(voices: str, bars: int = 2) -> WrittenNotes:
    return WrittenNotes(score(bars, voices={1: voices}))


@pytest.mark.parametrize(
    ("chords", "kind", "figure"),
    [(FULL, "full close", "I"), (HALF, "half close", "V"), (DECEPTIVE, "deceptive close", "vi")],
)
def test_closes_have_their_names(chords, kind, figure):
    found = sounds(chords)
    key = tonality(found, 0, 8)
    assert str(key) == "C major"
    close = close_at(found, 0, 8, key)
    assert (close.kind, close.figure) == (kind, figure)
    assert str(close) == f"{kind} on {figure}"


def test_a_bare_melody_has_no_close():
    found = sounds("c5:1 d5:1 e5:1 f5:1 g5:1 a5:1 b5:1 c6:1")
    assert close_at(found, 0, 8, tonality(found, 0, 8)) is None


def test_no_key_is_named_where_every_pitch_class_sounds_alike():
    piece = score(3, voices={1: " ".join(["c4:1"] * 12)})
    piece.notes["pitch"] += np.arange(12)
    assert tonality(WrittenNotes(piece), 0, 12) is None


def test_few_notes_have_no_key():
    assert tonality(sounds("c4:1 e4:1 g4:1 c5:1", bars=1), 0, 4) is None


@FEW
@given(st.integers(-12, 12))
def test_a_transposed_piece_is_in_the_transposed_key_and_closes_alike(steps):
    piece = score(2, voices={1: FULL})
    moved = score(2, voices={1: FULL})
    moved.notes["pitch"] += steps
    keys = [tonality(WrittenNotes(each), 0, 8) for each in (piece, moved)]
    assert keys[1].keynote == (keys[0].keynote + steps) % 12
    assert keys[1].minor == keys[0].minor
    assert str(close_at(WrittenNotes(moved), 0, 8, keys[1])) == "full close on I"


@pytest.mark.parametrize(
    ("there", "words"),
    [("C minor", "the parallel minor"), ("A minor", "the relative minor"), ("G major", "the dominant"),
     ("F major", "the subdominant"), ("C major", "the same key"), ("D major", "")],
)  # fmt: skip
def test_keys_seen_from_c_major(there, words):
    home = Tonality(0, False)
    keynote = {"C": 0, "A": 9, "G": 7, "F": 5, "D": 2}[there[0]]
    assert Tonality(keynote, there.endswith("minor")).seen_from(home) == words


def test_the_relative_major_of_a_minor_is_c_major():
    assert Tonality(0, False).seen_from(Tonality(9, True)) == "the relative major"


def test_what_sounds_in_a_stretch_is_cut_at_its_ends():
    durations, pitch = sounds("c4:4 e4:4").between(3, 5)
    assert durations[0] == pytest.approx(1)
    assert durations[4] == pytest.approx(1)
    assert sorted(np.unique(pitch)) == [60, 64]
