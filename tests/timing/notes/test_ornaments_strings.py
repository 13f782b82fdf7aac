"""Ornaments on a guitar: on which strings their notes lie, and what is slurred."""

from __future__ import annotations

import numpy as np
import pytest
from ornamented import ABOVE, INVERTED_TURN, MORDENT, TRILL, TURN, ornamented
from support import reading, score

from timing.performance import HARMONIC, PLUCKED, SLURRED
from timing.reading import perform
from timing.score import Sign

GUITAR = {"program": 24}


def strings(notes: np.ndarray) -> list[tuple[int, int]]:
    return [(int(n["string"]), int(n["fret"])) for n in notes]


def test_on_a_guitar_an_ornament_is_slurred_on_the_string_of_its_note():
    notes = reading({}, ornamented("c4:1 e4:3", {0: TURN}, neighbours=(2, 1), **GUITAR)).performance.notes
    assert notes["attack"].tolist() == [PLUCKED, SLURRED, SLURRED, SLURRED, PLUCKED]
    assert len(set(notes["string"][:4].tolist())) == 1
    assert (notes["fret"][:4] - notes["fret"][3]).tolist() == [2, 0, -1, 0]


def test_an_open_string_is_left_where_the_lower_neighbour_is_needed():
    plain = reading({}, ornamented("e4:1 e4:3", {}, **GUITAR)).performance.notes
    assert strings(plain[:1]) == [(1, 0)]
    notes = reading({}, ornamented("e4:1 e4:3", {0: MORDENT}, **GUITAR)).performance.notes
    assert strings(notes[:3]) == [(2, 5), (2, 4), (2, 5)]
    trill = reading({}, ornamented("e4:1 f4:3", {0: TRILL}, neighbours=(1, 2), **GUITAR)).performance.notes
    assert strings(trill[:3]) == [(1, 0), (1, 1), (1, 0)]


def test_a_string_that_is_asked_for_is_that_of_the_written_note():
    asked = {"strings": [{"at": "1:1", "string": 2, "fret": 5}]} | ABOVE
    notes = reading(asked, ornamented("e4:1 e4:3", {0: TRILL}, neighbours=(1, 2), **GUITAR)).performance.notes
    assert strings(notes[:3]) == [(2, 6), (2, 5), (2, 6)]
    written = ornamented("e4:1 e4:3", {0: INVERTED_TURN}, neighbours=(1, 2), **GUITAR)
    written.notes["string"][0], written.notes["fret"][0] = 3, 9
    assert strings(perform(written, reading({}).plan).performance.notes[:4]) == [(3, 7), (3, 9), (3, 10), (3, 9)]


def test_what_lies_under_the_open_string_is_plucked_on_the_next():
    asked = {"strings": [{"at": "1:1", "string": 1}]}
    notes = reading(asked, ornamented("e4:1 e4:3", {0: MORDENT}, **GUITAR)).performance.notes
    assert strings(notes[:3]) == [(1, 0), (2, 4), (1, 0)]
    assert notes["attack"][:3].tolist() == [PLUCKED] * 3


def test_below_the_lowest_string_a_neighbour_sounds_on_no_string():
    notes = reading({}, ornamented("e2:1 e4:3", {0: MORDENT}, **GUITAR)).performance.notes
    assert strings(notes[:3]) == [(6, 0), (0, -1), (6, 0)]


def test_neighbours_are_no_harmonics_and_do_not_ring_on():
    made = ornamented("e5:1 g2:3", {0: TRILL}, **GUITAR)
    made.notes["signs"][0] = Sign.LET_RING
    notes = reading({"strings": [{"at": "1:1", "harmonic": "yes"}]}, made).performance.notes
    trill = notes[notes["id"] == 0]
    assert np.array_equal(trill["technique"] == HARMONIC, trill["pitch"] == 76)
    assert trill["end"][:-1] == pytest.approx(trill["onset"][1:]) and trill["end"][-1] > 1.5


def test_the_strokes_of_a_tremolo_are_plucked():
    made = score(1, voices={1: "c4:1 e4:3"}, **GUITAR)
    made.notes["tremolo"][0] = 0.25
    notes = reading({}, made).performance.notes
    assert notes["attack"].tolist() == [PLUCKED] * 5 and len(set(strings(notes[:4]))) == 1


def test_elsewhere_nothing_is_said_of_the_left_hand():
    assert set(reading({}, ornamented("c4:1 e4:3", {0: TRILL})).performance.notes["attack"].tolist()) == {PLUCKED}
