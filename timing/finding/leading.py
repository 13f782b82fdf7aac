"""The leading voice of a score as one melody, along the bars as they are written."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from timing.columns import NEAR
from timing.finding.melody import Melody
from timing.notes.lines import find_roles, voice_numbers
from timing.performance import MELODY
from timing.score import Score

INTERLUDE = 2.0  # bars for which the leading voice is silent until another one is followed instead
ENDING = 4.0  # bars: a longer ending, and what comes before it, are one line


@dataclass(frozen=True)
class Leading:
    """A melody and where it stands: all times along the written bars, endings but the last left out."""

    melody: Melody
    rows: np.ndarray  # (n,) rows in Score.notes
    quarter: np.ndarray  # (n,) quarters at which each note begins
    bar_quarter: np.ndarray  # (bars + 1,) quarters at which each bar begins, and the end
    bar_count: np.ndarray  # (bars + 1,) the same in bars of the metre
    skipped: np.ndarray  # (bars,) the bars left out

    def at(self, bar: int, offset: float) -> float:
        """The quarter of a place in the score; of one in a bar left out, the place where it would be."""
        return float(min(self.bar_quarter[bar] + offset, self.bar_quarter[bar + 1]))

    def in_bars(self, quarter: float) -> float:
        """The same place in bars after the first note of the melody."""
        first, place = np.interp([self.quarter[0], quarter], self.bar_quarter, self.bar_count)
        return float(place - first)


def leading_voice(score: Score) -> Leading:
    """The highest note, at each onset, of the voices that lead. It has no notes where no voice has pitches."""
    bars, notes = score.bars, score.notes
    skipped = _other_endings(score)
    full = bars["beats"] * 4 / bars["unit"]
    bar_quarter = np.append(0.0, np.cumsum(np.where(skipped, 0.0, bars["length"])))
    bar_count = np.append(0.0, np.cumsum(np.where(skipped, 0.0, bars["length"] / full)))
    quarter = bar_quarter[notes["bar"]] + notes["offset"]
    rows = np.flatnonzero((find_roles(score) == MELODY) & (notes["length"] > 0) & ~skipped[notes["bar"]])
    rows = rows[~score.parts["percussion"][notes["part"][rows]]]
    rows = _without_filling(notes, rows, quarter, full)
    rows = rows[np.lexsort((-notes["pitch"][rows], np.round(quarter[rows], 6)))]
    rows = rows[np.append(True, np.diff(np.round(quarter[rows], 6)) > 0)[: len(rows)]]
    bar = notes["bar"][rows]
    onset = bar_count[bar] + notes["offset"][rows] / full[bar]
    steps = np.diff(onset, append=bar_count[-1])
    length = np.minimum(notes["length"][rows] / full[bar], steps)
    place = ((bars["shift"][bar] + notes["offset"][rows]) / full[bar]) % 1.0
    melody = Melody(onset - onset[:1], length, place, notes["pitch"][rows])
    return Leading(melody, rows, quarter[rows], bar_quarter, bar_count, skipped)


def _other_endings(score: Score) -> np.ndarray:
    """(bars,) those under an ending that another ending follows, where it is short."""
    skipped = np.zeros(len(score.bars), bool)
    endings = score.marks_of("ending")
    for ending, following in itertools.pairwise(endings):
        first, last = ending["bar"], ending["end_bar"]
        if following["bar"] == last + 1 and last - first < ENDING:
            skipped[first : last + 1] = True
    return skipped


def _without_filling(notes: np.ndarray, rows: np.ndarray, quarter: np.ndarray, full: np.ndarray) -> np.ndarray:
    """`rows` without what is on top only while a leading voice rests, unless it rests for long: the accompaniment goes
    on there, and the silence of the melody says where it breathes."""
    if not len(rows):
        return rows
    voices = voice_numbers(notes)[1]
    sounding = np.bincount(voices[notes["length"] > 0], minlength=voices.max() + 1)
    share = np.bincount(voices[rows], minlength=len(sounding)) / np.maximum(sounding, 1)
    leads = (share >= min(0.5, share.max()))[voices[rows]]
    leading = rows[leads][np.argsort(quarter[rows[leads]], kind="stable")]
    begin, end = quarter[leading], np.maximum.accumulate(quarter[leading] + notes["length"][leading])
    place = np.searchsorted(begin, quarter[rows] + NEAR)  # leading notes that have begun
    silent_from = np.append(-np.inf, end)[place]
    silent_to = np.append(begin, np.inf)[place]
    interlude = silent_to - silent_from >= INTERLUDE * full[notes["bar"][rows]]
    return rows[leads | (interlude & (quarter[rows] >= silent_from - NEAR))]
