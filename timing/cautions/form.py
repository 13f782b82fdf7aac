"""The rules for the form: what a repeat does, and what an ending leaves out."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from timing.cautions.rules import ADVICE, COMMON_PRACTICE, OWN_VALUE, remark_at, rule
from timing.columns import NEAR
from timing.plan.edits import added, replaced
from timing.plan.sound import Dynamic
from timing.plan.time import Slowing, TempoMark
from timing.reading import Reading
from timing.remarks import Remark
from timing.where import Run
from timing.where.naming import bars_at


@rule(
    "second-time-same",
    "A repeat that says exactly the same twice is a chance left unused.",
    example="""\
score: umbrella-stand.musicxml
tempo: 126
""",
    threshold=(
        "all bars of a repeat last as long and sound as they did before: no onset, length, level, tone, string or "
        "slide differs"
    ),
    source=f"{COMMON_PRACTICE}: a repeat is varied",
    mends="makes the second time 3 dB softer",
)
def second_time_same(reading: Reading) -> Iterator[Remark]:
    bars, score = reading.performance.bars, reading.score
    before = _heard_before(bars["row"])
    again = before >= 0
    features = _features(reading)
    same = again & np.isclose(features, features[:, before], rtol=0, atol=NEAR).all(axis=0)
    for line in np.split(np.arange(len(bars)), np.flatnonzero(~reading.where.neighbours) + 1):
        heard = line[again[line]]
        if len(heard) and same[heard].all():
            first, last = bars[heard[0]], bars[heard[-1]]
            span = bars_at(score, int(first["row"]), int(last["row"]))
            message = (
                f"bar{'s' * (len(heard) > 1)} {span} {'are' if len(heard) > 1 else 'is'} heard again "
                f"(pass {first['pass']}) exactly as before"
            )
            keys = {"bars": span, "softer": "3 dB"} | ({} if first["pass"] == 2 else {"pass": int(first["pass"])})
            spot = reading.where.beat(float(first["start"]))
            yield remark_at(ADVICE, "second-time-same", message, spot, None, fix=(added("second time", keys),))


def _heard_before(rows: np.ndarray) -> np.ndarray:
    """(n,) the performed bar that was the hearing before this one of the same bar; -1 the first time."""
    order = np.argsort(rows, kind="stable")
    before = np.full(len(rows), -1)
    repeated = rows[order][1:] == rows[order][:-1]
    before[order[1:][repeated]] = order[:-1][repeated]
    return before


def _features(reading: Reading) -> np.ndarray:
    """(k, bars) what a listener can tell two hearings of a bar by: how long it is, and when, how long, how loud, in
    which tone, on which string and how its notes sound and slide, added up."""
    bars, notes, slides = reading.performance.bars, reading.performance.notes, reading.performance.glides
    edges = reading.performance.time.seconds(np.append(bars["start"], reading.where.length))
    sounding = np.minimum(notes["end"], edges[notes["ordinal"] + 1]) - notes["onset"]
    columns = [notes[name] for name in ("level", "tone", "string", "technique", "attack")]
    columns.append(np.nan_to_num(notes["pluck"]))
    columns += [notes["onset"] - edges[notes["ordinal"]], sounding]
    sums = [np.bincount(notes["ordinal"], column.astype(float), len(bars)) for column in columns]
    slid = notes["ordinal"][slides["note"]]
    moves = (slides["swell"], slides["sung"], slides["arrive"] - slides["leave"])
    sums += [np.bincount(slid, moved, len(bars)) for moved in moves]
    return np.stack([np.diff(edges), *sums])


# -- endings


@rule(
    "end-skipped",
    "What leads to an ending that is not played leads nowhere, so on that pass nothing is heard of it.",
    example="""\
score: low-water.musicxml
tempo: dotted quarter = 56
phrases: ["2:6 - 12:5"]
slowing:
  - {rallentando: "9:4 - 10:5", to: 84%, then: a tempo}
""",
    threshold=(
        "a slowdown, a hairpin or a gradual tempo whose end is heard on one pass, and on another is not, though its "
        "beginning is; unless another entry of that section ends there on that pass"
    ),
    source=f"{OWN_VALUE}: a slowdown and a hairpin act only where their end is heard",
    mends="says on which pass it is meant, if that is just one; nothing sounds different",
)
def end_skipped(reading: Reading) -> Iterator[Remark]:
    where, plan = reading.where, reading.plan
    for section in (plan.slowing, plan.dynamics, plan.tempo):
        heard = [(entry, key, _runs(entry, key, reading)) for entry in section if (key := _gradual(entry)) is not None]
        ends = np.sort([run.end for _, _, runs in heard for run in runs if run.complete])
        for entry, key, runs in heard:
            silent = [run for run in runs if not run.complete and not _ends_within(run, ends, reading)]
            played = {int(where.bars["pass"][run.last]) for run in runs if run.complete}
            if not silent or not played or entry.printed:
                continue
            passes = sorted({int(where.bars["pass"][run.last]) for run in silent})
            names = " and ".join(map(str, passes))
            what = "tempo over" if key == "over" else key
            message = f"the end of the {what} {entry.value(key)} is not played on pass {names}, so there it is silent"
            once = len(played) == 1 and not played & {int(where.bars["pass"][run.first]) for run in silent}
            fix = (replaced(entry, {"pass": min(played)}),) if once else ()
            words = None if fix else "give each pass an entry of its own"
            spot = where.beat(silent[0].start)
            yield remark_at(ADVICE, "end-skipped", message, spot, entry.place(key), words, fix)


def _gradual(entry: Slowing | Dynamic | TempoMark) -> str | None:
    """The key of the range whose end must be heard."""
    return next((key for key in entry.NEED_END if entry.value(key) is not None), None)


def _runs(entry: Slowing | Dynamic | TempoMark, key: str, reading: Reading) -> list[Run]:
    return reading.where.runs(entry.value(key), entry.passes, entry.arrives)


def _ends_within(run: Run, ends: np.ndarray, reading: Reading) -> bool:
    """Whether one of these ends comes after the beginning of a run and no later than a beat after it."""
    first, last = np.searchsorted(ends, (run.start + NEAR, run.end + reading.where.felt_beat(run.end) + NEAR))
    return bool(last > first)


# -- parts


@rule(
    "percussion-pitched",
    "A drum that sounds like a tune is not what the score means.",
    example="A score with a part for percussion, and a plan that names no instrument for it.",
    threshold="a part that the score marks as percussion, and no instrument for it in the plan",
    source=f"{OWN_VALUE}: how percussion is played here",
    mends="plays the part on a woodblock, if the plan names no instruments at all",
)
def percussion_pitched(reading: Reading) -> Iterator[Remark]:
    instrument = reading.plan.instrument
    chosen = {name.strip().lower() for name in instrument} if isinstance(instrument, dict) else set()
    for part in reading.score.parts[reading.score.parts["percussion"]]:
        name = str(part["name"])
        if name.strip().lower() in chosen:
            continue
        message = f"the part {name} is percussion: it is played with pitches, by one sound"
        fix = added("instrument", {name: "woodblock"})
        alone = (fix,) if instrument is None else ()
        yield remark_at(ADVICE, "percussion-pitched", message, None, None, f"instrument: {fix.entry}", alone)
