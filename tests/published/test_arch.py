"""Phrase arches against N. Todd: tempo and loudness rise and fall over a phrase as parabolas, added over all levels of
grouping (Music Perception 3, 1985, from memory; JASA 91, 1992).

The house's own rule, tested here too: an arch lends time and gives it back, so a phrase lasts as long as without it.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from support import reading

MARKS = [
    {"tempo": 72},
    {"at": "3:2", "tempo": 100},
    {"over": "5:1 - 6:4", "tempo": 50},
    {"at": "7:3", "tempo": "150%"},
]


def arch(pace: float, peak: float) -> dict:
    return {"pace": f"{100 * pace!r}%", "pace peak": f"{100 * peak!r}%"}


heights = st.floats(0.01, 0.5).map(lambda height: round(height, 4))
peaks = st.floats(0.05, 0.95).map(lambda peak: round(peak, 4))


@given(st.lists(st.tuples(heights, peaks), min_size=7, max_size=7), st.booleans())
def test_the_whole_lasts_as_long_as_without_arches(shapes, marks):
    tempo = {"tempo": MARKS} if marks else {}
    given_ = iter(shapes)
    nested = {
        "bars": "1-8",
        "arch": arch(*next(given_)),
        "inside": [
            {
                "bars": f"{first}-{last}",
                "arch": arch(*next(given_)),
                "inside": [{"bars": bars, "arch": arch(*next(given_))} for bars in inner],
            }
            for first, last, inner in ((1, 4, ("1-2", "3:1 - 4:2")), (5, 8, ("5:3 - 6:4", "7-8")))
        ],
    }
    shaped = reading(tempo | {"phrases": [nested]}, bars=8).performance.time
    plain = reading(tempo, bars=8).performance.time
    # inside, the outer arch lends time from one phrase to the other
    assert shaped.seconds(32) == pytest.approx(float(plain.seconds(32)), abs=1e-9)


@given(heights, peaks, st.booleans())
def test_an_arch_alone_keeps_its_ends_where_they_were(height, peak, marks):
    tempo = {"tempo": MARKS} if marks else {}
    phrases = [{"bars": bars, "arch": arch(height, peak)} for bars in ("1:4 - 4:3", "5-8")]
    shaped = reading(tempo | {"phrases": phrases}, bars=8).performance.time
    plain = reading(tempo, bars=8).performance.time
    ends = np.array([0.0, 3.0, 15.0, 16.0, 32.0])
    assert shaped.seconds(ends) == pytest.approx(plain.seconds(ends), abs=1e-9)


@pytest.mark.parametrize("peak", [0.25, 0.4, 0.6])
def test_two_half_parabolas_in_log_pace(peak):
    time = reading({"phrases": [{"bars": "1-4", "arch": arch(0.2, peak)}]}, bars=4).performance.time
    top = 16 * peak
    rising, falling = np.linspace(0, top, 9), np.linspace(top, 16 - 1e-9, 9)
    for quarters, end in ((rising, 0), (falling, 16)):
        paces = np.log(time.tempo(quarters) / time.tempo(top))
        assert paces == pytest.approx(-math.log(1.2) * ((quarters - top) / (end - top)) ** 2, abs=1e-9)
    assert time.tempo(top) / time.tempo(0) == pytest.approx(1.2)  # the peak against the ends


def test_levels_of_grouping_add_up_in_log_pace():
    outer, inner = {"bars": "1-8", "arch": arch(0.1, 0.5)}, {"bars": "1-4", "arch": arch(0.2, 0.5)}
    both, one, other = (
        reading({"phrases": phrases}, bars=8).performance.time
        for phrases in ([outer | {"inside": [inner]}], [outer], [inner])
    )
    at = np.linspace(0.1, 15.9, 20)
    together = np.log(both.tempo(at)) - np.log(one.tempo(at)) - np.log(other.tempo(at))
    assert together == pytest.approx(np.full(20, together[0]), abs=1e-12)


def test_level_rises_and_falls_as_a_parabola():
    shape = {"level": "4 dB", "level peak": "50%"}
    notes = reading({"phrases": [{"bars": "1-4", "arch": shape}]}, bars=4).performance.notes
    x = (notes["score_onset"] - 8) / 8
    assert notes["level"] - notes["level"][0] == pytest.approx(4 * (1 - x**2), abs=1e-9)
    assert notes["level"][0] == -12  # the ends stay where the dynamics are


def test_nothing_is_shaped_unless_the_plan_says_so():
    time = reading({"phrases": [{"bars": "1-8", "inside": ["1-4", "5-8"]}]}, bars=8).performance.time
    assert time.tempo(np.linspace(0, 32, 50)) == pytest.approx(np.full(50, 60.0), rel=1e-15)
