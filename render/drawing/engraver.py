"""The score engraved, with the place of every bar and notehead, through verovio."""

from __future__ import annotations

import re
from pathlib import Path
from xml.etree.ElementTree import Element, SubElement, fromstring, tostring

import numpy as np

from render.drawing.cleaning import NAME, clean
from render.drawing.engraving import BOX, HEADMARK, MOMENT, SPACE, Engraving, System, divided
from render.drawing.preparing import prepared
from render.drawing.rests import part_rests
from timing.columns import ROUNDING
from timing.remarks import CannotDo
from timing.score import Score

_INNER = 180  # the engraver's own units from one staff line to the next
_SCALE = SPACE / _INNER
_PAGE_HEIGHT = 6_000  # the engraver takes time as the square of what is on a page
_OPTIONS = {
    "adjustPageHeight": True, "breaks": "auto", "expandNever": True, "footer": "none", "header": "none",
    "minLastJustification": 0.6, "pageHeight": _PAGE_HEIGHT, "pageMarginBottom": 0, "pageMarginLeft": 0,
    "pageMarginRight": 0, "pageMarginTop": 0, "smuflTextFont": "none", "svgBoundingBoxes": True,
    "svgContentBoundingBoxes": True, "svgFormatRaw": True, "svgRemoveXlink": True, "svgViewBox": True,
    "systemDivider": "none", "xmlIdChecksum": True,
}  # fmt: skip
_LEAST_WIDTH, _MOST_WIDTH = 200, 20_000
_PLACE = re.compile(r"translate\((-?[\d.]+), ?(-?[\d.]+)\)")
_LINE = re.compile(r"M(-?[\d.]+) (-?[\d.]+) L(-?[\d.]+)")
_HOLDERS = {"system", "section", "measure", "staff", "layer"}
_STRING = re.compile(r"\{(\d\d?)\}")  # as `timing.reader.named` has it
_CIRCLE = 130  # the radius of the circle round it, in the engraver's units: its box is 271 high
_FIGURE = {1: 215, 2: 165}  # the size of its figure, by the number of letters

# What the markup asks of the style of a page or a drawing, beside the colour of the ink.
STYLE = (
    ".music{fill:currentColor}"
    ".music path,.music rect,.music polygon,.music polyline,.music ellipse{stroke:currentColor}"
    ".music .ending,.music .fing,.music .reh,.music .tempo{font-weight:600}"
    ".music .dir,.music .dynam,.music .mNum{font-style:italic}"
)


def engrave(score: Score, width: float, prefix: str = "") -> Engraving:
    """The score on paper of this `width` (in the units of `Engraving`). `prefix` comes before all names, to tell apart
    engravings that share a page. CannotDo where the engraver refuses the score."""
    return Engraver(score).engrave(width, prefix)


class Engraver:
    """Engraves one score as often as is wanted, each time on paper of another width. CannotDo where it is refused."""

    def __init__(self, score: Score):
        import verovio

        from timing.reader.named import named_musicxml

        self._score = score
        verovio.enableLog(verovio.LOG_OFF)
        # it knows where its shapes are in the thread alone that has imported it
        verovio.setDefaultResourcePath(str(Path(verovio.__file__).parent / "data"))
        self._toolkit = verovio.toolkit()
        self._toolkit.setOptions(_OPTIONS)
        rows = np.flatnonzero(~score.bars["continued"]).tolist()
        if not self._toolkit.loadData(prepared(named_musicxml(score.path, rows), score.bars[rows])):
            raise _refused(score, "the engraver cannot read it")

    def engrave(self, width: float, prefix: str = "") -> Engraving:
        """As `engrave`. CannotDo where the engraver leaves out bars."""
        pages = [fromstring(page) for page in self._pages(width)]
        found = [system for page in pages for system in page.iter("g") if system.get("class") == "system"]
        drawn = [element for element in found if _box(element, "content-bounding-box") is not None]
        systems = tuple(_system(element, self._score, width, prefix) for element in drawn)
        if sum(len(system.bars) for system in systems) != len(self._score.bars):
            raise _refused(self._score, "the engraver leaves out bars")
        shapes = dict.fromkeys(_shape(shape) for page in pages for shape in page.findall("defs/g"))
        return Engraving(systems, "\n".join(sorted(shapes)), self._score.bars["length"].astype(float))

    def _pages(self, width: float) -> list[str]:
        """The pages as SVG, without the namespace."""
        page_width = round(float(np.clip(width, _LEAST_WIDTH, _MOST_WIDTH)) / _SCALE / 10)
        self._toolkit.setOptions({"pageWidth": page_width})
        self._toolkit.redoLayout()
        pages = [self._toolkit.renderToSVG(number + 1) for number in range(self._toolkit.getPageCount())]
        return [page.replace(' xmlns="http://www.w3.org/2000/svg"', "", 1) for page in pages]


def _refused(score: Score, why: str) -> CannotDo:
    return CannotDo.because("not-engraved", f"{score.path.name} cannot be engraved: {why}", score.path)


def _shape(element: Element) -> str:
    name = element.get("id", "").partition("-")[0]
    clean(element)
    element.set("id", name)
    return tostring(element, encoding="unicode").strip()


# -- one system


