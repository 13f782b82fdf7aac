"""Scores and plans made by hand, small enough to read in a test."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from timing.plan import Plan
from timing.reading import Reading, perform
from timing.score import BAR, HEAD, MARK, NOTE, PART, Score, Sign

STEPS = {"c": 0, "d": 2, "e": 4, "f": 5, "g": 7, "a": 9, "b": 11}


def score(
    bars: int = 8,
    metre: tuple[int, int] = (4, 4),
    *,
    voices: dict[int, str] | None = None,
    marks: list[dict] | None = None,
    pickup: float = 0.0,
    program: int = 0,
    parts: tuple[str, ...] = ("Piano",),
) -> Score:
    """A score of `bars` full bars, numbered from 1 (from 0 with a `pickup` of so many quarters).

    `voices` maps a voice number to notes written as `c4:1 e4:0.5 r:1`: pitch and octave, then the length in quarters,
    with signs after it: . staccato, - tenuto, ( slurred, ) end of slur, > accent, ~ rolled upwards, g grace (slashed),
    G grace without a stroke; `c4+e4:1` is a chord. The notes are laid end to end from the first bar on. Without
    `voices`: a c4 on every quarter of the bar.
    """
    beats, unit = metre
    full = beats * 4 / unit
    count = bars + (pickup > 0)
    table = np.zeros(count, BAR)
    table["number"] = np.arange(count) + (0 if pickup else 1)
    table["length"], table["beats"], table["unit"] = full, beats, unit
    if pickup:
        table["length"][0], table["shift"][0] = pickup, full - pickup
    starts = np.append(0, np.cumsum(table["length"]))
    if voices is None:
        voices = {1: " ".join(["c4:1"] * int(starts[-1]))}
    rows = []
    for voice, text in voices.items():
        at, waiting = 0.0, []
        for word in text.split():
            name, rest = word.split(":")
            length = float(rest.rstrip(".-()>~gG"))
            signs = rest[len(rest.rstrip(".-()>~gG")) :]
            if "g" in signs or "G" in signs:
                waiting.append((name, "g" in signs))
                continue
            bar = int(np.searchsorted(starts, at + 1e-9, side="right")) - 1
            pitches = [] if name == "r" else [midi(pitch) for pitch in name.split("+")]
            rows += [(bar, at - starts[bar], voice, pitch, length, signs, 0, False) for pitch in pitches]
            for back, (grace, slashed) in enumerate(reversed(waiting), 1):
                rows.append((bar, at - starts[bar], voice, midi(grace), 0.0, "", back, slashed))
            waiting = []
            at += length
    notes = np.zeros(len(rows), NOTE)
    for note, (bar, offset, voice, pitch, length, signs, grace, slashed) in zip(notes, sorted(rows), strict=True):
        note["bar"], note["offset"], note["voice"], note["pitch"], note["length"] = bar, offset, voice, pitch, length
        note["grace"], note["slashed"], note["staff"], note["fret"], note["finger"] = grace, slashed, 1, -1, -1
        note["roll"] = "~" in signs
        for mark, sign in (
            (".", Sign.STACCATO),
            ("-", Sign.TENUTO),
            ("(", Sign.SLURRED),
            (")", Sign.SLUR_END),
            (">", Sign.ACCENT),
        ):
            note["signs"] |= sign if mark in signs else 0
    made = np.zeros(len(marks or []), MARK)
    made["note"], made["goal"], made["value"] = -1, -1, np.nan
    for row, mark in zip(made, marks or [], strict=True):
        for key, value in mark.items():
            row[key] = value
        row["end_bar"] = max(row["end_bar"], row["bar"])
    part = np.zeros(len(parts), PART)
    part["name"], part["instrument"], part["program"] = parts, parts, program
    heads = np.zeros(len(notes), HEAD)
    return Score(Path("made-by-hand.musicxml"), "", notes, heads, table, made, part)


def midi(name: str) -> int:
    """c4 is 60; a sharp is written #, a flat _."""
    step, octave = name.rstrip("0123456789"), int(name.lstrip("abcdefg#_"))
    return 12 * (octave + 1) + STEPS[step[0]] + step.count("#") - step.count("_")


def reading(plan: dict | None = None, made: Score | None = None, **score_options) -> Reading:
    """The reading of a plan (as a mapping, in the plan's own words) over a score made by hand."""
    return perform(
        made or score(**score_options),
        Plan.model_validate({"score": "made-by-hand.musicxml", "tempo": 60} | (plan or {})),
    )


def rows(table: np.ndarray, *columns: str) -> list[tuple]:
    """These columns of a table, row by row."""
    return [tuple(row) for row in table[list(columns)].tolist()]


_NOTE = (
    "<note><pitch><step>C</step><octave>4</octave></pitch><duration>1</duration><voice>1</voice><type>quarter</type></note>"
)
_FIRST = "<attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>"


def musicxml(bars: int, before: dict[int, str] | None = None, after: dict[int, str] | None = None) -> str:
    """MusicXML of so many 4/4 bars of four c4 quarters; `before` and `after` hold elements for the ends of a bar."""
    before, after = before or {}, after or {}
    body = "".join(
        f'<measure number="{n}">{_FIRST if n == 1 else ""}{before.get(n, "")}{_NOTE * 4}{after.get(n, "")}</measure>'
        for n in range(1, bars + 1)
    )
    return (
        '<?xml version="1.0" encoding="UTF-8"?><score-partwise version="4.0"><part-list><score-part id="P1">'
        f'<part-name>Piano</part-name></score-part></part-list><part id="P1">{body}</part></score-partwise>'
    )


def midi_bytes() -> bytes:
    """A MIDI file of four quarter notes."""
    import io

    import mido

    track = mido.MidiTrack()
    for _ in range(4):
        track += [mido.Message("note_on", note=60, velocity=64), mido.Message("note_off", note=60, time=480)]
    written = io.BytesIO()
    mido.MidiFile(tracks=[track], ticks_per_beat=480).save(file=written)
    return written.getvalue()
