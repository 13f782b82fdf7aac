"""Bars in two or more parts, where the order of the bars turns within them.

The parts of a bar carry its number, and the later ones count their beats on from the earlier: so all positions stay as
they are. A note that sounds over the cut keeps its length, as one that is tied over a bar line.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from timing.columns import NEAR
from timing.score import Score

# What closes the music before it; anything else that stands at a cut opens the music after it.
_CLOSING = ("repeat end", "double bar", "fine", "to coda", "da capo", "dal segno", "breath", "caesura")


def split_bars(score: Score, cuts: Iterable[tuple[int, float]]) -> Score:
    """The score with bars split at `cuts`, each a row in `Score.bars` and quarters after its bar line.

    Cuts at a bar line, or beyond the bar, do nothing. Takes time in proportion to the score.
    """
    lengths = score.bars["length"]
    inside: list[tuple[int, float]] = []
    for row, at in sorted(set(cuts)):
        again = bool(inside) and inside[-1][0] == row and at - inside[-1][1] < NEAR
        if NEAR < at < lengths[row] - NEAR and not again:
            inside.append((row, at))
    return _Split(score, inside).score() if inside else score


def split_alike(score: Score, others: Iterable[Score]) -> Score:
    """The score with its bars split wherever they are in `others`, which are read from the same file."""
    starts = np.cumsum(np.append(0.0, score.bars["length"]))[:-1]
    at = np.concatenate([_cuts(other.bars) for other in others])
    rows = np.searchsorted(starts, at + NEAR, side="right") - 1
    return split_bars(score, zip(rows.tolist(), (at - starts[rows]).tolist(), strict=True))


def _cuts(bars: np.ndarray) -> np.ndarray:
    """Quarters from the beginning of the score as it is written."""
    return (np.cumsum(bars["length"]) - bars["length"])[bars["continued"]]


def rows_of(score: Score, split: Score, stretches: np.ndarray) -> np.ndarray:
    """(n, 2) the first and last rows of stretches in a score that is `split` at both ends of each: (n, 2, 2) bar row
    and offset of their beginnings and ends in the score before that."""
    old, new = (np.cumsum(np.append(0.0, one.bars["length"]))[:-1] for one in (score, split))
    at = old[stretches[..., 0].astype(np.int64)] + stretches[..., 1]
    return np.searchsorted(new, at + np.array([NEAR, -NEAR]), side="right") - 1


def inner_repeats(score: Score) -> list[tuple[int, float]]:
    """Where in its bars the score repeats: the cuts for repeat signs, and for endings that begin or stop at one."""
    signs = score.marks_of("repeat start", "repeat end", "ending")
    cuts = signs[["bar", "offset"]].tolist()
    return cuts + signs[signs["kind"] == "ending"][["end_bar", "end_offset"]].tolist()


class _Split:
    def __init__(self, score: Score, cuts: list[tuple[int, float]]):
        self.old = score
        rows, offsets = (np.array(column) for column in zip(*cuts, strict=True))
        count = len(score.bars)
        self.source = np.sort(np.append(np.arange(count), rows))  # the bar that each part comes from
        first = np.searchsorted(self.source, np.arange(count))
        self.begin = np.zeros(len(self.source))  # quarters after that bar's own bar line
        later = np.append(False, np.diff(self.source) == 0)
        self.begin[later] = offsets
        self.later, self.first = later, first
        # one axis for all bars: each begins where the one before ends, with room between
        self.starts = np.cumsum(np.append(0.0, score.bars["length"] + 1))[:-1]
        self.cuts = self.starts[self.source] + self.begin

    def score(self) -> Score:
        old = self.old
        bars = old.bars[self.source]
        ends = np.append(self.begin[1:], 0.0)
        whole = ~np.append(self.later[1:], False)
        bars["length"] = np.where(whole, bars["length"], ends) - self.begin
        bars["shift"] += self.begin
        bars["continued"] |= self.later
        notes, heads, marks = old.notes.copy(), old.heads.copy(), old.marks.copy()
        self._move(notes, closing=notes["after"])
        order = np.lexsort((notes["offset"], notes["bar"]))
        new_row = np.append(np.argsort(order), -1)  # -1 stays
        notes = notes[order]
        after = np.append(old.notes["after"], False)  # a head of no note (-1) closes nothing
        self._move(heads, closing=after[heads["note"]])
        heads["note"] = new_row[heads["note"]]
        marks["note"], marks["goal"] = new_row[marks["note"]], new_row[marks["goal"]]
        self._move_marks(marks, notes)
        marks = marks[np.lexsort([marks["staff"], marks["part"], marks["offset"], marks["bar"]])]
        return replace(old, bars=bars, notes=notes, heads=heads, marks=marks)

    def _move_marks(self, marks: np.ndarray, notes: np.ndarray) -> None:
        same = marks["end_bar"] == marks["bar"]
        extended = (marks["end_bar"] > marks["bar"]) | (same & (marks["end_offset"] > marks["offset"]))
        closing = np.isin(marks["kind"], _CLOSING) | ((marks["kind"] == "fermata") & (marks["note"] < 0))
        self._move(marks, "end_bar", "end_offset", closing=extended)
        self._move(marks, closing=closing)
        marks["end_bar"] = np.where(extended, marks["end_bar"], marks["bar"])
        marks["end_offset"] = np.where(extended, marks["end_offset"], marks["offset"])
        bound = np.flatnonzero(marks["goal"] >= 0)
        marks["end_bar"][bound] = notes["bar"][marks["goal"][bound]]
        marks["end_offset"][bound] = notes["offset"][marks["goal"][bound]]

    def _move(self, table: np.ndarray, bar: str = "bar", offset: str = "offset", *, closing: np.ndarray) -> None:
        """Put rows of a table into the parts; those that are `closing` and stand at a cut stay before it."""
        at = self.starts[table[bar]] + table[offset]
        before = np.searchsorted(self.cuts, at + np.where(closing, -NEAR, NEAR), side="right") - 1
        part = np.maximum(before, self.first[table[bar]])
        table[bar] = part
        moved = table[offset] - self.begin[part]
        table[offset] = np.where(np.abs(moved) < NEAR, 0.0, moved)
