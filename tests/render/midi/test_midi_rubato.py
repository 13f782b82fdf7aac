"""Rubato as it is heard: the onsets of a MIDI file, as another reader counts them."""

from __future__ import annotations

import warnings
from pathlib import Path

import numpy as np
import pretty_midi
import pytest
from house import PLANS
from support import reading

from render.midi.file import write_midi
from timing.loading import load

NEAR = 1.5e-4  # seconds; a reader's clock and the nearest tick


def heard(made, path: Path) -> dict[int, np.ndarray]:
    """The onsets of every pitch, in seconds, sorted."""
    write_midi(made.performance, path)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        notes = [note for track in pretty_midi.PrettyMIDI(str(path)).instruments for note in track.notes]
    return {p: np.array(sorted(n.start for n in notes if n.pitch == p)) for p in {note.pitch for note in notes}}


def test_the_left_hand_does_not_know_of_it(tmp_path):
    """Mozart wrote in 1777 (from memory) that the left hand goes on in strict time in a tempo rubato."""
    voices = {1: "c5:1 d5:1 e5:1 f5:1 " * 4, 2: "c3:.5 " * 32}
    rubato = [{"bars": "1-4", "late": "150 ms", "for": "melody", "meets": "3:1"}]
    onsets = heard(reading({"rubato": rubato}, bars=4, voices=voices), tmp_path / "free.mid")
    assert onsets[48] == pytest.approx(np.arange(32) / 2, abs=NEAR)
    wave = [0.075 * (1 - np.cos(np.pi * k / 4)) for k in range(8)] + [0] * 8
    for first, pitch in enumerate((72, 74, 76, 77)):
        assert onsets[pitch] == pytest.approx(np.arange(first, 16, 4) + wave[first::4], abs=NEAR)


def test_bar_lines_are_kept_and_what_is_between_them_is_not(tmp_path):
    plan = {"tempo": 72, "rubato": [{"bars": "1-4", "hurry": "10%"}, {"bars": "5-8", "linger": "10%", "keeps": "end"}]}
    voices = {1: "c5:1 d5:1 e5:1 f5:1 " * 8}
    onsets = heard(reading(plan, bars=8, voices=voices), tmp_path / "stolen.mid")
    quarter = 60 / 72
    assert onsets[72][:5] == pytest.approx(4 * quarter * np.arange(5), abs=NEAR)
    early = 4 * quarter * np.arange(4) + 2 * quarter - onsets[76][:4]
    assert early == pytest.approx([2 * quarter * (2 / 3 * np.log(1.1) - np.log(1.1) ** 2 * 4 / 15)] * 4, abs=1e-3)
    assert np.all(onsets[72][5:] > 4 * quarter * np.arange(5, 8) + 0.1)


def test_long_and_short_in_six_eight(tmp_path):
    plan = {"tempo": "dotted quarter = 50", "rubato": [{"bars": "1-4", "long short": "yes"}]}
    voices = {1: "c5:1 d5:.5 " * 8, 2: "c3:1.5 " * 8}
    onsets = heard(reading(plan, bars=4, metre=(6, 8), voices=voices), tmp_path / "lilt.mid")
    assert onsets[48] == pytest.approx(1.2 * np.arange(8), abs=NEAR)
    assert onsets[72] == pytest.approx(1.2 * np.arange(8), abs=NEAR)
    assert onsets[74] == pytest.approx(1.2 * np.arange(8) + 1.2 * 1.6 / 2.6, abs=NEAR)


def test_a_real_reading_with_all_of_it_arrives_as_planned(tmp_path):
    """Over the demo's score, with its slowdowns, arches, slides, rolls and repeats in place."""
    text = (PLANS / "low-water-flowing.yaml").read_text().replace("score: ", f"score: {PLANS}/")
    finer = "rubato: [{bars: 13-18, linger: 6%, keeps: end}, {bars: 3-33, long short: yes},\n"
    finer += "  {bars: 19-23, late: 90 ms, for: melody, meets: 23:4}]\n"
    plan = tmp_path / "plan.yaml"
    plan.write_text(text.replace("\nholds:\n", f"\n{finer}\nholds:\n  - {{delay: 28:1, by: 50 ms, for: melody}}\n"))
    made = load(plan)
    plain = load(PLANS / "low-water-flowing.yaml").performance
    notes = made.performance.notes
    onsets = heard(made, tmp_path / "real.mid")
    for pitch, found in onsets.items():
        planned = np.sort(notes["onset"][(notes["pitch"] == pitch) & (notes["attack"] != 2)])
        assert len(found) == len(planned)
        assert found == pytest.approx(planned, abs=NEAR)
    lines = made.performance.bars["start"]
    kept = ~np.isin(made.performance.bars["number"], range(14, 19))
    assert made.performance.time.seconds(lines)[kept] == pytest.approx(plain.time.seconds(lines)[kept], abs=1e-9)
    late = np.sort(notes["onset"]) - np.sort(plain.notes["onset"])
    assert np.abs(late).max() > 0.08
