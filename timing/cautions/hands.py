"""What asks much of the plucking hand of a guitarist: moves from one plucking point to another."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from timing.cautions.open_strings import plucked_at
from timing.cautions.rules import CAUTION, COMMON_PRACTICE, first_few, part_of, place_of, remark_at, rule, said, spot_of
from timing.columns import NEAR
from timing.performance import PLUCKED, TONES
from timing.plan.edits import added
from timing.plan.position import parse_range
from timing.reading import Reading
from timing.remarks import Edit, Remark
from timing.where import Fault, Run

MOVE_TIME = 0.150  # seconds that the hand takes to another plucking point (common practice)
SAME_PLACE = 1.0  # cm: less is no move of the hand, but of a finger tip (common practice)
FARTHEST = 4.0  # quarters by which a change of tone is moved at most, for a suggestion (the house's own value)
TOGETHER = 0.060  # seconds between plucks of one stroke: chords broken a little, a melody that leads (common practice)


@dataclass(frozen=True)
class _Strokes:
    """What the right hand plucks in one part, stroke by stroke; each array has one value a stroke."""

    rows: np.ndarray  # (plucks,) the plucked notes, in order
    heads: np.ndarray  # where each stroke begins in `rows`
    begin: np.ndarray  # seconds of its first and last pluck
    end: np.ndarray
    near: np.ndarray  # cm from the bridge: its least and greatest plucking point
    far: np.ndarray


@rule(
    "tone-too-quick",
    "A hand that has no time to move plucks late or in another place, and the line limps.",
    example="""\
score: low-water.musicxml
tempo: dotted quarter = 150
tone: [{bars: 16:6 - 18, tone: sul tasto}]
""",
    threshold=f"the plucking point moves by {SAME_PLACE:g} cm or more, and less than {1000 * MOVE_TIME:.0f} ms lie "
    f"between the last pluck of one stroke and the first of the next; plucks within {1000 * TOGETHER:.0f} ms are one "
    "stroke",
    source=COMMON_PRACTICE,
    mends=f"changes the tone at the nearest place with time for it, if that lies within {FARTHEST:g} quarters",
)
def tone_too_quick(reading: Reading) -> Iterator[Remark]:
    notes = reading.performance.notes
    for strokes in _all_strokes(reading):
        one = strokes.far - strokes.near < SAME_PLACE
        moved = (np.abs(np.diff(strokes.near)) >= SAME_PLACE) & one[1:] & one[:-1]
        time = strokes.begin[1:] - strokes.end[:-1]
        quick = np.flatnonzero(moved & (time < MOVE_TIME - NEAR))
        by_row = dict(zip(strokes.rows[strokes.heads[quick + 1]].tolist(), quick.tolist(), strict=True))

        def tell(
            row: int,
            strokes: _Strokes = strokes,
            quick: np.ndarray = quick,
            by_row: dict[int, int] = by_row,
            time: np.ndarray = time,
        ) -> Remark:
            stroke = by_row[row]
            before = strokes.rows[strokes.heads[stroke]]
            message = (
                f"the tone changes from {_tone(notes[before])} to {_tone(notes[row])} at "
                f"{place_of(notes[row], reading)}, {1000 * time[stroke]:.0f} ms after the last note, which is unusual: "
                f"a hand takes about {1000 * MOVE_TIME:.0f} ms to move"
            )
            fix = _in_time(reading, strokes, quick, stroke, time)
            return remark_at(CAUTION, "tone-too-quick", message, spot_of(notes[row], reading), None, fix=fix)

        yield from first_few(by_row, reading, tell)


@rule(
    "tone-two-places",
    "One hand plucks in one place: two tones at once sound like two players.",
    example="""\
