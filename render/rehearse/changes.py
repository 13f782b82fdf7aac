"""What pages ask to be changed, or could be: brought to the state of the plan that is meant, and answered."""

from __future__ import annotations

import difflib
from collections.abc import Callable
from typing import Any

from render.rehearse.rehearsal import Rehearsal
from render.rehearse.wire import ChangeWish, OffersWish, WishedSpot, said
from timing.changing import changed, offers
from timing.changing.asked import Asked, read_change
from timing.changing.entries import kind_word
from timing.changing.spots import PageSpot
from timing.changing.standing import find
from timing.reading import Reading
from timing.remarks import CannotDo

_MEANWHILE = "the plan has changed meanwhile, so nothing was done: try again"
_WORDS = {
    "settings": "changed", "move": "moved", "depth": "drawn up or down", "amount": "drawn up or down",
    "remove": "taken out", "hairpin": "a hairpin drawn", "offer": "put in", "mend": "a remark mended",
    "accept": "a remark accepted",
}  # fmt: skip


class Changes:
    """Makes changes of the plan that were asked for in the music, not in the text. To be called by the worker."""

    def __init__(self, rehearsal: Rehearsal):
        self._rehearsal = rehearsal

    def make(self, wish: ChangeWish) -> None:
        """CannotDo, in a musician's words, where a change cannot be made."""
        sitting = self._rehearsal.sitting
        number, change = self._meant(wish)
        text = sitting.text_of(number)
        if text is None:
            raise CannotDo.because("plan-changed", _MEANWHILE)
        heard = self._rehearsal.perform(number, text)
        asked = read_change(change)
        remarks = self._rehearsal.remarks_of(heard) if change.get("what") in ("mend", "accept") else []
        words = _in_words(heard.reading, asked, str(change.get("what")))
        made = changed(heard.reading, remarks, text, asked)
        self._rehearsal.put(lambda: sitting.changed(number, made, words, wish.drawing))

    def offer(self, wish: OffersWish, answer: Callable[[str], None]) -> None:
        """Say what can stand at a place of the newest state that could be performed."""
        from timing.changing.offers import offers

        reading = self._rehearsal.reading
        found = offers(reading, _spot(wish.at), None if wish.until is None else _spot(wish.until))
        answer(said("offers", asked=wish.asked, offers=[each.as_json() for each in found]))

    def _meant(self, wish: ChangeWish) -> tuple[int, dict[str, Any]]:
        """The number of the state on which a change is to be made, and the change with its place in that text. What was
        asked of a state that is past by now is meant of the newest one, if its line is still there."""
        sitting, change = self._rehearsal.sitting, wish.change
        newest, text = sitting.newest, sitting.text_of(wish.number)
        if newest.drawn_from == wish.number or wish.number == newest.number or text == newest.text:
            return wish.number, change
        if "index" in change or text is None:  # remarks of another state
            raise CannotDo.because("plan-changed", _MEANWHILE)
        if isinstance(line := change.get("line"), int):
            change = change | {"line": _carried(line, text, newest.text)}
        return newest.number, change


def _carried(line: int, before: str, now: str) -> int:
    """Where a line of one text stands in another. CannotDo where it is not there any more."""
    lines = before.splitlines(), now.splitlines()
    for first, there, count in difflib.SequenceMatcher(None, *lines, autojunk=False).get_matching_blocks():
        if first <= line - 1 < first + count:
            return there + line - first
    raise CannotDo.because("plan-changed", _MEANWHILE)


def _in_words(reading: Reading, asked: Asked, what: str) -> str:
    """What is done, for the list of states: rallentando moved."""
    target = getattr(asked, "target", None)
    words = _WORDS.get(what, "changed")
    if target is None:
        return words
    try:
        return f"{kind_word(find(reading.plan, target))} {words}"
    except CannotDo:
        return words


def _spot(spot: WishedSpot) -> PageSpot:
    return PageSpot(spot.row, spot.offset, spot.pass_)
