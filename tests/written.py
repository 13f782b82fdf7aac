"""Scores written as files, for what reads them: short MusicXML, MIDI bytes."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

DOCTYPE = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" '
    '"http://www.musicxml.org/dtds/partwise.dtd">\n'
)
FOUR_FOUR = "<divisions>12</divisions><time><beats>4</beats><beat-type>4</beat-type></time>"


def note(pitch: str = "C4", quarters: float = 1.0, more: str = "", *, voice: int | None = 1, first: str = "") -> str:
    """A <note>: pitch as "F#4", length in quarters (12 divisions each); `first` goes before the pitch, `more` last."""
    if pitch == "rest":
        sound = "<rest/>"
    else:
        alter = {"#": "<alter>1</alter>", "b": "<alter>-1</alter>"}.get(pitch[1], "")
        sound = f"<pitch><step>{pitch[0]}</step>{alter}<octave>{pitch[-1]}</octave></pitch>"
    length = "" if "<grace" in first else f"<duration>{round(quarters * 12)}</duration>"
    named = f"<voice>{voice}</voice>" if voice else ""
    return f"<note>{first}{sound}{length}{named}{more}</note>"


def back(quarters: float) -> str:
    """The way back in a bar, to where another voice begins."""
    return f"<backup><duration>{round(quarters * 12)}</duration></backup>"


def forward(quarters: float) -> str:
    """The way on in a bar, over what a voice leaves out."""
    return f"<forward><duration>{round(quarters * 12)}</duration></forward>"


def bar(content: str, number: object = 1, attributes: str = "", more: str = "") -> str:
    """A <measure>; `more` are further attributes of the element, such as implicit="yes"."""
    attributes = f"<attributes>{attributes}</attributes>" if attributes else ""
    return f'<measure number="{number}" {more}>{attributes}{content}</measure>'


def musicxml(*parts: str | list[str], names: tuple[str, ...] = ()) -> str:
    """A score of these parts, each its bars; the first bar of each should say FOUR_FOUR or the like."""
    names = names or tuple(f"Part {n}" for n in range(1, len(parts) + 1))
    listed = "".join(
        f'<score-part id="P{n}"><part-name>{name}</part-name></score-part>' for n, name in enumerate(names, start=1)
    )
    bodies = "".join(f'<part id="P{n}">{"".join(p)}</part>' for n, p in enumerate(parts, start=1))
    return f"{DOCTYPE}<score-partwise><part-list>{listed}</part-list>{bodies}</score-partwise>"


def packed(**files: str | bytes) -> bytes:
    """A zip archive in memory; a name's "__" stands for "/", its "_" for "."."""
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in files.items():
            archive.writestr(name.replace("__", "/").replace("_", "."), text)
    return content.getvalue()


def standard_midi(*tracks: bytes, division: int = 480) -> bytes:
    """A type 1 MIDI file (SMF 1.0) of tracks without their end-of-track event."""
    end = b"\x00\xff\x2f\x00"
    chunks = b"".join(b"MTrk" + len(t + end).to_bytes(4, "big") + t + end for t in tracks)
    return b"MThd\x00\x00\x00\x06\x00\x01" + len(tracks).to_bytes(2, "big") + division.to_bytes(2, "big") + chunks


def suite() -> dict[str, Path]:
    """The MIT-licensed MusicXML test suite that music21 carries, by the number of each file ("24a")."""
    import music21

    folder = Path(music21.__file__).parent / "musicxml"
    files = [*folder.glob("*/[0-9]*.xml"), *folder.glob("*/[0-9]*.mxl")]
    return {file.name.partition("-")[0]: file for file in sorted(files)}
