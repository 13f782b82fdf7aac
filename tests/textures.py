"""Music of several voices, drawn at random."""

from __future__ import annotations

from hypothesis import strategies as st
from support import score


@st.composite
def two_voices(draw):
    """A melody over a second voice, both with rests."""
    bars = draw(st.integers(1, 6))
    lengths = st.sampled_from([0.5, 1.0, 1.5, 2.0])

    def voice(names):
        words, at = [], 1.0
        while at < bars * 4 - 1e-9:
            length = min(draw(lengths), bars * 4 - at)
            words.append(f"{draw(st.sampled_from(names))}:{length:g}")
            at += length
        return " ".join(words)

    upper, lower = voice(["c5", "d5", "e5", "g5", "r"]), voice(["c3", "e3", "g3+b3", "f2", "r"])
    return score(bars, voices={1: f"c5:1 {upper}", 2: f"c3:1 {lower}"})
