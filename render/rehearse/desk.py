"""Where pages come and go: who is there, and what each of them wishes."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator

from render.rehearse.board import Board
from render.rehearse.rehearsal import Rehearsal
from render.rehearse.sitting import State
from render.rehearse.tapdesk import TapDesk
from render.rehearse.vocabulary import vocabulary
from render.rehearse.wire import (
    BackWish,
    Hear,
    PaperWish,
    SettleWish,
    Step,
    TapsWish,
    TextWish,
    Wish,
    said,
    understood,
)
from timing.remarks import CannotDo

Answer = Callable[[str], None]


class Desk:
    """What pages meet of a sitting."""

    def __init__(self, rehearsal: Rehearsal):
        self._rehearsal = rehearsal
        self._taps = TapDesk(rehearsal)
        rehearsal.board.post("vocabulary", said("vocabulary", **vocabulary()))
        self._pages: set[object] = set()

    @property
    def board(self) -> Board:
        return self._rehearsal.board

    @property
    def title(self) -> str:
        return self._rehearsal.title

    @property
    def pages(self) -> int:
        return len(self._pages)

    def hello(self) -> str:
        return self._rehearsal.hello()

    def close(self) -> None:
        self._rehearsal.stop()

    @contextlib.contextmanager
    def page(self, wake: Callable[[], None]) -> Iterator[object]:
        """A page that is there for a while; it is woken when there is something new."""
        page = object()
        self._pages.add(page)
        leave = self.board.listen(wake)
        try:
            yield page
        finally:
            leave()
            self._pages.discard(page)

    def take(self, page: object, message: str | None, answer: Answer) -> None:
        """Take what a page says. What is no wish is answered with a word, and nothing comes of it."""
        wish = understood(message) if message is not None else None
        if wish is None:
            answer(said("told", words="the page asked for what nobody knows: load it again"))
        elif isinstance(wish, Hear):
            self._rehearsal.hear(wish)
        elif isinstance(wish, TapsWish):
            self._taps.take(wish.model_dump(), answer)
        elif not self._rehearsal.worker.do(lambda: self._grant(wish, answer)):
            answer(said("told", words="that was too much at once: some of it was not done"))

    def _grant(self, wish: Wish, answer: Answer) -> None:
        try:
            self._done(wish, answer)
        except CannotDo as refusal:
            answer(said("told", words=str(refusal)))

    def _done(self, wish: Wish, answer: Answer) -> None:
        sitting = self._rehearsal.sitting
        makes: Callable[[], State | None] | None = None
        if isinstance(wish, PaperWish):
            self._rehearsal.show_on(wish.paper)
        elif isinstance(wish, TextWish):
            makes = lambda: sitting.typed(wish.text, wish.number)  # noqa: E731
        elif isinstance(wish, Step):
            makes = sitting.undo if wish.do == "undo" else sitting.redo
        elif isinstance(wish, BackWish):
            makes = lambda: sitting.back(wish.to)  # noqa: E731
        elif isinstance(wish, SettleWish):
            makes = lambda: sitting.settle(wish.keep == "ours")  # noqa: E731
        if makes is not None:
            self._rehearsal.put(makes)
