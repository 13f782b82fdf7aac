"""The order in which the bars are performed: repeats, endings, D.C., D.S., Fine and Coda, unfolded bar by bar.

Common practice: a D.C. or D.S. is taken once; Fine and To Coda act only after it, and of the two only the one that its
words name; what was heard before the return is then played without repeats and with its last ending (the MusicXML 4.0
reference agrees: a repeat counts "after a jump" only where it says so), while new music, such as a coda, keeps its
repeats. What cannot be performed as written is read literally, with a caution.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from timing.order.jumps import Exit, Jump, Signs, read_signs
from timing.order.repeats import Repeats, Section, bar_names, caution, read_repeats
from timing.performance import PASSAGE
from timing.remarks import CannotDo, Remark
from timing.score import Score
from timing.where.naming import bars_at

MAX_BARS = 20_000  # performed; written repeats alone may come to MAX_GROWTH times the written bars (and one bar more)
MAX_GROWTH = 64


def unfold(
    score: Score, *, order: Sequence[tuple[int, int, bool]] | None = None, repeats_after_return: bool = False
) -> tuple[np.ndarray, tuple[Remark, ...]]:
    """The performed bars of a score, as a PASSAGE table, and cautions about what is wrong with its repeats.

    `order` overrides whatever the score says: segments of bar rows (first, last, whether after the return), both ends
    included. With `repeats_after_return` repeats and first endings are played again after a D.C. or D.S.
    The pass of a bar counts its hearings; a bar under an ending takes the pass of the music that leads into it.
    At most MAX_BARS bars are performed, or as many as are written. Raises CannotDo if `order` is empty or names a row
    that does not exist.
    """
    signs = read_signs(score)
    repeats = read_repeats(score, set(signs.jumps))
    if order is not None:
        rows, returned, remarks = _as_told(score, order)
    else:
        walk = _Walk(len(score.bars), repeats, signs, repeats_after_return)
        walk.run()
        rows, returned = np.array(walk.rows, np.int64), np.arange(len(walk.rows)) >= walk.return_at
        remarks = [*repeats.remarks, *signs.remarks, *_hindsight(score, signs, walk)]
    return _passages(score, repeats, rows, returned), tuple(remarks)


def in_words(score: Score, passages: np.ndarray) -> str:
    """The order as a musician says it, by the names of the bars: "1-8, 1-8, 9-24, 9-24, 1-8".

    A new stretch begins where the order leaves the page, and where it comes back to, or went back from, another time.
    Where that is within a bar it says at which beat, so that a plan can give the same order: "1 - 8:2, 5:3 - 12".
    """
    rows = passages["row"]
    step = np.diff(rows)
    back = step <= 0
    cut = (step != 1) | np.isin(rows[1:], rows[1:][back]) | np.isin(rows[:-1], rows[:-1][back])
    breaks = np.flatnonzero(cut)
    stretches = [part for part in np.split(rows, breaks + 1) if len(part)]
    return ", ".join(bars_at(score, int(part[0]), int(part[-1])) for part in stretches)


class _Walk:
    """A player who reads the bars one by one, goes back where the signs say so, and remembers what was done."""

    def __init__(self, count: int, repeats: Repeats, signs: Signs, repeats_after_return: bool):
        self.count, self.repeats, self.signs, self.always_repeat = count, repeats, signs, repeats_after_return
        self.limit = max(count, min(MAX_BARS, MAX_GROWTH * (count + 1)))
        self.patience = 16 * self.limit  # endings looked at and passed over
        self.rows: list[int] = []
        self.first_heard: dict[int, int] = {}  # row: place in rows
        self.times: dict[Section | None, int] = {}  # which hearing of a section this is
        self.taken: set[Jump | Exit] = set()
        self.jump: Jump | None = None  # the latest one taken
        self.jumped_at = -1  # place in rows
        self.left_for_coda = False  # since the latest jump
        self.return_at = np.inf  # place in rows of the first bar after a return
        self.finished = False  # the music ended of itself, at the Fine or the last bar
        self.at_fine = False
        self.as_it_stands = False  # the signs left no bar to play

    def run(self) -> None:
        row: int | None = self._arrive(0)
        while row is not None and row < self.count:
            if len(self.rows) >= self.limit or self.patience <= 0:
                return
            self.first_heard.setdefault(row, len(self.rows))
            self.rows.append(row)
            row = self._next(row)
        self.finished = True
        if self.count and not self.rows:
            self.as_it_stands = True
            self.rows = list(range(min(self.count, self.limit)))

    def _next(self, row: int) -> int | None:
        """The bar to play after this one; None after the Fine."""
        section = self.repeats.back.get(row)
        if section is not None and self._time(section) < section.times:
            self.times[section] = self._time(section) + 1
            return self._arrive(section.start, again=section)
        ahead = self._arrive(row + 1)
        if self.jump is not None:
            if self._heeds_fine(self.jump) and (row in self.signs.fine_after or ahead in self.signs.fine_before):
                self.at_fine = True
                return None
            way_out = self.signs.exit_after.get(row) or self.signs.exit_before.get(ahead)
            if way_out is not None and way_out not in self.taken and self.signs.goes_to_coda(self.jump):
                self.taken.add(way_out)
                self.left_for_coda = True
                return self._land(way_out.coda)
        for jump in self.signs.jumps.get(row, ()):
            if jump not in self.taken:
                return self._return(jump)
        return ahead

    def _heeds_fine(self, jump: Jump) -> bool:
        return self.left_for_coda or self.signs.stops_at_fine(jump)

    def _return(self, jump: Jump) -> int:
        self.taken.add(jump)
        self.jump, self.jumped_at, self.left_for_coda = jump, len(self.rows), False
        self.return_at = min(self.return_at, len(self.rows))
        self.times.clear()
        return self._land(jump.target) if jump.target else self._arrive(0)

    def _land(self, row: int) -> int:
        """Come to a bar by a jump: it is played, whatever ending stands over it."""
        self.times.pop(self.repeats.starts.get(row), None)
        return row

    def _arrive(self, row: int, again: Section | None = None) -> int:
        """Come to a bar by playing on, or back to the start of a section `again`; pass over endings for other times."""
        while True:
            section = self.repeats.starts.get(row)
            if section is not again:
                self.times.pop(section, None)
            ending = self.repeats.endings.get(row)
            if ending is None or ending.section is None or ending.is_for(self._time(ending.section)):
                return row
            self.patience -= 1
            row = ending.last + 1

    def _time(self, section: Section) -> int:
        """Which hearing of the section this is; of one that was heard before the return, the last at once."""
        return self.times.get(section, section.times if self._heard_before(section) else 1)

    def _heard_before(self, section: Section) -> bool:
        if self.jump is None or self.always_repeat or self.jump.with_repeats:
            return False
        return self.first_heard.get(section.start, self.jumped_at) < self.jumped_at


def _hindsight(score: Score, signs: Signs, walk: _Walk) -> list[Remark]:
    """What one notices only after playing: a piece without end, jumps never reached, bars never played."""
    if not walk.finished:
        text = f"the music comes to more than {walk.limit} bars and is cut off there ({walk.count} are written)"
        return [caution(score, walk.rows[-1], "order-too-long", text, "look for a repeat sign too many")]
    if walk.as_it_stands:
        text = "every bar stands under an ending for another time: the bars are played as they stand"
        return [caution(score, 0, "bars-never-played", text, "number the endings from 1")]
    found = []
    for jump in (jump for jumps in signs.jumps.values() for jump in jumps):
        if jump not in walk.taken:
            text = f"{jump.name} is never reached"
            found.append(caution(score, jump.row, "jump-structure", text, "put it where the music comes last"))
    last = walk.jump
    exits = [*signs.exit_after.values(), *signs.exit_before.values()]
    if last is not None and last.to_fine and (signs.fine_after or signs.fine_before) and not walk.at_fine:
        text = f"{last.name} says al Fine, but the music never comes to the Fine"
        found.append(caution(score, last.row, "jump-structure", text, "put the Fine where the music passes it again"))
    if last is not None and last.to_coda and exits and not walk.left_for_coda:
        text = f"{last.name} says al Coda, but the music never comes to To Coda"
        found.append(caution(score, last.row, "jump-structure", text, "put To Coda where the music passes it again"))
    silent = np.ones(walk.count + 2, bool)
    silent[0] = silent[-1] = False
    silent[1:-1][walk.rows] = False
    edges = np.flatnonzero(np.diff(silent))
    for first, last in zip(edges[::2], edges[1::2] - 1, strict=True):
        names = bar_names(score, first, last)
        text = f"{names} {'are' if names.startswith('bars') else 'is'} never played"
        found.append(caution(score, first, "bars-never-played", text, "mend the repeats or endings around"))
    return found


def _as_told(score: Score, order: Sequence[tuple[int, int, bool]]) -> tuple[np.ndarray, np.ndarray, list[Remark]]:
    segments = np.array([(int(first), int(last), bool(back)) for first, last, back in order], np.int64).reshape(-1, 3)
    firsts, lasts, back = segments.T
    if not len(segments) or firsts.min() < 0 or lasts.max() >= len(score.bars) or (firsts > lasts).any():
        text = f"the order must name bars of the score from first to last ({len(score.bars)} bars are written)"
        raise CannotDo.because("order", text)
    lengths = lasts - firsts + 1
    ends = np.cumsum(lengths)
    places = np.arange(min(ends[-1], MAX_BARS))
    segment = np.searchsorted(ends, places, "right")
    rows = firsts[segment] + places - (ends - lengths)[segment]
    remarks = []
    if ends[-1] > MAX_BARS:
        text = f"the order comes to {ends[-1]} bars and is cut off after {MAX_BARS}"
        remarks.append(caution(score, rows[-1], "order-too-long", text, "shorten it"))
    return rows, back[segment].astype(bool), remarks


def _passages(score: Score, repeats: Repeats, rows: np.ndarray, returned: np.ndarray) -> np.ndarray:
    table = np.zeros(len(rows), PASSAGE)
    table["row"], table["returned"] = rows, returned
    for name in ("number", "suffix", "length", "beats", "unit", "shift"):
        table[name] = score.bars[name][rows]
    table["start"] = np.append(0, np.cumsum(table["length"]))[:-1]
    heard = np.zeros(len(score.bars), np.int64)  # the latest pass of each bar
    table["pass"] = _count_passes(repeats, rows.tolist(), heard)
    final = np.zeros(len(score.bars), np.int64)
    final[rows] = np.arange(len(rows))  # of equal indices the last assignment stays
    judges = (row if e is None or e.anchor < 0 else e.anchor for row, e in enumerate(repeats.under))
    anchors = np.fromiter(judges, np.int64, len(score.bars))
    table["last"] = (final[rows] == np.arange(len(rows))) & (table["pass"] >= heard[anchors[rows]])
    return table


def _count_passes(repeats: Repeats, rows: list[int], heard: np.ndarray) -> list[int]:
    """The pass of each performed bar; `heard` comes to hold the latest pass of each written one."""
    latest: dict[Section | None, int] = {}  # the pass that the plain bars of a section are on
    passes = []
    for row in rows:
        now = int(heard[row]) + 1
        ending = repeats.under[row]
        if ending is not None:
            now = max(now, latest.get(ending.section, 0))
        heard[row] = latest[repeats.home[row]] = now
        passes.append(now)
    return passes
