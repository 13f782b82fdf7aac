"""The sound of the page: each reading as one MP3 with one channel, coded while it is rendered.

MP3 is what every browser plays from inside a page. It is coded with a variable bit rate, since then the file says how
many samples the coder has put before and after the music, and a browser takes them off (measured in Chromium: to the
sample). Up to four minutes have the full 44.1 kHz, about 0.75 MB for two minutes once it is text; longer music has half
of that, which keeps all up to 11 kHz at half the size, and half the memory in the browser.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from render.kinds import MP3
from render.sound.coding import encoded
from render.sound.memory import Progress
from render.sound.peaks import TruePeak
from render.sound.stems import RATE, Stem, stream
from timing.performance import Performance

LONG = 240.0  # seconds; what is longer is coded at half the rate
_LEVEL = {RATE: 0.6, RATE // 2: 0.5}  # of compression, from 0 to 1; about 37 and 20 kbit/s for a guitar
_REACH = 31  # samples to each side that count when the rate is halved


@dataclass(frozen=True)
class Recording:
    """A reading as sound. `frames` at `rate` is the length of the music without what the coder adds, `peak` the true
    peak in dBTP of what is coded, `lowered` by so many dB."""

    mp3: bytes
    rate: int
    frames: int
    peak: float
    lowered: float

    @property
    def seconds(self) -> float:
        return self.frames / self.rate


def rate_for(performances: Iterable[Performance]) -> int:
    """The sampling rate at which all of these are recorded."""
    longest = max(performance.time.length for performance in performances)
    return RATE if longest <= LONG else RATE // 2


def record(
    performance: Performance, stems: list[Stem], rate: int, lowered: float, progress: Progress | None = None
) -> Recording:
    """Render and code one reading at its own level, `lowered` by so many dB, by its opened stems; `progress(done,
    total)` in seconds. Several can be recorded at once in threads."""
    total, frames, peak = float(performance.notes["end"].max(initial=0)), 0, TruePeak()
    factor = np.float32(10 ** (-lowered / 20))
    one_channel = (chunk.mean(axis=1) * factor for chunk in stream(stems))

    def counted() -> Iterator[np.ndarray]:
        nonlocal frames
        for chunk in one_channel if rate == RATE else halved(one_channel):
            frames += len(chunk)
            peak.feed(chunk[:, None])
            if progress:
                progress(min(frames / rate, total), total)
            yield chunk

    mp3 = encoded(counted(), MP3, rate=rate, channels=1, compression=_LEVEL[rate])
    return Recording(mp3, rate, frames, peak.value(), lowered)


def halved(chunks: Iterable[np.ndarray]) -> Iterator[np.ndarray]:
    """The same sound at half the rate, without delay: a half-band low-pass, of which every other tap is 0."""
    odd = np.arange(-_REACH, _REACH + 1, 2)
    taps = (np.sinc(odd / 2) / 2 * np.kaiser(2 * _REACH + 1, 8.0)[::2]).astype(np.float32)
    taps *= np.float32(0.5) / taps.sum()
    kept = np.zeros(_REACH, np.float32)
    for chunk in _with_end(chunks):
        kept = np.concatenate([kept, chunk])
        count = max((len(kept) - 2 * _REACH + 1) // 2, 0)
        if count:
            yield np.convolve(kept[::2], taps, "valid")[:count] + kept[_REACH::2][:count] / 2
            kept = kept[2 * count :]


def _with_end(chunks: Iterable[np.ndarray]) -> Iterator[np.ndarray]:
    yield from chunks
    yield np.zeros(_REACH, np.float32)
