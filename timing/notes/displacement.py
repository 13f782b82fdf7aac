"""Notes that leave the clock: a voice displaced against the others, the long and short of a compound beat, and what is
delayed. The clock itself (`timing.timemap`) is not touched, so whatever is not displaced stays exactly where it was.

A stretch of time is displaced by seconds that grow from 0 to the most and go back to 0. They change more slowly than
time goes on, so that of notes that are displaced together none overtakes another and none comes to nothing.

Displacing a voice against a strict accompaniment is the older kind of tempo rubato (P. F. Tosi 1723, J. J. Quantz 1752,
C. P. E. Bach 1753, W. A. Mozart's letter of 23 October 1777; all from memory). A note that is delayed leaves a small
silence before it: F. Couperin's "suspension" (1713, from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from timing.columns import NEAR, ROUNDING
from timing.notes.lines import Lines
from timing.plan.kinds import Act
from timing.plan.time import Hold, Rubato
from timing.remarks import Severity
from timing.time.rubato import ONLY_LATER, tell_overlap
from timing.timemap import TimeMap
from timing.where import Fault, Run, Where
from timing.where.beats import beats_of, is_compound
from timing.where.hearings import Hearings

STEEPEST = 0.5  # of a second: what a displaced voice gains or loses at most while the others play for one
AS_WRITTEN = 2.0  # long to short in a compound beat

# Seconds of the clock: from `start` to `turn` the displacement goes from 0 to `far`, then back until `end`.
STRETCH = np.dtype([("start", np.float64), ("turn", np.float64), ("end", np.float64), ("far", np.float64)])


@dataclass(frozen=True)
class Displacement:
    """Where the performed notes (n) are against the clock."""

    pairs: np.ndarray  # STRETCH, sorted: the turns of compound beats, for all notes
    voices: list[tuple[np.ndarray, np.ndarray]]  # (n,) which notes, and their STRETCH table, sorted

    def ordered(self, rows: np.ndarray) -> Displacement:
        """The same with these rows of the notes, in their order."""
        return Displacement(self.pairs, [(chosen[rows], stretches) for chosen, stretches in self.voices])

    def at(self, rows: np.ndarray, seconds: np.ndarray) -> np.ndarray:
        """When these notes (rows) come to what the clock has at these seconds."""
        seconds = seconds + _by(self.pairs, seconds, lambda x: x)
        for chosen, stretches in self.voices:
            mine = chosen[rows]
            seconds[mine] += _by(stretches, seconds[mine], lambda x: (1 - np.cos(np.pi * x)) / 2)
        return seconds


def _by(stretches: np.ndarray, seconds: np.ndarray, shape: Callable[[np.ndarray], np.ndarray]) -> np.ndarray:
    """The displacement at these seconds; `shape` says how it grows, from 0 to 1."""
    if not len(stretches):
        return np.zeros(len(seconds))
    row = np.clip(np.searchsorted(stretches["start"], seconds, side="right") - 1, 0, None)
    start, turn, end, far = (stretches[name][row] for name in STRETCH.names or ())
    return far * shape(np.clip(np.minimum((seconds - start) / (turn - start), (end - seconds) / (end - turn)), 0, 1))


def displacement(
    entries: tuple[Rubato, ...],
    written: np.ndarray,
    lines: Lines,
    time: TimeMap,
    hearings: Hearings,
    amount: float = 1.0,
) -> Displacement:
    """What the plan's `rubato` displaces of the performed notes, of which `lines` are the voices. `written` are the
    notes without their ornaments (PLAYED, sorted by score onset). `amount` scales it."""
    pairs = Displacement(_pairs(entries, written, time, hearings, amount), [])
    tables: dict[str | None, list[np.ndarray]] = {}  # by the voice
    begun: list[tuple[float, float, int]] = []
    for number, entry in enumerate(entries):
        if entry.act is not Act.DISPLACES:
            continue
        chosen = lines.select(entry.for_, entry.place("for"), hearings)
        edges = _meetings(entry, hearings.runs_of(entry, "bars"), hearings)
        if chosen.any() and len(edges):
            seconds = pairs.at(np.zeros(edges.size, np.int64), time.seconds(edges.ravel())).reshape(edges.shape)
            tables.setdefault(entry.for_, []).append(_stretches(entry, edges, seconds, hearings, amount))
            begun += [(*edge, number) for edge in edges.tolist()]
    _tell_overlaps(sorted(begun), entries, lines, hearings)
    voices = [(lines.select(name, None, hearings), each) for name, found in tables.items() for each in _joined(found)]
    return Displacement(pairs.pairs, voices)


def _joined(tables: list[np.ndarray]) -> list[np.ndarray]:
    """One table of all these stretches, if no two of them overlap."""
    every = np.concatenate(tables)
    every = every[np.argsort(every["start"], kind="stable")]
    return tables if np.any(every["start"][1:] < every["end"][:-1] - ROUNDING) else [every]


# -- a voice against the others


def _meetings(entry: Rubato, runs: list[Run], hearings: Hearings) -> np.ndarray:
    """(stretches, 2) quarters between which a voice is displaced: it leaves the others as a run begins, and meets them
    where the plan says, or as the run is over."""
    moments = []
    for number, position in enumerate(entry.meets):
        try:
            heard = hearings.where.moments(position)
            inside = any(np.any((heard > run.start + ROUNDING) & (heard <= run.end + ROUNDING)) for run in runs)
            fault = "" if inside or not runs else f"the voices cannot meet at {position}: it is not within {entry.bars}"
        except Fault as unknown:
            heard, fault = np.zeros(0), str(unknown)
        if fault:
            hearings.remark(Severity.ERROR, "plan-position", fault, entry.place("meets", number))
        moments.append(heard)
    met = np.unique(np.concatenate([np.zeros(0), *moments]))
    made = [np.zeros((0, 2))]
    for run in runs:
        here = met[slice(*np.searchsorted(met, (run.start + ROUNDING, run.end + ROUNDING)))]
        edges = np.array([run.start, *(here if len(here) else [run.end])])
        made.append(np.column_stack([edges[:-1], edges[1:]]))
    return np.concatenate(made)


def _stretches(entry: Rubato, edges: np.ndarray, seconds: np.ndarray, hearings: Hearings, amount: float) -> np.ndarray:
    """STRETCH table of an entry between these quarters, which come at these seconds."""
    made = np.zeros(len(edges), STRETCH)
    made["start"], made["end"] = seconds.T
    made["turn"] = seconds.mean(axis=1)
    wanted = amount * (-(entry.early or 0.0) if entry.late is None else entry.late)
    most = STEEPEST * (made["end"] - made["start"]) / np.pi  # half a wave is steepest where it is half as far
    made["far"] = np.clip(wanted, -most, most)
    short = np.flatnonzero(most < abs(wanted) - ROUNDING)
    if len(short):
        bar, beat, pass_ = hearings.where.beat(float(edges[short[0], 0]))
        message = (
            f"{abs(wanted) * 1000:.0f} ms {entry.kind} is more than there is time for before the voices meet again: "
            f"here it is {most[short[0]] * 1000:.0f} ms"
        )
        hearings.remark(
            Severity.CAUTION, "rubato-limited", message, entry.place(entry.kind), bar_name=bar, beat=beat, pass_=pass_,
            suggestion=f"at most {np.floor(most[short[0]] * 1000):.0f} ms, or let them meet later",
        )  # fmt: skip
    return made


def _tell_overlaps(
    begun: list[tuple[float, float, int]], entries: tuple[Rubato, ...], lines: Lines, hearings: Hearings
) -> None:
    """A caution where two entries displace the same notes. `begun` are (start, end, entry), sorted."""
    until, last = -1.0, -1
    for start, end, number in begun:
        if start < until - ROUNDING and number != last:
            one, other = (lines.select(entries[each].for_, None, hearings) for each in (last, number))
            if np.any(one & other):
                older, newer = sorted((last, number))
                tell_overlap(entries[older], entries[newer], start, "there both displace the same notes", hearings)
        if end > until:
            until, last = end, number


# -- the long and short of a compound beat


def _pairs(
    entries: tuple[Rubato, ...], written: np.ndarray, time: TimeMap, hearings: Hearings, amount: float
) -> np.ndarray:
    """STRETCH table of the compound beats in which a long note and a short one stand alone.

    Where another note begins inside the beat, as in running quavers, it stays as it is written: the short one belongs
    to what is struck at its moment, and three even notes would limp.
    """
    unequal = [entry for entry in entries if entry.act is Act.PAIRS]
    if not unequal:
        return np.zeros(0, STRETCH)
    start, unit, alone = _beats(written, hearings.where)
    over = start + 3 * unit
    ratio, owner = np.full(len(start), AS_WRITTEN), np.full(len(start), -1)
    for number, entry in enumerate(unequal):
        runs = hearings.runs_of(entry, "bars")
        spans = [(np.searchsorted(start, r.start - NEAR), np.searchsorted(over, r.end + NEAR)) for r in runs]
        rows = np.concatenate([np.zeros(0, np.int64), *(np.arange(*span) for span in spans)])
        rows = rows[alone[rows]]
        met = rows[owner[rows] >= 0]
        if len(met):
            tell_overlap(unequal[owner[met[0]]], entry, float(start[met[0]]), ONLY_LATER, hearings)
        ratio[rows], owner[rows] = entry.long_short, number
        if runs and not len(rows):
            message = f"no long and short note stand alone in a beat of {entry.bars}: the entry does nothing"
            hearings.remark(Severity.ADVICE, "never-heard", message, entry.place("long short"))
    made = np.zeros(len(start), STRETCH)
    made["start"], made["turn"], made["end"] = (time.seconds(at) for at in (start, start + 2 * unit, over))
    long, short = made["turn"] - made["start"], made["end"] - made["turn"]
    unlike = long / short * (ratio / AS_WRITTEN) ** amount  # whatever else shapes the beat stays in it
    made["far"] = (long + short) * unlike / (1 + unlike) - long
    return made[ratio != AS_WRITTEN]


def _beats(written: np.ndarray, where: Where) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Of all whole compound beats, sorted: the quarter at which each begins, quarters of a third of it, and whether a
    long and a short note stand alone in it."""
    bars = where.bars[is_compound(where.bars)]
    third = 4 / bars["unit"]
    beats = beats_of(bars, 3 * third)
    beats = beats[beats["begins"] & beats["ends"]]
    unit, start = third[beats["row"]], bars["start"][beats["row"]] + beats["start"]
    if not len(start):
        return start, unit, np.zeros(0, bool)
    notes = written[written["score_length"] > 0]
    row = np.clip(np.searchsorted(start, notes["score_onset"] + NEAR) - 1, 0, None)
    offset = (notes["score_onset"] - start[row]) / unit[row]
    within = (offset > -NEAR) & (offset < 3 - NEAR)
    opens, turns = np.abs(offset) < NEAR, np.abs(offset - 2) < NEAR
    long = opens & (np.abs(notes["score_length"] - 2 * unit[row]) < NEAR)
    has = [np.zeros(len(start), bool) for _ in range(3)]
    for beats, kind in zip(has, (long, turns, within & ~opens & ~turns), strict=True):
        beats[row[kind]] = True
    return start, unit, has[0] & has[1] & ~has[2]


