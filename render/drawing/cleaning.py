"""What is kept of the engraver's markup: what is drawn, in the forms that a drawing needs.

A score may say what it likes in its colours, fonts and languages, and the engraver passes it on. Nothing is kept but
known elements and attributes with values of a known form, so that no drawing ever asks for anything outside itself.
"""

from __future__ import annotations

import re
from xml.etree.ElementTree import Element

from render.drawing.fonts import MUSIC

NAME = re.compile(r"[nb]\d+")  # of noteheads and bars (see `timing.reader.named`)
_NAMED = {"note", "measure"}  # all else is named by the engraver, at random: once in a while as one of these would be

# Boxes are for measuring, and what only holds a place in the file (the beginning of a section, a break of the line or
# of the page, a change of key between systems) is a mark that the engraver hides.
_UNSEEN = re.compile(r"bounding-box|placeholder")
_KEPT = {"circle", "ellipse", "g", "path", "polygon", "polyline", "rect", "text", "tspan", "use"}  # no title: a tooltip

_LENGTH = re.compile(r"-?[\d.]+(px)?")
_NUMBERS = re.compile(r"[-\d.,\s]*")
_WORD = re.compile(r"[A-Za-z-]+")
_COLOUR = re.compile(r"#[0-9A-Fa-f]+|[A-Za-z]+|rgba?\([\d.,%\s]+\)")
_FORMS = {
    "class": re.compile(r"[\w\s-]*"),
    "d": re.compile(r"[A-Za-z\d.,\s+-]*"),
    "font-family": re.compile(re.escape(MUSIC)),  # all else is in the letters of the sheet
    "href": re.compile(r"#[\w-]+"),
    "id": NAME,
    "points": _NUMBERS,
    "stroke-dasharray": _NUMBERS,
    "transform": re.compile(r"([a-z]+\([-\d.,\s]*\)\s*)+"),
    "{http://www.w3.org/XML/1998/namespace}lang": re.compile(r"[A-Za-z\d-]+"),
} | dict.fromkeys(("color", "fill", "stroke"), _COLOUR)
_FORMS |= dict.fromkeys(
    ("font-style", "font-weight", "stroke-linecap", "stroke-linejoin", "text-anchor", "visibility"), _WORD
)
_FORMS |= dict.fromkeys(
    ("cx", "cy", "dx", "dy", "fill-opacity", "font-size", "height", "letter-spacing", "opacity", "r", "rx", "ry",
     "stroke-opacity", "stroke-width", "width", "x", "x1", "x2", "y", "y1", "y2"), _LENGTH,
)  # fmt: skip
_ARGB = re.compile(r"#([0-9A-Fa-f]{2})([0-9A-Fa-f]{6})")


def clean(element: Element, prefix: str = "") -> None:
    """Take out of an element what is not drawn: boxes, places, tooltips, groups that are empty (as those of accidentals
    that only sound, or of a key without signs), and all that is no drawing. Of names only ours stay, with the prefix
    before them."""
    _keep_known(element)
    if name := element.get("id"):
        if element.get("class") in _NAMED:
            element.set("id", prefix + name)
        else:
            del element.attrib["id"]
    for child in list(element):
        if child.tag not in _KEPT or _UNSEEN.search(child.get("class", "")):
            element.remove(child)
            continue
        clean(child, prefix)
        if child.tag == "g" and not len(child):
            element.remove(child)


def _keep_known(element: Element) -> None:
    for key, value in list(element.attrib.items()):
        value = value.partition("-")[0] if key == "href" else value  # shapes are named without that of the drawing
        form = _FORMS.get(key)
        if form is None or not form.fullmatch(value):
            del element.attrib[key]
        else:
            element.set(key, _ARGB.sub(r"#\2\1", value) if form is _COLOUR and _ARGB.fullmatch(value) else value)
