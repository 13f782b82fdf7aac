"""The tone of every note, by the plan."""

from __future__ import annotations

import numpy as np

from timing.columns import ROUNDING
from timing.notes.playing import Played
from timing.performance import POINTS, TONES
from timing.plan import Plan
from timing.plan.edits import replaced
from timing.plan.sound import SecondTime, ToneChange
from timing.remarks import Severity
from timing.where import Where
from timing.where.hearings import Hearings


def with_tones(plan: Plan, played: Played, fretted: np.ndarray, where: Where) -> Played:
    """The notes with the tones of the plan; a tone on a repeat goes over one that holds for every pass. `fretted` is
    (parts,), which parts have a distance from the bridge."""
    hearings, table = Hearings(where), played.table.copy()
    moment = np.ascontiguousarray(table["score_onset"])
    second_times = tuple(second.at_its_pass() for second in plan.second_time if second.tone is not None)
    entries: tuple[ToneChange | SecondTime, ...] = (*plan.tone, *second_times)
    for entry in entries:
        voices = entry.for_ if isinstance(entry, ToneChange) else None
        chosen = played.lines.select(voices, entry.place("for"), hearings)
        tone = entry.tone
        for start, end in hearings.spans_of(entry):
            inside = slice(*np.searchsorted(moment, (start - ROUNDING, end - ROUNDING)))
            mine = chosen[inside]
            strung = fretted[table["part"][inside][mine]]
            if isinstance(tone, float) and not strung.all():
                _tell_no_bridge(entry, tone, bool(strung.any()), hearings)
            table["tone"][inside][mine] = TONES.index(tone if isinstance(tone, str) else "naturale")
            table["pluck"][inside][mine] = tone if isinstance(tone, float) else np.nan
    return played.with_table(table, hearings)


def _tell_no_bridge(entry: ToneChange | SecondTime, cm: float, elsewhere: bool, hearings: Hearings) -> None:
    """A caution where a distance from the bridge is asked of what has none; `elsewhere` it has a sense."""
    message = "a distance from the bridge has a sense on guitars only: elsewhere a tone is dark or bright"
    colour = min(TONES[3:], key=lambda tone: abs(POINTS[tone] - cm))
    fix = () if elsewhere else (replaced(entry, {"tone": colour}),)
    suggestion = f"tone: {colour}"
    hearings.remark(Severity.CAUTION, "no-strings", message, entry.place("tone"), suggestion=suggestion, fix=fix)
