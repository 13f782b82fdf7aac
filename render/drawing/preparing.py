"""A score made ready for the engraver: with what that leaves to the file, and without what it would misread."""

from __future__ import annotations

from xml.etree.ElementTree import Element, fromstring, tostring

import numpy as np

from render.drawing.directions import place_directions
from render.drawing.values import write_values

_EIGHTH = "<type>eighth</type>"
_MISNAMED = f"<{_EIGHTH} />"  # music21 gives a grace note without a value an element of this name


def prepared(musicxml: str, bars: np.ndarray) -> str:
    """The score with values and beams where it has none, and with sides for its words. `bars` are the rows of
    Score.bars at which the bars of the file begin."""
    root = fromstring(musicxml.replace(_MISNAMED, _EIGHTH))
    _write_out_rests(root)
    _join_notations(root)
    write_values(root, bars)
    place_directions(root)
    return tostring(root, encoding="unicode")


def _write_out_rests(root: Element) -> None:
    """The engraver would draw one bar for many of rest, and every bar has to have its place."""
    for style in root.iter("measure-style"):
        for rests in style.findall("multiple-rest"):
            style.remove(rests)


def _join_notations(root: Element) -> None:
    """A note may have its signs in several groups (MusicXML 4.0); the engraver reads the first."""
    for note in root.iter("note"):
        groups = note.findall("notations")
        for other in groups[1:]:
            groups[0].extend(other)
            note.remove(other)