# -- what is delayed


def delay(
    holds: tuple[Hold, ...],
    notes: np.ndarray,
    played: np.ndarray,
    lines: Lines,
    hearings: Hearings,
    amount: float = 1.0,
) -> None:
    """In `played` let the delayed notes begin later, with their small notes, and end when they would have ended.

    `notes` are the score's rows (NOTE) of the performed notes. No note, and of an ornament not the last, loses more
    than half of its length: then it is delayed by less, with a caution. `amount` scales the seconds.
    """
    delays, group = _delays(holds, notes, played, lines, hearings)
    if not delays:
        return
    group, opening = _with_ornaments(group, played)
    mine = np.flatnonzero(group >= 0)
    wanted = np.array([amount * hold.amount for _, hold in delays])
    room = np.full(len(delays), np.inf)
    np.minimum.at(room, group[mine], np.where(opening, np.inf, (played["end"] - played["onset"]) / 2)[mine])
    has_notes = np.isin(np.arange(len(delays)), group)  # a later entry may have taken them
    short = (wanted > room + ROUNDING) & has_notes
    for number in np.flatnonzero(short).tolist():
        _tell_short(*delays[number], float(room[number]), hearings)
    late = np.minimum(wanted, room)[group[mine]]
    played["onset"][mine] += late
    played["end"][mine] += np.where(opening[mine], late, 0.0)


