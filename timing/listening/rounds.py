"""A performance again and again, in time."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np

from timing.listening.excerpt import cut_time, lead_in, moved
from timing.notes.lanes import DIES_AWAY
from timing.performance import Performance
from timing.remarks import CannotDo
from timing.timemap import TimeMap, split

LONGEST = 2 * 3600.0  # seconds of all rounds together: a sound file of nearly 2 GB
MOST_NOTES = 1_000_000  # of all rounds together
_SHORTEST = 0.25  # seconds of a round


def repeated(performance: Performance, times: int, grid: float = 0.0) -> Performance:
    """The performance `times` times: each round begins where the one before is over, and what rings then rings on.

    All rounds are alike to the last digit, a multiple of `grid` (seconds; 0: there is none) apart: the end of a round
    is moved to the nearest line of the grid, and what is left over is not carried along. A lead-in is heard before the
    first round alone; what leads in the others sounds into the end of the round before. CannotDo where the rounds would
    last for more than two hours, or each of them less than a quarter of a second.
    """
    if times == 1:
        return performance
    lead, time = lead_in(performance), performance.time
    length, begin = performance.quarters - lead, float(time.seconds(lead))
    lasts = time.length - begin
    _refuse_endless(times, lasts, len(performance.notes))
    apart = np.arange(times) * lasts
    apart = np.rint(apart / grid) * grid if grid else apart
    bars = int(np.count_nonzero(performance.bars["pass"] > 0))
    once = _on_free_lanes(performance, lasts)
    rounds = [
        moved(once(number), seconds, number * length, number * bars) for number, seconds in enumerate(apart.tolist())
    ]
    _let_strings_go(rounds)
    made = in_order(_together(rounds))
    return replace(
        made, bars=_bars(performance.bars, times, length), time=_time(performance, lead, times, apart, 8 * grid)
    )


def _refuse_endless(times: int, lasts: float, notes: int) -> None:
    if lasts < _SHORTEST:
        message = f"these bars last {lasts:.2f} seconds, too short to be heard again and again: take more of them"
        raise CannotDo.because("too-short", message)
    most = max(int(min(LONGEST / lasts, MOST_NOTES / notes)), 1)
    if times > most:
        hours = f"{times * lasts / 3600:,.1f} hours of music"
        raise CannotDo.because("too-long", f"{times:,} rounds would be {hours}: at most {most} are played of this")


def _on_free_lanes(performance: Performance, lasts: float) -> Callable[[int], Performance]:
    """The performance as each round plays it, by the number of the round. A wheel bends all that sounds in its lane: so
    a slide takes a lane of its own where the one of the round before still dies away."""
    notes, lanes = performance.notes, performance.lanes
    sliding = np.flatnonzero(lanes["sliding"])
    mine = np.isin(notes["lane"], sliding)
    copies = 1
    if mine.any():
        taken = float(np.max(notes["end"][mine]) - np.min(notes["onset"][mine])) + DIES_AWAY
        copies = int(np.ceil(taken / lasts))
    lanes = np.concatenate([lanes, *[lanes[sliding]] * (copies - 1)])
    place = np.zeros(len(lanes), np.int64)
    place[sliding] = np.arange(len(sliding))

    def once(number: int) -> Performance:
        copy = number % copies
        if not copy:
            return replace(performance, lanes=lanes)
        other = np.arange(len(lanes))
        other[sliding] = len(performance.lanes) + (copy - 1) * len(sliding) + place[sliding]
        tables = {name: getattr(performance, name).copy() for name in ("notes", "curves", "bends")}
        for table in tables.values():
            table["lane"] = other[table["lane"]]
        return replace(performance, lanes=lanes, **tables)

    return once


def _let_strings_go(rounds: list[Performance]) -> None:
    """End what rings on a string where the next round needs it."""
    first = rounds[0].notes
    strings = first["part"].astype(np.int64) * 128 + first["string"]
    keys, string = np.unique(strings, return_inverse=True)
    strung = first["string"] > 0
    for this, following in pairwise(rounds):
        needed = np.full(len(keys), np.inf)
        np.minimum.at(needed, string, following.notes["onset"])
        limit = np.where(strung, needed[string], np.inf)
        notes = this.notes
        notes["end"] = np.where(limit > notes["onset"], np.minimum(notes["end"], limit), notes["end"])


def _together(rounds: list[Performance]) -> Performance:
    """The tables of all rounds, one after another."""
    count = len(rounds[0].notes)
    tables: dict[str, Any] = {}
    for name in ("notes", "curves", "glides", "bends", "phrases"):
        table = np.concatenate([getattr(round_, name) for round_ in rounds])
        number = np.repeat(np.arange(len(rounds)), len(getattr(rounds[0], name)))
        for column in {"note", "goal"} & set(table.dtype.names or ()):
            table[column] += (number * count).astype(np.int32)
        tables[name] = table
    return replace(rounds[0], **tables)


def in_order(performance: Performance) -> Performance:
    """The performance with its notes sorted by onset (then lane, then pitch), and what refers to them."""
    notes = performance.notes
    order = np.lexsort((notes["pitch"], notes["lane"], notes["onset"]))
    number = np.argsort(order)
    tables = {name: getattr(performance, name).copy() for name in ("curves", "glides", "bends")}
    for table in tables.values():
        for column in {"note", "goal"} & set(table.dtype.names or ()):
            table[column] = number[table[column]]
    curves = tables["curves"]
    tables["curves"] = curves[np.lexsort((curves["second"], curves["note"], curves["lane"]))]
    tables["bends"] = tables["bends"][np.argsort(tables["bends"]["lane"], kind="stable")]
    return replace(performance, notes=notes[order], **tables)


def _bars(bars: np.ndarray, times: int, length: float) -> np.ndarray:
    """PASSAGE table of all rounds."""
    before, once = bars[bars["pass"] == 0], bars[bars["pass"] > 0]
    again = np.tile(once, times)
    again["start"] += np.repeat(np.arange(times), len(once)) * length
    return np.concatenate([before, again])


def _time(performance: Performance, lead: float, times: int, apart: np.ndarray, room: float) -> TimeMap:
    """One time map of all rounds, each of which lasts until the next one begins. What the grid adds or takes away lies
    after the last onset that is `room` seconds or more before the end, so that all until then fall where they did."""
    time, end, onsets = performance.time, performance.quarters, performance.notes["score_onset"]
    early = onsets[time.seconds(onsets) <= time.length - room]
    last = max(float(early.max(initial=lead)), lead)
    rest = time.length - float(time.seconds(last))
    once = split(cut_time(time, lead, end), [last - lead])
    added = np.append(np.diff(apart) - (time.length - float(time.seconds(lead))), 0.0)
    pieces = np.tile(once, times)
    number = np.repeat(np.arange(times), len(once))
    ending = pieces["start"] >= last - lead
    pieces["hold"] *= np.where(ending, rest / (rest + added[number]), 1.0)
    pieces["start"] += lead + number * (end - lead)
    pieces["end"] = np.append(pieces["start"][1:], lead + times * (end - lead))
    if lead > 0:
        pieces = np.concatenate([cut_time(time, 0.0, lead), pieces])
    return TimeMap(pieces[pieces["end"] > pieces["start"]])
