"""The true peak of a sound while its samples go by: what a converter makes between them, too.

Found at four times the rate, as ITU-R BS.1770-4 (Annex 2) has it, by a windowed sinc of our own. Only what comes near
the peak so far is looked at so closely: that costs a fifth of looking at all of it and finds the same.
"""

from __future__ import annotations

import numpy as np

CEILING = -1.0  # dBTP; what may not be passed (EBU R 128 has the same, from memory)
STEP = 0.5  # dB in which takes are lowered

_ROUNDING = 1e-4  # of a step
_REACH = 16  # samples to each side that count
_PART = 256  # samples that are looked at together
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
        self._waiting = sound[whole:]

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
        sizes = np.abs(sound[_REACH : _REACH + whole]).reshape(-1, _PART, sound.shape[1]).max(axis=1)
        self._peak = max(self._peak, float(sizes.max()))
        near = np.argwhere(sizes >= max(_NEAR * self._peak, np.finfo(np.float32).tiny))
        if not len(near):
            return
        spans = np.lib.stride_tricks.sliding_window_view(sound, _PART + 2 * _REACH, axis=0)
        parts = np.ascontiguousarray(spans[near[:, 0] * _PART, near[:, 1]])
        windows = np.lib.stride_tricks.sliding_window_view(parts, 2 * _REACH, axis=1)
        for some in np.array_split(windows, len(windows) // 64 + 1):
            self._peak = max(self._peak, float(np.abs(some[:, 1:] @ _TAPS).max()))


def _taps() -> np.ndarray:
    """(2 × reach, 3) what each of as many neighbours adds a quarter, a half and three quarters of a sample on."""
    distance = np.arange(1 - _REACH, _REACH + 1)[:, None] - np.array([0.25, 0.5, 0.75])
    window = np.i0(9 * np.sqrt(np.maximum(1 - (distance / _REACH) ** 2, 0))) / np.i0(9)
    taps = np.sinc(distance) * window
    return (taps / taps.sum(axis=0)).astype(np.float32)


_TAPS = _taps()
