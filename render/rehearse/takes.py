"""The sound of one reading, made in the order in which it is wanted: from the playhead on, then what is before it."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np

from render.sound.joining import Joining, Synths
from render.sound.stems import RATE
from render.sound.synth import BLOCK

_FIRST = 69 * BLOCK  # frames of a stretch that are sent at once: 0.1 s
_SIZE = 32_768  # frames in each block after that: larger ones hold up what comes next
_AHEAD = 2 * RATE  # frames that whoever jumps waits for, rather than have others made


class GrowingTake:
    """A take that is being made. `frames` is how long it is, once its end is made."""

    def __init__(self, joining: Joining, playhead: Callable[[], int]):
        """`playhead` gives the frame at which somebody listens."""
        self._joining, self._playhead = joining, playhead
        self._made: list[tuple[int, int]] = []  # stretches, in order; no two of them meet
        self.frames: int | None = None

    @property
    def whole(self) -> bool:
        return self.frames is not None and self._made == [(0, self.frames)]

    def blocks(self, synths: Synths) -> Iterator[tuple[int, np.ndarray]]:
        """Blocks as they are made, each with its first frame: (frames, channels) float32, one channel where left and
        right are the same to the bit. CannotDo as `render_sound` has it."""
        while not self.whole:
            start = self._next_start()
            end = next((first for first, _ in self._made if first > start), None)
            with self._joining.sounding(start, synths) as sounding:
                now = start
                for block in sounding.blocks(_SIZE, _FIRST):
                    block = block if end is None else block[: end - now]
                    yield now, _channels(block)
                    now = self._add(now, len(block))
                    if now == end or self._wanted_elsewhere(now):
                        break
                else:
                    self.frames = now

    def _next_start(self) -> int:
        playhead = min(max(self._playhead(), 0), self._joining.last)
        wanted = self._first_lacking(playhead - playhead % BLOCK)
        return wanted if wanted != self.frames else self._first_lacking(0)

    def _first_lacking(self, frame: int) -> int:
        """The first frame from this one on that is not made yet."""
        return next((last for first, last in self._made if first <= frame < last), frame)

    def _wanted_elsewhere(self, now: int) -> bool:
        """Whether somebody soon needs what is not made yet, and what this stretch does not lead to."""
        wanted = self._next_start()
        return -BLOCK < wanted - self._playhead() < _AHEAD and not now <= wanted <= now + _AHEAD

    def _add(self, first: int, frames: int) -> int:
        """Take note of what is made; where it ends."""
        last = first + frames
        made: list[tuple[int, int]] = []
        for begin, end in sorted([*self._made, (first, last)]):
            if made and begin <= made[-1][1]:
                made[-1] = made[-1][0], max(end, made[-1][1])
            else:
                made.append((begin, end))
        self._made = made
        return last


def _channels(block: np.ndarray) -> np.ndarray:
    return block[:, :1] if np.array_equal(block[:, 0], block[:, 1]) else block
