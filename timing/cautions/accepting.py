"""What a plan accepts: which remarks its entries under `accept` mean, and which entries mean none any more."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import suppress
from dataclasses import replace
from string import ascii_letters

import numpy as np

from timing.cautions.rules import RULES, met
from timing.plan import words
from timing.plan.accept import Acceptance
from timing.plan.position import Position, beat_name, shown
from timing.reading import Reading
from timing.remarks import Edit, Remark, Severity
from timing.where import Fault, Where, near

UNMATCHED = "acceptance-unmatched"

met(
    UNMATCHED,
    "An acceptance that has outlived its caution would silence the next one at that place, unheard.",
    example="""\
score: umbrella-stand.musicxml
phrases: [{bars: 1-8}]
slowing:
  - {rallentando: 7:1 - 8:1, to: 80%, then: a tempo}
accept:
  - {code: slowing-mid-phrase, at: 6:1, because: the slowdown stood there once}
""",
    threshold="every acceptance that meets no caution and no advice of its code at its place",
    source="our own rule",
    mends="takes the entry out, if no such remark stands anywhere else",
)


def with_acceptances(remarks: Iterable[Remark], reading: Reading) -> list[Remark]:
    """The remarks, those that the plan accepts with its reason; and a caution for each acceptance that meets none.

    Errors are never accepted, nor is what stands for several places at once.
    """
    where, entries = reading.where, reading.plan.accept
    by_place: dict[tuple, list[int]] = {}
    for number, entry in enumerate(entries):
        with suppress(Fault):  # a place that the score does not have: it meets nothing
            by_place.setdefault((entry.code, *_place_of(entry, where)), []).append(number)
    made, meeting = [], set()
    for remark in remarks:
        places = dict.fromkeys([(remark.bar_name, near(remark.beat)), (remark.bar_name, None)])
        meant = sorted(n for bar, beat in places for n in by_place.get((remark.code, bar, beat), ()))
        meant = [n for n in meant if _may_mean(entries[n], remark, where)]
        meeting.update(meant)
        made.append(replace(remark, accepted=entries[meant[0]].because) if meant else remark)
    return made + [_unmatched(entry, made) for n, entry in enumerate(entries) if n not in meeting]


def _place_of(acceptance: Acceptance, where: Where) -> tuple[str | None, float | None]:
    return where.named(acceptance.at) if acceptance.at is not None else (None, None)


def _may_mean(acceptance: Acceptance, remark: Remark, where: Where) -> bool:
    """Whether an acceptance of a remark's code at its place is one of this remark, on this pass."""
    if remark.severity is Severity.ERROR or remark.more:
        return False
    if acceptance.passes is None:
        return True
    if remark.bar_name is None:
        return False
    bars = where.bars
    here = np.isin(bars["row"], where.rows_called(remark.bar_name)) & (bars["pass"] == (remark.pass_ or 1))
    return bool((where.on_pass(acceptance.passes) & here).any())


def _unmatched(acceptance: Acceptance, remarks: list[Remark]) -> Remark:
    code, place = acceptance.code, acceptance.place("code")
    known = {rule.code for rule in RULES} | {remark.code for remark in remarks}
    if code not in known:
        meant = words.nearest(code, known)
        message = f"no caution is called {shown(code)}" + (f": did you mean '{meant}'?" if meant else "")
        return Remark(Severity.CAUTION, UNMATCHED, message, place, suggestion=meant and f"code: {meant}")
    there = f" at {acceptance.at}" if acceptance.at is not None else " of the piece as a whole"
    there += f", pass {acceptance.passes}" if acceptance.passes is not None else ""
    message = f"{code} is not told{there}"
    if elsewhere := next(_others(code, remarks, acceptance.at), None):
        at = _written_place(elsewhere)
        return Remark(Severity.CAUTION, UNMATCHED, f"{message}, but at {at}", place, suggestion=f"at: {at}")
    fix = (Edit("accept", None, acceptance.place()),)
    return Remark(Severity.CAUTION, UNMATCHED, f"{message}: nothing is left to accept", place,
                  suggestion="leave the entry out", fix=fix)  # fmt: skip


def _others(code: str, remarks: list[Remark], at: Position | None) -> Iterator[Remark]:
    """The remarks of this code that stand, the nearest first."""
    standing = [r for r in remarks if r.code == code and r.accepted is None and r.bar_name is not None and not r.more]
    bar = int(at.bar.rstrip(ascii_letters)) if at is not None else 0
    beat = float(at.beat or 1) if at is not None else 1.0
    yield from sorted(standing, key=lambda r: (abs((r.bar or 0) - bar), abs((r.beat or 1) - beat)))


def _written_place(remark: Remark) -> str:
    place = f"{remark.bar_name}" if remark.beat is None else f"{remark.bar_name}:{beat_name(remark.beat)}"
    return place + (f", pass: {remark.pass_}" if (remark.pass_ or 1) > 1 else "")
