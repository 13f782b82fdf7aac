"""How the level moves while a note sounds: a violin's, for a piano's note cannot."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from support import reading

HELD = {"bars": 4, "voices": {1: "c5:16"}, "program": 40}
VIOLIN, PIANO, GUITAR, PIZZICATO, FLUTE = 40, 0, 24, 45, 73


def curves(plan: dict, **options) -> np.ndarray:
    return reading(plan, **HELD | options).performance.curves


@pytest.mark.parametrize(
    ("program", "moves"), [(VIOLIN, True), (FLUTE, True), (PIANO, False), (GUITAR, False), (PIZZICATO, False)]
)
def test_only_what_sustains_can_swell(program, moves):
    plan = {"dynamics": [{"crescendo": "1-4", "by": "8 dB"}]}
    assert bool(len(curves(plan, program=program))) is moves


def test_a_note_at_one_level_needs_no_curve():
    assert len(curves({"dynamics": [{"at": "1", "mark": "f"}]})) == 0
    assert len(curves({"dynamics": [{"crescendo": "1-4", "by": "0.2 dB"}]})) == 0
    assert len(curves({"dynamics": [{"crescendo": "1-4", "by": "0.3 dB"}]})) > 0


@pytest.mark.parametrize(
    ("dynamics", "corners"),
    [
        ([{"crescendo": "1-4", "by": "12 dB"}], {0: 0, 16: 12}),
        ([{"crescendo": "2:1 - 2:1.1", "by": "12 dB"}], {4: 0, 4.1: 12}),  # a tenth of a beat in a note of four bars
        ([{"crescendo": "2:1 - 2:2", "by": "8 dB"}, {"diminuendo": "2:2 - 2:3", "by": "8 dB"}], {4: 0, 5: 8, 6: 0}),
    ],
)
def test_straight_lines_between_the_points_are_the_level_as_planned(dynamics, corners):
    made = curves({"dynamics": dynamics})
    assert np.abs(np.diff(made["level"])).max() <= 0.5 + 1e-3
    at = np.linspace(0, 15.99, 500)  # at 60 quarters a minute these are seconds too
    expected = np.interp(at, list(corners), list(corners.values()))
    assert np.interp(at, made["second"], made["level"]) == pytest.approx(expected, abs=0.01)


def test_an_arch_in_a_held_note():
    made = curves({"phrases": [{"bars": "1-4", "arch": {"level": "6 dB", "level peak": "50%"}}]})
    assert np.abs(np.diff(made["level"])).max() <= 0.5 + 1e-3
    at = np.linspace(0, 15.99, 200)
    expected = 6 * (1 - ((at - 8) / 8) ** 2)
    assert np.interp(at, made["second"], made["level"]) == pytest.approx(expected, abs=0.1)


def test_a_mark_under_a_held_note_is_a_step():
    made = curves({"dynamics": [{"at": "1", "mark": "f"}, {"at": "3:1", "mark": "p"}]})
    assert np.interp([7.99, 8.01], made["second"], made["level"]) == pytest.approx([0, -12], abs=1e-3)


def test_the_curve_is_told_against_the_note_and_follows_the_clock():
    plan = {"dynamics": [{"crescendo": "1-4", "by": "16 dB"}], "slowing": [{"ritenuto": "3-4", "to": "50%"}]}
    made = reading(plan, **HELD | {"voices": {1: "c5:8 d5:8"}}).performance
    second = made.curves[made.curves["note"] == 1]
    assert second["level"][0] == 0 and second["level"][-1] == pytest.approx(8, abs=1e-3)
    assert second["second"][[0, -1]] == pytest.approx([8, 24], abs=1e-5)


def test_a_curve_moves_with_a_note_that_leads():
    plan = {"dynamics": [{"crescendo": "1-4", "by": "8 dB"}], "voices": {"melody": {"lead": "30 ms"}}}
    made = reading(plan, **HELD | {"voices": {1: "c5:8 d5:8", 2: "c3:16"}}).performance
    note = int(np.flatnonzero(made.notes["pitch"] == 74)[0])
    assert made.curves["second"][made.curves["note"] == note][0] == pytest.approx(7.97, abs=1e-9)


def place(quarter: int) -> str:
    return f"{quarter // 4 + 1}:{quarter % 4 + 1}"


quarters = st.integers(0, 15)
marks = st.builds(lambda at, mark: {"at": place(at), "mark": mark}, quarters, st.sampled_from(["p", "f"]))
hairpins = st.builds(
    lambda kind, ends, by: {kind: f"{place(min(ends))} - {place(max(ends))}", "by": f"{by} dB"},
    st.sampled_from(["crescendo", "diminuendo"]),
    st.sets(quarters, min_size=2, max_size=2),
    st.integers(1, 20),
)


@given(st.lists(st.one_of(marks, hairpins), max_size=6), st.integers(0, 20), st.sampled_from([5, 50, 95]))
def test_neighbouring_points_are_half_a_decibel_apart_except_at_a_mark(dynamics, arch, peak):
    shape = {"bars": "1-4", "arch": {"level": f"{arch} dB", "level peak": f"{peak}%"}}
    made = curves({"dynamics": dynamics, "phrases": [shape]})
    jumps = np.abs(np.diff(made["level"])) > 0.5 + 1e-3
    places = np.unique(np.round(made["second"][1:][jumps], 3))
    marked = {4 * (int(d["at"][0]) - 1) + int(d["at"][2]) - 1 for d in dynamics if "at" in d}
    assert set(places.tolist()) <= marked
    assert np.all(np.diff(made["second"]) >= 0)
