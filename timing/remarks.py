"""What the planner has to say to the musician: advice, cautions and errors.

A remark is a value, not a print-out: the command line, the JSON and the sheet each show it in their own way.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path


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
class Remark:
    """One thing to say: how grave, which kind (a stable code), in words, and where in file and music.

    `bar` and `pass_` are as printed on the page (None: the piece as a whole); `beat` counts from 1.
    """

    severity: Severity
    code: str
    message: str
    place: Place | None = None
    bar: int | None = None
    beat: float | None = None
    pass_: int | None = None
    suggestion: str | None = None


class CannotDo(Exception):  # noqa: N818 (it says what happened)
    """The work cannot be done; `remarks` say why, all of them at once."""

    def __init__(self, remarks: Iterable[Remark]):
        self.remarks = tuple(remarks)
        super().__init__("\n".join(r.message for r in self.remarks))

    @classmethod
    def because(cls, code: str, message: str, file: Path | None = None, **more) -> CannotDo:
        """A refusal with a single reason; `more` are further fields of the remark."""
        return cls([Remark(Severity.ERROR, code, message, Place(file) if file else None, **more)])
