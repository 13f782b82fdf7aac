"""A performance as plain data: the timeline as JSON or CSV, remarks as JSON."""

from __future__ import annotations

import csv
import io
from typing import Any

import numpy as np

from render.events.levels import velocity
from timing.marks.uses import MarkUse
from timing.performance import ATTACKS, ROLES, TECHNIQUES, TONES
from timing.reading import Reading
from timing.remarks import Remark
from timing.where.beats import beats_of

NOTE_COLUMNS = (
    "bar", "beat", "pass", "part", "staff", "voice", "role", "midi", "onset", "duration", "score_onset",
    "score_duration", "level", "velocity", "tone", "string", "fret", "technique", "attack", "sliding", "bar_name",
)  # fmt: skip


def timeline(reading: Reading) -> dict[str, Any]:
    """The timeline as plain values: order, notes (sorted by onset), grid (every beat) and marks (what became of the
    score's own).

    onset, duration, second in seconds; score_onset, score_duration, score in quarters along the performed order;
    bpm in quarters a minute; level in dB below velocity 127. `bar` is the number of a bar, `bar_name` what a plan calls
    it: the number with the letters after it, as in 12a. `string` is 1 for the highest, 0 for none, and `fret` -1 where
    there is no string; what is `sliding` bends, or sounds on from a slide, apart from the other notes of its part.
    """
    notes = note_columns(reading)
    rows = [dict(zip(NOTE_COLUMNS, row, strict=True)) for row in zip(*notes.values(), strict=True)]
    seconds = float(reading.performance.time.length)
    return {
        "order": reading.order.split(", "),
        "seconds": seconds,
        "notes": rows,
        "grid": _grid(reading),
        "marks": [mark_values(use) for use in reading.marks],
    }


def note_columns(reading: Reading) -> dict[str, list]:
    """The notes column by column, in the units of `timeline`."""
    notes = reading.performance.notes
    names = np.array([str(name) for name in reading.score.parts["name"]])
    tones = np.array(TONES, object)[notes["tone"]]
    by_place = np.isfinite(notes["pluck"])
    tones[by_place] = [f"{cm:g} cm" for cm in notes["pluck"][by_place]]
    names_of_bars = _bar_names(reading)
    columns = (
        notes["bar"], _tidy(notes["beat"]), notes["pass"], names[notes["part"]], notes["staff"], notes["voice"],
        np.array(ROLES)[notes["role"]], notes["pitch"], _tidy(notes["onset"]), _tidy(notes["end"] - notes["onset"]),
        _tidy(notes["score_onset"]), _tidy(notes["score_length"]), _tidy(notes["level"]), velocity(notes["level"]),
        tones, notes["string"], notes["fret"], np.array(TECHNIQUES)[notes["technique"]],
        np.array(ATTACKS)[notes["attack"]], reading.performance.lanes["sliding"][notes["lane"]],
        names_of_bars[notes["ordinal"]],
    )  # fmt: skip
    return {name: column.tolist() for name, column in zip(NOTE_COLUMNS, columns, strict=True)}


def _tidy(values: np.ndarray) -> np.ndarray:
    """Without the last digits' noise: a nanosecond is exact enough."""
    return np.round(values, 9)


def timeline_csv(reading: Reading) -> str:
    """The notes of the timeline as comma-separated values with a heading (RFC 4180)."""
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(NOTE_COLUMNS)
    writer.writerows(zip(*note_columns(reading).values(), strict=True))
    return text.getvalue()


def _bar_names(reading: Reading) -> np.ndarray:
    """(performed bars,) what each is called."""
    bars = reading.performance.bars
    return np.char.add(bars["number"].astype(str), bars["suffix"])


def _grid(reading: Reading) -> list[dict[str, Any]]:
    bars, time = reading.performance.bars, reading.performance.time
    beats = beats_of(bars, 4 / bars["unit"])
    ordinal, offset = beats["row"], beats["start"]
    bar = bars[ordinal]
    score = bar["start"] + offset
    columns = {
        "bar": bar["number"],
        "beat": _tidy(1 + (offset + bar["shift"]) * bar["unit"] / 4),
        "pass": bar["pass"],
        "score": _tidy(score),
        "second": _tidy(time.seconds(score)),
        "bpm": _tidy(time.tempo(score)),
        "bar_name": _bar_names(reading)[ordinal],
    }
    return [dict(zip(columns, row, strict=True)) for row in zip(*(c.tolist() for c in columns.values()), strict=True)]


def mark_values(use: MarkUse) -> dict[str, Any]:
    """What became of a mark as plain values for JSON; `passes` are those on which the plan stands in its place."""
    place = use.by.place() if use.by is not None else None
    return {
        "section": use.section,
        "text": use.text,
        "bar": use.bar,
        "beat": use.beat,
        "part": use.part,
        "fate": str(use.fate),
        "why": use.why,
        "line": place.line if place else None,
        "passes": list(use.passes),
        "count": use.count,
        "bar_name": use.bar,
    }


def remark_values(remark: Remark) -> dict[str, Any]:
    """A remark as plain values for JSON."""
    place = remark.place
    return {
        "severity": str(remark.severity),
        "code": remark.code,
        "message": remark.message,
        "line": place.line if place else None,
        "column": place.column if place else None,
        "bar": remark.bar,
        "beat": remark.beat,
        "pass": remark.pass_,
        "passes": list(remark.passes) or ([remark.pass_] if remark.pass_ is not None else []),
        "suggestion": remark.suggestion,
        "accepted": remark.accepted,
        "bar_name": remark.bar_name,
    }
