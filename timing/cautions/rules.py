"""What a rule is, the list of all rules, and how they put their remarks into words.

A rule is one small function with its own code. To add one, write a function that takes a Reading and yields remarks,
and decorate it with `rule(code, why, ...)`. The evidence is what players do, so a rule says "unusual", never "wrong".
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Protocol, TypedDict, Unpack

import numpy as np

from timing.columns import NEAR
from timing.plan.edits import shown
from timing.plan.position import beat_name
from timing.reading import Reading
from timing.remarks import Edit, Place, Remark, Severity
from timing.where import Fault, near

ADVICE, CAUTION = Severity.ADVICE, Severity.CAUTION

# Sources of thresholds, as the pages of the codes name them.
EVIDENCE = (
    "88 performances of the Vienna 4x22 corpus (W. Goebl 1999) and some 200 of the ASAP dataset (F. Foscarin et al., "
    "ISMIR 2020), as measured for this project"
)
COMMON_PRACTICE, OWN_VALUE = "common practice", "our own value"

MOST_TOLD = 3  # places of one kind that are told; of the rest only how many there are


class Sound(Protocol):
    """What is known of how an instrument with strings sounds. A string is 1 for the highest; tones are 0 naturale,
    1 sul tasto, 2 sul ponticello, 3 pizzicato, 4 harmonic, 5 sounded by the left hand; `tuning` holds the MIDI pitches
    of the open strings, string 1 first; `frets` count semitones above them. CannotDo for a tuning that it does not
    know."""

    def brightness(self, string: int, tone: int, tuning: tuple[int, ...], frets: np.ndarray) -> np.ndarray:
        """(frets,) spectral centroids in Hz."""

    def loudness(self, string: int, tone: int, tuning: tuple[int, ...], frets: np.ndarray) -> np.ndarray:
        """(frets,) levels in dB at one velocity."""

    def fading(
        self,
        string: int,
        tone: int,
        tuning: tuple[int, ...],
        fret: int,
        seconds: np.ndarray,
        bend: tuple[np.ndarray, np.ndarray],
        cm: float | None,
    ) -> np.ndarray:
        """(n,) levels in dB at these seconds after a note is struck, while it rings, bent by the (points,) seconds and
        semitones of `bend`; struck `cm` from the bridge, where that is not the tone's own place."""


@dataclass(frozen=True)
class Rule:
    """A caution (or a piece of advice), and all there is to say about it.

    `why` it matters to a listener, in one sentence; an `example`, a plan over one of the demo's scores that earns it
    (or, where only a score can, that score in words); the `threshold` from which it is told, and the `source` of that;
    what mending it automatically `mends` (nothing: it takes a musician to decide); the question that it `asks`, where
    the answer is a matter of reading; and the function that finds its cases (None: they are met where score and plan
    are brought together). A rule that `listens` takes a Reading and a Sound (or None), any other one a Reading.
    """

    code: str
    why: str
    example: str = ""
    threshold: str = ""
    source: str = ""
    mends: str = ""
    asks: str = ""
    find: Callable[..., Iterator[Remark]] | None = None
    listens: bool = False


RULES: list[Rule] = []

Find = Callable[..., Iterator[Remark]]
Spot = tuple[str, float, int]  # bar, beat, pass


class Told(TypedDict, total=False):
    """What else there is to say of a rule; see Rule."""

    example: str
    threshold: str
    source: str
    mends: str
    asks: str


def rule(code: str, why: str, *, listens: bool = False, **told: Unpack[Told]) -> Callable[[Find], Find]:
    """Register a function as the rule `code`; what else is `told` of it are the texts of a Rule."""

    def register(find: Find) -> Find:
        RULES.append(Rule(code, why, **told, find=find, listens=listens))
        return find

    return register


def met(code: str, why: str, **told: Unpack[Told]) -> None:
    """Register a code whose cases are met where score and plan are brought together."""
    RULES.append(Rule(code, why, **told))


# -- words


def remark_at(
    severity: Severity,
    code: str,
    message: str,
    spot: Spot | None,
    place: Place | None,
    suggestion: str | None = None,
    fix: tuple[Edit, ...] = (),
) -> Remark:
    """A remark at a bar, beat and pass (None: on the piece as a whole). Without a `suggestion` the fix is shown."""
    if fix and suggestion is None:
        suggestion = shown(fix)
    bar_name, beat, pass_ = spot or (None, None, None)
    return Remark(severity, code, message, place, bar_name, beat, pass_, suggestion, fix)


def said(spot: Spot) -> str:
    """A bar and beat as a musician writes them."""
    return f"{spot[0]}:{beat_name(spot[1])}"


def spot_of(note: np.void, reading: Reading) -> Spot:
    """Bar, beat and pass of a performed note (PLAYED)."""
    row = reading.performance.bars["row"][note["ordinal"]]
    return reading.score.bar_name(row), round(float(note["beat"]), 6), int(note["pass"])


def place_of(note: np.void, reading: Reading) -> str:
    """Where a note (PLAYED) begins, as a plan writes it."""
    return said(spot_of(note, reading))


def keys_of(row: int, reading: Reading) -> dict[str, str]:
    """The keys by which an entry of the plan means one note: its place, and its voice if higher notes begin there."""
    notes, note = reading.performance.notes, reading.performance.notes[row]
    beside = np.flatnonzero(np.abs(notes["score_onset"] - note["score_onset"]) < NEAR)
    keys = {"at": place_of(note, reading)}
    if np.any(notes["pitch"][beside] > note["pitch"]):
        keys["for"] = ", ".join([*part_of(note, reading).values(), f"voice {note['voice']}"])
    return keys


def part_of(note: np.void, reading: Reading) -> dict[str, str]:
    """The key by which an entry keeps to the part of a note, where there are others."""
    return {"for": f"part {note['part'] + 1}"} if len(reading.score.parts) > 1 else {}


def first_few(rows: Iterable[int], reading: Reading, tell: Callable[[int], Remark]) -> Iterator[Remark]:
    """Tell of the first places among these rows of the notes, and how many more there are; where the plan accepts
    something, in any case. What is the same each time through is told once."""
    notes, accepted = reading.performance.notes, _accepted_places(reading)
    first: dict[tuple, int] = {}
    for row in rows:
        first.setdefault((notes["part"][row], *spot_of(notes[row], reading)[:2]), int(row))
    expected = {row for (_, bar, beat), row in first.items() if {(bar, None), (bar, near(beat))} & accepted}
    others = [row for row in first.values() if row not in expected]
    yield from map(tell, sorted(expected))
    remarks = [tell(row) for row in others[:MOST_TOLD]]
    yield from remarks
    if (more := len(others) - MOST_TOLD) > 0:
        message = f"and {more} more place{'s' * (more > 1)} like these ({remarks[0].code})"
        spot = spot_of(notes[others[MOST_TOLD]], reading)
        yield replace(remark_at(remarks[0].severity, remarks[0].code, message, spot, None), more=more)


def _accepted_places(reading: Reading) -> set[tuple[str, float | None]]:
    """Where the plan accepts cautions: names of bars and beats (None: anywhere in the bar)."""
    found = set()
    for acceptance in reading.plan.accept:
        if acceptance.at is not None:
            with suppress(Fault):  # then it meets nothing, which is told elsewhere
                found.add(reading.where.named(acceptance.at))
    return found
