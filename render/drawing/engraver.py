"""The score engraved, with the place of every bar and notehead, through verovio."""

from __future__ import annotations

import re
from xml.etree.ElementTree import Element, fromstring, tostring

import numpy as np

from render.drawing.engraving import BOX, HEADMARK, MOMENT, SPACE, Engraving, System
from timing.remarks import CannotDo
from timing.score import Score

_INNER = 180  # the engraver's own units from one staff line to the next
_SCALE = SPACE / _INNER
_OPTIONS = {
    "adjustPageHeight": True, "breaks": "auto", "expandNever": True, "footer": "none", "header": "none",
    "minLastJustification": 0.6, "pageHeight": 60_000, "pageMarginBottom": 0, "pageMarginLeft": 0,
    "pageMarginRight": 0, "pageMarginTop": 0, "smuflTextFont": "none", "svgBoundingBoxes": True,
    "svgContentBoundingBoxes": True, "svgFormatRaw": True, "svgRemoveXlink": True, "svgViewBox": True,
    "xmlIdChecksum": True,
}  # fmt: skip
_LEAST_WIDTH, _MOST_WIDTH = 200, 20_000
_BOXES = re.compile(r"bounding-box|placeholder|[mM]ilestone")
_PLACE = re.compile(r"translate\((-?[\d.]+), ?(-?[\d.]+)\)")
_LINE = re.compile(r"M(-?[\d.]+) (-?[\d.]+) L(-?[\d.]+)")
_HOLDERS = {"system", "section", "measure", "staff", "layer"}
_NAME = re.compile(r"[nb]\d+")

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
    source = engraver_source(score)
    return engrave_source(source, score, width, prefix)


def engraver_source(score: Score) -> str:
    """What the engraver is given: the score's file as MusicXML with a name for every notehead and bar."""
    from timing.reader.named import named_musicxml

    return named_musicxml(score.path)


def engrave_source(source: str, score: Score, width: float, prefix: str = "") -> Engraving:
    """As `engrave`, of a source that was made before."""
    pages = [fromstring(page) for page in _pages(source, width, score)]
    found = [system for page in pages for system in page.iter("g") if system.get("class") == "system"]
    systems = tuple(_system(element, score, width, prefix) for element in found)
    if sum(len(system.bars) for system in systems) != len(score.bars):
        raise _refused(score, "the engraver leaves out bars")
    shapes = dict.fromkeys(_shape(shape) for page in pages for shape in page.findall("defs/g"))
    return Engraving(systems, "\n".join(sorted(shapes)), score.bars["length"].astype(float))


def _pages(source: str, width: float, score: Score) -> list[str]:
    """Its pages as SVG, without the namespace."""
    import verovio

    verovio.enableLog(verovio.LOG_OFF)
    toolkit = verovio.toolkit()
    page_width = round(float(np.clip(width, _LEAST_WIDTH, _MOST_WIDTH)) / _SCALE / 10)
    toolkit.setOptions({**_OPTIONS, "pageWidth": page_width})
    if not toolkit.loadData(source) or not toolkit.getPageCount():
        raise _refused(score, "the engraver cannot read it")
    pages = [toolkit.renderToSVG(number + 1) for number in range(toolkit.getPageCount())]
    return [page.replace(' xmlns="http://www.w3.org/2000/svg"', "", 1) for page in pages]


def _refused(score: Score, why: str) -> CannotDo:
    return CannotDo.because("not-engraved", f"{score.path.name} cannot be engraved: {why}", score.path)


def _shape(element: Element) -> str:
    element.set("id", element.get("id").partition("-")[0])
    return tostring(element, encoding="unicode").strip()


# -- one system


def _system(element: Element, score: Score, width: float, prefix: str) -> System:
    top, bottom = _extent(element)
    bars, lines = _bars(element)
    heads = _heads(element)
    _strip(element, prefix)
    markup = "".join(tostring(child, encoding="unicode") for child in element)
    return System(
        svg=f'<g class="music" transform="scale({_SCALE:.6f})">{markup}</g>',
        width=width,
        top=top * _SCALE,
        bottom=bottom * _SCALE,
        staff_top=min(lines) * _SCALE,
        staff_bottom=max(lines) * _SCALE,
        bars=bars,
        moments=_moments(heads, score),
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
    least, most = _sides(room)
    drawn = []
    for group in system.iter("g"):
        kind, _, box = group.get("class", "").partition(" ")
        if box in ("bounding-box", "content-bounding-box") and kind not in _HOLDERS and group.find("rect") is not None:
            top, bottom = _sides(group.find("rect"))
            if bottom > top and least <= top and bottom <= most:
                drawn.append((top, bottom))
    tops, bottoms = zip(*drawn, strict=True) if drawn else ((least,), (most,))
    return min(tops), max(bottoms)


def _sides(box: Element) -> tuple[float, float]:
    top = float(box.get("y"))
    return top, top + float(box.get("height"))


def _bars(system: Element) -> tuple[np.ndarray, list[float]]:
    """BOX of the bars, and the heights of all staff lines."""
    made, heights = [], []
    for measure in system.iter("g"):
        if measure.get("class") != "measure" or not _NAME.fullmatch(measure.get("id", "")):
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
            made.append((int(measure.get("id")[1:]), min(left) * _SCALE, max(right) * _SCALE))
    return np.array(made, BOX), heights


def _heads(system: Element) -> np.ndarray:
    """HEADMARK of the noteheads."""
    made = []
    for note in system.iter("g"):
        name = note.get("id", "")
        if note.get("class") != "note" or not _NAME.fullmatch(name):
            continue
        box = _box(note, "note bounding-box")
        if box is None:
            continue
        x, y, across, down = (float(box.get(side)) for side in ("x", "y", "width", "height"))
        use = note.find("g[@class='notehead']/use")
        placed = _PLACE.match(use.get("transform", "")) if use is not None else None
        middle = float(placed[2]) if placed else y + down / 2
        made.append((int(name[1:]), (x + across / 2) * _SCALE, middle * _SCALE))
    return np.array(made, HEADMARK)


def _moments(heads: np.ndarray, score: Score) -> np.ndarray:
    """MOMENT: the leftmost notehead of each written moment, grace notes left out."""
    rows = score.heads[heads["head"]]
    main = score.notes["grace"][rows["note"]] == 0
    rows, x = rows[main], heads["x"][main]
    order = np.lexsort((x, rows["offset"], rows["bar"]))
    rows, x = rows[order], x[order]
    first = np.append(True, (np.diff(rows["bar"]) != 0) | (np.diff(rows["offset"]) > 1e-9)) if len(x) else slice(0)
    made = np.zeros(len(x[first]), MOMENT)
    made["bar"], made["offset"], made["x"] = rows["bar"][first], rows["offset"][first], x[first]
    return made


def _strip(element: Element, prefix: str) -> None:
    """Take out the boxes and whatever is empty, and all names but ours, which get the prefix."""
    for child in list(element):
        if _BOXES.search(child.get("class", "")) or child.tag == "title":
            element.remove(child)
            continue
        _strip(child, prefix)
        if child.tag == "g" and not len(child):
            element.remove(child)
            continue
        name = child.attrib.pop("id", "")
        if _NAME.fullmatch(name):
            child.set("id", prefix + name)
        if child.tag == "use":
            child.set("href", child.get("href").partition("-")[0])
