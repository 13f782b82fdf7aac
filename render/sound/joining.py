"""The sound of a performance from any frame on, so that it joins what was heard before.

It begins a while earlier, unheard: all is set as it is by then, and the notes are struck that will still sound. From
there on it is the sound of the whole take, to the bit or nearly so (a test measures how nearly).
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import numpy as np

from render.events.table import OFF, ON
from render.sound.sounds import find_sounds
from render.sound.stems import RATE, Sounding, Stave, Stem, staves
from render.sound.synth import BLOCK, Synth
from timing.performance import Performance

_BEFORE = 3.0  # seconds that are played unheard: what has begun before them, and was let go, is past hearing
_RELEASE = 1.0  # seconds for which a note is heard after it was let go
_READY = 2  # synths of each kind that wait


class Synths:
    """Fresh synths that wait for what will be played, since a used one does not sound the same twice and a new one
    takes its time."""

    def __init__(self) -> None:
        self._ready: dict[tuple, list[Synth]] = {}
        self._wanted: dict[tuple, Stave] = {}

    def want(self, staves: list[Stave]) -> None:
        """Keep synths for these staves from now on, and for no others."""
        self._wanted = {_kind(stave): stave for stave in staves}
        for kind in self._ready.keys() - self._wanted.keys():
            for synth in self._ready.pop(kind):
                synth.close()

    def take(self, stave: Stave) -> Synth:
        """A fresh synth, set up for this stave, to be closed by whoever takes it."""
        ready = self._ready.get(_kind(stave))
        return ready.pop() if ready else stave.fresh()

    def make_one(self) -> bool:
        """Make one of the synths that are lacking; False where none is."""
        for kind, stave in self._wanted.items():
            ready = self._ready.setdefault(kind, [])
            if len(ready) < _READY:
                ready.append(stave.fresh())
                return True
        return False

    def close(self) -> None:
        self.want([])


def _kind(stave: Stave) -> tuple:
    """What synths have to share to play a stave: with what is set in the opening, since it loads the samples."""
    return stave.fonts, stave.ports, stave.presets, stave.opening


class Joining:
    """The sound of one performance, which can begin anywhere. CannotDo as `render_sound` has it."""

    def __init__(self, performance: Performance, soundfont: Path | None = None):
        self.staves = staves(performance, find_sounds(performance, soundfont))
        spans = [_spans(stave) for stave in self.staves]
        self.last = max((int(stave.events["moment"].max(initial=0)) for stave in self.staves), default=0)  # of an event
        self._onsets, self._ends = np.concatenate([span[0] for span in spans]), np.concatenate([s[1] for s in spans])

    @contextmanager
    def sounding(self, start: int, synths: Synths) -> Iterator[Sounding]:
        """What sounds from the frame `start` on (a multiple of a block, else the one before it)."""
        start -= start % BLOCK
        begin = self._begin(start)
        with ExitStack() as opened:
            stems = []
            for stave in self.staves:
                opened.callback((synth := synths.take(stave)).close)
                stems.append(Stem.on(synth, stave))
            sounding = Sounding(stems, begin)
            if start > begin:
                sounding.read(start - begin)
            yield sounding

    def _begin(self, start: int) -> int:
        """Where to begin, so that all that sounds at `start` was struck."""
        heard = (self._onsets < start) & (self._ends + int(_RELEASE * RATE) > start)
        early = max(0, start - int(_BEFORE * RATE) // BLOCK * BLOCK)
        return min(early, int(self._onsets[heard].min(initial=early)))


def _spans(stave: Stave) -> tuple[np.ndarray, np.ndarray]:
    """(n,) frames at which the notes of a stave are struck and let go."""
    events = stave.events[np.isin(stave.events["kind"], (ON, OFF))]
    events = events[np.lexsort((events["kind"], events["moment"], events["data"], events["lane"]))]
    struck, let_go = (np.flatnonzero(events["kind"] == kind) for kind in (ON, OFF))
    over = let_go[np.searchsorted(let_go, struck)]  # every note is let go, and no key is struck again before that
    return events["moment"][struck].astype(np.int64), events["moment"][over].astype(np.int64)
