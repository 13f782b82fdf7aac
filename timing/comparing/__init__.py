"""Readings compared: how long, how slow, how loud and in which tone each plays every phrase, and what only some do.

All that is compared is the same music: the same bars on the same pass (`timing.comparing.alignment`). A phrase is
measured over what all readings play that play any of it, so that no reading seems shorter for leaving out a bar; only
its length in all is each reading's own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from timing.columns import NEAR, ROUNDING
from timing.comparing.alignment import Alignment, Apart, align
from timing.comparing.differences import Difference, differences
from timing.comparing.spans import Span, spans_and_beats
from timing.performance import MELODY, TONES, Performance
from timing.reading import Reading
from timing.timemap import TimeMap, strict

# What one reading makes of one span. Without a beat of it that can be compared `seconds` is 0 and the rest nan.
#
# A beat is a felt one (in 6/8 a dotted quarter), or what of it lies in the span. The slowest beat is the one with the
# lowest mean pace as it is heard, holds included; the tempo leaves out what the plan's `holds` add, since under a
# fermata nobody beats time. The level is that of the melody, as its notes begin and while they sound, at its softest
# and its loudest: what is planned is exact, so no extreme is noise. Where the melody is silent all voices count.
MEASURE = np.dtype(
    [
        ("seconds", np.float64),
        ("slowest", np.float64),  # pace of the slowest beat against the basic tempo there (1 is in tempo)
        ("slowest_bpm", np.float64),  # the same in quarters a minute
        ("bar", "U20"),  # where that beat begins, as printed
        ("beat", np.float64),
        ("pass", np.int16),
        ("held", np.bool_),  # one of the plan's holds makes it longer
        ("low_bpm", np.float64),  # quarters a minute of the slowest and the fastest beat, holds left out
        ("high_bpm", np.float64),
        ("softest", np.float64),  # dB below velocity 127
        ("loudest", np.float64),
    ]
)



@dataclass(frozen=True)
class Comparison:
    """Readings side by side."""

    readings: tuple[Reading, ...]
    alignment: Alignment  # which bars they share
    spans: list[Span]  # along the music, outer phrases before those inside them; what all share, if not all; all
    measures: np.ndarray  # (spans, readings) MEASURE
    tones: tuple[str, ...]
    shares: np.ndarray  # (spans, readings, tones) of the sounding time of all notes that begin there; nan: none does
    differences: list[Difference]  # what the plans say differently
    alike: bool  # they sound the same, to the nanosecond

    @property
    def scores(self) -> list[Apart]:
        """What differs in the scores."""
        return self.alignment.scores

    @property
    def orders(self) -> list[Apart]:
        """What differs in the order of the bars."""
        return self.alignment.orders

    @property
    def same(self) -> bool:
        """Whether they sound the same, and their plans say the same of the same music."""
        return self.alike and not (self.scores or self.orders or self.differences)


def compare(readings: Sequence[Reading]) -> Comparison:
    """Compare readings, each over the music that all play. CannotDo where they have none in common."""
    alignment = align(readings)
    spans, beats = spans_and_beats(readings, alignment)
    named = [_tones(reading.performance) for reading in readings]
    tones = tuple(dict.fromkeys(name for names, _ in named for name in names))
    measures = np.zeros((len(spans), len(readings)), MEASURE)
    shares = np.full((len(spans), len(readings), len(tones)), np.nan)
    for number, (reading, (names, tone)) in enumerate(zip(readings, named, strict=True)):
        ordinal = alignment.ordinals[number][beats["row"]]
        mine, ordinal = beats[ordinal >= 0], ordinal[ordinal >= 0]
        measures[:, number] = _measured(reading, mine, ordinal, len(spans))
        columns = [tones.index(name) for name in names]
        shares[:, number, columns] = _tone_shares(reading.performance, tone, len(names), mine, ordinal, len(spans))
    heard = np.nansum(shares, axis=2) > 0
    shares = np.where(heard[:, :, None], np.nan_to_num(shares), np.nan)
    alike = not alignment.scores and all(_sound_alike(readings[0], other) for other in readings[1:])
    said = differences(readings, alignment)
    return Comparison(tuple(readings), alignment, spans, measures, tones, shares, said, alike)


# -- time


def _measured(reading: Reading, beats: np.ndarray, ordinal: np.ndarray, count: int) -> np.ndarray:
    """(count,) MEASURE of these beats (sorted by span) of one reading, each in its performed bar `ordinal`."""
    made = np.zeros(count, MEASURE)
    for name in ("slowest", "slowest_bpm", "beat", "low_bpm", "high_bpm", "softest", "loudest"):
        made[name] = np.nan
    if not len(beats):
        return made
    span, bars = beats["span"], reading.performance.bars[ordinal]
    start, end = bars["start"] + beats["start"], bars["start"] + beats["end"]
    edges, back = np.unique(np.concatenate([start, end]), return_inverse=True)
    heard, freely, basic = (
        np.subtract(*time.seconds(edges)[back].reshape(2, -1)[::-1]) for time in _times(reading.performance.time)
    )
    made["seconds"] = np.bincount(span, heard, count)
    here = np.unique(span)
    tempo = (end - start) * 60 / freely
    made["low_bpm"][here], made["high_bpm"][here] = _extremes(span, tempo, tempo)
    pace = basic / heard
    ranked = np.lexsort((start, np.round(pace, 9), span))  # the earliest of equally slow ones
    slowest = ranked[np.searchsorted(span, here)]
    made["slowest"][here] = pace[slowest]
    made["slowest_bpm"][here] = (end - start)[slowest] * 60 / heard[slowest]
    made["bar"][here] = [reading.score.bar_name(row) for row in bars["row"][slowest].tolist()]
    at = bars[slowest]
    made["beat"][here] = np.round(1 + (beats["start"][slowest] + at["shift"]) * at["unit"] / 4, 6)
    made["pass"][here] = at["pass"]
    made["held"][here] = heard[slowest] - freely[slowest] > NEAR
    made["softest"], made["loudest"] = _levels(reading.performance, span, start, end, count)
    return made


def without_holds(time: TimeMap) -> TimeMap:
    """The time map without fermatas, breaths and accents."""
    freely = time.pieces.copy()
    freely["hold"] = 1.0
    return TimeMap(freely)


def last_beats(reading: Reading) -> list[tuple[float, float]]:
    """Of every hearing of a change of pace the pace of its last felt beat against the basic tempo: as it is heard, with
    what is held there, and without that."""
    time, made = reading.performance.time, []
    unheld = without_holds(time)
    for slow in reading.pace.slowings:
        end, beat = slow.run.end, min(reading.where.felt_beat(slow.run.end), slow.run.length)
        basic = float(time.basic(end, before=True))
        heard, freely = (beat * 60 / float(each.seconds(end) - each.seconds(end - beat)) for each in (time, unheld))
        made.append((heard / basic, freely / basic))
    return made


def is_held(heard: float, freely: float) -> bool:
    """Whether a fermata, an accent or a breath can be told in the pace of a beat."""
    return heard < freely - 0.005


def _times(time: TimeMap) -> tuple[TimeMap, TimeMap, TimeMap]:
    """The time map as it is, without holds, and of the basic tempo alone."""
    basic = np.repeat(strict(1.0, 1.0), len(time.pieces))
    for column in ("start", "end", "t0", "t1", "tq"):
        basic[column] = time.pieces[column]
    return time, without_holds(time), TimeMap(basic)


def _extremes(span: np.ndarray, low: np.ndarray, high: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The least of `low` and the greatest of `high` in each span that there is; `span` is sorted."""
    first = np.flatnonzero(np.diff(span, prepend=-1))
    return np.minimum.reduceat(low, first), np.maximum.reduceat(high, first)


