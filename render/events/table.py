"""All that a performance asks of what plays it, as one table of events: for MIDI in ticks, for sound in samples."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from render.events.levels import in_hand, level_changes, raised, resting, rounding, velocity
from render.events.strokes import let_go, strokes
from render.events.wheel import lane_range, wheel_changes
from timing.performance import Performance

OFF, CONTROL, PRESET, BEND, ON = range(5)  # the order of events that share a moment

# `data` and `value` are key and velocity, controller and value, 0 and wheel; of a preset what the asker has given.
EVENT = np.dtype([("lane", np.int32), ("moment", np.int64), ("kind", np.int8), ("data", np.int16), ("value", np.int32)])

_SOFTLY = 64  # the velocity of letting go that stands for none


@dataclass(frozen=True)
class Medium:
    """What differs between MIDI and sound: the `moments` (ticks, samples: whole numbers) at which seconds are, how many
    of them a note lasts at `least`, how much of its range a full wheel has as its `reach`, and whether CC11 gives back
    what a soft note loses where its level becomes a whole velocity (`exact`)."""

    moments: Callable[[np.ndarray], np.ndarray]
    least: int
    reach: float
    exact: bool


class Setting(NamedTuple):
    """What lanes have to be set to before their notes: the kind of the event with its data and value, (n,) by note.
    `opening` is what stands there in the beginning, (n,) data and value; None where the first note has to say it."""

    kind: int
    data: np.ndarray
    value: np.ndarray
    opening: tuple[np.ndarray, np.ndarray] | None


def event_table(
    performance: Performance,
    medium: Medium,
    volume: np.ndarray,
    settings: Sequence[Setting] = (),
    rows: np.ndarray | None = None,
    softer: np.ndarray | float = 0.0,
) -> np.ndarray:
    """EVENT table in playing order. `volume` is (lanes,) where CC7 rests. `rows` are those of the notes that are
    wanted, else all; `settings` and `softer` ((n,) dB by which they are softer than planned) go by these notes."""
    rows = np.arange(len(performance.notes)) if rows is None else rows
    notes = performance.notes[rows]
    curves, bends = (_of_rows(table, rows, len(performance.notes)) for table in (performance.curves, performance.bends))
    struck, end = strokes(notes)
    sliding = performance.lanes["sliding"][notes["lane"]]
    harder = raised(notes, curves, sliding, in_hand(volume[notes["lane"]]))
    wanted = notes["level"] - softer
    level = wanted + harder
    rest = resting(wanted, harder)
    if medium.exact:
        rest = np.where(harder > 0, rest, rounding(level))
    start = medium.moments(notes["onset"])
    own, begin = notes[struck], start[struck]
    stop = let_go(own["lane"], own["pitch"], begin, np.maximum(medium.moments(end), begin + medium.least))
    made = [
        _table(own["lane"], stop, OFF, own["pitch"], _SOFTLY),
        _table(own["lane"], begin, ON, own["pitch"], velocity(level[struck])),
        *(_set(setting, own["lane"], struck, begin) for setting in settings),
    ]
    level_of, pitch_of = (notes["lane"][table["note"]] for table in (curves, bends))
    for mine in _by_lane(own["lane"]):
        lane, rests = int(own["lane"][mine[0]]), rest[struck[mine]]
        moving, turning = curves[level_of == lane], bends[pitch_of == lane]
        if len(moving) or rests.any():
            seconds, of = medium.moments(moving["second"]), start[moving["note"]]
            changes = level_changes(seconds, moving["level"], of, begin[mine], rests, int(volume[lane]))
            made.append(_table(lane, changes[0], CONTROL, *changes[1:]))
        if len(turning):
            seconds, wide = medium.moments(turning["second"]), lane_range(performance, lane)
            turns = wheel_changes(seconds, turning["semitones"], begin[mine], wide, medium.reach)
            made.append(_table(lane, turns[0], BEND, 0, turns[1]))
    events = np.concatenate(made)
    return events[np.lexsort((events["data"], events["lane"], events["kind"], events["moment"]))]


def _of_rows(table: np.ndarray, rows: np.ndarray, notes: int) -> np.ndarray:
    """The part of a side table that belongs to some rows of the notes, with its notes renumbered."""
    number = np.full(notes, -1)
    number[rows] = np.arange(len(rows))
    kept = table[number[table["note"]] >= 0]
    kept["note"] = number[kept["note"]]
    return kept


def _by_lane(lanes: np.ndarray) -> Iterator[np.ndarray]:
    """The rows of each lane."""
    order = np.argsort(lanes, kind="stable")
    cuts = np.flatnonzero(np.diff(lanes[order])) + 1
    yield from np.split(order, cuts) if len(order) else ()


def _table(
    lane: np.ndarray | int, moment: np.ndarray, kind: int, data: np.ndarray | int, value: np.ndarray | int
) -> np.ndarray:
    events = np.zeros(len(moment), EVENT)
    events["lane"], events["moment"], events["kind"] = lane, moment, kind
    events["data"], events["value"] = data, value
    return events


def _set(setting: Setting, lane: np.ndarray, struck: np.ndarray, begin: np.ndarray) -> np.ndarray:
    """EVENT table of where a lane is to be set to something else than for its note before."""
    order = np.lexsort((begin, lane))
    lane, begin, rows = lane[order], begin[order], struck[order]
    data, value = setting.data[rows], setting.value[rows]
    first = np.append(True, lane[1:] != lane[:-1])[: len(lane)]
    other = (data != np.roll(data, 1)) | (value != np.roll(value, 1))
    if setting.opening is None:
        changed = first | other
    else:
        changed = np.where(first, (data != setting.opening[0][rows]) | (value != setting.opening[1][rows]), other)
    return _table(lane[changed], begin[changed], setting.kind, data[changed], value[changed])
