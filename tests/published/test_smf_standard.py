"""Our MIDI files byte by byte against the Standard MIDI Files 1.0 specification (MMA RP-001), without a MIDI library.

The numbers below are the specification's own examples (its tables of variable-length quantities and of meta events).
"""

from __future__ import annotations

from io import BytesIO

import pytest
from mido.midifiles.meta import encode_variable_int
from performances import performance
from support import reading

from render.midi.clock import resolution_for
from render.midi.file import to_midi

QUANTITIES = {
    0x00: "00", 0x40: "40", 0x7F: "7F", 0x80: "81 00", 0x2000: "C0 00", 0x3FFF: "FF 7F", 0x4000: "81 80 00",
    0x100000: "C0 80 00", 0x1FFFFF: "FF FF 7F", 0x200000: "81 80 80 00", 0x8000000: "C0 80 80 00",
    0xFFFFFFF: "FF FF FF 7F",
}  # fmt: skip


def quantity(data: bytes, at: int) -> tuple[int, int]:
    """(value, next place) of a variable-length quantity: seven bits a byte, the last one without its top bit."""
    value = 0
    while True:
        value, at = value << 7 | data[at] & 0x7F, at + 1
        if data[at - 1] < 0x80:
            return value, at


def chunks(data: bytes) -> list[tuple[bytes, bytes]]:
    found, at = [], 0
    while at < len(data):
        size = int.from_bytes(data[at + 4 : at + 8], "big")
        found.append((data[at : at + 4], data[at + 8 : at + 8 + size]))
        at += 8 + size
    assert at == len(data)
    return found


def events(track: bytes) -> list[tuple[int, int, bytes]]:
    """(tick, status or meta type, data) of a track chunk."""
    found, at, tick, status = [], 0, 0, None
    while at < len(track):
        delta, at = quantity(track, at)
        tick += delta
        if track[at] == 0xFF:
            kind = track[at + 1]
            size, at = quantity(track, at + 2)
            found.append((tick, 0xFF00 | kind, track[at : at + size]))
            at, status = at + size, None
            continue
        if track[at] >= 0x80:
            status, at = track[at], at + 1
        assert status is not None and 0x80 <= status < 0xF0, "running status without a status"
        size = 1 if status >> 4 in (0xC, 0xD) else 2
        assert all(byte < 0x80 for byte in track[at : at + size])
        found.append((tick, status, track[at : at + size]))
        at += size
    return found


def written(performance) -> bytes:
    file = BytesIO()
    to_midi(performance).save(file=file)
    return file.getvalue()


@pytest.mark.parametrize(("number", "coded"), QUANTITIES.items())
def test_variable_length_quantities(number, coded):
    assert bytes(encode_variable_int(number)) == bytes.fromhex(coded)  # what our files are written with
    assert quantity(bytes.fromhex(coded), 0) == (number, len(bytes.fromhex(coded)))  # what this test reads with


@pytest.mark.parametrize(("ticks", "coded"), [(n, coded) for n, coded in QUANTITIES.items() if 0 < n < 10**7])
def test_our_files_have_delta_times_as_in_the_table(ticks, coded):
    length = ticks / resolution_for(performance([{}]))
    made = performance([{"score_onset": 2.0, "score_length": length, "pitch": 61}], tempo=120)
    assert bytes.fromhex(coded) + bytes([0x80, 61]) in written(made)


@pytest.mark.parametrize(
    ("tempo", "event"), [(120, "FF 51 03 07 A1 20"), (60, "FF 51 03 0F 42 40"), (240, "FF 51 03 03 D0 90")]
)
def test_set_tempo(tempo, event):
    """FF 51 03 tttttt, microseconds a quarter; 500,000 (120 a minute) is 07 A1 20."""
    track = chunks(written(performance([{}], tempo=tempo)))[1][1]
    assert track.count(b"\xff\x51\x03") == 1
    assert bytes.fromhex(event) in track


@pytest.mark.parametrize(
    ("beats", "unit", "event"),
    [
        (6, 8, "FF 58 04 06 03"),  # the standard's own example
        (4, 4, "FF 58 04 04 02 18 08"),  # its default: 24 clocks, eight thirty-seconds in 24 clocks
        (3, 2, "FF 58 04 03 01"),
    ],
)
def test_time_signature(beats, unit, event):
    made = performance([{}], bars=[{"beats": beats, "unit": unit, "length": beats * 4 / unit}])
    assert bytes.fromhex(event) in chunks(written(made))[1][1]


def test_header_tracks_and_events():
    plan = {"title": "Été", "tempo": 120, "slowing": [{"rallentando": "2:1 - 2:6", "to": "50%"}]}
    data = written(reading(plan, bars=2, metre=(6, 8), voices={1: "c4:1.5 d4:1.5 e4:3", 2: "c3:3 g3:3"}).performance)
    (name, head), *tracks = chunks(data)
    kind, count, division = (int.from_bytes(head[at : at + 2], "big") for at in (0, 2, 4))
    assert (name, len(head), kind, count) == (b"MThd", 6, 1, 3)
    assert 0 < division < 0x8000  # ticks a quarter
    assert [name for name, _ in tracks] == [b"MTrk"] * 3
    first, upper, lower = (events(track) for _, track in tracks)
    assert all(track[-1][1:] == (0xFF2F, b"") for track in (first, upper, lower))
    assert (0, 0xFF03, "Été".encode()) in first
    # numerator, denominator as a power of two, MIDI clocks a click, notated 32nds a quarter
    assert [(tick, data[:2], data[3]) for tick, kind, data in first if kind == 0xFF58] == [(0, bytes([6, 3]), 8)]
    assert all(kind != 0xFF51 for track in (upper, lower) for _, kind, _ in track)
    ons = [(tick / division, data[0]) for tick, kind, data in upper if kind & 0xF0 == 0x90 and data[1]]
    assert ons == [(0, 60), (1.5, 62), (3, 64)]
    channels = [{kind & 0xF for _, kind, _ in track if kind < 0xFF} for track in (upper, lower)]
    assert channels == [{0}, {1}]
    # seconds by the bytes alone: the sum of ticks times the tempo in force
    clock, before, tempo = 0.0, 0, 500_000
    for tick, kind, payload in first:
        clock, before = clock + (tick - before) * tempo / division / 1e6, tick
        if kind == 0xFF51:
            assert len(payload) == 3
            tempo = int.from_bytes(payload, "big")
    assert clock == pytest.approx(1.5 + 1.5 * 1.5 * (1 - 0.5**2) / (1 - 0.5**3), abs=1e-4)  # the cubic law, q = 3
