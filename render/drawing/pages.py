"""Systems on paper: which stand on which page, and what else stands there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from render.drawing.lettering import shortened, text, wrapped
from render.drawing.plot import Plotted
from render.telling.titles import own_title
from render.telling.words import plain

PAPERS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}  # mm
MM = 900 / 180  # units in a millimetre: a staff of 6.4 mm

_MARGIN, _TOP, _FOOT = 15 * MM, 11 * MM, 12 * MM
_TITLE, _SUBTITLE, _SMALL = 27.0, 16.0, 11.5  # of text, in units
_PENCIL = 5 * MM  # white between two systems, at least
_SPREAD = 20 * MM  # and of what a page has left over, at most
_LEGEND = "Over the staff: the pace against the tempo, slower is lower. Under it: the melody's level, wider is louder."
_PASSES = " Broken lines: pass 2; dotted: later passes."


@dataclass(frozen=True)
class Standing:
    """A system on a page: its upper edge, and how large it is drawn."""

    plotted: Plotted
    y: float
    scale: float


@dataclass(frozen=True)
class SheetWords:
    """What is written around the music: the titles of piece and reading, the order of the bars and how long they last,
    the name of the plan's file; and whether any bar is heard more than once."""

    piece: str
    reading: str
    order: str
    plan: str
    repeated: bool


class Paper:
    """Paper of one size, one of PAPERS; all lengths are in units."""

    def __init__(self, name: str, words: SheetWords):
        self.width, self.height = (side * MM for side in PAPERS[name])
        self.room = self.width - 2 * _MARGIN
        self._words = words
        self._head, self._begin = self._titles()
        self._end = self.height - _FOOT - 3.5 * _SMALL  # the legend, and a line of white over it

    @property
    def column(self) -> float:
        """The height of a page that systems have."""
        return self._end - _TOP

    def shared_out(self, plots: Sequence[Plotted], scale: float) -> list[list[Standing]]:
        """The systems, drawn `scale` times as large, page by page."""
        pages: list[list[Standing]] = [[]]
        y, left_over = self._begin, []
        for plotted in plots:
            height = plotted.height * scale
            if y + height > self._end and pages[-1]:
                left_over.append(self._end + _PENCIL - y)
                pages.append([])
                y = _TOP
            here = min(scale, (self._end - y) / plotted.height)  # under the titles there may be too little room
            pages[-1].append(Standing(plotted, y, here))
            y += height + _PENCIL
        rest = self._end + _PENCIL - y
        left_over.append(min(rest, *left_over) if left_over else 0.0)  # the last page no wider than the others
        return [_spread(page, room) for page, room in zip(pages, left_over, strict=True)]

    def page(self, pages: Sequence[Sequence[Standing]], number: int) -> str:
        """The markup of a page, numbered from 0."""
        svg = [
            f'<g transform="translate({_MARGIN:.1f} {each.y:.1f}) scale({each.scale:.4f})">{each.plotted.svg}</g>'
            for each in pages[number]
        ]
        middle, foot, words = self.width / 2, self.height - _FOOT, self._words
        third = self.room / 3
        svg.append(text(_MARGIN, foot, shortened(plain(words.plan), third, _SMALL), "faint", _SMALL))
        if len(pages) > 1:
            svg.append(text(middle, foot, f"{number + 1} / {len(pages)}", "faint", _SMALL, "middle"))
        if number == 0:
            legend = shortened(_LEGEND + _PASSES * words.repeated, self.room, _SMALL, "italic")
            svg += [self._head, text(middle, foot - 1.6 * _SMALL, legend, "legend", _SMALL, "middle")]
        else:
            running = shortened(plain(words.reading), third, _SMALL)
            svg.append(text(self.width - _MARGIN, foot, running, "faint", _SMALL, "end"))
        return "".join(svg)

    def _titles(self) -> tuple[str, float]:
        """Titles and order at the top of the first page, and where they end."""
        own, piece = plain(self._words.reading), plain(self._words.piece) or plain(self._words.reading)
        own = own_title(own, piece)
        svg, y = [], _TOP
        for words, size, face, kind in ((piece, _TITLE, "regular", "title"), (own, _SUBTITLE, "italic", "subtitle")):
            for line in wrapped(words, self.room, size, face, most=2):
                y += size * 1.2
                svg.append(text(self.width / 2, y, line, kind, size, "middle"))
        y += 1.7 * _SMALL
        svg.append(text(self.width / 2, y, shortened(self._words.order, self.room, _SMALL), "faint", _SMALL, "middle"))
        return "".join(svg), y + 1.4 * _SMALL


def _spread(page: list[Standing], room: float) -> list[Standing]:
    """A page whose systems share the room that is left over."""
    more = min(max(room, 0.0) / max(len(page), 1), _SPREAD)
    return [Standing(each.plotted, each.y + more * number, each.scale) for number, each in enumerate(page)]
