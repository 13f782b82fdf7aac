"""Clicks on the beats as they are felt, in a lane of their own: through the music, and a bar of them before it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from timing.columns import NEAR
from timing.listening.excerpt import cut_time, lead_in, moved
from timing.listening.rounds import in_order
from timing.performance import LANE, PLAYED, PLUCKED, Performance
from timing.timemap import TimeMap, strict, tempo_at
from timing.where.beats import beats_of, felt_beat

NO_NOTE = -1  # as the id of a click: it is no note of the score
WOODBLOCK = 115  # General MIDI, counted from 0
_PITCH, _FIRST_PITCH = 79, 84
# dB below velocity 127: the first of a bar is a note at mf, the others are at mp. In the standard bank their peaks lie
# 20 and 24 dB below full scale: heard through a guitar, and far from hurting.
_LEVEL, _FIRST_LEVEL = -16.0, -12.0
_SECONDS = 0.1


def with_clicks(performance: Performance, *, through: bool, count_in: bool, grid: float = 0.0) -> Performance:
    """The performance with a click on every felt beat `through` the music, with a `count_in` before it, or both.

    The count-in is a whole bar, after a pickup (or in the middle of a bar) with what is missing before the music comes
    in, at the tempo of its beginning, holds aside. It moves the music by a multiple of `grid` (seconds; 0: there is
    none), to which its tempo is rounded.
    """
    made, start = _counted_in(performance, grid) if count_in else (performance, lead_in(performance))
    beats, first = felt_beats(made.bars)
    before = beats < start - NEAR
    wanted = (before & count_in) | (~before & through)
    return _clicking(made, beats[wanted], first[wanted])


def felt_beats(bars: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Quarters of the beats of bars (PASSAGE) as they are felt (dotted in compound metres), and which are the first of
    their bar."""
    beats = beats_of(bars, felt_beat(bars))
    beats = beats[beats["begins"]]
    return bars["start"][beats["row"]] + beats["start"], beats["number"] == 0


def _counted_in(performance: Performance, grid: float) -> tuple[Performance, float]:
    """The performance with time for the count-in before it, instead of a lead-in, and the quarter at which the music
    begins. The bar in which it begins is made complete."""
    lead, time = lead_in(performance), performance.time
    before = int(np.count_nonzero(performance.bars["pass"] == 0))
    bars = performance.bars[before:].copy()
    missing = float(bars["shift"][0])
    full = float(bars["beats"][0]) * 4 / float(bars["unit"][0])
    start = full + missing
    seconds = start * 60 / _opening_tempo(time, lead)
    early = float(time.seconds(lead))
    if grid:
        seconds = early + max(np.rint((seconds - early) / grid), 0) * grid
    bars["start"] += start - lead
    bars["start"][0], bars["shift"][0] = full, 0.0
    bars["length"][0] += missing
    counted = bars[:1].copy()
    counted["start"], counted["length"], counted["pass"] = 0.0, full, 0
    pieces = cut_time(time, lead, performance.quarters)
    pieces["start"] += start
    pieces["end"] += start
    pieces = np.concatenate([strict(start, start * 60 / seconds), pieces])
    made = moved(performance, seconds - early, start - lead, 1 - before)
    return replace(made, bars=np.concatenate([counted, bars]), time=TimeMap(pieces)), start


def _opening_tempo(time: TimeMap, quarter: float) -> float:
    """Quarters a minute with which the music goes on from here, without a fermata or a breath that stands here."""
    row = np.searchsorted(time.pieces["start"], quarter, side="right") - 1
    piece = time.pieces[[row]]
    span = piece["end"] - piece["start"]
    return float(tempo_at(piece, (quarter - piece["start"]) / span)[0] / piece["hold"][0])


def _clicking(performance: Performance, beats: np.ndarray, first: np.ndarray) -> Performance:
    """The performance with a click at each of these quarters, a stronger one where it is the first of its bar."""
    lane = np.zeros(1, LANE)
    lane["part"], lane["program"], lane["name"] = len(performance.tunings), WOODBLOCK, "click"
    notes = np.zeros(len(beats), PLAYED)
    notes["id"], notes["part"], notes["lane"] = NO_NOTE, len(performance.tunings), len(performance.lanes)
    bars, time = performance.bars, performance.time
    row = np.searchsorted(bars["start"], beats + NEAR, side="right") - 1
    notes["ordinal"], notes["bar"], notes["pass"] = row, bars["number"][row], bars["pass"][row]
    notes["beat"] = 1 + (beats - bars["start"][row] + bars["shift"][row]) * bars["unit"][row] / 4
    notes["score_onset"], notes["score_length"] = beats, 1 / 8
    notes["onset"] = time.seconds(beats)
    notes["end"] = notes["onset"] + _SECONDS
    notes["pitch"], notes["level"] = np.where(first, _FIRST_PITCH, _PITCH), np.where(first, _FIRST_LEVEL, _LEVEL)
    notes["pluck"], notes["fret"], notes["attack"] = np.nan, -1, PLUCKED
    strings = np.zeros((1, performance.tunings.shape[1]), performance.tunings.dtype)
    together = replace(
        performance,
        notes=np.concatenate([performance.notes, notes]),
        lanes=np.concatenate([performance.lanes, lane]),
        tunings=np.concatenate([performance.tunings, strings]),
    )
    return in_order(together)
