"""Notes of one key on one channel, against a simulation of such a channel."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from render.strokes import let_go
from timing.performance import PLAYED

NOTE = st.tuples(st.integers(0, 1), st.integers(60, 61), st.integers(0, 12), st.integers(1, 8))


@given(st.lists(NOTE, max_size=12))
def test_a_key_is_let_go_once_after_each_stroke(given_notes):
    notes = np.zeros(len(given_notes), PLAYED)
    lane, pitch, start, length = np.array(given_notes, np.int64).reshape(-1, 4).T
    notes["lane"], notes["pitch"] = lane, pitch
    stop = let_go(notes, start, start + length)
    for row in range(len(notes)):
        same = (lane == lane[row]) & (pitch == pitch[row])
        together, later = same & (start == start[row]), start[same & (start > start[row])]
        longest = (start + length)[together].max()
        assert stop[row] == min([longest, *later])


def test_order_does_not_matter():
    notes = np.zeros(3, PLAYED)
    notes["pitch"] = [60, 62, 60]
    assert let_go(notes, np.array([5, 0, 0]), np.array([9, 9, 9])).tolist() == [9, 9, 5]