def _delays(
    holds: tuple[Hold, ...], notes: np.ndarray, played: np.ndarray, lines: Lines, hearings: Hearings
) -> tuple[list[tuple[float, Hold]], np.ndarray]:
    """(quarters, entry) of each delay that has notes, and (n,) the number of the one that holds each note back, or
    -1; of several the last."""
    group = np.full(len(played), -1)
    delays: list[tuple[float, Hold]] = []
    onsets = np.ascontiguousarray(played["score_onset"])
    for hold in (hold for hold in holds if hold.act is Act.DISPLACES):
        chosen = lines.select(hold.for_, hold.place("for"), hearings) & ~notes["after"]
        moments = hearings.moments_of(hold, "delay").tolist()
        before = len(delays)
        for at in moments:
            rows = np.arange(*np.searchsorted(onsets, (at - NEAR, at + NEAR)))
            rows = rows[chosen[rows]]
            if len(rows):
                group[rows] = len(delays)
                delays.append((at, hold))
        if moments and len(delays) == before:
            message = f"no note begins at {hold.delay} that could be delayed: the entry does nothing"
            hearings.remark(Severity.CAUTION, "never-heard", message, hold.place("delay"))
    return delays, group


def _tell_short(at: float, hold: Hold, room: float, hearings: Hearings) -> None:
    """A caution where a note at this quarter leaves only `room` seconds for its delay."""
    bar, beat, pass_ = hearings.where.beat(at)
    message = f"the note at {hold.delay} is too short for this delay: it is {room * 1000:.0f} ms there"
    hearings.remark(
        Severity.CAUTION, "delay-limited", message, hold.place("by"), bar_name=bar, beat=beat, pass_=pass_,
        suggestion=f"at most {np.floor(room * 1000):.0f} ms, half of the note",
    )  # fmt: skip


def _with_ornaments(group: np.ndarray, played: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(n,) the groups, with all notes of an ornament in that of its first one; and (n,) which notes only open another
    one, as small notes do and those of an ornament until its last."""
    note = played["ordinal"].astype(np.int64) << 32 | played["id"]
    _, owner = np.unique(note, return_inverse=True)
    whole, last = np.full(len(played), -1), np.zeros(len(played), np.int64)
    np.maximum.at(whole, owner, group)
    rows = np.arange(len(played))
    last[owner] = rows
    return whole[owner], (played["score_length"] == 0) | (last[owner] != rows)
