"""Bars of MusicXML, walked through in time."""

from __future__ import annotations

from collections.abc import Iterator
from math import isfinite
from xml.etree.ElementTree import Element


def walk(measure: Element) -> Iterator[tuple[Element, float]]:
    """Every element of a bar, and at which of its divisions it stands."""
    now = before = 0.0
    for element in measure:
        if element.tag == "note" and element.find("chord") is not None:
            yield element, before
            continue
        yield element, now
        if element.tag in ("note", "forward"):
            before, now = now, now + length(element)
        elif element.tag == "backup":
            now = max(now - length(element), 0.0)


def length(element: Element) -> float:
    """The duration of an element in divisions; 0 for one without."""
    return number(element.findtext("duration")) or 0.0


def number(text: str | None) -> float | None:
    """A number of the file; None for what is none."""
    try:
        found = float(text or "")
    except ValueError:
        return None
    return found if isfinite(found) else None
