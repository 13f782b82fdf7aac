"""Readings laid beside each other: which bars they share, on the page and along the order in which each plays them.

A bar of the page is known by its name and its length, a performed bar by that and which hearing of it it is:
its pass, but a bar under a second ending is heard for the first time there, whether the repeat is played or not. So
readings can be compared whose plans order the bars differently, or whose scores are different editions.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from timing.order import in_words
from timing.performance import PASSAGE
from timing.reading import Reading
from timing.remarks import CannotDo
from timing.score import Score

_MOST_HEARINGS = 2**20  # more than bars are ever performed
SAME_RHYTHM = 0.5  # share of the bars from which music without one bar of the same notes is still taken for the same


@dataclass(frozen=True)
class Apart:
    """What some of the scores or orders have and others have not, or have otherwise.

    `what` is "bars" (only the scores in `of` have them), "length" (bars of one number that are not as long in all),
    "notes" (the readings in `of` have different ones), "played" (only the readings in `of` play them, on this pass) or
    "order" (the bars that all play come in another order).
    """

    what: str
    of: tuple[bool, ...]
    bars: str = ""
    pass_: int | None = None


@dataclass(frozen=True)
class Alignment:
    """The bars of all readings together, in the order of the first, with those that it does not play where the others
    play them. A row stands for one hearing of one bar."""

    pages: list[np.ndarray]  # for each reading (bars of its score,): which bar of the common page each is
    rows: list[np.ndarray]  # for each reading (performed bars,): the row of each
    ordinals: np.ndarray  # (readings, rows) the performed bar of each reading; -1 where it does not play the row
    scores: list[Apart]
    orders: list[Apart]

    @property
    def shared(self) -> np.ndarray:
        """(rows,) whether all readings play it."""
        return np.all(self.ordinals >= 0, axis=0)


def align(readings: Sequence[Reading]) -> Alignment:
    """Find what the readings share. CannotDo where that is nothing, or where the music is not the same at all."""
    pages, siblings = _pages([reading.score for reading in readings])
    heard = [_hearings(page[r.performance.bars["row"]]) for page, r in zip(pages, readings, strict=True)]
    union = heard[0]
    for more in heard[1:]:
        union = _merged(union, more)
    rows = [_find(union, keys) for keys in heard]
    ordinals = np.full((len(readings), len(union)), -1)
    for number, row in enumerate(rows):
        ordinals[number, row] = np.arange(len(row))
    scores = _scores_apart(readings, pages, siblings)
    shared = (ordinals >= 0).all(axis=0)
    if not shared.any():
        orders = "; ".join(f"{reading.performance.title} plays {reading.order}" for reading in readings)
        raise CannotDo.because("nothing-shared", f"no bar is played by all of these readings: {orders}")
    return Alignment(pages, rows, ordinals, scores, _orders_apart(readings, pages, rows, ordinals))


def _pages(scores: Sequence[Score]) -> tuple[list[np.ndarray], np.ndarray]:
    """For each score the bars of the common page; and of each of these how many there are of its number (a bar that is
    longer in one edition is another bar, so that no beat is compared with one that it is not)."""
    known: dict[tuple, int] = {}
    made = []
    for score in scores:
        seen: Counter[str] = Counter()
        page = []
        columns = (score.bars[column].tolist() for column in ("number", "suffix", "length", "shift"))
        for number, suffix, length, shift in zip(*columns, strict=True):
            name = f"{number}{suffix}".lower()
            page.append(known.setdefault((name, seen[name], round(length, 6), round(shift, 6)), len(known)))
            seen[name] += 1
        made.append(np.array(page))
    named = Counter(key[:2] for key in known)
    return made, np.array([named[key[:2]] for key in known])


def _hearings(page: np.ndarray) -> np.ndarray:
    """(n,) a number for each bar along the order and which hearing of it it is."""
    order = np.argsort(page, kind="stable")
    first = np.searchsorted(page[order], page[order])
    hearing = np.empty(len(page), np.int64)
    hearing[order] = np.arange(len(page)) - first
    return page * _MOST_HEARINGS + hearing


def _find(keys: np.ndarray, wanted: np.ndarray) -> np.ndarray:
    """The place of each wanted one among `keys` (no two alike), -1 if it is not there."""
    order = np.argsort(keys)
    place = order[np.minimum(np.searchsorted(keys, wanted, sorter=order), len(keys) - 1)]
    return np.where(keys[place] == wanted, place, -1)


def _merged(union: np.ndarray, more: np.ndarray) -> np.ndarray:
    """`union` with what is new in `more` put in after what comes before it there."""
    place = _find(union, more)
    new = place < 0
    latest = np.maximum.accumulate(np.where(new, -1, np.arange(len(more))))
    anchor = np.where(latest >= 0, place[latest], -1)[new]
    keys = np.concatenate([union, more[new]])
    position = np.concatenate([np.arange(len(union)), anchor])
    after = np.concatenate([np.full(len(union), -1), np.arange(len(anchor))])
    return keys[np.lexsort((after, position))]


# -- what differs


def _scores_apart(readings: Sequence[Reading], pages: list[np.ndarray], siblings: np.ndarray) -> list[Apart]:
    has = np.zeros((len(readings), len(siblings)), bool)
    for number, page in enumerate(pages):
        has[number, page] = True
    found = []
    partly = ~has.all(axis=0)
    for of in dict.fromkeys(map(tuple, has[:, partly & (siblings == 1)].T.tolist())):
        mine = np.flatnonzero(partly & (siblings == 1) & np.all(np.equal(has.T, of), axis=1))
        owner = of.index(True)
        found.append(Apart("bars", of, _named(readings[owner].score, np.flatnonzero(np.isin(pages[owner], mine)))))
    unequal = np.flatnonzero(partly & (siblings > 1))
    if len(unequal):
        of = tuple(np.any(has[:, unequal], axis=1).tolist())
        owner = of.index(True)
        bars = _named(readings[owner].score, np.flatnonzero(np.isin(pages[owner], unequal)))
        found.append(Apart("length", of, bars))
    for number in range(1, len(readings)):
        differing = _differing(readings[0], readings[number], pages[0], pages[number])
        if len(differing):
            of = tuple(k in (0, number) for k in range(len(readings)))
            bars = _named(readings[0].score, np.flatnonzero(np.isin(pages[0], differing)))
            found.append(Apart("notes", of, bars))
    return found


def _differing(first: Reading, other: Reading, page: np.ndarray, others: np.ndarray) -> np.ndarray:
    """The bars of the page that have other notes in the other score. CannotDo where it is another piece."""
    if np.array_equal(page, others) and np.array_equal(first.score.notes, other.score.notes):
        return np.zeros(0, int)
    names = f"{first.score.path.name} and {other.score.path.name}"
    suggestion = "compare two plans of one piece; their scores may be different editions of it"
    both = np.intersect1d(page, others)
    if not len(both):
        message = f"no bar of the same number is as long in {names}: there is nothing to compare"
        raise CannotDo.because("different-music", message, suggestion=suggestion)
    one, two = (_written_notes(r.score, p, both) for r, p in ((first, page), (other, others)))
    sounding = np.union1d(one[:, 0], two[:, 0])
    differing = _pages_apart(one, two)
    other_rhythm = _pages_apart(np.unique(one[:, :2], axis=0), np.unique(two[:, :2], axis=0))
    if len(differing) == len(sounding) > 0 and len(other_rhythm) > (1 - SAME_RHYTHM) * len(sounding):
        message = f"these are plans of different music: no bar has the same notes in {names}"
        raise CannotDo.because("different-music", message, suggestion=suggestion)
    return differing


def _written_notes(score: Score, page: np.ndarray, among: np.ndarray) -> np.ndarray:
    """(n, 4) bar of the page, offset, pitch and length of the notes that stand in the bars `among`."""
    notes = score.notes
    table = np.column_stack([page[notes["bar"]], notes["offset"], notes["pitch"], notes["length"]])
    return np.round(table[np.isin(table[:, 0], among)], 6)


def _pages_apart(one: np.ndarray, two: np.ndarray) -> np.ndarray:
    """The bars (the first column) in which two tables of notes have not the same rows, each as often."""
    rows, which = np.unique(np.concatenate([one, two]), axis=0, return_inverse=True)
    counts = np.bincount(which.ravel(), np.repeat([1, -1], [len(one), len(two)]), len(rows))
    return np.unique(rows[counts != 0, 0])


def _orders_apart(
    readings: Sequence[Reading], pages: list[np.ndarray], rows: list[np.ndarray], ordinals: np.ndarray
) -> list[Apart]:
    """Bars that stand in all scores but are not heard as often in all readings; then, whether the order differs."""
    played = ordinals >= 0
    found: dict[tuple, Apart] = {}
    for number, reading in enumerate(readings):
        bars = reading.performance.bars
        printed = np.all([np.isin(pages[number][bars["row"]], page) for page in pages], axis=0)
        partly = printed & ~np.all(played, axis=0)[rows[number]]
        sets = played[:, rows[number]].T
        for *heard, pass_ in dict.fromkeys(map(tuple, np.column_stack([sets, bars["pass"]])[partly].tolist())):
            mine = partly & (sets == heard).all(axis=1) & (bars["pass"] == pass_)
            of = tuple(map(bool, heard))
            found.setdefault((of, pass_), Apart("played", of, in_words(reading.score, bars[mine]), pass_))
    shared = ordinals[:, played.all(axis=0)]
    if np.any(np.diff(shared, axis=1) < 0):
        return [*found.values(), Apart("order", (True,) * len(readings))]
    return list(found.values())


def _named(score: Score, rows: np.ndarray) -> str:
    """These bars of a score in words: 3-9, 12."""
    table = np.zeros(len(rows), PASSAGE)
    table["row"] = rows
    return in_words(score, table)
