"""Numbers and looks in MusicXML: what counts as one, and how they are written for those that read them after us.

What may be any number of the music is mended in `timing.reader.mending`. Here are the two things that need no musician:
a whole number is written as one (`4.0` as `4`: not all readers take the first), and numbers that only place things on
paper, or are for programs that play, are left out where they are none; so is how something looks, where that is said in
words that the standard does not have.

Source: MusicXML 4.0 (W3C Music Notation Community Group) for what each number may be; the bounds are the house's own.
"""

from __future__ import annotations

import re
from fractions import Fraction
from typing import TypeGuard
from xml.etree.ElementTree import Element

VALUES: dict[str, int | Fraction] = {
    "maxima": 32, "long": 16, "breve": 8, "whole": 4, "half": 2, "quarter": 1, "eighth": Fraction(1, 2),
    **{f"{n}th": Fraction(4, n) for n in (16, 64, 128, 256, 512, 1024)}, "32nd": Fraction(1, 8),
}  # fmt: skip  # quarters of each note value
SIZES = {
    "xx-small": 7.0, "x-small": 8.0, "small": 10.0, "medium": 12.0, "large": 14.0, "x-large": 18.0, "xx-large": 24.0,
}  # fmt: skip  # of letters, in points; only their order counts
MOST_NUMBER = 99  # of what is numbered side by side: groups of parts, staves, tuplets

_NUMBER = re.compile(r"[+-]?\d{1,12}(\.\d{1,12})?", re.ASCII)
_WHOLE = {
    "fifths", "beat-type", "staves", "staff", "octave", "octave-change", "chromatic", "diatonic", "line",
    "clef-octave-change", "staff-lines", "tuning-octave", "capo", "actual-notes", "normal-notes", "tuplet-number",
    "string", "fret", "fingering", "tremolo", "multiple-rest", "display-octave", "key-octave", "voice", "midi-channel",
    "midi-program", "midi-unpitched",
}  # fmt: skip
_WHOLE_ATTRIBUTES = {"number", "times", "line", "string", "size", "page", "page-number"}
_OF_PAPER = {
    "tenths", "millimeters", "page-height", "page-width", "left-margin", "right-margin", "top-margin", "bottom-margin",
    "system-distance", "top-system-distance", "staff-distance", "staff-size", "measure-distance",
}  # fmt: skip
_ASIDE = {  # elements that can be left out without a loss to the music, with the least and the most that they may say
    "display-octave": (-1, 12), "multiple-rest": (1, 9999), "key-octave": (0, 9), "bend-alter": (-24, 24),
    "midi-channel": (0, 16), "midi-program": (0, 128), "midi-unpitched": (1, 128), "midi-bank": (1, 16384),
    "volume": (0, 100), "pan": (-180, 180), "elevation": (-180, 180),
    **dict.fromkeys(_OF_PAPER, (-100_000, 100_000)),
}  # fmt: skip
_LENGTHS = (
    *("default-x", "default-y", "relative-x", "relative-y", "bezier-x", "bezier-y", "bezier-x2", "bezier-y2"),
    *("bezier-offset", "bezier-offset2", "offset", "spread", "dash-length", "space-length", "width"),
    *("dynamics", "end-dynamics", "attack", "release", "make-time", "pan", "elevation", "staff-spacing"),
)
_ASIDE_ATTRIBUTES = dict.fromkeys(_LENGTHS, (-100_000, 100_000)) | {
    "end-length": (0, 9999), "page": (1, 9999), "page-number": (0, 9999),
    "steal-time-previous": (0, 100), "steal-time-following": (0, 100),
}  # fmt: skip
_ABOUT = ("left", "center", "right")
_LOOKS = {
    "justify": _ABOUT, "halign": _ABOUT, "valign": ("top", "middle", "bottom", "baseline"),
    "font-style": ("normal", "italic"), "font-weight": ("normal", "bold"), "placement": ("above", "below"),
    "enclosure": (
        *("rectangle", "square", "oval", "circle", "bracket", "inverted-bracket", "triangle", "diamond", "pentagon"),
        *("hexagon", "heptagon", "octagon", "nonagon", "decagon", "none"),
    ),
    "line-type": ("solid", "dashed", "dotted", "wavy"), "line-shape": ("straight", "curved"),
    "line-end": ("up", "down", "both", "arrow", "none"), "fan": ("accel", "rit", "none"),
}  # fmt: skip  # attributes and the words that they may have
_DRAWN = {
    "stem": ("up", "down", "none", "double"),
    "beam": ("begin", "continue", "end", "forward hook", "backward hook"),
}  # elements, and the words that they may hold
_SPACED = ("letter-spacing", "line-height")  # of letters: a number, or `normal`
_NO_NAMES = ("nan", "inf", "infinity")
_COLOUR = re.compile(r"#[0-9A-Fa-f]{6}([0-9A-Fa-f]{2})?", re.ASCII)
_NAMED_SIZES = ("full", "cue", "grace-cue", "large")  # of notes and accidentals
_ROUNDED = {"steal-time-previous", "steal-time-following", "page", "page-number"}  # read as whole numbers
_SIDE_BY_SIDE = ("part-group", "staff-layout")  # elements outside of the parts whose number must be one


