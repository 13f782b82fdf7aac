"""Taps along the beats made ready for a fit: double taps dropped, missed ones found, what is not clear asked.

A beat that lasts twice as long and a missed tap are the same to the clock: one slip shifts everything after it. So
such places become questions, and until they are answered the number of beats is taken that agrees with where the
tapping began and ended.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from timing.columns import NEAR
from timing.fitting.pairs import FEWEST, MOST
from timing.fitting.results import Question
from timing.remarks import CannotDo
from timing.where import Where
from timing.where.beats import beats_of, felt_beat

DOUBLE = 0.35  # of the usual interval: a tap that comes sooner after another is the same one again
MOST_MISSED = 3  # beats in one interval
MISS, DROP, DROPS = 4.0, 3.0, 0.5  # prices; with WIDE and the cap the house's own, tried on taps that were made up
ASTRAY, AT_THE_END = 40.0, 1.0  # for each beat by which the last tap is not the last beat; for one that is the end
SLOWER, QUICKER, FURTHEST = 0.40, 0.18, 18.0  # spreads of the log interval against the tempo around, and the cap
AROUND = 5  # intervals of a running median
UNCLEAR = 0.30  # of the log interval: a beat so much longer than the tempo around could be two
UNITS = ("beat", "half bar", "bar", "half beat")


@dataclass(frozen=True, eq=False)
class Taps:
    """Taps that stand on beats: `quarters` (n,) of the performed order and `seconds` (n,) as `fit` takes them, the
    `unit` that was tapped, the rows of the taps that were `dropped`, and what has to be asked."""

    quarters: np.ndarray
    seconds: np.ndarray
    unit: str
    dropped: tuple[int, ...]
    questions: tuple[Question, ...]


def beat_quarters(where: Where, unit: str = "beat", since: float = 0.0, until: float | None = None) -> np.ndarray:
    """(n,) the quarters at which beats as they are felt begin in the performed order (in 6/8 two a bar), or half bars,
    bars or half beats, from `since` to `until` (quarters, both included; the end of the music is one more)."""
    if unit not in UNITS:
        raise CannotDo.because("taps", f"{unit!r:.40} is none of {', '.join(UNITS)}")
    bars, beat = where.bars, felt_beat(where.bars)
    full = 4 * bars["beats"] / bars["unit"]
    length = {"beat": beat, "half bar": full / 2, "bar": full, "half beat": np.where(beat == 1.5, 0.5, beat / 2)}[unit]
    found = beats_of(bars, length)
    moments = bars["start"][found["row"]] + found["start"]
    moments = np.append(moments[found["begins"]], where.length)
    end = where.length if until is None else until
    return moments[(moments >= since - NEAR) & (moments <= end + NEAR)]


def cleaned(
    where: Where,
    seconds: object,
    unit: str | None = None,
    since: float = 0.0,
    until: float | None = None,
    latency: float = 0.0,
    answers: Mapping[int, int] | None = None,
) -> Taps:
    """Taps as pairs for a fit. `seconds` (n,) are the taps as they came, `latency` the seconds by which each is late.

    They begin at the quarter `since` and end with the last beat that begins before `until`, or at `until` itself
    (default: the whole order). `unit` is what was tapped ("beat", "half bar", "bar", "half beat"); None: the one whose
    number of beats comes nearest. `answers` say of a tap (by its row, as a question has it) how many beats there are to
    the next one. CannotDo for taps of which nothing can be made.
    """
    given = _checked(seconds)
    clock, kept, dropped = _without_doubles(given)
    if unit is None:
        unit = _unit(where, len(clock), since, until)
    beats = beat_quarters(where, unit, since, until)
    if len(beats) < FEWEST:
        raise CannotDo.because("taps", f"there are {len(beats)} of the unit '{unit}' in that stretch: too few to tap")
    steps = _steps(clock, kept, len(beats), answers or {})
    if not steps.any():
        raise CannotDo.because("taps", "with these answers the taps come to no beats")
    row = np.append(0, np.cumsum(steps[steps > 0]))
    stays = np.append(True, steps > 0)
    dropped = [*dropped, *(int(kept[k]) for k in np.flatnonzero(~stays))]
    taken = clock[stays]
    if row[-1] >= len(beats):
        message = f"there are more taps ({len(taken)}) than beats in that stretch ({len(beats)})"
        raise CannotDo.because("taps", message)
    questions = _questions(where, taken, kept[stays], row, beats, answers or {})
    return Taps(beats[row], taken - latency, unit, tuple(sorted(dropped)), questions)


def _checked(seconds: object) -> np.ndarray:
    try:
        clock = np.asarray(seconds, np.float64)
    except (TypeError, ValueError):
        raise CannotDo.because("taps", "taps are seconds: they are not numbers") from None
    if clock.ndim != 1 or not np.isfinite(clock).all():
        raise CannotDo.because("taps", "taps are one row of seconds, each of them a number")
    if not FEWEST <= len(clock) <= MOST:
        raise CannotDo.because("taps", f"a fit takes {FEWEST} to {MOST:,} taps, and there are {len(clock):,}")
    if np.any(np.diff(clock) < 0):
        row = int(np.flatnonzero(np.diff(clock) < 0)[0])
        raise CannotDo.because("taps", f"tap {row + 2} comes before tap {row + 1}: taps are in order")
    return clock


def _without_doubles(clock: np.ndarray) -> tuple[np.ndarray, np.ndarray, list[int]]:
    """The taps without those that follow another too soon, their rows, and the rows of the others."""
    kept, dropped = [0], []
    gaps = np.diff(clock)
    usual = _around(gaps[gaps > 0.05] if np.any(gaps > 0.05) else gaps)
    middle = float(np.median(usual)) if len(usual) else 0.0
    for k in range(1, len(clock)):
        if clock[k] - clock[kept[-1]] < max(DOUBLE * middle, NEAR):
            dropped.append(k)
        else:
            kept.append(k)
    if len(kept) < FEWEST:
        raise CannotDo.because("taps", f"only {len(kept)} of these taps are apart from each other")
    return clock[kept], np.array(kept), dropped


def _around(gaps: np.ndarray) -> np.ndarray:
    """The running median of intervals."""
    width = min(AROUND, len(gaps))
    padded = np.pad(gaps, (width // 2, width - 1 - width // 2), mode="edge")
    return np.median(np.lib.stride_tricks.sliding_window_view(padded, width), axis=1)


def _unit(where: Where, taps: int, since: float, until: float | None) -> str:
    """The unit of which there are nearly as many as taps."""
    counts = {unit: len(beat_quarters(where, unit, since, until)) for unit in UNITS}
    return min(UNITS, key=lambda unit: abs(math.log(max(counts[unit], 1) / taps)))


def _steps(clock: np.ndarray, kept: np.ndarray, beats: int, answers: Mapping[int, int]) -> np.ndarray:
    """(taps - 1,) how many beats lie between a tap and the one before it, 0 for a tap that is none: by the least price
    from the first beat to the last, the tempo around being found in three rounds."""
    gaps = np.diff(clock)
    steps = np.ones(len(gaps), np.int64)
    for _ in range(3):
        steps = _walk(gaps, _around(gaps / np.maximum(steps, 1)), beats, kept, answers)
    return steps


def _walk(
    gaps: np.ndarray, period: np.ndarray, beats: int, kept: np.ndarray, answers: Mapping[int, int]
) -> np.ndarray:
    """The steps of least price that reach the last beat, or the end of the music after it, if any do."""
    taps = len(gaps)
    choices = range(0, MOST_MISSED + 1)
    surplus = max(abs(beats - taps - 1), 0) + 24  # how far the count of beats may stray from that of taps
    low, width = -surplus, 2 * surplus + 1
    price = np.full(width, np.inf)
    price[-low] = 0.0
    came = np.zeros((taps, width), np.int64)
    for k in range(taps):
        answered = answers.get(int(kept[k]))
        best, step = np.full(width, np.inf), np.zeros(width, np.int64)
        for count in choices:
            if answered is not None and count != answered:
                continue
            cost = _price(gaps[k], period[k], count)
            shifted = np.full(width, np.inf)
            move = count - 1
            source = slice(max(-move, 0), width - max(move, 0))
            target = slice(max(move, 0), width - max(-move, 0))
            shifted[target] = price[source] + cost
            better = shifted < best
            best[better], step[better] = shifted[better], count
        price, came[k] = best, step
    reached = np.arange(width) + low + taps  # the beat of the last tap
    missing = beats - 1 - reached  # 0: the end of the music, 1: the last beat
    # nobody taps the end of the music, unless the count says so
    ends = price + np.where(missing < 0, np.inf, np.where(missing == 0, AT_THE_END, ASTRAY * np.abs(missing - 1)))
    at = int(np.argmin(ends))
    steps = np.zeros(taps, np.int64)
    for k in range(taps - 1, -1, -1):
        steps[k] = came[k, at]
        at -= steps[k] - 1
    return steps


def _price(gap: float, period: float, count: int) -> float:
    if count == 0:
        return DROP
    away = math.log(max(gap, 1e-6) / (period * count))
    spread = SLOWER if away > 0 else QUICKER
    return DROPS * min((away / spread) ** 2, FURTHEST) + MISS * (count - 1)


def _questions(
    where: Where, clock: np.ndarray, kept: np.ndarray, row: np.ndarray, beats: np.ndarray, answers: Mapping[int, int]
) -> tuple[Question, ...]:
    """The intervals that could be one long beat or several with missed taps."""
    gaps, counts = np.diff(clock), np.diff(row)
    period = _around(gaps / counts)
    made = []
    for k in range(len(gaps)):
        if int(kept[k]) in answers:
            continue
        away = math.log(gaps[k] / period[k])
        if counts[k] > 1 or away > math.log(2) - UNCLEAR:
            several = max(int(counts[k]), min(round(math.exp(away)), MOST_MISSED), 2)
            at = float(beats[row[k]])
            place = where.position_text(min(at, where.length - NEAR))
            made.append(Question(int(kept[k]), at, place, float(gaps[k]), (1, several), int(counts[k])))
    return tuple(made)
