"""Readings side by side: which they are, what they are called, and what is to be said about each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from render.telling.comparison_words import LETTERS
from render.telling.titles import names_beside
from soundfonts import guitar
from timing.cautions import check
from timing.comparing import Comparison
from timing.reading import Reading
from timing.remarks import Remark


@dataclass(frozen=True, eq=False)
class Side:
    """One of the readings, and the plan it comes from. Of one that is made of the plan to stand beside it the `kind`
    and what is `told` of it."""

    plan: Path
    reading: Reading
    kind: str | None = None
    told: str | None = None

    @cached_property
    def remarks(self) -> list[Remark]:
        """What there is to say of the reading; looked for when it is first asked, and kept."""
        return check(self.reading, sound=guitar)

    @property
    def cautions(self) -> int:
        """How many cautions of the plan stand; what a reading is cautioned for that is made to stand beside it is the
        point of it."""
        return 0 if self.kind is not None else sum(remark.stands for remark in self.remarks)


@dataclass(frozen=True)
class SideBySide:
    """The readings, each with what it is, compared."""

    sides: tuple[Side, ...]
    comparison: Comparison

    @property
    def readings(self) -> tuple[Reading, ...]:
        return self.comparison.readings


def names_of(readings: Sequence[Reading]) -> list[str]:
    """What readings are called on a page (see `names_beside`); one without a title that can be seen by its plan's file,
    or its score's."""
    titles = [(reading.performance.title, reading.score.title, reading.files[0].stem) for reading in readings]
    return names_beside(titles, LETTERS)


def cautions_in_words(sides: Sequence[Side]) -> list[str]:
    """A line for each plan that has cautions, and how to see them."""
    plans: dict[Path, tuple[str, int]] = {}
    for side, letter in zip(sides, LETTERS, strict=False):
        if side.cautions:
            plans.setdefault(side.plan, (letter, side.cautions))
    return [
        f"{letter} has {count} caution{'s' * (count > 1)}: lentando check {plan}"
        for plan, (letter, count) in plans.items()
    ]
