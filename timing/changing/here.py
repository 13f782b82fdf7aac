"""A place on the page at which something could stand, and what is there already."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from timing.changing.boundaries import Bracket, brackets
from timing.changing.entries import AFTER
from timing.changing.spots import PageMap, PageSpot, cannot
from timing.changing.standing import PlanItem, passes_of, standing
from timing.columns import NEAR
from timing.plan.edits import added, shown
from timing.plan.entry import Entry
from timing.plan.position import Range
from timing.plan.sound import SecondTime
from timing.reading import Reading
from timing.remarks import Edit
from timing.where.naming import BarPlace, position_at

_SAME = 1e-5  # quarters


@dataclass(frozen=True)
class Offer:
    """Something that could stand at a place: `words` say it in the trade's words, `entry` is what the plan would have,
    `group` is the sort of thing (time, phrases, level, tone, strings, voices, out)."""

    id: str
    words: str
    section: str
    group: str
    edits: tuple[Edit, ...]
    entry: str

    @classmethod
    def of(cls, id_: str, words: str, section: str, group: str, *edits: Edit, entry: str | None = None) -> Offer:
        return cls(id_, words, section, group, edits, shown(edits) if entry is None else entry)

    def as_json(self) -> dict[str, Any]:
        return {key: getattr(self, key) for key in ("id", "words", "entry", "section", "group")}


class Here:
    """A place on the page, or a stretch from one to another; on one hearing, if it says which and there are several."""

    def __init__(self, reading: Reading, at: PageSpot, until: PageSpot | None = None):
        self.reading, self.where, self.page = reading, reading.where, PageMap(reading.where)
        self.score = self.page.score
        first = self.page.quarter(self.page.place(at))
        last = None if until is None else self.page.quarter(self.page.place(until))
        if last is not None and until is not None and last < first:
            first, last, at = last, first, until
        self.start: BarPlace = self._begins(first)
        self.over = self.page.ends(self._beat_over()) if last is None or last - first < _SAME else self.page.ends(last)
        self.stretch = last is not None and last - first >= _SAME
        heard = self.where.hearings(self.start[0])
        passes = sorted(set(self.where.bars["pass"][heard].tolist()))
        if at.pass_ is not None and at.pass_ not in passes:
            raise cannot(f"bar {self.score.bar_name(self.start[0])} is not heard on pass {at.pass_}")
        self.pass_ = at.pass_ if len(passes) > 1 else None
        self.heard = [k for k in heard.tolist() if self.pass_ in (None, int(self.where.bars["pass"][k]))]

    def _begins(self, quarter: float) -> BarPlace:
        """Where it begins: at the end of the score that is its last beat."""
        if quarter < self.page.starts[-1] - _SAME:
            return self.page.begins(quarter)
        row = len(self.score.bars) - 1
        return row, max(float(self.score.bars["length"][row]) - 4 / int(self.score.bars["unit"][row]), 0.0)

    def _beat_over(self) -> float:
        """The quarter of the page at which the beat of the place is over."""
        row, offset = self.start
        bar = self.score.bars[row]
        beat = 4 / int(bar["unit"])
        passed = np.floor((offset + float(bar["shift"])) / beat + NEAR) + 1
        return self.page.quarter((row, min(float(passed * beat - bar["shift"]), float(bar["length"]))))

    # -- along the page and the performance

    @property
    def quarter(self) -> float:
        """Where it begins, in quarters of the page."""
        return self.page.quarter(self.start)

    @property
    def over_quarter(self) -> float:
        return self.page.quarter(self.over)

    @property
    def full_bar(self) -> float:
        bar = self.score.bars[self.start[0]]
        return 4 * int(bar["beats"]) / int(bar["unit"])

    @property
    def bar_over(self) -> BarPlace:
        """Where the bar ends in which it begins."""
        return self.start[0], float(self.score.bars["length"][self.start[0]])

    @cached_property
    def moments(self) -> list[float]:
        """Where it begins each time that it is heard, in quarters along the performed order."""
        return [float(self.where.bars["start"][k]) + self.start[1] for k in self.heard]

    @cached_property
    def last_over(self) -> float:
        """Where it is over the last time that it is heard."""
        heard = self.where.hearings(self.over[0])
        return float(self.where.bars["start"][heard[-1]]) + self.over[1] if len(heard) else 0.0

    @cached_property
    def notes(self) -> np.ndarray:
        """The rows of the performed notes that begin there, the first time that it is heard."""
        notes = self.reading.performance.notes
        here = np.abs(notes["score_onset"] - self.moments[0]) < NEAR
        return np.flatnonzero(here & (notes["score_length"] > 0))

    @property
    def programs(self) -> set[int]:
        """What plays the notes that begin there, or else all that plays."""
        performance = self.reading.performance
        lanes = performance.notes["lane"][self.notes] if len(self.notes) else np.unique(performance.notes["lane"])
        return {int(program) for program in performance.lanes["program"][lanes]}

    def before(self, quarters: float) -> BarPlace | None:
        """So many quarters earlier, but not before the phrase or the piece begins; None where nothing lies between."""
        holding = [each for each in self.phrases if each.start < self.over_quarter - _SAME < each.end]
        start = max(self.over_quarter - quarters, max((each.start for each in holding), default=0.0))
        return self.page.begins(start) if start < self.over_quarter - _SAME else None

    @cached_property
    def phrases(self) -> list[Bracket]:
        return brackets(self.reading, self.page)

    # -- what stands there

    @cached_property
    def items(self) -> list[PlanItem]:
        return list(standing(self.reading.plan))

    def entries(self, section: str) -> Iterator[tuple[PlanItem, Any]]:
        """The entries of a section that hold on the hearing that is meant."""
        for each in self.items:
            if each.section == section and isinstance(each.entry, Entry):
                entry = each.entry.at_its_pass() if isinstance(each.entry, SecondTime) else each.entry
                if self.pass_ is None or entry.passes in (None, self.pass_) or passes_of(each) == self.pass_:
                    yield each, each.entry

    def ends(self, entry: Entry, key: str) -> tuple[float, float]:
        """From and to which quarters of the page an entry goes; of a breath when that is, twice."""
        where = entry.value(key)
        if isinstance(where, Range):
            start, end = self.where.both_ends(where, entry.arrives)
        elif key in AFTER:
            start = end = (self.where.instant if where.instant else self.where.end_point)(where)
        else:
            start = end = self.where.point(where)
        return self.page.quarter(start), self.page.quarter(end)

    def begins_at(self, entry: Entry, key: str) -> bool:
        return abs(self.ends(entry, key)[0] - self.quarter) < _SAME

    # -- as a plan writes it

    @property
    def on_pass(self) -> dict[str, Any]:
        return {} if self.pass_ is None else {"pass": self.pass_}

    @property
    def beat_text(self) -> str:
        """The place with its beat."""
        return str(position_at(self.score, *self.start))

    @property
    def at_text(self) -> str:
        """The place, a bar alone at its beginning."""
        return self.page.at_text(self.start)

    def add(self, id_: str, words: str, section: str, group: str, entry: dict[str, Any]) -> Offer:
        """The offer of a new entry, on the hearing that is meant."""
        return Offer.of(id_, words, section, group, added(section, entry | self.on_pass))
