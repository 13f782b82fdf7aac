"""Scores that print dynamics and other marks of sound, and the levels that are heard."""

from __future__ import annotations

from support import reading, score


def sign(kind: str, bar: int, beat: float = 1, **more) -> dict:
    """A mark over a bar (as printed) of 4/4."""
    return {"kind": kind, "bar": bar - 1, "offset": beat - 1.0, "staff": 1} | more


def dynamic(text: str, bar: int, beat: float = 1, **more) -> dict:
    return sign("dynamic", bar, beat, text=text, **more)


def hairpin(value: int, bar: int, beat: float, end_bar: int, end_beat: float, **more) -> dict:
    return sign("hairpin", bar, beat, end_bar=end_bar - 1, end_offset=end_beat - 1.0, value=value, **more)


def made(*marks: dict, plan: dict | None = None, **options):
    return reading(plan or {}, score(marks=list(marks), **options))


def levels(played, *quarters: float, part: int = 0, staff: int | None = None) -> list[float]:
    """dB of the notes that begin at these quarters."""
    notes = played.performance.notes
    mine = (notes["part"] == part) & (True if staff is None else notes["staff"] == staff)
    return [round(float(notes["level"][mine & (notes["score_onset"] == at)][0]), 6) for at in quarters]


def fates(played) -> list[str]:
    return [use.fate for use in played.marks]
