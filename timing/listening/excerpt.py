"""Parts of a performance, each a performance of its own: some of its notes, or a stretch of it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from timing.columns import NEAR, ROUNDING
from timing.performance import CARRIED, PLUCKED, Performance
from timing.remarks import CannotDo
from timing.timemap import TimeMap, between, split


def some_of(performance: Performance, kept: np.ndarray) -> Performance:
    """The performance with the notes that are `kept` (n,), all else as it is. Where a sound would carry a note that is
    left out, it goes no further, and what is left of the notes that it would carry after that is plucked."""
    number = np.where(kept, np.cumsum(kept) - 1, -1)
    notes, glides = performance.notes.copy(), performance.glides
    until = np.full(len(notes), np.inf)  # seconds at which each sound is cut
    for chain in _sounds_that_carry(notes):
        cut = np.flatnonzero(~kept[chain])
        if len(cut):
            until[chain[: cut[0]]] = notes["onset"][chain[cut[0]]]
            notes["attack"][chain[cut[0] + 1 :]] = PLUCKED
    heard = kept[glides["note"]] & kept[glides["goal"]] & (glides["arrive"] < until[glides["note"]])
    heard &= (glides["attack"] != CARRIED) | (notes["attack"][glides["goal"]] == CARRIED)
    tables = {"glides": glides[heard]}
    for name in ("curves", "bends"):
        table = getattr(performance, name)
        tables[name] = table[kept[table["note"]] & (table["second"] <= until[table["note"]] + ROUNDING)]
    for table, column in [(t, "note") for t in tables.values()] + [(tables["glides"], "goal")]:
        table[column] = number[table[column]]
    return replace(performance, notes=notes[kept], **tables, whole=performance.whole or performance)


def _sounds_that_carry(notes: np.ndarray) -> list[np.ndarray]:
    """The rows of each sound that carries notes (PLAYED), in order: first the one that is struck."""
    carried = np.flatnonzero(notes["attack"] == CARRIED)
    if not len(carried):
        return []
    order = np.lexsort((notes["onset"], notes["lane"]))
    sound = np.cumsum(notes["attack"][order] != CARRIED)
    these = np.unique(sound[notes["attack"][order] == CARRIED])
    return [order[slice(*np.searchsorted(sound, (one, one + 1)))] for one in these]


def excerpt(performance: Performance, start: float, end: float, grid: float = 0.0) -> Performance:
    """The stretch from `start` to `end` (quarters along the performed order): the notes that begin in it.

    They keep their distances in time to the last digit: all are moved by one constant, a multiple of `grid` (seconds;
    0: there is none), as far as the stretch or the earliest of its notes allows. What lies before its first beat then,
    of a leading voice or a grid, is a bar of pass 0 (`lead_in`). What rings over the end rings on. CannotDo where no
    note begins in the stretch.
    """
    bars, time = performance.bars, performance.time
    start, end = _on_bar_line(bars, start), _on_bar_line(bars, end)
    inside = _begins_in(performance, start, end)
    if not inside.any():
        raise CannotDo.because("no-notes", "there is nothing to play here: no note begins in these bars")
    part = some_of(performance, inside)
    at = float(time.seconds(start))
    origin = _line_before(min(at, float(part.notes["onset"].min())), grid)
    begin = start if at - origin < ROUNDING else float(time.quarters(origin))
    phrases = part.phrases[(part.phrases["end"] > start + NEAR) & (part.phrases["start"] < end - NEAR)]
    phrases["start"], phrases["end"] = np.maximum(phrases["start"], start), np.minimum(phrases["end"], end)
    cut, first = _cut_bars(bars, begin, start, end)
    made = moved(replace(part, phrases=phrases), -origin, -begin, -first)
    np.maximum(made.notes["onset"], 0.0, out=made.notes["onset"])  # a float may have missed the grid
    return replace(made, bars=cut, time=TimeMap(cut_time(time, begin, end)))


def moved(performance: Performance, seconds: float, quarters: float, bars: int) -> Performance:
    """The performance with all that its tables of notes and phrases hold moved by so many seconds, quarters and bars;
    its own bars and time map stay."""
    tables = {name: getattr(performance, name).copy() for name in ("notes", "curves", "glides", "bends", "phrases")}
    for name, columns in _IN_SECONDS.items():
        for column in columns:
            tables[name][column] += seconds
    tables["notes"]["score_onset"] += quarters
    tables["notes"]["ordinal"] += bars
    for column in ("start", "end"):
        tables["phrases"][column] += quarters
    return replace(performance, **tables)


_IN_SECONDS = {"notes": ("onset", "end"), "curves": ("second",), "glides": ("leave", "arrive"), "bends": ("second",)}


def lead_in(performance: Performance) -> float:
    """Quarters before the first beat: the bars of pass 0."""
    return float(performance.bars["length"][performance.bars["pass"] == 0].sum())


def cut_time(time: TimeMap, start: float, end: float) -> np.ndarray:
    """The PIECE table of a stretch, from quarter 0 on."""
    pieces = split(time.pieces, (start, end))
    pieces = pieces[between(pieces, start, end)].copy()
    pieces["start"] -= start
    pieces["end"] -= start
    return pieces


def _on_bar_line(bars: np.ndarray, quarters: float) -> float:
    """The bar line that lies at these quarters, where one does, as exactly as the bars have it."""
    lines = np.append(bars["start"], bars["start"][-1] + bars["length"][-1])
    nearest = float(lines[np.argmin(np.abs(lines - quarters))])
    return nearest if abs(nearest - quarters) < NEAR else quarters


def _begins_in(performance: Performance, start: float, end: float) -> np.ndarray:
    """(n,) which notes begin in a stretch. Small notes that end a note belong to its bar, though they have no time of
    their own in it."""
    notes, bars = performance.notes, performance.bars
    over = (bars["start"] + bars["length"])[notes["ordinal"]]
    onset = notes["score_onset"]
    place = np.where(np.abs(onset - over) < NEAR, over - 2 * NEAR, onset)
    return (place >= start - NEAR) & (place < end - NEAR)


def _line_before(second: float, grid: float) -> float:
    """The last line of a grid that is not later; what all but reaches a line lies on it."""
    return float(np.floor(second / grid + NEAR)) * grid if grid else second


def _cut_bars(bars: np.ndarray, begin: float, start: float, end: float) -> tuple[np.ndarray, int]:
    """PASSAGE table from `begin` to `end`, cut at `start` too, from quarter 0 on; and how many rows earlier each of the
    bars after `start` stands in it."""
    starts = np.union1d(bars["start"], (begin, start))
    starts = starts[(starts >= begin) & (starts < end)]
    row = np.searchsorted(bars["start"], starts, side="right") - 1
    cut, own = bars[row].copy(), bars[row]
    ends = np.append(starts[1:], end)
    whole = (starts == own["start"]) & (ends >= own["start"] + own["length"] - NEAR)
    cut["length"] = np.where(whole, own["length"], ends - starts)
    cut["shift"] += starts - own["start"]
    cut["start"] = starts - begin
    cut["pass"][starts < start] = 0
    first = int(np.searchsorted(starts, start))
    return cut, int(row[first]) - first