# -- level and tone


def _levels(
    performance: Performance, span: np.ndarray, start: np.ndarray, end: np.ndarray, count: int
) -> tuple[np.ndarray, np.ndarray]:
    """(count,) softest and loudest level in dB of what begins in the beats from `start` to `end` (quarters)."""
    notes, curves = performance.notes, performance.curves
    low, high = notes["level"].copy(), notes["level"].copy()
    moving = notes["level"][curves["note"]] + curves["level"]
    np.minimum.at(low, curves["note"], moving)
    np.maximum.at(high, curves["note"], moving)
    softest, loudest = np.full(count, np.nan), np.full(count, np.nan)
    for chosen in (np.ones(len(notes), bool), notes["role"] == MELODY):  # the melody goes over all
        rows = np.flatnonzero(chosen)
        rows = rows[np.argsort(notes["score_onset"][rows], kind="stable")]
        first, last = (np.searchsorted(notes["score_onset"][rows], edge - NEAR) for edge in (start, end))
        some = np.flatnonzero(last > first)
        if len(some):
            pairs = np.column_stack([first[some], last[some]]).ravel()  # every other one is what lies between two beats
            lows = np.minimum.reduceat(np.append(low[rows], np.inf), pairs)[::2]
            highs = np.maximum.reduceat(np.append(high[rows], -np.inf), pairs)[::2]
            here = np.unique(span[some])
            softest[here], loudest[here] = _extremes(span[some], lows, highs)
    return softest, loudest


