"""Strings and frets against the MIT-licensed MusicXML test suite inside music21 (its files are named by number).

71e holds tablature staves in several tunings; 71c and 71d hold chord diagrams as guitarists read them.
"""

from __future__ import annotations

from xml.etree import ElementTree

import numpy as np
import pytest
from support import reading, score
from written import suite

from timing.instruments.tuning import FRETS
from timing.plan import Plan
from timing.reader import read_score
from timing.reading import perform
from timing.remarks import Severity
from timing.strings.playable import POSSIBLE, reach

STANDARD = (64, 59, 55, 50, 45, 40)


def diagrams() -> list[dict[int, int]]:
    """The fret on each string of the diagrams for six strings, as far as four fingers can take them (the first one
    lying across the lowest fret if need be)."""
    made = []
    for number in ("71c", "71d"):
        for frame in ElementTree.parse(suite()[number]).iter("frame"):
            if frame.findtext("frame-strings") == "6":
                notes = frame.iter("frame-note")
                made.append({int(note.findtext("string")): int(note.findtext("fret")) for note in notes})
    shapes = [shape for number, shape in enumerate(made) if shape not in made[:number]]
    return [shape for shape in shapes if fingers(shape) <= 4]


def fingers(shape: dict[int, int]) -> int:
    stopped = [fret for fret in shape.values() if fret > 0]
    return len(stopped) if len(stopped) <= 4 else 1 + len(stopped) - stopped.count(min(stopped))


def chosen(shape: dict[int, int]) -> tuple[dict[int, int], list[str]]:
    """Where the pitches of a diagram lie when nobody says where."""
    made = score(bars=1, voices={1: "+".join(["c4"] * len(shape)) + ":4"}, program=24)
    made.notes["pitch"] = sorted(STANDARD[string - 1] + fret for string, fret in shape.items())
    answer = reading({}, made)
    rows = answer.performance.notes
    return dict(zip(rows["string"].tolist(), rows["fret"].tolist(), strict=True)), [r.code for r in answer.remarks]


def effort(shape: dict[int, int]) -> tuple[float, int]:
    """How far the hand spreads in millimetres, and the highest fret."""
    stopped = [fret for fret in shape.values() if fret > 0] or [0]
    return float(reach(min(stopped), max(stopped))), max(stopped)


@pytest.mark.parametrize("shape", diagrams(), ids=str)
def test_chord_diagrams(shape):
    """No chord takes more of a hand than the published diagram does: it spreads no further, or lies lower."""
    found, codes = chosen(shape)
    assert "unplayable-chord" not in codes
    assert len(found) == len(set(STANDARD[string - 1] + fret for string, fret in shape.items()))
    (spread, height), (printed_spread, printed_height) = effort(found), effort(shape)
    assert spread <= max(printed_spread, 100) or height < printed_height
    assert spread <= POSSIBLE


def test_most_chords_lie_as_the_diagrams_have_them():
    shapes = [shape for shape in diagrams() if len({STANDARD[s - 1] + f for s, f in shape.items()}) == len(shape)]
    alike = [chosen(shape)[0] == shape for shape in shapes]
    assert len(alike) >= 8
    assert np.mean(alike) >= 0.7


def test_tablature():
    """Every note lies where the tablature has it, in the tuning of its staff, but for what no guitar has: fret 24, and
    a chord with two notes on one string."""
    path = suite()["71e"]
    written = []
    for part in ElementTree.parse(path).iter("part"):
        for note in part.iter("note"):
            string, fret = (note.findtext(f"notations/technical/{name}") for name in ("string", "fret"))
            if string is not None:
                written.append((int(string), int(fret)))
    answer = perform(read_score(path), Plan.model_validate({"tempo": 60, "instrument": "classical guitar"}))
    notes = answer.performance.notes
    notes = notes[np.argsort(notes["id"])]
    marks = answer.score.notes[notes["id"]]
    assert len(notes) == len(written)
    assert {(int(m["string"]), int(m["fret"])) for m in marks} <= set(written)
    agrees = (notes["string"] == marks["string"]) & (notes["fret"] == marks["fret"])
    odd = (marks["fret"] > FRETS) | (notes["string"] == 0)
    assert agrees[~odd].all()
    assert odd.sum() <= 4
    assert [r.code for r in answer.remarks if r.severity is Severity.CAUTION] == [
        "unplayable-chord",
        "string-cannot-reach",
    ]
