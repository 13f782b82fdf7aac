"""What is drawn on the page: the engraved music, which is sent once, and what a reading lays over and under it, which
is sent after each change. Everything is ready to be written as JSON.

The page has paper of three widths, and tells which one it shows. Music on a paper is known by a `key`: it stays while
the score stays.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cache
from hashlib import sha256
from typing import Any

import numpy as np

from render.drawing.bare import bare
from render.drawing.drawn import Drawn, drawn
from render.drawing.engraver import Engraver
from render.drawing.engraving import Engraving, System
from render.drawing.lines import level_y, pace_y
from render.drawing.plot import Plotted, plot_system
from render.telling.titles import own_title
from render.telling.words import plain
from timing.reading import Reading
from timing.remarks import CannotDo
from timing.score import Score
from timing.where.beats import felt_beat

PAPERS = {"wide": 860.0, "middle": 640.0, "narrow": 350.0}  # their widths in units; the style says which is shown when
STEEP = 1.6  # as many times higher than on a sheet is the pace, for hands draw in it
ROOMY = 28.0  # units that each label has at least, for fingers: 24 pixels and more on every screen (WCAG 2.2, 2.5.8)
_DRAWING: dict[str, Any] = {"comments": False, "named": True, "steep": STEEP, "roomy": ROOMY}
_MOST_SCORES = 2  # that are kept: one, and the one before it was changed
_SLOWEST, _FASTEST = 0.305, 1.475  # as far as a pace is drawn, of the tempo
_SOFTEST, _LOUDEST = -28.0, 5.5  # and a level, in dB


@dataclass
class _Kept:
    """A score as it is engraved, paper by paper as they are asked for."""

    engraver: Engraver | None
    refused: str  # why there are bars alone
    papers: dict[str, Engraving]


class Pictures:
    """Draws readings, again and again: a score is engraved once for each width of paper."""

    def __init__(self) -> None:
        self._kept: dict[str, _Kept] = {}

    def key(self, score: Score) -> str:
        """What the music of a score is known by: its file, and where its bars are divided."""
        told = sha256(score.path.read_bytes())
        told.update(np.flatnonzero(score.bars["continued"]).tobytes())
        return told.hexdigest()[:16]

    def music(self, score: Score, papers: Iterable[str]) -> dict[str, Any]:
        """The engraved music on these papers (of PAPERS), and where every moment lies in it: `at` (bar row plus half
        the part of it that is over) and `x` are the knots of a line. The heights of paces and levels on any paper."""
        key = self.key(score)
        kept = self._of(score, key)
        made = {name: _music(self._on(score, kept, name)) for name in papers}
        return {"key": key, "refused": kept.refused, "bars": _bars(score), "heights": _heights(), "papers": made}

    def drawn(self, reading: Reading, papers: Iterable[str], other: Reading | None = None) -> dict[str, Any]:
        """What lies over and under the music of a reading, system by system on each of these papers; with an `other`
        reading of the same score beside it, where there is one: `beside` is then what that is called."""
        key = self.key(reading.score)
        kept = self._of(reading.score, key)
        shown = [_shown(reading)]
        piece, own = plain(reading.score.title) or plain(shown[0].title), plain(shown[0].title)
        beside = None
        if other is not None and self.key(other.score) == key:
            shown.append(replace(_shown(other), labels=()))  # its curves, and no words
            place = other.plan.place()
            beside = own_title(plain(shown[1].title), piece) or (place.file.name if place else "the other plan")
        made = {}
        for name in papers:
            engraving = self._on(reading.score, kept, name)
            made[name] = [
                _layers(plot_system(system, engraving, shown, number, **_DRAWING))
                for number, system in enumerate(engraving.systems)
            ]
        titles = {"piece": piece, "title": own_title(own, piece)}
        return {"key": key, **titles, "beside": beside, "papers": made}

    def _of(self, score: Score, key: str) -> _Kept:
        kept = self._kept.pop(key, None)
        if kept is None:
            try:
                kept = _Kept(Engraver(score), "", {})
            except CannotDo as refusal:
                kept = _Kept(None, str(refusal), {})
        self._kept[key] = kept  # the latest is the last
        while len(self._kept) > _MOST_SCORES:
            del self._kept[next(iter(self._kept))]
        return kept

    @staticmethod
    def _on(score: Score, kept: _Kept, paper: str) -> Engraving:
        if paper not in kept.papers:
            width = PAPERS[paper]
            try:
                engraved = kept.engraver.engrave(width) if kept.engraver else bare(score, width)
            except CannotDo as refusal:
                kept.engraver, kept.refused, kept.papers = None, str(refusal), {}
                engraved = bare(score, width)
            kept.papers[paper] = engraved
        return kept.papers[paper]


def _shown(reading: Reading) -> Drawn:
    """A reading as it is drawn here: its reasons and remarks stand beside the music, without numbers."""
    made = drawn(reading)
    return replace(made, labels=tuple(replace(label, comment=0) for label in made.labels), comments=())


# -- as JSON has it


def _music(engraving: Engraving) -> dict[str, Any]:
    at, x = engraving.knots
    return {
        "definitions": engraving.definitions,
        "engraved": engraving.engraved,
        "at": np.round(at, 6).tolist(),
        "x": np.round(x, 1).tolist(),
        "systems": [_system(system) for system in engraving.systems],
    }


def _system(system: System) -> dict[str, Any]:
    bars = [[int(bar), round(float(left), 1), round(float(right), 1)] for bar, left, right in system.bars]
    return {"svg": system.svg, "width": system.width, "bars": bars}


def _layers(plotted: Plotted) -> dict[str, Any]:
    return {
        "over": plotted.over,
        "under": plotted.under,
        "moved": round(plotted.moved, 2),
        "height": round(plotted.height, 2),
        "staff": _rounded(plotted.staff_top, plotted.staff_bottom),
        "pace": _rounded(plotted.pace_top, plotted.pace, plotted.pace_bottom),
        "level": _rounded(plotted.level_top, plotted.level, plotted.level_bottom),
    }


def _rounded(*lengths: float) -> list[float]:
    return [round(float(each), 2) for each in lengths]


def _bars(score: Score) -> dict[str, list[Any]]:
    """Of each row of the score's bars: its name, its length and how much of the bar came before it (quarters), which
    part of a whole note its beats are, and how long those that are felt (quarters)."""
    bars = score.bars
    return {
        "name": [score.bar_name(row) for row in range(len(bars))],
        "length": bars["length"].astype(float).tolist(),
        "shift": bars["shift"].astype(float).tolist(),
        "unit": bars["unit"].tolist(),
        "beat": felt_beat(bars).tolist(),
    }


@cache
def _heights() -> dict[str, dict[str, list[float]]]:
    """How high paces and levels are drawn, so that the page can tell what is meant by a height: rising in y."""
    pace = np.geomspace(_FASTEST, _SLOWEST, 160)
    level = np.linspace(_SOFTEST, _LOUDEST, 120)
    y, first = np.unique(STEEP * pace_y(pace), return_index=True)
    half, soft = np.unique(level_y(level), return_index=True)
    return {
        "pace": {"y": np.round(y, 3).tolist(), "value": np.round(pace[first], 4).tolist()},
        "level": {"y": np.round(half, 3).tolist(), "value": np.round(level[soft], 3).tolist()},
    }
