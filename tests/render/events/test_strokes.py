"""Notes of one key on one channel, against a simulation of such a channel."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from render.events.strokes import let_go, strokes
from timing.performance import CARRIED, PLAYED, PLUCKED

NOTE = st.tuples(st.integers(0, 1), st.integers(60, 61), st.integers(0, 12), st.integers(1, 8))


@given(st.lists(NOTE, max_size=12))
def test_a_key_is_let_go_once_after_each_stroke(given_notes):
    lane, pitch, start, length = np.array(given_notes, np.int64).reshape(-1, 4).T
    stop = let_go(lane, pitch, start, start + length)
    for row in range(len(pitch)):
        same = (lane == lane[row]) & (pitch == pitch[row])
        together, later = same & (start == start[row]), start[same & (start > start[row])]
        longest = (start + length)[together].max()
        assert stop[row] == min([longest, *later])


def test_order_does_not_matter():
    pitch = np.array([60, 62, 60])
    assert let_go(np.zeros(3, int), pitch, np.array([5, 0, 0]), np.array([9, 9, 9])).tolist() == [9, 9, 5]


def test_a_carried_note_is_not_struck_and_prolongs_the_one_that_carries_it():
    notes = np.zeros(5, PLAYED)
    notes["onset"], notes["end"] = [0, 0.5, 1, 2, 3], [1, 9, 2, 3, 4]
    notes["lane"] = [0, 1, 0, 0, 0]
    notes["attack"] = [PLUCKED, PLUCKED, CARRIED, CARRIED, PLUCKED]
    rows, ends = strokes(notes)
    assert rows.tolist() == [0, 1, 4]
    assert ends.tolist() == [3, 9, 4]
