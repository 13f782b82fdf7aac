"""What the planner has to say to the musician: advice, cautions and errors.

A remark is a value, not a print-out: the command line and the JSON each show it in their own way.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from string import ascii_letters
from typing import Any


class Severity(StrEnum):
    """How much a remark weighs: advice can be ignored, a caution deserves a look, an error stops the work."""

    ADVICE = "advice"
    CAUTION = "caution"
    ERROR = "error"


@dataclass(frozen=True)
class Place:
    """Where something stands in a file: 1-based line and column, and the text of that line."""

    file: Path
    line: int | None = None
    column: int | None = None
    excerpt: str = ""


@dataclass(frozen=True)
class Edit:
    """One change of a plan: an entry added to a section, put in the place of another, or taken out.

    `entry` is written as a plan has it on one line, as in `{rallentando: 7:1 - 8:3, to: 80%}`; a section that is one
    value (`tempo`) has that value. None takes out what stands at `place`. Without a place the entry is added to its
    section, as the last one; with `after` it comes after the one at `place`, in the same list.
    """

    section: str  # its key in the plan, as in "second time"
    entry: str | None
    place: Place | None = None  # where the entry begins that this one replaces
    after: bool = False


@dataclass(frozen=True)
class Remark:
    """One thing to say: how grave, which kind (a stable code), in words, and where in file and music.

    `bar_name` is what the bar is called, as in 12a, and `pass_` which time it is heard (None: the piece as a whole);
    `passes` are all of them, where the same is said of several. `beat` counts from 1. `suggestion` says in words what
    would mend it; `fix` holds the changes of the plan that do, all of them together (none: it takes a musician to
    decide). `accepted` is the reason for which the plan accepts it. Where `more` is not 0 it stands for so many places
    that are not told one by one, the first of which it names.
    """

    severity: Severity
    code: str
    message: str
    place: Place | None = None
    bar_name: str | None = None
    beat: float | None = None
    pass_: int | None = None
    suggestion: str | None = None
    fix: tuple[Edit, ...] = ()
    accepted: str | None = None
    more: int = 0
    passes: tuple[int, ...] = ()

    @property
    def bar(self) -> int | None:
        """The number of the bar, without its letters."""
        return None if self.bar_name is None else int(self.bar_name.rstrip(ascii_letters))

    @property
    def stands(self) -> bool:
        """Whether it is a caution that nobody has accepted: then it counts."""
        return self.severity is Severity.CAUTION and self.accepted is None


MOST_TOLD = 50  # faults in full; of more only their number is told


def by_place(place: Place | None, main: Path | None) -> tuple[bool, str, int, int]:
    """A sorting key: the order of the file, the file `main` before others."""
    place = place or Place(Path())
    return place.file != main, str(place.file), place.line or 0, place.column or 0


def in_order(remarks: Iterable[Remark], main: Path | None = None, untold: int = 0) -> list[Remark]:
    """The faults, each once, by their place. After the first fifty only their number is told; `untold` more were left
    out before."""
    found = sorted(dict.fromkeys(remarks), key=lambda remark: by_place(remark.place, main))
    more = len(found) - MOST_TOLD + untold
    if more <= 0:
        return found
    message = f"... and {more} more fault{'s' * (more > 1)} after these"
    return [*found[:MOST_TOLD], Remark(Severity.ERROR, "plan-more", message, found[MOST_TOLD - 1].place)]


class CannotDo(Exception):  # noqa: N818 (it says what happened)
    """The work cannot be done; `remarks` say why, all of them at once."""

    def __init__(self, remarks: Iterable[Remark]):
        self.remarks = tuple(remarks)
        super().__init__("\n".join(r.message for r in self.remarks))

    @classmethod
    def because(cls, code: str, message: str, file: Path | None = None, **more: Any) -> CannotDo:
        """A refusal with a single reason; `more` are further fields of the remark."""
        return cls([Remark(Severity.ERROR, code, message, Place(file) if file else None, **more)])


def refuse_errors(remarks: Iterable[Remark], plan: Place | None) -> None:
    """CannotDo with all errors among these remarks at once, those in the file of the `plan` first."""
    errors = [remark for remark in remarks if remark.severity is Severity.ERROR]
    if errors:
        raise CannotDo(in_order(errors, plan.file if plan else None))
