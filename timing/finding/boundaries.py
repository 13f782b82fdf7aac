"""Where the phrases of a melody end: a semi-Markov model, decoded exactly.

Every way of cutting a melody into phrases has a score, the sum over its phrases of

- what the notes around its end say (`features`, weighed by `weights.BOUNDARY`; the melody's own end needs none), and
- how usual its length is, in notes and in bars (`weights.NOTES`, `weights.BARS`).

The probability of a cutting is proportional to the exponential of its score (S. Sarawagi and W. Cohen, "Semi-Markov
conditional random fields", NIPS 2004). The best one is found by dynamic programming, and how probable each end is, over
all cuttings, by the forward and backward sums. Both cost notes times the notes of the longest phrase.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from timing.finding import weights
from timing.finding.melody import TICKS, Melody, ticks

LONGEST = 30  # notes of a phrase
LONGEST_RUNNING = 80  # where the notes run so fast that four bars have more than LONGEST


def features(melody: Melody) -> dict[str, np.ndarray]:
    """(n,) each: what speaks for or against a phrase end after each note, by the names of `weights.BOUNDARY`.

    Nothing here changes when the melody is transposed, or is written in other note values with its metre.
    """
    step, place, interval = melody.steps, ticks(melody.place) % TICKS, melody.intervals
    lasting = ticks(step)
    relative = step / np.median(step)
    leap = np.append(np.abs(interval), 99)  # to the next note
    rise = np.append(-1, interval)  # from the note before
    next_place = np.append(place[1:], -1)
    since = np.append(ticks(melody.onset[1:]), -1)  # from the first note to the next one
    rest = lasting > ticks(melody.length)
    return {
        "every note": np.ones(len(melody)),
        "rest after": rest & (rest.mean() <= 0.5),  # where most notes are cut short it is only their touch
        "bars to next": np.minimum(step, 1.0),
        "short": relative < 0.9,
        "usual": (relative >= 0.9) & (relative < 1.1),
        "longish": (relative >= 1.1) & (relative < 1.6),
        "longer than last": np.append(False, lasting[1:] > lasting[:-1]),
        "next repeats": leap == 0,
        "next a step": (leap == 1) | (leap == 2),
        "next a third": (leap == 3) | (leap == 4),
        "next a wide leap": (leap >= 7) & (leap < 99),
        "by repetition": rise == 0,
        "by step up": (rise == 1) | (rise == 2),
        "by leap up": rise > 2,
        "on downbeat": place == 0,
        "on mid-bar": place == TICKS // 2,
        "next on downbeat": next_place == 0,
        "on the final tone": (melody.pitch - melody.pitch[-1]) % 12 == 0,
        "next as opening place": next_place == place[0],
        "two bars from opening": since % (2 * TICKS) == 0,
        "four bars from opening": since % (4 * TICKS) == 0,
        "next as opening rhythm": _same_ahead(lasting, 4),
        "next as opening tune": _same_ahead(interval, 6, len(melody)),
        "as closing tune": _same_behind(interval, 4, len(melody)),
    }


def _same_ahead(values: np.ndarray, count: int, size: int | None = None) -> np.ndarray:
    """(size,) whether the `count` values from the next note on are those from the first note on."""
    size = len(values) if size is None else size
    same = np.zeros(size, bool)
    if len(values) > count:
        windows = sliding_window_view(values[1:], count)
        same[: len(windows)] = (windows == values[:count]).all(axis=1)
    return same


def _same_behind(intervals: np.ndarray, count: int, size: int) -> np.ndarray:
    """(size,) whether the `count` intervals that lead to a note are those that lead to the last one."""
    same = np.zeros(size, bool)
    if len(intervals) >= count:
        same[count:] = (sliding_window_view(intervals, count) == intervals[-count:]).all(axis=1)
    return same


def longest_phrase(melody: Melody) -> int:
    """Most notes of a phrase: LONGEST, or as many as four bars have where they have most."""
    until = np.searchsorted(ticks(melody.onset), ticks(melody.onset) + 4 * TICKS)
    return int(np.clip((until - np.arange(len(melody))).max(), LONGEST, LONGEST_RUNNING))


def length_classes(melody: Melody, longest: int) -> tuple[np.ndarray, np.ndarray, int]:
    """Where the lengths of phrases stand in the tables. For phrases of `longest`, ..., 2, 1 notes: (longest,) the entry
    of `weights.NOTES`; (n, longest) the column of `weights.BARS` if it ends with each note, -1 where the melody has no
    such phrase. And the row of `weights.BARS` for this melody."""
    counts = np.arange(longest, 0, -1)
    first = np.arange(1, len(melody) + 1)[:, None] - counts
    over = ticks(np.append(melody.onset[1:], melody.onset[-1] + melody.steps[-1]))
    bars = over[:, None] - ticks(melody.onset)[np.maximum(first, 0)]
    columns = np.searchsorted(_BAR_EDGES, bars).astype(np.int8)
    columns[first < 0] = -1
    by_density = int(np.searchsorted(weights.DENSITIES, melody.density, side="right"))
    return np.searchsorted(weights.MOST_NOTES, counts), columns, by_density


# The longest phrase of each class, in ticks: under one bar, just one, up to 1.5, under 2, just 2, and so on.
_BAR_EDGES = np.array([TICKS - 1, TICKS, 1.5 * TICKS, 2 * TICKS - 1, 2 * TICKS, 2.5 * TICKS, 3 * TICKS - 1, 3 * TICKS,
                       4 * TICKS - 1, 4 * TICKS])  # fmt: skip


def phrase_scores(melody: Melody, told: np.ndarray | None = None, walls: np.ndarray | None = None) -> np.ndarray:
    """(n, longest) the score of every phrase, by the note with which it ends and its notes: `longest`, ..., 2, 1; -inf
    where there is none. `told` (n,) is added to the score of each end: what is known of it besides. Of `walls` (m, 2)
    each says that a phrase ends after one of the notes from its first to its last."""
    by_notes, columns, row = length_classes(melody, longest_phrase(melody))
    found = features(melody).items()
    ends = sum((weights.BOUNDARY[name] * values for name, values in found), np.zeros(len(columns)))
    if told is not None:
        ends = ends + told
    ends[-1] = 0.0
    scores = ends[:, None] + np.array(weights.NOTES)[by_notes] + np.append(weights.BARS[row], -np.inf)[columns]
    if walls is not None and len(walls):
        scores[over_a_wall(scores.shape, walls)] = -np.inf
    return scores


def over_a_wall(shape: tuple[int, int], walls: np.ndarray) -> np.ndarray:
    """Which phrases begin before or at a wall's first note and end after its last one."""
    count, longest = shape
    latest = np.full(count, count - 1)  # note at which a phrase may end, by the note with which it begins
    np.minimum.at(latest, walls[:, 0], walls[:, 1])
    latest = np.minimum.accumulate(latest[::-1])[::-1]
    end = np.arange(count)[:, None]
    return end > latest[np.maximum(end + 1 - np.arange(longest, 0, -1), 0)]


