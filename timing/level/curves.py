"""How the level moves while a note sounds: points close enough together that straight lines between them will do."""

from __future__ import annotations

import numpy as np

from timing.columns import NEAR, spread
from timing.level.dynamics import Level
from timing.notes.displacement import Displacement
from timing.performance import CURVE
from timing.remarks import CannotDo
from timing.timemap import TimeMap

STEP = 0.25  # dB between neighbouring points, which players step through: about what one step of a controller is
_LEAST_MOVE = 0.25  # dB; a note that moves less than this is left alone
_MOST = 5_000_000  # stretches between corners, of all notes together


def build_curves(
    played: np.ndarray,
    sustained: np.ndarray,
    level: Level,
    time: TimeMap,
    displaced: Displacement,
) -> np.ndarray:
    """CURVE table of the notes (PLAYED) that are `sustained`, by lane and second. `level` and `displaced`, which is
    where the notes are against the clock, have the notes in the same order.

    Raises CannotDo where the plan has more to change in the notes than memory can hold.
    """
    rows = np.flatnonzero(sustained & (played["score_length"] > 2 * NEAR))
    owner, start, end = _stretches(played, rows, level.corners)
    base = level.moving(rows, played["score_onset"][rows])
    note = rows[owner]
    first, middle, last = (
        level.moving(note, at) - base[owner] for at in (start, (start + end) / 2, np.maximum(end - NEAR, start))
    )
    moves = np.zeros(len(rows))
    np.maximum.at(moves, owner, np.maximum(np.abs(first), np.maximum(np.abs(middle), np.abs(last))))
    keep = moves[owner] > _LEAST_MOVE
    owner, start, end, first, middle, last = (column[keep] for column in (owner, start, end, first, middle, last))
    if not len(owner):
        return np.zeros(0, CURVE)
    # between corners the level is a parabola, steepest at one of its ends
    steepest = np.maximum(np.abs(4 * middle - 3 * first - last), np.abs(first - 4 * middle + 3 * last))
    points = np.maximum(np.ceil(steepest / STEP - 1e-3), 1).astype(np.int64) + 1
    stretch, place = spread(points)
    place = place / (points[stretch] - 1)
    quarters = start[stretch] + place * np.maximum(end - NEAR - start, 0)[stretch]
    note = rows[owner[stretch]]
    curves = np.zeros(len(note), CURVE)
    curves["note"], curves["lane"] = note, played["lane"][note]
    # a small note, a roll or a lead moves the whole note; a displaced voice has a clock of its own
    moved = played["onset"][rows] - displaced.at(rows, time.seconds(played["score_onset"][rows]))
    curves["second"] = displaced.at(note, time.seconds(quarters)) + moved[owner[stretch]]
    curves["level"] = level.moving(note, quarters) - base[owner[stretch]]
    # where the level goes on through a corner one point will do
    goes_on = (note[1:] == note[:-1]) & (place[1:] == 0) & (np.abs(np.diff(curves["level"])) < 1e-3)
    curves = np.delete(curves, 1 + np.flatnonzero(goes_on))
    return curves[np.lexsort((curves["second"], curves["note"], curves["lane"]))]


def _stretches(played: np.ndarray, rows: np.ndarray, corners: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """For each stretch between two corners of the level: which of the rows it belongs to, where it begins and ends, in
    quarters."""
    start = played["score_onset"][rows]
    end = start + played["score_length"][rows]
    first, last = np.searchsorted(corners, start + NEAR), np.searchsorted(corners, end - NEAR)
    counts = np.maximum(last - first, 0) + 1
    if counts.sum() > _MOST:
        raise CannotDo.because("too-much", "the plan's dynamics and arches come to more than can be worked out")
    owner, place = spread(counts)
    corner = first[owner] + place  # that ends the stretch, if it is not the note's last
    bounded = np.append(corners, np.inf)
    starts = np.where(place == 0, start[owner], bounded[np.minimum(corner, len(corners)) - 1])
    ends = np.where(place == counts[owner] - 1, end[owner], bounded[np.minimum(corner, len(corners))])
    return owner, starts, ends
