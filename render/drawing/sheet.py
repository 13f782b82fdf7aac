"""The sheet: a reading on paper, page by page."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from render.drawing.bare import bare
from render.drawing.drawn import Drawn, drawn
from render.drawing.engraving import Engraving
from render.drawing.pages import Paper, SheetWords
from render.drawing.plot import Plotted, plot_system
from render.telling.words import clock
from timing.reading import Reading
from timing.remarks import CannotDo, Remark

_SMALLER = 1 / 1.08  # a staff so much smaller is taken where that saves a page
_FEW = 24  # systems; with more than that one page makes little difference
_SMALLEST = 1 / 3  # a system that is higher than a page is drawn no smaller than so

SystemsProgress = Callable[[int, int], None]


@dataclass(frozen=True)
class Sheet:
    """A reading on paper: the markup of each page, `width` by `height` units, without style and fonts."""

    title: str
    pages: tuple[str, ...]
    definitions: str
    width: float
    height: float
    refusal: Remark | None = None  # why there are bars alone instead of notes


@dataclass(frozen=True)
class _Music:
    engraving: Engraving
    plots: list[Plotted]
    scale: float  # how large they are drawn

    @property
    def tallest(self) -> float:
        return max((plotted.height for plotted in self.plots), default=0.0)


def make_sheet(
    reading: Reading,
    remarks: Iterable[Remark] | None = None,
    *,
    name: str = "",
    paper: str = "a4",
    curves: bool = False,
    progress: SystemsProgress = lambda done, total: None,
) -> Sheet:
    """Draw a reading on `paper` (see `pages`), with the cautions among the `remarks` (else among what `check` says).
    `name` is that of the plan's file; `curves`: over bars without notes, as in any case where the engraver refuses the
    score, or its systems are far higher than a page."""
    if remarks is None:
        from soundfonts import guitar
        from timing.cautions import check

        remarks = check(reading, sound=guitar)
    shown = drawn(reading, tuple(remarks))
    order = f"{reading.order}  ·  {clock(reading.performance.time.length)}"
    repeated = bool((shown.bars["pass"] > 1).any())
    sheet = Paper(paper, SheetWords(reading.score.title, shown.title, order, name, repeated))
    refusal, music = None, None
    if not curves:
        try:
            music = _engraved(reading, shown, sheet, progress)
        except CannotDo as fault:
            refusal = fault.remarks[0]
    music = music or _plotted(bare(reading.score, sheet.room), shown, 1.0, progress)
    pages = sheet.shared_out(music.plots, music.scale)
    made = tuple(sheet.page(pages, number) for number in range(len(pages)))
    return Sheet(shown.title, made, music.engraving.definitions, sheet.width, sheet.height, refusal)


def _engraved(reading: Reading, shown: Drawn, paper: Paper, progress: SystemsProgress) -> _Music:
    """The score engraved, with its systems drawn so small that none is higher than a page."""
    from render.drawing.engraver import Engraver

    engraver = Engraver(reading.score)

    def made(scale: float) -> _Music:
        return _plotted(engraver.engrave(paper.room / scale), shown, scale, progress)

    music = made(1.0)
    if music.tallest <= paper.column:
        ways = [music, made(_SMALLER)] if len(music.plots) <= _FEW else [music]
        return min(ways, key=lambda way: len(paper.shared_out(way.plots, way.scale)))
    while music.tallest * music.scale > paper.column:  # a longer line may be higher again
        scale = min(paper.column / music.tallest, 0.95 * music.scale)
        if scale < _SMALLEST:
            message = f"the systems of {reading.score.path.name} are far higher than a page"
            raise CannotDo.because("not-engraved", message, reading.score.path)
        music = made(scale)
    return music


def _plotted(engraving: Engraving, shown: Drawn, scale: float, progress: SystemsProgress) -> _Music:
    plots = []
    for number, system in enumerate(engraving.systems):
        plots.append(plot_system(system, engraving, [shown], number))
        progress(number + 1, len(engraving.systems))
    return _Music(engraving, plots, scale)
