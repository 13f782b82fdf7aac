"""Rests moved out of the notes of other voices: the engraver finds room for those of two voices, and lets those of a
third stand where they would stand alone."""

from __future__ import annotations

from xml.etree.ElementTree import Element

import numpy as np

_SPACE = 180.0  # the engraver's units from one staff line to the next
_WHITE = 25.0  # around a rest
_SOLID = ("note", "rest", "accid", "dots", "flag", "stem", "beam", "barLine", "clef", "artic", "fing", "dynam", "text")
_IN_THE_WAY = ("note", "rest", "accid", "dots")
_AWAY = 1.5  # how much worse a space aside is than one up or down
# Where a rest may go, in spaces: right and up or down, the nearest first.
_WAYS = sorted(
    ((right / 4, down) for right in range(11) for down in range(-4, 5)),
    key=lambda way: (_AWAY * way[0] + abs(way[1]), way),
)


def part_rests(system: Element) -> None:
    """Move the rests of a system (as the engraver has drawn it, with its boxes) that lie over notes to the nearest free
    place: up or down by whole spaces, or to the right."""
    for measure in system.iter("g"):
        if measure.get("class") == "measure":
            _part(measure)


def _part(measure: Element) -> None:
    rests = [group for group in measure.iter("g") if group.get("class") == "rest" and _box(group) is not None]
    if not rests or len(rests) == sum(group.get("class") in ("note", "rest") for group in measure.iter("g")):
        return
    dots = {id(group) for rest in rests for group in rest.iter("g") if group is not rest}
    groups = [group for group in measure.iter() if _kind(group) in _SOLID and id(group) not in dots]
    solid = [(group, _box(group)) for group in groups]
    solid = [(group, box) for group, box in solid if box is not None and box[2] > box[0] and box[3] > box[1]]
    kinds = np.array([_kind(group) in _IN_THE_WAY for group, _ in solid])
    boxes = np.array([box for _, box in solid])
    for rest in rests:
        row = next((row for row, (group, _) in enumerate(solid) if group is rest), None)
        if row is None:
            continue
        others = np.arange(len(boxes)) != row
        box = boxes[row]
        if not _meets(boxes[others & kinds], box).any():
            continue
        for right, down in _WAYS:
            moved = box + _SPACE * np.array([right, down, right, down])
            if not _meets(boxes[others], moved + _WHITE * np.array([-1, -1, 1, 1])).any():
                _move(rest, _SPACE * right, _SPACE * down)
                boxes[row] = moved
                break


def _kind(group: Element) -> str:
    kind = group.get("class", "").split()
    return kind[0] if kind and "bounding-box" not in kind and "content-bounding-box" not in kind else ""


def _box(group: Element) -> tuple[float, float, float, float] | None:
    """Left, top, right and bottom of what a group draws itself; of a rest with its dots."""
    wanted = "content-bounding-box" if group.get("class") == "rest" else "bounding-box"
    for child in group:
        if wanted in child.get("class", "").split() and (rect := child.find("rect")) is not None:
            x, y, width, height = (float(rect.attrib[side]) for side in ("x", "y", "width", "height"))
            return x, y, x + width, y + height
    return None


def _meets(boxes: np.ndarray, box: np.ndarray) -> np.ndarray:
    left, top, right, bottom = boxes.T
    return (left < box[2]) & (right > box[0]) & (top < box[3]) & (bottom > box[1])


def _move(rest: Element, right: float, down: float) -> None:
    rest.set("transform", f"translate({right:g}, {down:g})")
    for box in rest.iter("g"):
        if "bounding-box" in box.get("class", ""):
            for rect in box.iter("rect"):
                rect.set("x", f"{float(rect.attrib['x']) + right:g}")
                rect.set("y", f"{float(rect.attrib['y']) + down:g}")