score: low-water.musicxml
tone: [{at: 7, tone: sul ponticello, for: melody}]
""",
    threshold=f"the notes of one stroke are plucked {SAME_PLACE:g} cm apart or more",
    source=COMMON_PRACTICE,
    mends="plucks the whole stroke in the tone of its highest note",
)
def tone_two_places(reading: Reading) -> Iterator[Remark]:
    notes = reading.performance.notes
    for strokes in _all_strokes(reading):
        torn = np.flatnonzero(strokes.far - strokes.near >= SAME_PLACE)
        ends = np.append(strokes.heads[1:], len(strokes.rows))
        by_row = {int(strokes.rows[strokes.heads[n]]): strokes.rows[strokes.heads[n] : ends[n]] for n in torn.tolist()}

        def tell(row: int, by_row: dict[int, np.ndarray] = by_row) -> Remark:
            here = notes[by_row[row]]
            tones = list(dict.fromkeys(_tone(note) for note in here))
            top = _tone(here[np.argmax(here["pitch"])])
            begin = reading.where.beat(float(here["score_onset"].min()))
            message = (
                f"the notes at {said(begin)} are plucked together as {' and as '.join(tones)}, which is unusual: one "
                "hand is in one place"
            )
            places = dict.fromkeys(place_of(note, reading) for note in here)
            only = part_of(here[0], reading)
            fix = tuple(added("tone", {"at": place, "tone": top} | only) for place in places)
            return remark_at(CAUTION, "tone-two-places", message, spot_of(notes[row], reading), None, fix=fix)

        yield from first_few(by_row, reading, tell)


def _all_strokes(reading: Reading) -> Iterator[_Strokes]:
    """The strokes of each part that is plucked on strings. Plucks of one place in the score, as in a rolled chord, are
    one stroke, and so are those that follow each other at once."""
    notes = reading.performance.notes
    for part in np.flatnonzero(reading.performance.tunings.any(axis=1)):
        rows = np.flatnonzero((notes["part"] == part) & (notes["attack"] == PLUCKED))
        if not len(rows):
            continue
        mine = notes[rows]
        apart = (np.diff(mine["onset"]) >= TOGETHER) & (np.abs(np.diff(mine["score_onset"])) > NEAR)
        heads = np.flatnonzero(np.append(True, apart))
        ends = np.append(heads[1:], len(rows)) - 1
        cm = plucked_at(mine)
        near, far = np.minimum.reduceat(cm, heads), np.maximum.reduceat(cm, heads)
        yield _Strokes(rows, heads, mine["onset"][heads], mine["onset"][ends], near, far)


def _tone(note: np.void) -> str:
    """The tone of a note as a plan writes it."""
    return f"{note['pluck']:g} cm" if np.isfinite(note["pluck"]) else TONES[note["tone"]]


def _in_time(reading: Reading, strokes: _Strokes, quick: np.ndarray, stroke: int, time: np.ndarray) -> tuple[Edit, ...]:
    """The tone entry that moves the change after a stroke, one of the `quick` ones, to the nearest that leaves time:
    later, where the old tone goes on until then, or earlier, where the new one begins before."""
    notes = reading.performance.notes
    heads = strokes.rows[strokes.heads]
    at = notes["score_onset"][heads]
    able = np.append(-1, np.flatnonzero(time >= MOVE_TIME))  # a tone may begin with the piece
    beside = int(np.searchsorted(able, stroke))
    moves = [(int(able[beside - 1]) + 1, stroke + 1, stroke + 1)]
    moves += [(stroke + 1, int(able[beside]) + 1, stroke)] if beside < len(able) else []
    for first, over, tone in sorted(moves, key=lambda move: move[1] - move[0]):
        note = notes[heads[tone]]
        changed = at[quick + 1] - at[stroke + 1]  # quarters from this change to the others
        bars = _range_of(reading, float(at[first]), float(at[over]), changed)
        if bars is not None and at[over] - at[first] <= FARTHEST:
            return (added("tone", bars | {"tone": _tone(note)} | part_of(note, reading)),)
    return ()


def _range_of(reading: Reading, start: float, end: float, changed: np.ndarray) -> dict[str, str | int] | None:
    """The range from one quarter to another as an entry for a tone writes it, on every pass if the tone changes as far
    away (`changed`, in quarters) on each of them. None where no single range can say it, or a tone of the second time
    goes over it."""
    where = reading.where
    pass_ = int(where.bars["pass"][where.ordinal(start)])
    text = where.range_text(start, end)
    more: dict[str, int]
    for passes, more in ((None, {}), (pass_, {"pass": pass_})):
        try:
            runs = where.runs(parse_range(text), passes)
        except (Fault, ValueError):
            return None
        away = np.array([run.start - start for run in runs])
        whole = all(abs(run.length - (end - start)) < 1e-3 for run in runs)
        alike = np.all(np.abs(away[:, None] - changed).min(axis=1) < 1e-3)
        if whole and alike and np.any(np.abs(away) < 1e-3) and not _told_again(runs, reading):
            return {"bars": text, **more}
    return None


def _told_again(runs: list[Run], reading: Reading) -> bool:
    """Whether a tone of the second time holds in one of these runs, whatever another entry says."""
    toned = [entry.at_its_pass() for entry in reading.plan.second_time if entry.tone is not None]
    held = [run for entry in toned for run in reading.where.runs(entry.bars, entry.passes)]
    return any(one.start < run.end - NEAR and one.end > run.start + NEAR for one in held for run in runs)