def best_ends(scores: np.ndarray) -> np.ndarray:
    """(n,) after which notes the phrases end in the best cutting of all."""
    count, longest = scores.shape
    best = np.full(longest + count, -np.inf)  # the score of the best cutting of the first m notes is at longest - 1 + m
    best[longest - 1] = 0.0
    taken = np.zeros(count, np.int64)
    for note in range(count):
        ways = best[note : note + longest] + scores[note]
        taken[note] = column = ways.argmax()
        best[longest + note] = ways[column]
    ends = np.zeros(count, bool)
    note = count - 1
    while note >= 0:
        ends[note] = True
        note -= longest - int(taken[note])
    return ends


def end_probabilities(scores: np.ndarray) -> np.ndarray:
    """(n,) how probable it is that a phrase ends after each note: the share of all cuttings, by their probability."""
    before, after = cutting_sums(scores)
    return np.exp(np.minimum(before[1:] + after[1:] - before[-1], 0.0))


def cutting_sums(scores: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(n + 1,) log of the sum over all cuttings of the first m notes of exp(score); and the same for the notes after
    them."""
    count, longest = scores.shape
    likely = np.exp(scores)
    # a phrase backwards begins with the note with which it ends
    begin = np.arange(count)[::-1, None] + np.arange(longest)[::-1]
    backwards = np.where(begin < count, likely[np.minimum(begin, count - 1), np.arange(longest)], 0.0)
    return _log_sums(likely), _log_sums(backwards)[::-1]


def _log_sums(likely: np.ndarray) -> np.ndarray:
    count, longest = likely.shape
    sums = np.zeros(longest + count)
    sums[longest - 1] = 1.0
    scale, scales = 0.0, np.zeros(count + 1)
    kept = np.ones(count + 1)
    for note in range(count):
        if note % 8 == 0:  # often enough for floats, with scores of up to 80
            window = sums[note : note + longest]
            most = window.max()
            window /= most
            scale += math.log(most)
        sums[longest + note] = kept[note + 1] = sums[note : note + longest] @ likely[note]
        scales[note + 1] = scale
    with np.errstate(divide="ignore"):
        return np.log(kept) + scales
