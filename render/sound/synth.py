"""FluidSynth: finding its library and driving one synth.

pyfluidsynth binds a library that it does not bring along. The system's own is taken first; otherwise the copy that the
pygame-ce wheel carries for its mixer.
"""

from __future__ import annotations

import contextlib
import ctypes
import ctypes.util
import io
import os
import sys
from collections.abc import Callable, Iterator
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from types import ModuleType

import numpy as np

from timing.remarks import CannotDo

BLOCK = 64  # samples; events act at block boundaries
# One gain for all takes, so that two readings can be compared: ten notes at ff on the piano, strings or organ of the
# standard bank stay below full scale, a guitar at mp is about -29 LUFS.
GAIN = 1.6
POLYPHONY = 1024  # voices; a hundred notes with their releases need half of them, and more make every event slower
MOST_PORTS = 16  # the library has 256 channels at most


@cache
def binding() -> ModuleType:
    """The module `fluidsynth`, bound to a library. CannotDo names what was tried and what mends it."""
    tried: list[str] = []
    for finder in (ctypes.util.find_library, lambda _: next(iter(bundled()), None)):
        try:
            return _bound(finder, tried)
        except (ImportError, OSError, AttributeError) as refusal:
            sys.modules.pop("fluidsynth", None)
            fault = refusal
    message = (
        "no sound: the FluidSynth library was not found, neither the system's nor the one in the package pygame-ce "
        f"(tried {', '.join(dict.fromkeys(tried))}: {fault}). MIDI files and checks work without it"
    )
    raise CannotDo.because("no-synth", message, suggestion="pip install pygame-ce")


def _bound(finder: Callable[[str], str | None], tried: list[str]) -> ModuleType:
    """Import the module with a library that `finder` finds. Names or paths are added to `tried`."""

    def find(name: str) -> str | None:
        found = finder(name)
        tried.append(found or f"lib{name}")
        return found

    usual = ctypes.util.find_library
    ctypes.util.find_library = find
    try:
        with contextlib.redirect_stdout(io.StringIO()):  # it announces what it found where CI is set
            import fluidsynth
    finally:
        ctypes.util.find_library = usual
    return fluidsynth


def bundled() -> list[str]:
    """The FluidSynth libraries inside the pygame-ce wheel (without importing it)."""
    spec = find_spec("pygame")
    if spec is None or not spec.origin:
        return []
    package = Path(spec.origin).parent
    places = ((package.parent / "pygame_ce.libs", "libfluidsynth*.so*"), (package / ".dylibs", "libfluidsynth*.dylib"))
    found = [path for folder, pattern in (*places, (package, "libfluidsynth*.dll")) for path in folder.glob(pattern)]
    return [str(path) for path in sorted(found)]


class Synth:
    """One fresh FluidSynth without reverb and chorus. A reused synth would not sound the same twice."""

    def __init__(self, bank: Path, rate: int, ports: int, *others: Path):
        self.fs = binding()
        self.version = _version(self.fs)
        _silence_log(self.fs)
        self._settings = self.fs.new_fluid_settings()
        numbers = {b"synth.sample-rate": float(rate), b"synth.gain": GAIN}
        switches = {
            b"synth.reverb.active": 0, b"synth.chorus.active": 0, b"synth.midi-channels": 16 * ports,
            b"synth.polyphony": POLYPHONY, b"synth.dynamic-sample-loading": 1, b"synth.lock-memory": 0,
        }  # fmt: skip
        for name, value in numbers.items():
            self.fs.fluid_settings_setnum(self._settings, name, value)
        for name, value in switches.items():
            self.fs.fluid_settings_setint(self._settings, name, value)
        self._synth = self.fs.new_fluid_synth(self._settings)
        self._write = self.fs._fl.fluid_synth_write_float
        self._write.argtypes = [ctypes.c_void_p, ctypes.c_int] + [ctypes.c_void_p, ctypes.c_int, ctypes.c_int] * 2
        self._preset = self.fs._fl.fluid_synth_get_channel_preset
        self._preset.argtypes, self._preset.restype = [ctypes.c_void_p, ctypes.c_int], ctypes.c_void_p
        self._banks = (bank, *others)
        self._fonts = [self._load(each) for each in self._banks]

    def _load(self, bank: Path) -> int:
        with nothing_on_the_terminal():
            font = self.fs.fluid_synth_sfload(self._synth, os.fsencode(bank), 0)
        if font < 0:
            self.close()
            raise CannotDo.because("not-a-bank", f"FluidSynth {self.version} cannot read the SoundFont {bank}", bank)
        return font

    def program(self, channel: int, program: int, *, font: int = 0, bank: int = 0) -> None:
        """Give a channel a program of a bank (of presets) in one of the SoundFonts; where it has none, the nearest
        choice for that number.

        CannotDo where there is nothing to choose, since the channel would be silent.
        """
        if self.fs.fluid_synth_program_select(self._synth, channel, self._fonts[font], bank, program) != 0:
            self.fs.fluid_synth_program_change(self._synth, channel, program)
        if not self._preset(self._synth, channel):
            file = self._banks[font]
            message = f"the SoundFont {file} has no sound for program {program + 1} of General MIDI"
            raise CannotDo.because("no-program", message, file)

    def note_on(self, channel: int, pitch: int, velocity: int) -> None:
        self.fs.fluid_synth_noteon(self._synth, channel, pitch, velocity)

    def note_off(self, channel: int, pitch: int) -> None:
        self.fs.fluid_synth_noteoff(self._synth, channel, pitch)

    def control(self, channel: int, number: int, value: int) -> None:
        self.fs.fluid_synth_cc(self._synth, channel, number, value)

    def bend(self, channel: int, value: int) -> None:
        """Turn the pitch wheel, from -8192 to 8191."""
        self.fs.fluid_synth_pitch_bend(self._synth, channel, value + 8192)

    @property
    def sounding(self) -> int:
        """How many voices still sound."""
        return self.fs.fluid_synth_get_active_voice_count(self._synth)

    def read(self, into: np.ndarray) -> None:
        """Fill a (frames, 2) float32 array with what sounds next."""
        at = into.ctypes.data
        self._write(self._synth, len(into), at, 0, 2, at, 1, 2)

    def close(self) -> None:
        if self._synth:
            self.fs.delete_fluid_synth(self._synth)
            self.fs.delete_fluid_settings(self._settings)
            self._synth = None


@contextlib.contextmanager
def open_synth(bank: Path, rate: int, ports: int, *others: Path) -> Iterator[Synth]:
    """A synth that is let go at the end."""
    synth = Synth(bank, rate, ports, *others)
    try:
        yield synth
    finally:
        synth.close()


def _version(fs: ModuleType) -> str:
    numbers = [ctypes.c_int() for _ in range(3)]
    fs.fluid_version(*numbers)
    return ".".join(str(number.value) for number in numbers)


def _silence_log(fs: ModuleType) -> None:
    """Keep the library's own messages off the terminal: what matters is said by us."""
    for level in range(5):
        fs._fl.fluid_set_log_function(level, None, None)


@contextlib.contextmanager
def nothing_on_the_terminal() -> Iterator[None]:
    """What is written to standard error meanwhile is dropped. For a damaged bank FluidSynth asks GLib-based libraries,
    and these write their complaints there themselves."""
    try:
        sys.stderr.flush()
        kept = os.dup(2)
    except (AttributeError, OSError):  # there is no standard error
        yield
        return
    try:
        with open(os.devnull, "wb") as nowhere:
            os.dup2(nowhere.fileno(), 2)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
