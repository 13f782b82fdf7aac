"""What the pages see of the readings: told on the board, for every paper that some page shows."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from render.rehearse.board import Board
from render.rehearse.pictures import Pictures
from render.rehearse.wire import THE_OTHER, THE_PLAN, said
from timing.reading import Reading

Listing = Callable[[Reading], list[dict[str, Any]]]


class Showing:
    """Shows the newest state of the plan, with the other plan beside it. To be called from one thread."""

    def __init__(self, board: Board, listing: Listing):
        """`listing` gives the entries of a reading's plan, ready for JSON."""
        self._board, self._listing, self._pictures = board, listing, Pictures()
        self._papers: list[str] = []
        self._told: tuple[str, list[str]] | None = None  # which music was told last, and on which papers
        self._shown: dict[int, tuple[int, Reading]] = {}  # number and reading, of the plan and the other one

    def want(self, paper: str) -> None:
        """Some page has this paper (one of PAPERS) from now on."""
        if paper not in self._papers:
            self._papers.append(paper)
            if THE_PLAN in self._shown:
                self._draw()

    def show(self, kind: int, number: int, reading: Reading) -> None:
        """Show a state of the plan (or of the other one, by `kind`)."""
        self._shown[kind] = number, reading
        if kind == THE_OTHER:
            self._board.post(("drawn", kind), said("drawn", number=number, reading=kind))
        if THE_PLAN in self._shown:
            self._draw()

    def _draw(self) -> None:
        if not self._papers:
            return
        number, reading = self._shown[THE_PLAN]
        other = self._shown[THE_OTHER][1] if THE_OTHER in self._shown else None
        music = (self._pictures.key(reading.score), list(self._papers))
        if music != self._told:
            self._board.post("music", said("music", **self._pictures.music(reading.score, self._papers)))
            self._told = music
        drawn = self._pictures.drawn(reading, self._papers, other)
        message = said("drawn", number=number, reading=THE_PLAN, entries=self._listing(reading), **drawn)
        self._board.post(("drawn", THE_PLAN), message)
