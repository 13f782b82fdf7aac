"""The one place where dB, velocity and controllers meet.

SoundFont 2.04 §8.4 and General MIDI 2 give velocity, CC7 and CC11 one law: level = 40 log10(value / 127) dB. Their
levels add up.
"""

from __future__ import annotations

import numpy as np

VOLUME = 100  # CC7, the value that General MIDI starts with
LOWERED = 50  # CC7 at rest where it keeps IN_HAND for swells: a quarter of the amplitude at VOLUME
IN_HAND = 12.0  # dB
EXPRESSION = 90  # CC11 at rest; it leaves 6 dB above for swells, what they take beyond that is CC7's
_ABOVE = 40 * float(np.log10(127 / EXPRESSION))


def velocity(level: np.ndarray | float) -> np.ndarray:
    """Velocity (1-127) of a level in dB below velocity 127; what is out of range sounds at the limit."""
    return _controller(level, 127, lowest=1)


def expression(level: np.ndarray | float) -> np.ndarray:
    """CC11 (0-127) that raises or lowers a sounding note by `level` dB."""
    return _controller(level, EXPRESSION, lowest=0)


def volume(level: np.ndarray | float, rest: int) -> np.ndarray:
    """CC7 (`rest` to 127) for what CC11 leaves over of raising a sounding note by `level` dB, up to IN_HAND."""
    over = np.clip(level - _ABOVE, 0, IN_HAND)
    return _controller(over, rest, lowest=rest)


def in_hand(volume: np.ndarray | float) -> np.ndarray:
    """The dB by which a sounding note can be raised where CC7 rests at `volume`, by CC11 and then by CC7."""
    return _ABOVE + np.minimum(-decibels(volume), IN_HAND)


def level_changes(
    moments: np.ndarray,
    level: np.ndarray,
    struck: np.ndarray,
    onsets: np.ndarray,
    rest: np.ndarray | float = 0.0,
    resting: int = LOWERED,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(moments, controllers, values) of a lane's moving level (dB around the notes' own), back at rest at the next
    onset: CC11, and CC7, which rests at `resting`, where that is not enough.

    Moments are whole numbers: ticks or samples. Where several fall together, the last value holds; what does not change
    is left out. `struck` are the onsets of the notes that the points of the curve belong to, `onsets` those of all the
    lane's notes: the controllers follow the note that was struck last. `rest` is where each of these notes has it at
    rest, in dB around EXPRESSION; notes struck together meet in the middle.
    """
    starts, start = np.unique(onsets, return_inverse=True)
    low, high = np.full(len(starts), np.inf), np.full(len(starts), -np.inf)
    np.minimum.at(low, start, rest)
    np.maximum.at(high, start, rest)
    begun = np.searchsorted(starts, moments, side="right") - 1
    own = (begun >= 0) & (starts[np.maximum(begun, 0)] == struck)
    moment = np.concatenate([starts, moments[own]])
    wanted = np.concatenate([(low + high) / 2, level[own] + ((low + high) / 2)[begun[own]]])
    order = np.argsort(moment, kind="stable")  # the curve's own value comes last
    moment, wanted = moment[order], wanted[order]
    last = np.append(np.diff(moment) > 0, True)[: len(moment)]
    moment, wanted = moment[last], wanted[last]
    changes = []
    for controller, at_rest, value in ((11, EXPRESSION, expression(wanted)), (7, resting, volume(wanted, resting))):
        changed = np.diff(value, prepend=at_rest) != 0
        changes.append((moment[changed], np.full(np.count_nonzero(changed), controller), value[changed]))
    moments, controllers, values = (np.concatenate(column) for column in zip(*changes, strict=True))
    return moments, controllers, values


def raised(notes: np.ndarray, curves: np.ndarray, sliding: np.ndarray, room: np.ndarray) -> np.ndarray:
    """(n,) dB by which a note (PLAYED) that slides is struck harder and its CC11 lowered, so that a swell (CURVE) of
    more than its (n,) `room` finds some. `sliding` is (n,): such notes have their lane for themselves."""
    most = np.full(len(notes), -np.inf)
    np.maximum.at(most, curves["note"], curves["level"])
    return np.where(sliding, np.clip(most - room, 0, np.maximum(-notes["level"], 0)), 0.0)


def resting(level: np.ndarray, harder: np.ndarray) -> np.ndarray:
    """(n,) dB around EXPRESSION at which CC11 holds notes of these levels that are struck `harder` by so many dB; 0 for
    the others."""
    return np.where(harder > 0, level - decibels(velocity(level + harder)), 0.0)


def rounding(level: np.ndarray) -> np.ndarray:
    """The dB that a level loses by becoming a whole velocity: up to 0.3 at velocity 32 and 0.5 at 18. What is less than
    the error of any velocity above 64, or out of range, counts as nothing."""
    lost = level - decibels(velocity(level))
    return np.where((np.abs(lost) > 0.14) & (level < 0) & (level > decibels(1)), lost, 0.0)


def decibels(value: np.ndarray | float) -> np.ndarray:
    """The level in dB of a velocity or controller value (1-127) against 127."""
    return 40 * np.log10(np.asarray(value, np.float64) / 127)


def _controller(level: np.ndarray | float, rest: float, lowest: int) -> np.ndarray:
    value = rest * 10 ** (np.clip(level, -200.0, 200.0) / 40)
    return np.clip(np.rint(value), lowest, 127).astype(np.int64)
