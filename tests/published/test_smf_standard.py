"""The bytes of our files against Standard MIDI Files 1.0 (MMA RP-001), tables and examples from the text."""

from __future__ import annotations

from io import BytesIO

import pytest
from performances import performance

from render.midi import resolution_for, to_midi

# "Some examples of numbers represented as variable-length quantities" (those that fit into a playable file)
QUANTITIES = [
    (0x00000040, "40"),
    (0x0000007F, "7F"),
    (0x00000080, "81 00"),
    (0x00002000, "C0 00"),
    (0x00003FFF, "FF 7F"),
    (0x00004000, "81 80 00"),
    (0x00100000, "C0 80 00"),
    (0x001FFFFF, "FF FF 7F"),
    (0x00200000, "81 80 80 00"),
]


def saved(made) -> bytes:
    written = BytesIO()
    to_midi(made).save(file=written)
    return written.getvalue()


def chunks(content: bytes) -> list[tuple[bytes, bytes]]:
    found = []
    while content:
        size = int.from_bytes(content[4:8], "big")
        assert len(content) >= 8 + size, "a chunk is shorter than it says"
        found.append((content[:4], content[8 : 8 + size]))
        content = content[8 + size :]
    return found


@pytest.mark.parametrize(("ticks", "expected"), QUANTITIES, ids=[expected for _, expected in QUANTITIES])
def test_delta_times_are_variable_length_quantities(ticks, expected):
    length = ticks / resolution_for(performance([{}]))
    made = performance([{"score_onset": 2.0, "score_length": length, "pitch": 61}], tempo=120)
    assert bytes.fromhex(expected) + bytes([0x80, 61]) in saved(made)


def test_the_header_chunk():
    content = saved(performance([{"lane": 1}], programs=(0, 0)))
    (kind, header), *tracks = chunks(content)
    assert (kind, len(header)) == (b"MThd", 6)
    assert header[:2] == b"\x00\x01"  # format 1: simultaneous tracks
    assert int.from_bytes(header[2:4], "big") == len(tracks) == 3
    assert not header[4] & 0x80  # ticks a quarter, not frames
    assert all(name == b"MTrk" and body.endswith(b"\xff\x2f\x00") for name, body in tracks)


@pytest.mark.parametrize(
    ("tempo", "event"),
    [(120, "FF 51 03 07 A1 20"), (60, "FF 51 03 0F 42 40"), (240, "FF 51 03 03 D0 90")],
)
def test_set_tempo(tempo, event):
    """FF 51 03 tttttt, microseconds a quarter; 500,000 (120 a minute) is 07 A1 20."""
    track = chunks(saved(performance([{}], tempo=tempo)))[1][1]
    assert track.count(b"\xff\x51\x03") == 1
    assert bytes.fromhex(event) in track


@pytest.mark.parametrize(
    ("beats", "unit", "event"),
    [
        (6, 8, "FF 58 04 06 03 24 08"),  # the standard's own example: a click each dotted quarter
        (4, 4, "FF 58 04 04 02 18 08"),  # its default: 24 clocks, eight thirty-seconds in 24 clocks
        (3, 2, "FF 58 04 03 01 30 08"),
    ],
)
def test_time_signature(beats, unit, event):
    made = performance([{}], bars=[{"beats": beats, "unit": unit, "length": beats * 4 / unit}])
    assert bytes.fromhex(event) in chunks(saved(made))[1][1]


def test_names_markers_and_programs():
    made = performance([{}], programs=(24,), phrases=[(0.0, 4.0, 0, 0, "First Verse")])
    _, (_, first), (_, lane) = chunks(saved(made))
    assert b"\xff\x06\x0bFirst Verse" in first
    assert b"\xff\x03\x07A title" in first
    assert b"\xff\x03\x07Voice 1" in lane
    assert b"\xc0\x18" in lane
