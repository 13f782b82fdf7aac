"""Performances made by hand, without score or plan, for the tests of the writers."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from hypothesis import strategies as st

from timing.performance import BEND, CURVE, GLIDE, LANE, PASSAGE, PHRASE, PLAYED, Performance
from timing.timemap import PIECE, TimeMap, strict


def performance(
    notes: Sequence[dict],
    *,
    time: TimeMap | None = None,
    tempo: float = 60.0,
    programs: Sequence[int] = (0,),
    bars: Sequence[dict] = (),
    curves: Sequence[tuple[int, int, float, float]] = (),
    phrases: Sequence[tuple[float, float, int, int, str]] = (),
) -> Performance:
    """Notes are mappings of PLAYED's columns; what they leave out is middle C, a quarter, -12 dB, lane 0, and onset and
    end where the time map has them. Bars (of four quarters, unless `bars` has PASSAGE rows) cover them all."""
    played = np.zeros(len(notes), PLAYED)
    played["pitch"], played["level"], played["score_length"] = 60, -12.0, 1.0
    for row, note in zip(played, notes, strict=True):
        for column, value in note.items():
            row[column] = value
    quarters = float(np.ceil(max((played["score_onset"] + played["score_length"]).max(initial=0) / 4, 1)) * 4)
    passages = np.zeros(len(bars) or int(quarters // 4), PASSAGE)
    passages["length"], passages["beats"], passages["unit"], passages["pass"] = 4.0, 4, 4, 1
    passages["number"] = np.arange(len(passages)) + 1
    for row, bar in zip(passages, bars, strict=False):
        for column, value in bar.items():
            row[column] = value
    passages["start"] = np.append(0, np.cumsum(passages["length"]))[:-1]
    time = time or TimeMap(strict(float(passages["length"].sum()), tempo))
    for row, note in zip(played, notes, strict=True):
        row["onset"] = note.get("onset", time.seconds(row["score_onset"]))
        row["end"] = note.get("end", time.seconds(row["score_onset"] + row["score_length"]))
    played = played[np.lexsort((played["pitch"], played["lane"], played["onset"]))]
    lanes = np.zeros(len(programs), LANE)
    lanes["program"], lanes["name"] = programs, [f"Voice {lane + 1}" for lane in range(len(programs))]
    moving, named = np.array(list(curves), CURVE), np.array(list(phrases), PHRASE)
    slides, bends = np.zeros(0, GLIDE), np.zeros(0, BEND)
    return Performance("A title", played, lanes, np.zeros((1, 12), int), passages, time, moving, slides, bends, named)


def heard(made, path: Path, **options) -> np.ndarray:
    """(frames, 2) samples of a performance, as read back from its file."""
    import soundfile

    from render.sound.audio import render_audio

    render_audio(made, path, **options)
    return soundfile.read(path)[0]


def level_of(sound: np.ndarray) -> float:
    """Mean level in dB."""
    return float(10 * np.log10(max(np.square(sound).mean(), 1e-30)))


@st.composite
def time_maps(draw, slowest: float = 8.0) -> TimeMap:
    """Time maps over 16 quarters with corners, steps, gradual changes and deep slowdowns."""
    cuts = draw(st.lists(st.integers(1, 63), max_size=8, unique=True).map(sorted))
    edges = np.array([0, *cuts, 64]) / 4
    pieces = np.zeros(len(edges) - 1, PIECE)
    pieces["start"], pieces["end"] = edges[:-1], edges[1:]
    tempo = st.floats(slowest, 400)
    for piece in pieces:
        piece["t0"], piece["t1"], piece["tq"] = draw(tempo), draw(tempo), draw(st.sampled_from([1.0, 2.0, 3.0]))
        for column in ("v0", "v1", "vq", "hold"):
            piece[column] = 1.0
    for column in ("t0", "t1"):  # the columns hold tempo^q
        pieces[column] **= pieces["tq"]
    return TimeMap(pieces)


@st.composite
def performances(draw) -> Performance:
    """Up to 40 notes in up to 17 lanes: on the beat, on odd fractions, early, late, together, with moving levels."""
    time = draw(time_maps())
    lanes = draw(st.integers(1, 17))
    fraction = st.builds(lambda n, d: n / d, st.integers(0, 14 * 7), st.sampled_from([4, 6, 7, 16]))
    notes = []
    for _ in range(draw(st.integers(1, 40))):
        start, length = min(draw(fraction), 15.0), draw(st.sampled_from([0.0, 0.1, 1 / 3, 0.5, 1.0, 2.5]))
        shift = draw(st.just(0.0) | st.floats(-0.08, 0.08))
        onset = max(float(time.seconds(start)) + shift, 0.0)
        end = onset + draw(st.floats(0.005, 2.0))
        row = {"score_onset": start, "score_length": length, "onset": onset, "end": end}
        row |= {"pitch": draw(st.integers(20, 100)), "lane": draw(st.integers(0, lanes - 1))}
        notes.append(row | {"level": draw(st.floats(-40, 3))})
    programs = draw(st.lists(st.integers(0, 127), min_size=lanes, max_size=lanes))
    return performance(notes, time=time, programs=programs)
