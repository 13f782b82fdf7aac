"""Where pages come and go: who is there, and what each of them wishes."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator

from render.rehearse.board import Board
from render.rehearse.changes import Changes
from render.rehearse.rehearsal import Rehearsal
from render.rehearse.tapdesk import TapDesk
from render.rehearse.vocabulary import vocabulary
from render.rehearse.wire import (
    BackWish,
    ChangeWish,
    Hear,
    OffersWish,
    PaperWish,
    SettleWish,
    StepWish,
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
        self._taps, self._changes = TapDesk(rehearsal), Changes(rehearsal)
        rehearsal.board.post("vocabulary", said("vocabulary", **vocabulary()))
        rehearsal.notice = self._tell_all
        self._pages: dict[object, Answer] = {}

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
    def page(self, wake: Callable[[], None], answer: Answer) -> Iterator[object]:
        """A page that is there for a while: it is woken when there is something new on the board, and answered."""
        page = object()
        self._pages[page] = answer
        leave = self.board.listen(wake)
        try:
            yield page
        finally:
            leave()
            del self._pages[page]

    def _tell_all(self, message: str) -> None:
        for answer in list(self._pages.values()):
            answer(message)

    def take(self, page: object, message: str | None) -> None:
        """Take what a page says. What is no wish is answered with a word, and nothing comes of it."""
        wish, answer = understood(message) if message is not None else None, self._pages[page]
        if wish is None:
            answer(said("told", words="the page asked for what nobody knows: load it again"))
        elif isinstance(wish, Hear):
            self._rehearsal.hear(wish)
        elif isinstance(wish, TapsWish):
            self._taps.take(wish.model_dump(), answer)
        elif not self._rehearsal.worker.do(lambda: self._grant(wish, answer), _instead_of(page, wish)):
            answer(said("told", words="that was too much at once: some of it was not done"))

    def _grant(self, wish: Wish, answer: Answer) -> None:
        try:
            self._done(wish, answer)
        except CannotDo as refusal:
            answer(said("told", words=str(refusal)))

    def _done(self, wish: Wish, answer: Answer) -> None:
        sitting = self._rehearsal.sitting
        match wish:
            case PaperWish():
                self._rehearsal.show_on(wish.paper)
            case OffersWish():
                self._changes.offer(wish, answer)
            case ChangeWish():
                self._changes.make(wish)
            case TextWish():
                self._rehearsal.put(lambda: sitting.typed(wish.text, wish.number))
            case StepWish():
                self._rehearsal.put(sitting.undo if wish.do == "undo" else sitting.redo)
            case BackWish():
                self._rehearsal.put(lambda: sitting.back(wish.to))
            case SettleWish():
                self._rehearsal.put(lambda: sitting.settle(wish.keep == "ours"))


def _instead_of(page: object, wish: Wish) -> object:
    """The name under which a wish takes the place of the same page's wish before it, where only the newest counts."""
    if isinstance(wish, ChangeWish) and wish.drawing:
        return page, "drawing", wish.number
    return (page, wish.do) if isinstance(wish, OffersWish | TextWish) else None
