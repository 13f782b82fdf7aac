"""The performed notes as they come to be played: their ornaments, then when each begins and is let go."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from timing.columns import ROUNDING
from timing.notes.displacement import Displacement, delay, displacement
from timing.notes.lines import Lines
from timing.notes.ornaments import realise
from timing.notes.touch import QUICK, onsets_and_ends
from timing.notes.written import Written
from timing.plan import Plan
from timing.remarks import Remark
from timing.time.pace import Pace
from timing.where import Where
from timing.where.hearings import Hearings

LEAD = 0.020  # seconds where a voice leads without a number: W. Goebl, JASA 110 (2001), melody lead with accompaniment


@dataclass(frozen=True, eq=False)
class Played:
    """The performed notes, those of ornaments among them, sorted by score onset."""

    table: np.ndarray  # PLAYED
    rows: np.ndarray  # the score's row (NOTE) of each
    lines: Lines
    remarks: tuple[Remark, ...]  # of the stage that made it

    def with_table(self, table: np.ndarray, hearings: Hearings) -> Played:
        """These notes with other values, and what the stage that gave them has to say."""
        return replace(self, table=table, remarks=tuple(hearings.remarks))


def with_ornaments(plan: Plan, written: Written, rows: np.ndarray, pace: Pace, where: Where) -> Played:
    """The written notes with their ornaments as several notes, and the chords that the plan strums. `rows` are the
    score's rows (NOTE) of the written notes, with the signs that act."""
    hearings = Hearings(where)
    table, rows, lines = written.table, _strummed(rows, written.table, plan, written.lines, hearings), written.lines
    if "ornaments" not in plan.marks.ignore:
        table, rows = realise(table, rows, plan.articulation, pace.time, where.bars, written.fretted)
        lines = lines.among(table["id"])
    table = table.copy()
    table["role"] = lines.role
    return Played(table, rows, lines, tuple(hearings.remarks))


def with_touch(
    plan: Plan, written: Written, played: Played, pace: Pace, where: Where, amount: float = 1.0
) -> tuple[Played, Displacement]:
    """The notes with the seconds at which they begin and are let go, and how voices are displaced against the clock.
    `amount` scales what is displaced, delayed or leads."""
    hearings, table, lines = Hearings(where), played.table.copy(), played.lines
    lead = amount * _leads(plan, lines, hearings)
    displaced = displacement(plan.rubato, written.table, lines, pace.time, hearings, amount)
    table["onset"], table["end"] = onsets_and_ends(
        played.rows, table, plan.articulation, pace.time, lead, pace.breaths, displaced
    )
    delay(plan.holds, played.rows, table, lines, hearings, amount)
    return played.with_table(table, hearings), displaced


def _strummed(rows: np.ndarray, table: np.ndarray, plan: Plan, lines: Lines, hearings: Hearings) -> np.ndarray:
    """The score's rows (NOTE) of the notes with the rasgueados of the plan."""
    rows, moment = rows.copy(), np.ascontiguousarray(table["score_onset"])
    for entry in plan.strings:
        if entry.rasgueado:
            chosen = lines.select(entry.for_, entry.place("for"), hearings)
            for start, end in hearings.spans_of(entry):
                inside = np.arange(*np.searchsorted(moment, (start - ROUNDING, end - ROUNDING)))
                rows["roll"][inside[chosen[inside]]] = QUICK
    return rows


def _leads(plan: Plan, lines: Lines, hearings: Hearings) -> np.ndarray:
    """(n,) seconds by which each note comes early."""
    lead = np.zeros(lines.count)
    for name, voice in plan.voices.items():
        if voice.lead:
            chosen = lines.select(name, plan.key_place("voices", name), hearings)
            lead[chosen] = LEAD if voice.lead is True else voice.lead
    return lead