def _system(element: Element, score: Score, width: float, prefix: str) -> System:
    part_rests(element)
    top, bottom = _extent(element)
    bars, lines = _bars(element)
    heads = _heads(element)
    _set_fingers(element)
    bars, moments = divided(bars, _moments(heads, score), score.bars)
    clean(element, prefix)
    markup = "".join(tostring(child, encoding="unicode") for child in element)
    return System(
        svg=f'<g class="music" transform="scale({_SCALE:.6f})">{markup}</g>',
        width=width,
        top=top * _SCALE,
        bottom=bottom * _SCALE,
        staff_top=min(lines) * _SCALE,
        staff_bottom=max(lines) * _SCALE,
        bars=bars,
        moments=moments,
        heads=heads,
    )


def _box(element: Element, kind: str) -> Element | None:
    """The box that the engraver draws round an element."""
    for child in element:
        if child.get("class", "").endswith(kind):
            return child.find("rect")
    return None


def _extent(system: Element) -> tuple[float, float]:
    """The upper and the lower edge of everything in a system.

    What holds other things has boxes with room to spare; the box of a hairpin that is cut by the end of the system
    reaches into the next one.
    """
    room = _box(system, "content-bounding-box")
    assert room is not None  # the engraver draws one round every system
    least, most = _sides(room)
    drawn = []
    for group in system.iter("g"):
        kind, _, box = group.get("class", "").partition(" ")
        rect = group.find("rect")
        if box in ("bounding-box", "content-bounding-box") and kind not in _HOLDERS and rect is not None:
            top, bottom = _sides(rect)
            if bottom > top and least <= top and bottom <= most:
                drawn.append((top, bottom))
    tops, bottoms = zip(*drawn, strict=True) if drawn else ((least,), (most,))
    return min(tops), max(bottoms)


def _sides(box: Element) -> tuple[float, float]:
    top = float(box.attrib["y"])
    return top, top + float(box.attrib["height"])


def _bars(system: Element) -> tuple[np.ndarray, list[float]]:
    """BOX of the bars, and the heights of all staff lines."""
    made: list[tuple[int, float, float]] = []
    heights: list[float] = []
    for measure in system.iter("g"):
        if measure.get("class") != "measure" or not NAME.fullmatch(measure.get("id", "")):
            continue
        lines = [
            tuple(map(float, found.groups()))
            for staff in measure.findall("g")
            if staff.get("class") == "staff"
            for path in staff.findall("path")
            if (found := _LINE.match(path.get("d", "")))
        ]
        if lines:
            left, heights_here, right = zip(*lines, strict=True)
            heights += heights_here
            made.append((int(measure.attrib["id"][1:]), min(left) * _SCALE, max(right) * _SCALE))
    return np.array(made, BOX), heights


def _heads(system: Element) -> np.ndarray:
    """HEADMARK of the noteheads."""
    made = []
    for note in system.iter("g"):
        name = note.get("id", "")
        if note.get("class") != "note" or not NAME.fullmatch(name):
            continue
        box = _box(note, "note bounding-box")
        if box is None:
            continue
        x, y, across, down = (float(box.attrib[side]) for side in ("x", "y", "width", "height"))
        use = note.find("g[@class='notehead']/use")
        placed = _PLACE.match(use.get("transform", "")) if use is not None else None
        middle = float(placed[2]) if placed else y + down / 2
        made.append((int(name[1:]), (x + across / 2) * _SCALE, middle * _SCALE))
    return np.array(made, HEADMARK)


def _moments(heads: np.ndarray, score: Score) -> np.ndarray:
    """MOMENT: the leftmost notehead of each written moment, grace notes left out. Where the engraver puts a note before
    an earlier one, x stays."""
    rows = score.heads[heads["head"]]
    main = np.append(score.notes["grace"], -1)[rows["note"]] == 0  # what is silent has no note (-1)
    rows, x = rows[main], heads["x"][main]
    order = np.lexsort((x, rows["offset"], rows["bar"]))
    rows, x = rows[order], x[order]
    first = np.append(True, (np.diff(rows["bar"]) != 0) | (np.diff(rows["offset"]) > ROUNDING)) if len(x) else slice(0)
    made = np.zeros(len(x[first]), MOMENT)
    made["bar"], made["offset"], made["x"] = rows["bar"][first], rows["offset"][first], np.maximum.accumulate(x[first])
    return made


def _set_fingers(system: Element) -> None:
    """Take away what only made room beside a finger, and put the number of each string into a circle, in the middle of
    the room that the engraver has kept for it."""
    for fing in system.iter("g"):
        text = fing.find("text") if fing.get("class") == "fing" else None
        if text is None:
            continue
        found = _STRING.fullmatch("".join(text.itertext()).strip())
        if found is None:
            for span in text.iter("tspan"):
                span.text = (span.text or "").strip()
            continue
        box = next(rect for rect in text.iter("rect"))
        top, bottom = _sides(box)
        x, y = float(box.attrib["x"]) + float(box.attrib["width"]) / 2, (top + bottom) / 2
        size = _FIGURE[len(found[1])]
        fing.clear()
        fing.set("class", "fing string")
        circle = {"rx": _CIRCLE, "ry": _CIRCLE, "fill": "none", "stroke-width": 16}
        SubElement(fing, "ellipse", {"cx": f"{x:g}", "cy": f"{y:g}"} | {key: str(n) for key, n in circle.items()})
        place = {"x": f"{x:g}", "y": f"{y + 0.33 * size:g}", "text-anchor": "middle", "font-size": f"{size}px"}
        SubElement(fing, "text", place).text = found[1]
