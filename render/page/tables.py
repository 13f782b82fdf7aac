"""What the script knows of time and place, as plain values; long columns as base64 of little-endian numbers.

A place is a hearing (a row of the alignment of all readings: one bar on one pass) and quarters into that bar. Each
reading says when its places come; each score says where its bars and noteheads lie on every paper.
"""

from __future__ import annotations

import base64
from collections.abc import Sequence
from typing import Any

import numpy as np

from render.drawing.style import LETTERS
from render.page.music import Music, PageWidth
from render.page.recording import Recording
from render.sound.rooms import room_values
from timing.comparing import Comparison
from timing.comparing.spans import PHRASE, SECTION
from timing.reading import Reading

_STEP = 0.25  # quarters; between neighbouring points time is taken for straight, which is then less than 3 ms off
_MOST_POINTS = 200_000
_KINDS = {"f": "<f8", "i": "<i4"}


def script_values(
    readings: Sequence[Reading], names: Sequence[str], recordings: Sequence[Recording], music: Sequence[Music],
    comparison: Comparison, labels: Sequence[str],
) -> dict[str, Any]:  # fmt: skip
    """All that the script is told. `labels` are what the spans of the comparison are called."""
    hearings = comparison.alignment.rows
    drawn_on = {number: place for place, one in enumerate(music) for number in one.readings}
    return {
        "readings": [
            {"name": name, "letter": LETTERS[number], "score": drawn_on[number],
             **reading_values(reading, hearings[number], recording)}
            for number, (reading, name, recording) in enumerate(zip(readings, names, recordings, strict=True))
        ],
        "scores": [score_values(one, readings[one.readings[0]].where.endings) for one in music],
        "rooms": room_values(recordings[0].rate),
        "phrases": [
            {"label": label, "span": row, "start": span.start, "end": span.end}
            for row, (span, label) in enumerate(zip(comparison.spans, labels, strict=True))
            if span.kind in (PHRASE, SECTION)
        ],
    }  # fmt: skip


def reading_values(reading: Reading, hearings: np.ndarray, recording: Recording) -> dict[str, Any]:
    """One reading; `hearings` are the rows of the alignment that its performed bars are."""
    bars, time = reading.performance.bars, reading.performance.time
    quarters = _points(reading)
    return {
        "rate": recording.rate, "frames": recording.frames, "order": reading.order,
        "row": packed(bars["row"]), "pass": packed(bars["pass"]), "hearing": packed(hearings),
        "start": packed(bars["start"]), "quarters": packed(quarters), "seconds": packed(time.seconds(quarters)),
    }  # fmt: skip


def _points(reading: Reading) -> np.ndarray:
    """Quarters along the performed order between which time is taken for straight: wherever the pace has a corner, at
    every bar line, and evenly between."""
    bars, length = reading.performance.bars, reading.performance.quarters
    even = np.arange(0, length, max(_STEP, length / _MOST_POINTS))
    points = np.unique(np.concatenate([reading.performance.time.knots, bars["start"], even, [length]]))
    return points[(points >= 0) & (points <= length)]


def score_values(music: Music, endings: np.ndarray) -> dict[str, Any]:
    """One score; `endings` is how many bars under endings come before each bar."""
    score = music.score
    bars, heads = score.bars, score.heads
    order = np.lexsort((heads["offset"], heads["bar"]))
    return {
        "names": [score.bar_name(row) for row in range(len(bars))],
        "length": packed(bars["length"]), "shift": packed(bars["shift"]), "unit": packed(bars["unit"]),
        "endings": packed(endings),
        "head": packed(order), "from": packed(heads["offset"][order]),
        "to": packed((heads["offset"] + heads["length"])[order]),
        "first": packed(np.searchsorted(heads["bar"][order], np.arange(len(bars) + 1))),
        "papers": [_paper_values(paper) for paper in music.papers],
    }  # fmt: skip


def _paper_values(paper: PageWidth) -> dict[str, Any]:
    """In which system each bar lies, and the x of moments: knots from which `first` on are those of each bar."""
    engraving = paper.engraving
    rows = np.arange(len(engraving.lengths))
    moments = [system.moments for system in engraving.systems]
    bar = np.concatenate([rows, rows, *[each["bar"] for each in moments]])
    offset = np.concatenate([np.zeros(len(rows)), engraving.lengths, *[each["offset"] for each in moments]])
    order = np.lexsort((offset, bar))
    bar, offset = bar[order], offset[order]
    return {
        "name": paper.name, "prefix": paper.prefix,
        "width": [plot.width for plot in paper.plots],
        "top": [plot.pace_top / plot.height for plot in paper.plots],
        "bottom": [plot.level_bottom / plot.height for plot in paper.plots],
        "height": [plot.height for plot in paper.plots],
        "system": packed(engraving.place(rows, 0)[0]),
        "first": packed(np.searchsorted(bar, np.arange(len(rows) + 1))),
        "offset": packed(offset), "x": packed(engraving.place(bar, offset)[1]),
    }  # fmt: skip


def packed(column: np.ndarray) -> str:
    """A column as base64 of 8-byte floats or 4-byte whole numbers, little-endian."""
    kind = "f" if column.dtype.kind == "f" else "i"
    return base64.b64encode(np.ascontiguousarray(column, _KINDS[kind]).tobytes()).decode("ascii")
