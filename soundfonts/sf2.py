"""Writing a SoundFont 2.04 file (E-mu Systems, "SoundFont Technical Specification", version 2.04, 2006).

Samples go straight to the file, so that a bank is never held in memory; the tables follow, and the sizes last.
"""

from __future__ import annotations

import struct
from typing import BinaryIO, NamedTuple

import numpy as np

# Generators (§8.1.2), in the order in which a zone must have them: the keys first, the sample last.
KEYS, ATTACK, DECAY, SUSTAIN, RELEASE, CUTOFF, LOOPS, INSTRUMENT, SAMPLE = 43, 34, 36, 37, 38, 8, 54, 41, 53

ATTENUATION = 48
# What moves a modulator (§8.2): velocity, from 1 at none towards 0 at its full, evenly or as its square in dB.
SOFTNESS, SOFTNESS_IN_DECIBELS = 0x0102, 0x0502

_SILENCE = bytes(2 * 46)  # after each sample (§7.10)
_NO_MODULATOR = bytes(10)
_MONO = 1


class Modulator(NamedTuple):
    """`source` moves a generator by up to `amount`. One in a zone goes over one of its instrument and over those that
    all players have, if source and generator are the same."""

    source: int
    generator: int
    amount: int


# Velocity would also close the filter (§8.4.2); with amount 0 it does not, and a level is a level and nothing else.
_NO_FILTER = Modulator(SOFTNESS, CUTOFF, 0)


class Zone(NamedTuple):
    """Keys `low` to `high` play a sample, with further generators {number: amount} and modulators."""

    low: int
    high: int
    sample: int
    generators: dict[int, int]
    modulators: tuple[Modulator, ...] = ()


class Instrument(NamedTuple):
    """`common` are generators for all of its zones."""

    name: str
    common: dict[int, int]
    zones: list[Zone]


class Preset(NamedTuple):
    """What a player finds under bank and program."""

    name: str
    bank: int
    program: int
    instrument: int


def timecents(seconds: float) -> int:
    """A time as SoundFonts have it (§8.1.3)."""
    return round(1200 * np.log2(seconds))


def cutoff(frequency: float) -> int:
    """A filter's frequency in absolute cents (§8.1.3)."""
    return round(1200 * np.log2(frequency / 8.176))


class BankWriter:
    """Add the samples, then `finish` with instruments and presets."""

    def __init__(self, file: BinaryIO, name: str, comment: str):
        self._file = file
        self._headers = b""
        self._samples = 0
        self._written = 0
        about = {b"ifil": struct.pack("<HH", 2, 4), b"isng": _text("EMU8000"), b"INAM": _text(name)}
        about |= {b"ICMT": _text(comment), b"ISFT": _text("lentando")}
        file.write(b"RIFF\0\0\0\0sfbk" + _list(b"INFO", about))
        self._list = file.tell()
        file.write(b"LIST\0\0\0\0sdtasmpl\0\0\0\0")

    def add(self, name: str, data: np.ndarray, loop: tuple[int, int] | None, key: int, rate: int) -> int:
        """Write a mono sample of int16, recorded at a MIDI key; its number."""
        start = self._written // 2
        first, last = loop or (8, len(data) - 8)  # also where no loop is played, eight samples must lie around it
        places = (start, start + len(data), start + first, start + last)
        self._headers += struct.pack("<20s5IBbHH", _name(name), *places, rate, key, 0, 0, _MONO)
        self._written += self._file.write(data.tobytes() + _SILENCE)
        self._samples += 1
        return self._samples - 1

    def finish(self, instruments: list[Instrument], presets: list[Preset]) -> None:
        """Write the tables and the sizes."""
        self._file.write(_list(b"pdta", {**_presets(presets), **_instruments(instruments), b"shdr": self._ended()}))
        end = self._file.tell()
        for place, size in ((4, end - 8), (self._list + 4, self._written + 12), (self._list + 16, self._written)):
            self._file.seek(place)
            self._file.write(struct.pack("<I", size))
        self._file.seek(end)

    def _ended(self) -> bytes:
        return self._headers + struct.pack("<20s5IBbHH", b"EOS", *[0] * 9)


def _presets(presets: list[Preset]) -> dict[bytes, bytes]:
    """Each preset has one zone, and that one generator: its instrument."""
    presets = sorted(presets, key=lambda preset: (preset.bank, preset.program))
    headers = [(_name(p.name), p.program, p.bank, at, 0, 0, 0) for at, p in enumerate(presets)]
    headers.append((b"EOP", 0, 0, len(presets), 0, 0, 0))
    generators = [(INSTRUMENT, preset.instrument) for preset in presets]
    return {
        b"phdr": b"".join(struct.pack("<20sHHHIII", *row) for row in headers),
        b"pbag": b"".join(struct.pack("<HH", at, 0) for at in range(len(presets) + 1)),
        b"pmod": _NO_MODULATOR,
        b"pgen": _generators(generators),
    }


def _instruments(instruments: list[Instrument]) -> dict[bytes, bytes]:
    headers: list[tuple[bytes, int]] = []
    bags: list[tuple[int, int]] = []
    generators: list[tuple[int, int]] = []
    modulators: list[Modulator] = []
    for name, common, zones in instruments:
        headers.append((_name(name), len(bags)))
        bags.append((len(generators), len(modulators)))
        generators += common.items()
        modulators.append(_NO_FILTER)
        for zone in zones:
            bags.append((len(generators), len(modulators)))
            modulators += zone.modulators
            generators.append((KEYS, zone.low | zone.high << 8))
            generators += zone.generators.items()
            generators.append((SAMPLE, zone.sample))
    headers.append((b"EOI", len(bags)))
    bags.append((len(generators), len(modulators)))
    return {
        b"inst": b"".join(struct.pack("<20sH", *row) for row in headers),
        b"ibag": b"".join(struct.pack("<HH", *row) for row in bags),
        b"imod": b"".join(struct.pack("<HHhHH", *each, 0, 0) for each in modulators) + _NO_MODULATOR,
        b"igen": _generators(generators),
    }


def _generators(pairs: list[tuple[int, int]]) -> bytes:
    return b"".join(struct.pack("<HH", number, amount & 0xFFFF) for number, amount in [*pairs, (0, 0)])


def _list(kind: bytes, chunks: dict[bytes, bytes]) -> bytes:
    padded = ((name, len(data), data + b"\0" * (len(data) % 2)) for name, data in chunks.items())
    inside = b"".join(name + struct.pack("<I", size) + data for name, size, data in padded)
    return b"LIST" + struct.pack("<I", len(inside) + 4) + kind + inside


def _text(words: str) -> bytes:
    """A zero-terminated string of even length (§5)."""
    data = words.encode("ascii")
    return data + b"\0" * (2 - len(data) % 2)


def _name(words: str) -> bytes:
    return words.encode("ascii")[:19]
