"""What stands on a drawing, read back from its SVG: texts with the boxes that they take, and curves."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from xml.etree.ElementTree import Element, fromstring

from render.drawing.lettering import width

_MOVE = re.compile(r"translate\((-?[\d.]+) (-?[\d.]+)\)")
_SCALE = re.compile(r"scale\((-?[\d.]+)\)")


@dataclass(frozen=True)
class Box:
    """A text and the room that its letters take, from the top of the capitals to the foot of a p."""

    words: str
    kind: str
    left: float
    right: float
    top: float
    bottom: float

    def meets(self, other: Box) -> bool:
        return min(self.right, other.right) - max(self.left, other.left) > 0.5 and (
            min(self.bottom, other.bottom) - max(self.top, other.top) > 0.5
        )


def parsed(markup: str) -> Element:
    """The inside of an <svg> as XML."""
    return fromstring(f'<svg xmlns:xlink="http://www.w3.org/1999/xlink">{markup}</svg>')


def boxes(root: Element) -> list[Box]:
    """All texts but those of the engraver."""
    return list(_boxes(root, 0.0, 0.0, 1.0, "regular"))


def _boxes(element: Element, x: float, y: float, scale: float, face: str) -> Iterator[Box]:
    kind, tag = element.get("class", ""), element.tag.rpartition("}")[2]
    if kind == "score":
        return
    if found := _MOVE.search(element.get("transform", "")):
        x, y = x + scale * float(found[1]), y + scale * float(found[2])
    if found := _SCALE.search(element.get("transform", "")):
        scale *= float(found[1])
    if kind.split(" ")[0] in ("slowing", "rubato", "second-time", "phrase", "tone", "slide", "hairpin"):
        face = "italic"
    if tag == "text":
        words, size = "".join(element.itertext()), float(element.get("font-size", "10"))
        if kind in ("letter", "caution-text"):
            face = "semibold"
        elif kind in ("times", "legend", "subtitle"):
            face = "italic"
        elif kind in ("comment-number", "number", "heard"):
            face = "regular"
        taken = width(words, size, face)
        back = {"middle": 0.5, "end": 1.0}.get(element.get("text-anchor"), 0.0)
        left, base = float(element.get("x")) - back * taken, float(element.get("y"))
        yield Box(
            words, kind, x + scale * left, x + scale * (left + taken),
            y + scale * (base - 0.67 * size), y + scale * (base + 0.2 * size),
        )  # fmt: skip
    for child in element:
        yield from _boxes(child, x, y, scale, face)


def curves(root: Element) -> Iterator[tuple[str, Element]]:
    """The curves of the pace, each with the class of its reading."""
    for group in root.iter():
        if group.get("class", "").startswith("reading") and group.get("class").endswith("pace"):
            for path in group:
                if "curve" in path.get("class", ""):
                    yield group.get("class").split()[1], path


def points(path: Element, name: str = "d") -> list[tuple[float, float]]:
    """The points of a path of straight lines, or those in an attribute."""
    numbers = [float(each) for each in re.findall(r"-?\d+(?:\.\d+)?", path.get(name))]
    return list(zip(numbers[::2], numbers[1::2], strict=True))