def number(text: str | None) -> Fraction | None:
    """The number that a text is; None if it is none."""
    text = (text or "").strip()
    return Fraction(text) if _NUMBER.fullmatch(text) else None


def figure(element: Element | None) -> Fraction | None:
    """The number that an element holds; None if it holds none."""
    return number(element.text) if element is not None else None


def within(value: Fraction | None, least: int, most: int) -> TypeGuard[Fraction]:
    """Whether there is a number, and it lies between these, both included."""
    return value is not None and least <= value <= most


def whole(element: Element | None, least: int, most: int) -> bool:
    """Whether an element holds a whole number between these, both included."""
    value = figure(element)
    return within(value, least, most) and value.denominator == 1


def between(text: str, most: int) -> bool:
    """Whether a text is a whole number from 1 to this."""
    return text.isdecimal() and len(text) < 9 and 0 < int(text) <= most


def tidy(root: Element) -> None:
    """Write the whole numbers of a score as such, and leave out what is none of those beside the music. In place."""
    for element in root.iter():
        if element.tag in _WHOLE and element.text:
            element.text = _plain(element.text)
        elif element.tag == "beats" and element.text:
            element.text = "+".join(_plain(beats).strip() for beats in element.text.split("+"))
        for key in list(element.attrib) if element.attrib else ():
            if element.tag != "measure" or key == "width":  # the number of a bar is its name
                _tidy_attribute(element, key)
        if element.tag == "bracket":
            element.attrib.setdefault("line-end", "none")  # it has to be there
        if element.tag in _SIDE_BY_SIDE and not between(element.get("number", "1"), MOST_NUMBER):
            del element.attrib["number"]
        if len(element):
            leave_out(element, [child for child in element if child.tag in _ASIDE and not _fits(child)])
            if element.tag == "note":
                drawn = (child for child in element if child.tag in _DRAWN)
                leave_out(element, [child for child in drawn if (child.text or "").strip() not in _DRAWN[child.tag]])
    leave_out(root, [defaults for defaults in root.iterfind("defaults") if not _scaled(defaults)])


def leave_out(parent: Element, children: list[Element]) -> None:
    """Take children from an element, all at once: one after another costs the square of them."""
    if children:
        gone = set(map(id, children))
        parent[:] = [child for child in parent if id(child) not in gone]


def _plain(text: str) -> str:
    if text.isascii() and text.isdecimal():
        return text
    value = number(text)
    return str(value) if value is not None and value.denominator == 1 else text


def _tidy_attribute(element: Element, key: str) -> None:
    if key in _WHOLE_ATTRIBUTES:
        element.set(key, _plain(element.attrib[key]))
    if key == "font-size" and element.attrib[key].strip() not in SIZES and number(element.get(key)) is None:
        del element.attrib[key]
    if key in _ASIDE_ATTRIBUTES and key in element.attrib:
        value = number(element.get(key))
        if not within(value, *_ASIDE_ATTRIBUTES[key]):
            del element.attrib[key]
        elif key in _ROUNDED:
            element.set(key, str(round(value)))
    if key == "direction" and element.tag == "arpeggiate" and element.get(key) not in ("up", "down"):
        del element.attrib[key]
    if key in element.attrib and not _looks(element.tag, key, element.attrib[key]):
        del element.attrib[key]


def _looks(tag: str, key: str, value: str) -> bool:
    """Whether an attribute says how something looks as the standard has it, or says something else."""
    if key in _LOOKS:
        return value in _LOOKS[key]
    if key in _SPACED:
        return value == "normal" or within(number(value), -1000, 1000)
    if key == "color":
        return bool(_COLOUR.fullmatch(value))
    if key == "font-family":  # names; a number is read as one
        return value.strip()[:1].isalpha() and value.strip().lower() not in _NO_NAMES
    return key != "size" or tag not in ("type", "accidental") or value in _NAMED_SIZES


def _scaled(defaults: Element) -> bool:
    """Whether the two figures of a scale are both there, if any is: neither is of use without the other."""
    counts = [len(scale.findall(tag)) for scale in defaults.iter("scaling") for tag in ("tenths", "millimeters")]
    return all(counts)


def _fits(element: Element) -> bool:
    fits = whole if element.tag in _WHOLE else lambda item, *bounds: within(figure(item), *bounds)
    return fits(element, *_ASIDE[element.tag])