def _tones(performance: Performance) -> tuple[list[str], np.ndarray]:
    """The tones that sound, and (notes,) which of them each note has."""
    notes = performance.notes
    kinds = np.column_stack([notes["tone"], np.nan_to_num(notes["pluck"], nan=0.0)])
    found, which = np.unique(kinds, axis=0, return_inverse=True)
    return [f"{cm:g} cm" if cm else TONES[int(tone)] for tone, cm in found.tolist()], which.ravel()


def _tone_shares(
    performance: Performance, tone: np.ndarray, tones: int, beats: np.ndarray, ordinal: np.ndarray, count: int
) -> np.ndarray:
    """(count, tones) share of each tone in the sounding time of the notes that begin in these beats; nan without."""
    notes = performance.notes
    order = np.argsort(notes["score_onset"], kind="stable")
    onset, lasting = notes["score_onset"][order], (notes["end"] - notes["onset"])[order]
    start = performance.bars["start"][ordinal]
    first, last = (np.searchsorted(onset, start + beats[side] - NEAR) for side in ("start", "end"))
    seconds = np.zeros((count, tones))
    for number in range(tones):
        sums = np.append(0.0, np.cumsum(np.where(tone[order] == number, lasting, 0.0)))
        seconds[:, number] = np.bincount(beats["span"], sums[last] - sums[first], count)
    whole = seconds.sum(axis=1, keepdims=True)
    return np.divide(seconds, whole, out=np.full_like(seconds, np.nan), where=whole > ROUNDING)


# -- the same


def _sound_alike(one: Reading, two: Reading) -> bool:
    """Whether two performances are the same, note by note."""
    a, b = one.performance, two.performance
    tables = ("notes", "lanes", "tunings", "bars", "curves", "bends")
    if abs(a.time.length - b.time.length) > ROUNDING:
        return False
    return all(_close(getattr(a, name), getattr(b, name)) for name in tables)


def _close(one: np.ndarray, two: np.ndarray) -> bool:
    if one.shape != two.shape:
        return False
    columns = [(one[name], two[name]) for name in one.dtype.names] if one.dtype.names else [(one, two)]
    return all(
        np.allclose(a, b, rtol=0, atol=ROUNDING, equal_nan=True) if a.dtype.kind == "f" else np.array_equal(a, b)
        for a, b in columns
    )
