"""Taps of a page made into entries of the plan: which beats there are to tap, what a tapping comes to, and the text
with what somebody took of it. The fit itself is `timing.fitting`'s.

Nothing is kept between two messages: each brings its taps along, and the same taps give the same entries.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Annotated, Any, Literal

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from timing.fitting import Fit, FittedEntry, beat_quarters, cleaned, fit, written
from timing.fitting.taps import Taps
from timing.plan.entry import Entry
from timing.reading import Reading
from timing.remarks import CannotDo
from timing.time.pace import build_pace

MOST_TAPS = 5_000  # of one tapping: more than an hour of beats
USUAL_NOISE = 0.025  # seconds by which taps of one person scatter (20 to 30 ms; papers on tapping, from memory)

_Second = Annotated[float, Field(ge=-1e6, le=1e6, allow_inf_nan=False)]
_Quarter = Annotated[float, Field(ge=0, le=1e6, allow_inf_nan=False)]
_Answer = Annotated[list[Annotated[int, Field(ge=0, le=MOST_TAPS)]], Field(min_length=2, max_length=2)]  # tap, beats
_Words = Annotated[str, Field(max_length=500)]


class Tapped(BaseModel):
    """What a page asks about taps, checked.

    They begin at the quarter `since` of the performed order, and the last is on the last beat before `until`; or, if
    they have `ended`, on the end of the music itself. `answers` say of a tap how many beats there are to the next one.
    `take` and `leave` name fitted entries and entries of the plan as the answer had them.
    """

    model_config = ConfigDict(extra="forbid", strict=True)

    do: Literal["taps"] = "taps"
    what: Literal["beats", "fit", "take"]
    number: Annotated[int, Field(ge=0, le=2**31)] = 0
    unit: Literal["beat", "half bar", "bar", "half beat"] = "beat"
    since: _Quarter = 0.0
    until: _Quarter | None = None
    ended: bool = False
    seconds: Annotated[list[_Second], Field(max_length=MOST_TAPS)] = []
    latency: Annotated[float, Field(ge=-1, le=1, allow_inf_nan=False)] = 0.0
    noise: Annotated[float, Field(ge=0.001, le=0.2, allow_inf_nan=False)] = USUAL_NOISE
    answers: Annotated[list[_Answer], Field(max_length=MOST_TAPS)] = []
    take: Annotated[list[_Words], Field(max_length=1000)] = []
    leave: Annotated[list[_Words], Field(max_length=1000)] = []


def understood(message: dict[str, Any]) -> Tapped:
    """A message of a page. CannotDo if it is none."""
    try:
        return Tapped.model_validate(message)
    except ValidationError:
        raise CannotDo.because("taps", "these taps are not as the page sends them") from None


def answer(reading: Reading, message: dict[str, Any]) -> dict[str, Any]:
    """What the page is told of the beats to be tapped (`beats`), or of what taps come to (`fit`).

    `beats`: the moments to be tapped as places on the page, and for the count-in how many clicks there are, so many
    seconds apart. `fit`: the taps as points of pace against the fitted tempo, entries to be taken, entries of the plan
    that say other things of the same bars, and questions. CannotDo where nothing can be made of it.
    """
    asked = understood(message)
    told = _beats(reading, asked) if asked.what == "beats" else _fitted(reading, asked)
    return {"what": "beats" if asked.what == "beats" else "fit", "number": asked.number, **told}


def changed(reading: Reading, text: str, file: Path, message: dict[str, Any]) -> str:
    """The text of the plan, as it stands in `file`, with the entries that were taken. CannotDo where they are no longer
    what the taps come to."""
    asked = understood(message)
    _, fitted = _fit(reading, asked)
    entries = {_name(entry): entry for entry in fitted.entries}
    standing = {_standing(entry): entry for entry in fitted.standing}
    if not set(asked.take) <= entries.keys() or not set(asked.leave) <= standing.keys():
        raise CannotDo.because("taps", "the plan has changed meanwhile, and the taps come to other entries: look again")
    taken = [entry for name, entry in entries.items() if name in asked.take]
    left = [entry for name, entry in standing.items() if name in asked.leave]
    return written(text, taken, file, left)


# -- the beats


def _beats(reading: Reading, asked: Tapped) -> dict[str, Any]:
    where, time = reading.where, reading.performance.time
    beats = beat_quarters(where, asked.unit, asked.since, asked.until)
    last = where.length if asked.until is None else asked.until
    beats = beats[beats < last - 1e-6]
    if len(beats) < 4:
        raise CannotDo.because("taps", "from there to the end there is too little to tap: begin further back")
    lengths = np.diff(np.append(beats, last))
    apart = 60 * float(lengths[0]) / float(time.basic(beats[0]))
    clicks = max(round(float(where.full_bar(float(beats[0])) / lengths[0])), 1)
    while clicks < 3:  # nobody takes a tempo from one click
        clicks *= 2
    return {"unit": asked.unit, "beats": [_spot(reading, beat) for beat in beats.tolist()], "clicks": clicks,
            "apart": round(apart, 6)}  # fmt: skip


def _spot(reading: Reading, quarter: float) -> dict[str, Any]:
    """A moment of the performed order as a place on the page."""
    where = reading.where
    ordinal = where.ordinal(quarter)
    bar = where.bars[ordinal]
    name, beat, _ = where.beat(quarter)
    return {"quarter": round(quarter, 6), "row": int(bar["row"]), "offset": round(quarter - float(bar["start"]), 6),
            "pass": int(bar["pass"]), "bar": name, "beat": round(float(beat), 3)}  # fmt: skip


# -- the fit


def _fit(reading: Reading, asked: Tapped) -> tuple[Taps, Fit]:
    seconds = asked.seconds[:-1] if asked.ended else asked.seconds
    answers = {tap: beats for tap, beats in asked.answers}
    taps = cleaned(reading.where, seconds, asked.unit, asked.since, asked.until, asked.latency, answers)
    if asked.ended:
        end = reading.where.length if asked.until is None else asked.until
        quarters = np.append(taps.quarters, end)
        taps = replace(taps, quarters=quarters, seconds=np.append(taps.seconds, asked.seconds[-1] - asked.latency))
    return taps, fit(reading, taps.quarters, taps.seconds, asked.noise)


def _fitted(reading: Reading, asked: Tapped) -> dict[str, Any]:
    taps, fitted = _fit(reading, asked)
    return {
        "points": _points(reading, taps, fitted),
        "entries": [_entry(reading, entry) for entry in fitted.entries],
        "standing": [{"name": _standing(entry), "words": _standing(entry)} for entry in fitted.standing],
        "questions": [
            {"tap": each.tap, "words": each.message, "beats": list(each.beats), "chosen": each.chosen}
            for each in taps.questions
        ],
        "leftovers": [each.message for each in fitted.leftovers],
        "tempo": fitted.tempo, "explained": round(fitted.explained, 4), "dropped": len(taps.dropped),
    }  # fmt: skip


def _points(reading: Reading, taps: Taps, fitted: Fit) -> list[dict[str, Any]]:
    """The pace of each tapped interval against the fitted tempo, in the middle of it."""
    middles = (taps.quarters[1:] + taps.quarters[:-1]) / 2
    played = 60 * np.diff(taps.quarters) / np.diff(taps.seconds)
    basic = build_pace(fitted.plan, reading.where).time.basic(middles)
    pace = np.round(played / basic, 4).tolist()
    return [{**_spot(reading, middle), "pace": each} for middle, each in zip(middles.tolist(), pace, strict=True)]


def _entry(reading: Reading, entry: FittedEntry) -> dict[str, Any]:
    return {
        "name": _name(entry), "section": entry.section, "words": in_words(entry.section, entry.entry),
        "explains": round(entry.explains, 4), "sure": round(entry.sure, 4), "about": entry.about,
        "start": _spot(reading, entry.start), "end": _spot(reading, max(entry.end - 1e-4, entry.start)),
    }  # fmt: skip


def _name(entry: FittedEntry) -> str:
    """What tells a fitted entry from all others."""
    return in_words(entry.section, entry.entry)


def _standing(entry: Entry) -> str:
    section = {"TempoMark": "tempo", "Hold": "holds", "Rubato": "rubato"}.get(type(entry).__name__, "slowing")
    return in_words(section, dict(entry.source or {}))


def in_words(section: str, entry: dict[str, Any]) -> str:
    """An entry as one reads it aloud: rallentando 7:1 - 8:3, to 80%, then a tempo."""
    entry = {key: value for key, value in entry.items() if key != "why"}
    passes = entry.pop("pass", None)
    if section == "tempo":
        place = entry.get("at") or entry.get("over")
        said = [f"tempo {entry['tempo']}" + (f" from {place}" if "at" in entry else f" over {place}" if place else "")]
    elif section == "phrases":
        arch = entry["arch"]
        said = [f"arch over {entry['bars']}", f"{arch['pace']} faster at its height"]
        if "pace peak" in arch:
            said.append(f"highest after {arch['pace peak']}")
    else:
        (first, where), *rest = entry.items()
        said = [f"{first} {where}", *(f"{key} {value}" for key, value in rest)]
    if passes is not None:
        said.append({"last": "the last time", "da capo": "after the da capo"}.get(str(passes), f"pass {passes}"))
    return ", ".join(said)
