"""A take through the sound card, with a line that says where the music is."""

from __future__ import annotations

import ctypes
import os
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext, suppress
from pathlib import Path
from types import ModuleType

from rich.console import Console
from rich.text import Text

from render.files import temporary_file
from render.sound.stems import RATE
from render.telling.words import clock
from timing.columns import NEAR
from timing.listening.excerpt import lead_in
from timing.performance import Performance
from timing.remarks import CannotDo
from timing.score import Score
from timing.where import Where

_BUFFER = 1024  # frames that are mixed before they sound
_LOOK = 0.05  # seconds between two looks at the clock


class Playhead:
    """Where a performance is at any second, in the words of its score."""

    def __init__(self, performance: Performance, score: Score, *, rounds: int = 1, counted_in: bool = False):
        self._performance, self._score, self._rounds = performance, score, rounds
        self._where = Where(score, performance.bars)
        self._before = int((performance.bars["pass"] == 0).sum())
        # without a count-in, what comes before the first beat is a voice that leads into it
        self._first = 0.0 if counted_in else lead_in(performance)

    def at(self, second: float) -> str:
        """As in `bar 7:2  pass 2`, with the round where there are several; `count-in` before the music."""
        last = self._performance.quarters - 1e-3
        quarter = min(max(float(self._performance.time.quarters(second)), self._first), last)
        ordinal = self._where.ordinal(quarter)
        bar = self._performance.bars[ordinal]
        if bar["pass"] == 0:
            return "count-in"
        _, beat, pass_ = self._where.beat(quarter)
        said = f"bar {self._score.bar_name(int(bar['row']))}:{int(beat + NEAR)}  pass {pass_}"
        if self._rounds > 1:
            each = (len(self._performance.bars) - self._before) // self._rounds
            said += f"  round {(ordinal - self._before) // each + 1} of {self._rounds}"
        return said


def play(make: Callable[[Path], float], place: Callable[[float], str], warning: str, console: Console) -> None:
    """Play what `make` writes to a sound file (it returns its seconds), showing the `place` of each second where the
    console is a terminal. It begins with a `warning`, and ends at once when it is interrupted, saying where.

    The file is gone in every case. CannotDo where there is no sound device.
    """
    with temporary_file(Path(tempfile.gettempdir()), ".wav") as temporary, _mixer() as mixer:
        file = temporary.path
        seconds = make(file)
        console.print(Text(warning))
        mixer.music.load(file)
        mixer.music.set_volume(1.0)  # it begins with a hair less
        with suppress(OSError):  # where an open file can be taken away, nothing is left even if we are killed
            file.unlink()
        heard = 0.0
        try:
            mixer.music.play()
            with _moving_line(console) as show:
                while mixer.music.get_busy():
                    heard = min(max(mixer.music.get_pos() / 1000 - _BUFFER / RATE, heard), seconds)
                    show(f"{place(heard)}  {clock(heard)} / {clock(seconds)}")
                    time.sleep(_LOOK)
        except KeyboardInterrupt:
            mixer.music.stop()
            where = place(heard).replace("  ", ", ")
            console.print(Text(f"stopped at {where}, {clock(heard)} of {clock(seconds)}"))


@contextmanager
def _mixer() -> Iterator[ModuleType]:
    """pygame's mixer, open for takes."""
    os.environ.setdefault("PYGAME_HIDE_SUPPORT_PROMPT", "1")
    instead = "lentando render PLAN"
    try:
        import pygame
        from pygame import mixer
    except ImportError as fault:
        message = f"no sound: pygame's mixer cannot be loaded ({fault})"
        raise CannotDo.because("no-mixer", message, suggestion=f"pip install pygame-ce, or {instead}") from None
    try:
        with _alsa_hushed():
            mixer.init(RATE, 32, 2, _BUFFER, allowedchanges=0)
    except pygame.error as fault:
        message = f"there is no sound device to play on ({fault}): write a file and listen to it elsewhere"
        raise CannotDo.because("no-sound-device", message, suggestion=instead) from None
    try:
        yield mixer
    finally:
        mixer.quit()


@contextmanager
def _alsa_hushed() -> Iterator[None]:
    """What ALSA says in this thread meanwhile is dropped: where there is no device it complains on the terminal."""
    try:
        tell = ctypes.CDLL("libasound.so.2").snd_lib_error_set_local  # the one that SDL opens, by the same name
    except (OSError, AttributeError):  # another system
        yield
        return
    tell.argtypes, tell.restype = [ctypes.c_void_p], ctypes.c_void_p
    nothing = ctypes.CFUNCTYPE(None)(lambda: None)  # whatever it is told
    before = tell(ctypes.cast(nothing, ctypes.c_void_p))
    try:
        yield
    finally:
        tell(before)


@contextmanager
def _moving_line(console: Console) -> Iterator[Callable[[str], None]]:
    """A function that shows a line in the place of the one before; nothing where the console is no terminal."""
    from rich.live import Live

    with Live(console=console, auto_refresh=False, transient=True) if console.is_terminal else nullcontext() as live:
        yield (lambda line: live.update(Text(line), refresh=True)) if live else lambda line: None
