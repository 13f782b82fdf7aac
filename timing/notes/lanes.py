"""What must sound by itself: the lanes of a performance."""

from __future__ import annotations

import numpy as np

from timing.performance import LANE
from timing.score import Score

DIES_AWAY = 0.5  # seconds that a lane is left alone after a slide, so that the next one does not bend its end


def build_lanes(played: np.ndarray, score: Score, programs: np.ndarray, tunings: np.ndarray) -> np.ndarray:
    """LANE table; numbers the notes' lanes. A part with strings has a lane for each (and one for the notes that no
    string can take), any other part one for each of its voices.

    `programs` is (parts,), `tunings` (parts, 12) with zeros for a part without strings.
    """
    fretted = np.any(tunings, axis=1)[played["part"]]
    staff, voice = (np.where(fretted, 0, played[column]).astype(np.int64) for column in ("staff", "voice"))
    string = np.where(fretted, played["string"], -1).astype(np.int64)
    key = (played["part"].astype(np.int64) << 40) + (staff << 32) + (voice << 16) + string + 1
    first, played["lane"] = np.unique(key, return_index=True, return_inverse=True)[1:]
    lanes = np.zeros(len(first), LANE)
    lanes["part"], lanes["staff"], lanes["voice"] = played["part"][first], staff[first], voice[first]
    lanes["program"], lanes["string"] = programs[lanes["part"]], np.maximum(string[first], 0)
    alone = np.bincount(lanes["part"], minlength=len(score.parts)) == 1
    for lane, strings in zip(lanes, fretted[first], strict=True):
        name, number = score.parts["name"][lane["part"]], int(lane["string"])
        which = f"string {number}" if number else "beyond the strings" if strings else f"voice {lane['voice']}"
        lane["name"] = name if alone[lane["part"]] and not strings else f"{name}, {which}"
    return lanes


def with_sliding(lanes: np.ndarray, played: np.ndarray, groups: list[list[int]], score: Score) -> np.ndarray:
    """`lanes` and as many sliding ones as it takes to keep the groups apart, each a note that slides and the notes that
    its sound carries. Moves these notes there, in `played`; a lane that is left without notes goes."""
    made: list[tuple[int, float]] = []  # (part, second from which it is free) of each sliding lane
    new = []
    for group in sorted(groups, key=lambda group: float(played["onset"][group[0]])):
        part, begin = int(played["part"][group[0]]), float(played["onset"][group[0]])
        free = next((n for n, (owner, since) in enumerate(made) if owner == part and since <= begin), len(made))
        if free == len(made):
            made.append((part, 0.0))
            lane = lanes[played["lane"][group[0]]].copy()
            lane["string"], lane["staff"], lane["voice"], lane["sliding"] = 0, 0, 0, True
            lane["name"] = f"{score.parts['name'][part]}, sliding"
            new.append(lane)
        made[free] = part, float(played["end"][group].max()) + DIES_AWAY
        played["lane"][group] = len(lanes) + free
    lanes = np.append(lanes, np.array(new, LANE))
    used, played["lane"] = np.unique(played["lane"], return_inverse=True)
    return lanes[used]
