"""Where the entries of a plan are heard along the performed order, and what there is to say about it."""

from __future__ import annotations

from collections.abc import Callable, Sized
from typing import Any, TypeVar

import numpy as np

from timing.columns import NEAR
from timing.plan.entry import Entry
from timing.plan.position import Position, Range
from timing.remarks import CannotDo, Place, Remark, Severity
from timing.where import Fault, Run, Where, pass_in_words

MOST_HEARD = 250_000  # hearings of all entries in one stage: far beyond any music, and soon told

_Found = TypeVar("_Found", np.ndarray, list[Run])


class Hearings:
    """Asks `where` for the entries of a plan, and gathers remarks: on positions that do not exist or are never heard,
    and on whatever else those who ask have to say."""

    def __init__(self, where: Where):
        self.where = where
        self.remarks: list[Remark] = []
        self._found = 0  # runs and moments of entries
        self._said: set[Remark] = set()

    def moments_of(self, entry: Entry, key: str, after: bool = False) -> np.ndarray:
        """As `Where.moments`, for a key of an entry; faults and places never heard become remarks."""
        return self._gather(
            entry, key, lambda: self.where.moments(entry.value(key), entry.passes, after), np.zeros(0)
        )

    def runs_of(self, entry: Entry, key: str) -> list[Run]:
        """As `Where.runs`, for a key of an entry; faults and places never heard become remarks."""
        return self._gather(entry, key, lambda: self.where.runs(entry.value(key), entry.passes, entry.arrives), [])

    def spans_of(self, entry: Entry) -> list[tuple[float, float]]:
        """Start and end of each hearing of an entry that stands `at` a place (what begins there) or over `bars`."""
        if getattr(entry, "at", None) is not None:
            return [(float(at), float(at) + NEAR) for at in self.moments_of(entry, "at")]
        return [(run.start, run.end) for run in self.runs_of(entry, "bars")]

    def _gather(self, entry: Entry, key: str, find: Callable[[], _Found], nothing: _Found) -> _Found:
        try:
            found = find()
        except Fault as fault:
            self.remark(Severity.ERROR, "plan-position", str(fault), entry.place(key))
            return nothing
        self.count(found, entry)
        said = ""
        if not len(found):
            said = f"{_bars(entry.value(key))} never heard"
        elif key in entry.NEED_END and not any(run.complete for run in found):
            said = f"the end of {entry.value(key)} is never reached"
        if said:
            when = f" {pass_in_words(entry.passes)}" if entry.passes else ""
            message = f"{said}{when} in this order of the bars: the entry does nothing"
            self.remark(Severity.CAUTION, "never-heard", message, entry.place(key))
        return found

    def count(self, found: Sized, entry: Entry) -> None:
        """Count the hearings of an entry that were found; CannotDo where there are too many of all of them."""
        self._found += len(found)
        if self._found > MOST_HEARD:
            message = (
                f"the entries of the plan and the marks of the score are heard more than {MOST_HEARD:,} times in this "
                "order of the bars"
            )
            raise CannotDo([Remark(Severity.ERROR, "plan-size", message, entry.place())])

    def remark(self, severity: Severity, code: str, message: str, place: Place | None, **more: Any) -> None:
        """Keep a remark, once; `more` are further fields of it."""
        made = Remark(severity, code, message, place, **more)
        if made not in self._said:
            self._said.add(made)
            self.remarks.append(made)


def _bars(place: Position | Range) -> str:
    """A place as the subject of a sentence: bar 7 is, bars 7-8 are, 7:2 - 8:3 is."""
    text = str(place)
    return f"{text} is" if ":" in text else f"bars {text} are" if "-" in text else f"bar {text} is"
