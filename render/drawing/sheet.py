"""The sheet: a reading on paper, page by page."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from render.drawing.bare import bare
from render.drawing.drawn import Drawn, drawn
from render.drawing.engraving import Engraving
from render.drawing.lettering import plain, shortened, text, wrapped
from render.drawing.plot import Plotted, plot_system
from render.report import clock
from timing.reading import Reading
from timing.remarks import CannotDo, Remark

PAPERS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}  # mm

MM = 860 / 180  # units in a millimetre: a staff of 6.7 mm
_MARGIN, _FOOT = 15 * MM, 12 * MM
_TITLE, _SUBTITLE, _SMALL = 26.0, 15.0, 10.5
_PENCIL = 5 * MM  # white between two systems, at least
_SPREAD = 20 * MM  # and what a page has left over, at most
_SMALLEST = 3.0  # so many times smaller than usual may a system be drawn that is higher than a page
_LEGEND = "Over the staff: the pace against the tempo, slower is lower. Under it: the level of the melody, wider is louder."
_PASSES = " Broken lines: the second time; dotted: later times."

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Sheet:
    """A reading on paper: the markup of each page, `width` by `height` units (or so many mm), without style and fonts."""

    title: str
    pages: tuple[str, ...]
    definitions: str
    width: float
    height: float
    refusal: Remark | None = None  # why there are bars alone instead of notes


def make_sheet(
    reading: Reading,
    remarks: list[Remark],
    *,
    name: str = "",
    paper: str = "a4",
    curves: bool = False,
    progress: Progress = lambda done, total: None,
) -> Sheet:
    """Draw a reading on `paper`, one of PAPERS. `name` is that of the plan's file; `curves`: over bars without notes,
    as in any case where the engraver refuses the score, or its systems are far higher than a page."""
    wide, high = (side * MM for side in PAPERS[paper])
    room = (wide - 2 * _MARGIN, high - _MARGIN - _FOOT - 2 * _SMALL)
    shown = drawn(reading, remarks)
    refusal, made = None, None
    if not curves:
        try:
            made = _engraved(reading, shown, room, progress)
        except CannotDo as fault:
            refusal = fault.remarks[0]
    engraving, plots, scale = made or _plotted(bare(reading.score, room[0]), shown, progress)
    head, taken = _head(reading, shown, wide, name)
    pages = _pages(plots, scale, taken, (wide, high))
    body = [_page(number, pages, head if number == 0 else "", shown, (wide, high), name) for number in range(len(pages))]
    return Sheet(shown.title, tuple(body), engraving.definitions, wide, high, refusal)


Made = tuple[Engraving, list[Plotted], float]


def _engraved(reading: Reading, shown: Drawn, room: tuple[float, float], progress: Progress) -> Made:
    """The score engraved, with its systems drawn so small that none is higher than a page."""
    from render.drawing.engraver import Engraver

    engraver = Engraver(reading.score)
    made = _plotted(engraver.engrave(room[0]), shown, progress)
    tallest = max((plotted.height for plotted in made[1]), default=0.0)
    if tallest <= room[1]:
        return made
    scale = tallest / room[1]
    for _ in range(3):  # a wider line may be higher again
        if scale > _SMALLEST:
            message = f"{reading.score.path.name} has systems that are far higher than a page: its bars stand without notes"
            raise CannotDo.because("not-engraved", message, reading.score.path)
        engraving, plots, _ = _plotted(engraver.engrave(room[0] * scale), shown, progress)
        tallest = max(plotted.height for plotted in plots)
        if tallest <= room[1] * scale:
            break
        scale = tallest / room[1]
    return engraving, plots, scale


def _plotted(engraving: Engraving, shown: Drawn, progress: Progress) -> Made:
    plots = []
    for number, system in enumerate(engraving.systems):
        plots.append(plot_system(system, engraving, [shown], number))
        progress(number + 1, len(engraving.systems))
    return engraving, plots, 1.0


def _head(reading: Reading, shown: Drawn, wide: float, name: str) -> tuple[str, float]:
    """Titles, tempo and order at the top of the first page, and their height."""
    room, middle = wide - 2 * _MARGIN, wide / 2
    piece = plain(reading.score.title) or plain(shown.title)
    own = plain(shown.title)
    own = own.removeprefix(piece).strip(" ()–—:-,") if own != piece else ""
    svg, y = [], _MARGIN * 0.75
    for words, size, face, kind in ((piece, _TITLE, "regular", "title"), (own, _SUBTITLE, "italic", "subtitle")):
        for line in wrapped(words, room, size, face, most=2):
            y += size * 1.2
            svg.append(text(middle, y, line, kind, size, "middle"))
    y += 1.7 * _SMALL
    order = f"{reading.order}  ·  {clock(reading.performance.time.length)}"
    svg.append(text(middle, y, shortened(order, room, _SMALL), "faint", _SMALL, "middle"))
    return "".join(svg), y + 1.4 * _SMALL


def _pages(
    plots: list[Plotted], scale: float, taken: float, paper: tuple[float, float]
) -> list[list[tuple[float, Plotted, float]]]:
    """Which systems stand on which page: (y, system, scale)."""
    bottom = paper[1] - _FOOT - 2.5 * _SMALL
    pages: list[list[tuple[float, Plotted, float]]] = [[]]
    y, left_over = taken, []
    for plotted in plots:
        height = plotted.height / scale
        if y + height > bottom and pages[-1]:
            left_over.append(bottom - (y - _PENCIL))
            pages.append([])
            y = _MARGIN * 0.75
        part = min(1 / scale, (bottom - y) / plotted.height)  # the head of the first page may leave too little room
        pages[-1].append((y, plotted, part))
        y += height + _PENCIL
    left_over.append(min(left_over, default=0.0))  # the last page is spread no wider than the others
    return [_spread(page, room) for page, room in zip(pages, left_over, strict=True)]


def _spread(page: list[tuple[float, Plotted, float]], room: float) -> list[tuple[float, Plotted, float]]:
    more = min(max(room, 0.0) / max(len(page), 1), _SPREAD)
    return [(y + more * number, plotted, part) for number, (y, plotted, part) in enumerate(page)]


def _page(
    number: int, pages: list, head: str, shown: Drawn, paper: tuple[float, float], name: str
) -> str:  # fmt: skip
    wide, high = paper
    systems = [
        f'<g transform="translate({_MARGIN:.1f} {y:.1f}) scale({part:.4f})">{plotted.svg}</g>'
        for y, plotted, part in pages[number]
    ]
    foot, room = high - _FOOT, wide - 2 * _MARGIN
    svg = [head, *systems]
    if number == 0:
        legend = _LEGEND + (_PASSES if shown.bars["pass"].max(initial=1) > 1 else "")
        svg.append(text(wide / 2, foot - 1.6 * _SMALL, shortened(legend, room, _SMALL, "italic"), "legend", _SMALL, "middle"))
    svg.append(text(_MARGIN, foot, shortened(plain(name), room / 3, _SMALL), "faint", _SMALL))
    if len(pages) > 1:
        svg.append(text(wide / 2, foot, f"{number + 1} / {len(pages)}", "faint", _SMALL, "middle"))
    if number:
        running = shortened(plain(shown.title), room / 3, _SMALL)
        svg.append(text(wide - _MARGIN, foot, running, "faint", _SMALL, "end"))
    return "".join(svg)
