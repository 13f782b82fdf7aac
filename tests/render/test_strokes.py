"""Keys of a channel, against a plain walk through the notes."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from render.strokes import let_go
from timing.performance import PLAYED

# lane, pitch, start, length in ticks
NOTE = st.tuples(st.integers(0, 1), st.integers(60, 62), st.integers(0, 20), st.integers(1, 12))


def played(rows) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    notes = np.zeros(len(rows), PLAYED)
    lane, pitch, start, length = (np.array(column, np.int64) for column in zip(*rows, strict=True))
    notes["lane"], notes["pitch"] = lane, pitch
    return notes, start, start + length


@given(st.lists(NOTE, min_size=1, max_size=25))
def test_a_key_is_let_go_once_and_before_it_is_struck_again(rows):
    notes, start, stop = played(rows)
    found = let_go(notes, start, stop)
    for (lane, pitch, begin, _), end in zip(rows, found.tolist(), strict=True):
        same = [(s, s + length) for ln, p, s, length in rows if (ln, p) == (lane, pitch)]
        longest = max(stops for s, stops in same if s == begin)
        again = min((s for s, _ in same if s > begin), default=longest)
        assert end == min(longest, again)


@given(st.lists(NOTE, min_size=1, max_size=25))
def test_no_note_is_empty_and_letting_go_twice_changes_nothing(rows):
    notes, start, stop = played(rows)
    once = let_go(notes, start, stop)
    assert (once > start).all()
    assert (let_go(notes, start, once) == once).all()


def test_no_notes():
    nothing = np.zeros(0, np.int64)
    assert len(let_go(np.zeros(0, PLAYED), nothing, nothing)) == 0
