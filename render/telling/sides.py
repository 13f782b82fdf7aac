"""Readings side by side: which they are, what they are called, and what is to be said about each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from render.telling.comparison_words import LETTERS
from render.telling.titles import names_beside
from timing.comparing import Comparison
from timing.reading import Reading


@dataclass(frozen=True)
class Side:
    """One of the readings: the plan it comes from, and how many cautions of that stand. Of one that is made of the plan
    to stand beside it the `kind` and what is `told` of it; what it is cautioned for is the point of it."""

    plan: Path
    cautions: int = 0
    kind: str | None = None
    told: str | None = None


@dataclass(frozen=True)
class SideBySide:
    """The readings and what each is; compared, if there are several."""

    readings: tuple[Reading, ...]
    sides: tuple[Side, ...]
    comparison: Comparison | None


def names_of(made: SideBySide) -> list[str]:
    """What the readings are called on a page (see `names_beside`); one without a title that can be seen by its plan."""
    titles = [
        (reading.performance.title, reading.score.title, side.plan.stem)
        for reading, side in zip(made.readings, made.sides, strict=True)
    ]
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
