"""What became of every mark of a score: used, overridden by the plan, ignored, without effect, not understood."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from timing.marks.places import Page, Printed
from timing.plan.entry import Entry
from timing.plan.position import beat_name

NOWHERE: tuple[int, ...] = ()


class Fate(StrEnum):
    """What a mark came to."""

    USED = "used"
    OVERRIDDEN = "overridden"
    IGNORED = "ignored"
    WITHOUT_EFFECT = "without effect"
    NOT_UNDERSTOOD = "not understood"


@dataclass(frozen=True)
class MarkUse:
    """What became of one mark (of `count` marks of one kind, for signs on notes).

    `section` is the one of the plan in which it would stand, `text` what is printed, `bar` and `beat` where, `part` in
    which part. `by` is the entry of the plan that stands in its place, on these `passes` (none are named where it is
    every time that the mark is heard); `why` says in words what else there is to say.
    """

    section: str
    text: str
    bar: str
    beat: float
    part: str
    fate: Fate
    why: str = ""
    by: Entry | None = None
    passes: tuple[int, ...] = ()
    count: int = 1

    @property
    def place(self) -> str:
        return f"{self.bar}:{beat_name(self.beat)}"


class Book:
    """Gathers what became of the marks, and lets them give way to the plan."""

    def __init__(self, page: Page):
        self._page = page
        self._found: list[tuple[tuple[float, float], MarkUse]] = []
        self._left_out: dict[float, dict[int, Entry]] = {}  # by the number of a mark, by performed bar

    @property
    def uses(self) -> tuple[MarkUse, ...]:
        """What is written down, in the order of the page."""
        return tuple(use for _, use in sorted(self._found, key=lambda each: each[0]))

    def note(self, mark: Printed, fate: Fate, why: str = "", **more: Any) -> None:
        """Write down what became of a mark; `more` are further fields of MarkUse."""
        place, part = self._page.position(mark.at), self._page.score.parts["name"][mark.part]
        told = (mark.section, mark.text, place.bar, float(place.beat or 1), str(part))
        self._found.append(((mark.at, mark.number), MarkUse(*told, fate, why, **more)))

    def leave_out(self, mark: Printed, left: Mapping[int, Entry]) -> None:
        """Remember the performed bars in which the plan leaves a mark out, each with the entry that says so."""
        if left:
            self._left_out[mark.number] = dict(left)

    def left_out(self, mark: Printed) -> Mapping[int, Entry]:
        """What `leave_out` was told of a mark."""
        return self._left_out.get(mark.number, {})

    def _ignored(self, marks: Iterable[Printed], first: int, last: int) -> Entry | None:
        """The entry by which marks that act as one are left out at a hearing."""
        left = [self.left_out(mark) for mark in marks]
        return next((entry for each in left for bar, entry in each.items() if first <= bar <= last), None)

    def give_way(
        self,
        marks: Iterable[Printed],
        heard: list[tuple[int, int]],
        instead: Sequence[Entry | None],
    ) -> tuple[int, ...] | None:
        """Write down what becomes of marks that act as one, at these hearings (first and last performed bar). The
        answer is what an entry has for its pass: the performed bars in which the marks act, perhaps NOWHERE; None for
        all. `instead[k]` is the entry of the plan that stands in the place of the k-th hearing."""
        marks = list(marks)
        left = [self._ignored(marks, *bars) for bars in heard]
        by = [entry or other for entry, other in zip(left, instead, strict=True)]
        kept = [bars for bars, entry in zip(heard, by, strict=True) if entry is None]
        entry = next((entry for entry in by if entry is not None), None)
        passes = self._page.where.bars["pass"]
        lost = {int(passes[first]) for (first, _), other in zip(heard, by, strict=True) if other is not None}
        for mark in marks:
            if not heard:
                self.note(mark, Fate.WITHOUT_EFFECT, "it is not heard in this order of the bars")
            elif not kept:
                self.note(mark, Fate.OVERRIDDEN, by=entry)
            else:
                self.note(mark, Fate.USED, by=entry, passes=tuple(sorted(lost)))
        return None if kept == heard and heard else tuple(n for first, last in kept for n in range(first, last + 1))
