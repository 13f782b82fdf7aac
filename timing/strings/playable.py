"""What can be played on the strings at all: the ways to play one note, and why some notes cannot be played together."""

from __future__ import annotations

from itertools import combinations

import numpy as np

from timing.instruments.tuning import pitch_name
from timing.strings import weights

SCALE = 650.0  # millimetres from the nut to the bridge of a classical guitar (common practice)
# The fret at which a string is touched for a natural harmonic, by semitones above the open string: the nodes of the
# second to fifth partial (N. Fletcher and T. Rossing, The Physics of Musical Instruments, from memory).
NODES = {12: 12, 19: 7, 24: 5, 28: 4}
_NODE_PRICES = {12: 0.0, 7: 1.0, 5: 2.0, 4: 4.0}  # the lower partial speaks the more surely (common practice)

# How far the first and fourth finger reach on one another's string, in millimetres between their frets: four frets in
# first position are 98, five are 127, six are 154 (common practice: four lie under the hand, five are a stretch).
COMFORTABLE, POSSIBLE = 100.0, 130.0

# One row a way to play a note.
WAY = np.dtype(
    [
        ("string", np.int64),
        ("fret", np.int64),
        ("anchor", np.int64),  # where the hand would have to be for the finger or position asked for; 0: anywhere
        ("finger", np.int64),  # asked for, and stopping the string; 0: any
        ("price", np.float64),  # what the way costs in itself, as in timing.strings.hands
    ]
)

# What is asked of one note; all that does not hold is left at its zero.
WISH = np.dtype(
    [
        ("string", np.int64),  # 0: any
        ("fret", np.int64),  # -1: any
        ("position", np.int64),  # 0: any
        ("finger", np.int64),  # -1: any
        ("harmonic", np.bool_),
        ("across", np.bool_),  # campanella
        ("room", np.int64),  # frets below it that its ornament needs
    ]
)


def reach(low: np.ndarray | float, high: np.ndarray | float) -> np.ndarray:
    """Millimetres between two frets; arrays will do."""
    return SCALE * (2.0 ** (np.asarray(low) / -12) - 2.0 ** (np.asarray(high) / -12))


def frets_on(pitch: int, tuning: np.ndarray, frets: int, harmonic: bool = False) -> dict[int, int]:
    """The strings (1 is the highest) that have a pitch, and at which fret. `tuning` holds the open strings, 0 for
    none; of a harmonic the fret is the node."""
    above = {n + 1: int(pitch - string) for n, string in enumerate(tuning) if string > 0}
    if harmonic:
        return {string: NODES[step] for string, step in above.items() if step in NODES}
    return {string: step for string, step in above.items() if 0 <= step <= frets}


def ways(found: dict[int, int], wish: np.void) -> np.ndarray:
    """WAY table of these strings and frets under a wish."""
    made = np.zeros(len(found), WAY)
    made["string"], made["fret"] = list(found), list(found.values())
    opened, finger = made["fret"] == 0, int(wish["finger"])
    if finger >= 0:
        position = made["fret"] - finger + 1
        stopped = ~opened & (finger > 0)
        # in first position a finger may lie one fret behind its own, as the fourth often does; two are as good as none
        behind = np.where(stopped, np.maximum(-position, 0), 0)
        made["price"] = weights.ASTRAY * (opened != (finger == 0)) + weights.ANCHOR * behind
        made["anchor"] = np.where(stopped, np.maximum(position, 1), 0)
        made["finger"] = np.where(stopped, finger, 0)
    if wish["harmonic"]:
        made["price"] = [_NODE_PRICES.get(fret, 0.0) for fret in found.values()]
    if wish["position"]:
        made["anchor"] = np.where(opened, 0, wish["position"])
    return made


def why_not_together(pitches: list[int], strings: list[set[int]], count: int) -> str:
    """Why notes with these possible strings cannot sound at once on an instrument of `count` strings."""
    if len(pitches) > count:
        return f"{len(pitches)} notes and {count} strings"
    for size in range(2, len(pitches) + 1):
        for some in combinations(range(len(pitches)), size):
            shared = set().union(*(strings[n] for n in some))
            if len(shared) < size:
                names = [pitch_name(pitches[n]) for n in some]
                numbers = sorted(shared)
                where = f"string {numbers[0]}" if len(numbers) == 1 else f"strings {listed(numbers)}"
                return f"{listed(names)} lie only on {where}"
    return "no hand takes these notes at once"


def listed(items: list) -> str:
    """A, B and C."""
    words = [str(item) for item in items]
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
