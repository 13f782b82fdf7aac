"""The kinds of files that are written, each known by how its name ends; the first of several is the usual one."""

from __future__ import annotations

from pathlib import Path

WAV, FLAC, OGG, MP3 = ".wav", ".flac", ".ogg", ".mp3"
PDF, SVG, PNG = ".pdf", ".svg", ".png"

MIDI = (".mid", ".midi")
SOUND = (WAV, FLAC, OGG, MP3)
SHEET = (PDF, SVG, PNG)
PAGE = (".html", ".htm")


def kind_of(file: Path) -> str:
    """How the name of a file ends, in small letters: one of the above, or anything else."""
    return file.suffix.lower()
