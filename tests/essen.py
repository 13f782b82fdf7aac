"""Folk songs of the Essen collection with their phrases, straight from the ABC files that music21 carries.

H. Schaffrath, "The Essen Folksong Collection" (1995), in ABC by S. Schlien. A line of a tune's body is a phrase (as
in the collection's own notation, EsAC); a rest at the beginning of a line belongs to the phrase before. Only what these
files hold is read: notes, rests, ties, bar lines, one metre and one key a tune.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np

from timing.finding.melody import Melody

_HEAD = re.compile(r"([A-Za-z]):(.*)")
_TOKEN = re.compile(r"(?P<sharp>[\^_=]*)(?P<name>[A-Ga-gz])(?P<octave>[,']*)(?P<length>\d*)|(?P<bar>\|)|(?P<tie>-)")
_SEMITONES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_FIFTHS = {"F": -1, "C": 0, "G": 1, "D": 2, "A": 3, "E": 4, "B": 5, "H": 5}


@dataclass(frozen=True)
class Song:
    """A tune and, for each note, whether a phrase ends with it (the last one always does)."""

    name: str  # file and number
    melody: Melody
    ends: np.ndarray


def folder() -> Path:
    import music21

    return Path(music21.__file__).parent / "corpus" / "essenFolksong"


def erk_songs() -> list[Song]:
    """The songs of L. Erk's collection that have a metre."""
    return [song for path in sorted(folder().glob("erk*.abc")) for song in read_songs(path)]


def other_songs() -> list[Song]:
    """All others that have a metre, but for the Chinese ones, whose phrases are made otherwise."""
    paths = (path for path in sorted(folder().glob("*.abc")) if not path.stem.startswith(("erk", "han")))
    return [song for path in paths for song in read_songs(path)]


def read_songs(path: Path) -> list[Song]:
    """The tunes of a file that have a metre and at least two notes."""
    tunes = re.split(r"(?m)^(?=X:)", path.read_text("latin-1"))
    songs = (_read_song(f"{path.stem} {number}", tune) for number, tune in enumerate(tunes[1:], 1))
    return [song for song in songs if song is not None and len(song.melody) > 1]


def _read_song(name: str, tune: str) -> Song | None:
    heads, lines = {}, []
    for line in tune.splitlines():
        head = _HEAD.match(line)
        if head:
            heads.setdefault(head[1], head[2].strip())
        elif line.strip():
            lines.append(line)
    metre = re.fullmatch(r"(\d+)/(\d+)", heads["M"])
    if not metre:
        return None
    unit = Fraction(heads["L"]) / Fraction(int(metre[1]), int(metre[2]))  # everything is counted in bars
    notes, bar_lines = _read_body(lines, unit, _signature(heads["K"]))
    if not notes:
        return None
    ends = np.array([note.last_of_line for note in notes])
    ends[-1] = True
    return Song(name, _melody(notes, bar_lines), ends)


@dataclass
class _Note:
    onset: Fraction
    length: Fraction
    pitch: int
    last_of_line: bool = False


def _read_body(lines: list[str], unit: Fraction, signature: dict[str, int]) -> tuple[list[_Note], list[Fraction]]:
    """The notes and where the bar lines stand."""
    at, tied, notes, bar_lines, altered = Fraction(0), False, [], [], {}
    for line in lines:
        if notes:
            notes[-1].last_of_line = True
        for token in _TOKEN.finditer(line):
            if token["bar"]:
                bar_lines.append(at)
                altered = {}
                continue
            if token["tie"]:
                tied = True
                continue
            lasts = int(token["length"] or 1) * unit
            if token["name"] != "z":
                pitch = _pitch(token, signature, altered)
                if tied and notes and notes[-1].pitch == pitch:
                    notes[-1].length += lasts
                    notes[-1].last_of_line = False
                else:
                    notes.append(_Note(at, lasts, pitch))
            tied = False
            at += lasts
    return notes, bar_lines


def _pitch(token: re.Match, signature: dict[str, int], altered: dict) -> int:
    """An accidental holds until the bar is over, for its letter in its octave."""
    letter, step = (token["name"], token["octave"]), token["name"].upper()
    if token["sharp"]:
        altered[letter] = token["sharp"].count("^") - token["sharp"].count("_")
    octaves = token["name"].islower() + token["octave"].count("'") - token["octave"].count(",")
    return 60 + 12 * octaves + _SEMITONES[step] + altered.get(letter, signature.get(step, 0))


def _melody(notes: list[_Note], bar_lines: list[Fraction]) -> Melody:
    # a first bar that is too short is an upbeat; the lines of a tune may leave out the bar line between them
    upbeat = (-bar_lines[0]) % 1 if bar_lines and bar_lines[0] <= 1 else Fraction(0)
    starts = [-upbeat, *bar_lines]
    place = np.array([float((note.onset - starts[bisect_right(starts, note.onset) - 1]) % 1) for note in notes])
    onset = np.array([float(note.onset - notes[0].onset) for note in notes])
    return Melody(onset, np.array([float(n.length) for n in notes]), place, np.array([n.pitch for n in notes]))


def _signature(key: str) -> dict[str, int]:
    """Semitones by which the letters are altered; a key these files misspell counts as its first letter's."""
    found = re.match(r"([A-H])([b#s]?)(m?)", key)
    count = _FIFTHS[found[1]] + 7 * ((found[2] == "#") - (found[2] in "bs" and found[2] != "")) - 3 * bool(found[3])
    letters = "FCGDAEB" if count > 0 else "BEADGCF"
    return dict.fromkeys(letters[: min(abs(count), 7)], 1 if count > 0 else -1)
