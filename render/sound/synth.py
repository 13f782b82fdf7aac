"""Driving one FluidSynth."""

from __future__ import annotations

import contextlib
import os
import threading
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from render.sound.library import binding, glib_hushed, version
from timing.remarks import CannotDo

BLOCK = 64  # samples; events act at block boundaries
# One gain for all takes, so that two readings can be compared: three voices at mf are near -20 LUFS. Where this is too
# loud for a take, all that it may be compared with are lowered alike (`render.sound.peaks`).
GAIN = 4.0
POLYPHONY = 1024  # voices; a hundred notes with their releases need half of them, and more make every event slower
MOST_PORTS = 16  # the library has 256 channels at most
_OPENING = threading.Lock()  # the library makes tables with its first synth, and has no guard of its own around that


class Synth:
    """One fresh FluidSynth without reverb and chorus. A reused synth would not sound the same twice."""

    def __init__(self, bank: Path, rate: int, ports: int, *others: Path):
        self._fs = binding()
        self.version = version(self._fs)
        self._synth: int | None
        self._settings, self._synth = self._made(rate, ports)
        self._banks = (bank, *others)
        self._fonts = [self._load(each) for each in self._banks]

    def _made(self, rate: int, ports: int) -> tuple[int, int]:
        """The settings and the synth, as the library knows them."""
        numbers = {b"synth.sample-rate": float(rate), b"synth.gain": GAIN}
        switches = {
            b"synth.reverb.active": 0, b"synth.chorus.active": 0, b"synth.midi-channels": 16 * ports,
            b"synth.polyphony": POLYPHONY, b"synth.dynamic-sample-loading": 1, b"synth.lock-memory": 0,
        }  # fmt: skip
        with _OPENING:
            settings = self._fs.new_fluid_settings()
            for name, value in numbers.items():
                self._fs.fluid_settings_setnum(settings, name, value)
            for name, value in switches.items():
                self._fs.fluid_settings_setint(settings, name, value)
            return settings, self._fs.new_fluid_synth(settings)

    def _load(self, bank: Path) -> int:
        with _OPENING, glib_hushed(self._fs._fl):
            font: int = self._fs.fluid_synth_sfload(self._synth, os.fsencode(bank), 0)
        if font < 0:
            self.close()
            raise CannotDo.because("not-a-bank", f"FluidSynth {self.version} cannot read the SoundFont {bank}", bank)
        return font

    def program(self, channel: int, program: int, *, font: int = 0, bank: int = 0) -> None:
        """Give a channel a program of a bank (of presets) in one of the SoundFonts; where it has none, the nearest
        choice for that number.

        CannotDo where there is nothing to choose, since the channel would be silent.
        """
        if self._fs.fluid_synth_program_select(self._synth, channel, self._fonts[font], bank, program) != 0:
            self._fs.fluid_synth_program_change(self._synth, channel, program)
        if not self._fs._fl.fluid_synth_get_channel_preset(self._synth, channel):
            file = self._banks[font]
            message = f"the SoundFont {file} has no sound for program {program + 1} of General MIDI"
            raise CannotDo.because("no-program", message, file)

    def has(self, program: int, bank: int = 0) -> bool:
        """Whether the first SoundFont has a preset of its own for a program."""
        return bool(self._fs.fluid_synth_program_select(self._synth, 0, self._fonts[0], bank, program) == 0)

    def note_on(self, channel: int, pitch: int, velocity: int) -> None:
        self._fs.fluid_synth_noteon(self._synth, channel, pitch, velocity)

    def note_off(self, channel: int, pitch: int) -> None:
        self._fs.fluid_synth_noteoff(self._synth, channel, pitch)

    def control(self, channel: int, number: int, value: int) -> None:
        self._fs.fluid_synth_cc(self._synth, channel, number, value)

    def bend(self, channel: int, value: int) -> None:
        """Turn the pitch wheel, from -8192 to 8191."""
        self._fs.fluid_synth_pitch_bend(self._synth, channel, value + 8192)

    @property
    def sounding(self) -> int:
        """How many voices still sound."""
        return int(self._fs.fluid_synth_get_active_voice_count(self._synth))

    def read(self, into: np.ndarray) -> None:
        """Fill a (frames, 2) float32 array with what sounds next."""
        at = into.ctypes.data
        self._fs._fl.fluid_synth_write_float(self._synth, len(into), at, 0, 2, at, 1, 2)

    def close(self) -> None:
        if self._synth:
            self._fs.delete_fluid_synth(self._synth)
            self._fs.delete_fluid_settings(self._settings)
            self._synth = None


def missing_programs(bank: Path) -> list[int]:
    """Which of General MIDI's 128 programs (from 0) a SoundFont has no preset for. CannotDo where it cannot be read."""
    with open_synth(bank, 44_100, 1) as synth:
        return [program for program in range(128) if not synth.has(program)]


@contextlib.contextmanager
def open_synth(bank: Path, rate: int, ports: int, *others: Path) -> Iterator[Synth]:
    """A synth that is let go at the end."""
    synth = Synth(bank, rate, ports, *others)
    try:
        yield synth
    finally:
        synth.close()
