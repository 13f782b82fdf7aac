"""The true peak of a sound while its samples go by: what a converter makes between them, too.

Found at four times the rate, as ITU-R BS.1770-4 (Annex 2) has it, by a windowed sinc of our own. Only what comes near
the peak so far is looked at so closely: that finds the same, and costs a twentieth of the rendering.
"""

from __future__ import annotations

from functools import cache

import numpy as np

CEILING = -1.0  # dBTP; what may not be passed (EBU R 128 has the same, from memory)
STEP = 0.5  # dB in which takes are lowered

_ROUNDING = 1e-4  # of a step
_REACH = 16  # samples to each side that count
_PART = 32  # samples that are looked at together
_ROWS = 8  # parts in one matrix product: few enough for the linear algebra library to stay in this thread
_NEAR = 0.7  # of the peak so far: between samples a sound is 3 dB louder at most, but for what no music has


def lowering(peak: float) -> float:
    """By how many dB takes are lowered, the loudest of which has this true peak in dBTP: in steps of half a dB, and 0
    where it does not pass the ceiling."""
    return max(0.0, float(np.ceil((peak - CEILING) / STEP - _ROUNDING) * STEP)) if np.isfinite(peak) else 0.0


class TruePeak:
    """Feed it all (frames, channels) blocks of a sound, of any length; then ask for its `value`."""

    def __init__(self) -> None:
        self._peak = 0.0
        self._waiting: np.ndarray | None = None  # the last samples, whose neighbours are still to come

    def feed(self, block: np.ndarray) -> None:
        """Take the next samples."""
        if self._waiting is None:
            self._waiting = np.zeros((_REACH, block.shape[1]), np.float32)
        sound = np.concatenate([self._waiting, block])
        whole = max(len(sound) - 2 * _REACH, 0) // _PART * _PART
        self._look(sound[: whole + 2 * _REACH], whole)
        self._waiting = sound[whole:].copy()

    def value(self) -> float:
        """In dBTP; minus infinity for silence. Nothing can be fed afterwards."""
        if self._waiting is not None:
            left = np.zeros((_PART + 4 * _REACH, self._waiting.shape[1]), np.float32)
            for start in range(0, len(self._waiting), _PART):
                part = self._waiting[start : start + _PART + 2 * _REACH]
                left[: len(part)], left[len(part) :] = part, 0
                self._look(left[: _PART + 2 * _REACH], _PART)
        return float(20 * np.log10(self._peak)) if self._peak else -np.inf

    def _look(self, sound: np.ndarray, whole: int) -> None:
        """Look at `whole` samples, a number of parts, with their neighbours on both sides."""
        if not whole:
            return
        own = sound[_REACH : _REACH + whole].reshape(-1, _PART * sound.shape[1])
        highest = max(float(own.max()), -float(own.min()))
        self._peak = max(self._peak, highest)
        if not highest or highest < _NEAR * self._peak:
            return
        near = np.flatnonzero(np.maximum(own.max(axis=1), -own.min(axis=1)) >= _NEAR * self._peak)
        spans = np.lib.stride_tricks.sliding_window_view(sound, _PART + 2 * _REACH, axis=0)
        count = len(near) * sound.shape[1]
        parts = np.zeros((count + -count % _ROWS, _PART + 2 * _REACH), np.float32)
        parts[:count] = spans[near * _PART].reshape(count, -1)
        between = parts.reshape(-1, _ROWS, parts.shape[1]) @ _taps()
        self._peak = max(self._peak, float(between.max()), -float(between.min()))


@cache
def _taps() -> np.ndarray:
    """(part and its neighbours, 3 × part) what each sample adds a quarter, a half and three quarters of a sample after
    each sample of a part."""
    wanted = _REACH + np.arange(_PART) + np.array([[0.25], [0.5], [0.75]])
    distance = np.arange(_PART + 2 * _REACH)[:, None] - wanted.ravel()
    window = np.i0(9 * np.sqrt(np.maximum(1 - (distance / _REACH) ** 2, 0))) / np.i0(9)
    taps = np.where(np.abs(distance) < _REACH, np.sinc(distance) * window, 0)
    return (taps / taps.sum(axis=0)).astype(np.float32)
