"""Time that goes with the movement of the notes: beats in which little moves last longer, those that run are shorter.

How much moves in a beat is the number of moments at which notes begin in it, in all voices together. The log of the
beat's length falls evenly with the log of that number, which is how pianists' beats go (ASAP dataset, F. Foscarin et
al., ISMIR 2020, as measured for this project). Between the middles of beats the log of the pace is a straight line, so
that it has no steps.
"""

from __future__ import annotations

import math

import numpy as np

from timing import timemap
from timing.columns import NEAR, ROUNDING, spread
from timing.plan.time import Rubato
from timing.time.rubato import ONLY_LATER, tell_overlap
from timing.where import Run, Where
from timing.where.beats import beats_of, felt_beat
from timing.where.hearings import Hearings

FEWEST, MOST = 0.5, 16.0  # moments in a beat: a beat in which nothing begins counts as half of one


def add_movement(
    pieces: np.ndarray, entries: tuple[Rubato, ...], hearings: Hearings, amount: float = 1.0
) -> np.ndarray:
    """The pieces with what the entries of `still beats` make of them; the bars of each entry, in all their hearings
    together, last as long as before. Where two meet the later one counts, with a caution. `amount` scales them."""
    runs = [hearings.runs_of(entry, "bars") if entry.still_beats is not None else [] for entry in entries]
    if not any(runs):
        return pieces
    middles, moving = movement(hearings.where)
    edges = [end for each in runs for run in each for end in (run.start, run.end)]
    pieces = timemap.split(pieces, np.append(middles, edges))
    owner = _owners(pieces, entries, runs, hearings)
    height = amount * np.array([math.log1p(entry.still_beats or 0.0) for entry in entries])
    mine = np.where(owner < 0, 0.0, height[owner])
    before = _lasting(pieces, owner, len(entries))
    first, last = (mine * np.interp(pieces[end], middles, moving) for end in ("start", "end"))
    pieces["a0"] += first
    pieces["a1"] += last - first
    with np.errstate(divide="ignore", invalid="ignore"):  # an entry may have no piece of its own
        kept = np.log(_lasting(pieces, owner, len(entries)) / before)
    pieces["a0"] += np.where(owner < 0, 0.0, kept[owner])
    return pieces


def movement(where: Where) -> tuple[np.ndarray, np.ndarray]:
    """Along the performed order, of every beat as it is felt: the quarter of its middle, and log2 of the number of
    moments at which notes begin in it; of a part of a beat, what it would be in a whole one."""
    bars = where.bars
    beat = felt_beat(bars)
    beats = beats_of(bars, beat)
    start = bars["start"][beats["row"]] + beats["start"]
    length = np.diff(start, append=where.length)
    begun = np.diff(np.searchsorted(_moments(where), np.append(start, where.length) - NEAR))
    moving = begun * beat[beats["row"]] / np.maximum(length, ROUNDING)
    return start + length / 2, np.log2(np.clip(moving, FEWEST, MOST))


def _moments(where: Where) -> np.ndarray:
    """The quarters at which notes begin, each once, sorted."""
    notes, bars = where.score.notes, where.bars
    notes = notes[notes["length"] > 0]
    low, high = (np.searchsorted(notes["bar"], bars["row"], side=side) for side in ("left", "right"))
    ordinal, place = spread(high - low)
    return np.unique(np.round(bars["start"][ordinal] + notes["offset"][low[ordinal] + place], 6))


def _owners(pieces: np.ndarray, entries: tuple[Rubato, ...], runs: list[list[Run]], hearings: Hearings) -> np.ndarray:
    """(pieces,) the entry that acts on each, -1 for none."""
    owner = np.full(len(pieces), -1)
    for number, each in enumerate(runs):
        for run in each:
            inside = timemap.between(pieces, run.start, run.end)
            met = np.flatnonzero((owner[inside] >= 0) & (owner[inside] != number))
            if len(met):
                at = pieces["start"][inside][met[0]]
                tell_overlap(entries[owner[inside][met[0]]], entries[number], float(at), ONLY_LATER, hearings)
            owner[inside] = number
    return owner


def _lasting(pieces: np.ndarray, owner: np.ndarray, entries: int) -> np.ndarray:
    """(entries,) seconds that the pieces of each entry last."""
    fine = timemap.finely_cut(pieces)
    mine = owner[np.searchsorted(pieces["start"], fine["start"], side="right") - 1]
    return np.bincount(mine + 1, timemap.durations(fine), entries + 1)[1:]
