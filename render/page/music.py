"""The music of the page: engraved on paper of three widths, each system drawn with the curves of its readings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from render.drawing.bare import bare
from render.drawing.drawn import Drawn
from render.drawing.engraver import Engraver
from render.drawing.engraving import Engraving, System
from render.drawing.plot import Plotted, plot_system
from render.drawing.style import LETTERS
from render.page.markup import Markup, element, inside
from timing.reading import Reading
from timing.remarks import CannotDo
from timing.score import Score

WIDTHS = {"wide": 1060.0, "middle": 700.0, "narrow": 350.0}  # in units; the style says which is shown when


@dataclass(frozen=True)
class PageWidth:
    """One engraving. All names of bars and noteheads in it begin with `prefix`."""

    name: str  # one of WIDTHS
    prefix: str
    engraving: Engraving
    plots: list[Plotted]


@dataclass(frozen=True)
class Music:
    """A score that some of the readings (by number) share, on paper of every width."""

    score: Score
    readings: list[int]
    papers: list[PageWidth]
    refused: str  # why there are bars without notes; empty where it is engraved


def music_of(readings: Sequence[Reading], drawn: Sequence[Drawn]) -> list[Music]:
    """The scores of the readings, each once: readings of the same notes share one."""
    shared: list[list[int]] = []
    for number, reading in enumerate(readings):
        mine = next((some for some in shared if _same(readings[some[0]].score, reading.score)), None)
        if mine is None:
            shared.append([number])
        else:
            mine.append(number)
    return [_music(readings[some[0]].score, some, drawn, place) for place, some in enumerate(shared)]


def _same(one: Score, two: Score) -> bool:
    """Whether two scores print the same notes in the same bars."""
    tables = ("notes", "bars", "heads")
    return one is two or all(np.array_equal(getattr(one, name), getattr(two, name)) for name in tables)


def _music(score: Score, readings: list[int], drawn: Sequence[Drawn], place: int) -> Music:
    prefixes = {name: f"{name}{place}-" for name in WIDTHS}
    refused = ""
    try:
        engraver = Engraver(score)
        found = {name: engraver.engrave(width, prefixes[name]) for name, width in WIDTHS.items()}
    except CannotDo as refusal:
        refused = str(refusal)
        found = {name: bare(score, width) for name, width in WIDTHS.items()}
    papers = [_paper(name, prefixes[name], engraving, drawn, readings) for name, engraving in found.items()]
    return Music(score, readings, papers, refused)


def _paper(name: str, prefix: str, engraving: Engraving, drawn: Sequence[Drawn], readings: list[int]) -> PageWidth:
    shown = [drawn[number] if number in readings else _silent(drawn[number]) for number in range(readings[-1] + 1)]
    plots = [
        plot_system(system, engraving, shown, number, comments=False) for number, system in enumerate(engraving.systems)
    ]
    return PageWidth(name, prefix, engraving, plots)


def _silent(drawn: Drawn) -> Drawn:
    """Nothing to draw, in the place of a reading of another score: so that all keep their letters."""
    tables = ("bars", "neighbours", "pace", "level", "pace_like", "level_like", "tempo")
    return replace(drawn, labels=(), comments=(), **{name: getattr(drawn, name)[:0] for name in tables})


# -- markup


def music_section(music: Sequence[Music], drawn: Sequence[Drawn]) -> Markup:
    """All scores, each on its three papers."""
    made = [_definitions(music)]
    for one in music:
        letters = [LETTERS[number].upper() for number in one.readings]
        if len(music) > 1:
            made.append(element("h3", f"The music of {' and '.join(letters)}"))
        if one.refused:
            made.append(element("p", f"{one.refused}. Its bars are drawn without notes.", class_="refused"))
        made += [_sheets(one, paper, drawn, letters) for paper in one.papers]
    return inside(*made)


def _definitions(music: Sequence[Music]) -> Markup:
    """The shapes of the music font, once for all systems of all papers."""
    shapes = dict.fromkeys(
        shape for one in music for paper in one.papers for shape in paper.engraving.definitions.split("\n") if shape
    )
    defs = Markup(f"<defs>{''.join(shapes)}</defs>")
    return element("svg", defs, class_="shapes", width=0, height=0, aria_hidden="true", focusable="false")


def _sheets(music: Music, paper: PageWidth, drawn: Sequence[Drawn], letters: list[str]) -> Markup:
    systems = [_system(music, paper, number, drawn, letters) for number in range(len(paper.plots))]
    return element("div", *systems, class_=f"sheets {paper.name}", data_prefix=paper.prefix)


def _system(music: Music, paper: PageWidth, number: int, drawn: Sequence[Drawn], letters: list[str]) -> Markup:
    system, plot = paper.engraving.systems[number], paper.plots[number]
    bars = system.bars["bar"]
    names = dict.fromkeys(music.score.bar_name(row) for row in (bars[0], bars[-1]))
    label = f"bar{'s' * (len(names) > 1)} {' to '.join(names)}, with the curves of {' and '.join(letters)}"
    svg = element(
        "svg", _named(plot.svg, paper), *_touched(system, plot),
        viewBox=f"0 0 {plot.width:.1f} {plot.height:.1f}", role="img", aria_label=label,
    )  # fmt: skip
    said = [_here(number, bars, each) for number, each in enumerate(drawn) if number in music.readings]
    return element("div", element("div", svg, class_="drawing"), *said, class_="system")


def _named(svg: str, paper: PageWidth) -> Markup:
    """A plot whose names have the prefix, also where bars are drawn without notes."""
    return Markup(svg if paper.engraving.engraved else svg.replace('<g id="b', f'<g id="{paper.prefix}b'))


def _touched(system: System, plot: Plotted) -> list[Markup]:
    """For each bar the area in which it can be touched."""
    return [
        element("rect", class_="touch", data_bar=int(bar), x=f"{left:.1f}", y=0, width=f"{right - left:.1f}",
                height=f"{plot.height:.1f}")
        for bar, left, right in system.bars.tolist()
    ]  # fmt: skip


def _here(number: int, bars: np.ndarray, drawn: Drawn) -> Markup | None:
    """Links to the notes and cautions of a reading in these bars."""
    found = [each for each in drawn.comments if bars[0] <= each.start[0] <= bars[-1]]
    if not found:
        return None
    letter = LETTERS[number]
    links = [
        element("a", f"{letter.upper()}{each.number}{'!' * each.caution}", href=f"#said-{letter}{each.number}")
        for each in found
    ]
    return element("p", "notes of ", element("span", letter.upper(), class_=f"letter {letter}"), ": ", *links,
                   class_=f"here reading {letter}")  # fmt: skip
