"""Changes of a plan as a page asks for them: JSON in, values out, with everything checked on the way.

Whatever comes from a browser is hostile until it has been through here.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from timing.changing.spots import PageSpot, cannot

_MOST = 1_000_000  # lines, columns, rows of bars: no plan and no score has as many
_LONGEST = 2000  # letters of a text; the longest that a plan can hold
_MOST_KEYS = 100


@dataclass(frozen=True)
class Target:
    """An entry of the plan by where it stands. `file` is the name of the older plan that it stands in (None: in the
    plan itself, or, where none stands there, in one of those that it is based on)."""

    section: str
    line: int
    column: int
    file: str | None = None


Value = str | int | float | bool


@dataclass(frozen=True)
class SetKeys:
    """Settings of an entry: each key with its value as a plan writes it, or None, which leaves it out."""

    target: Target
    keys: dict[str, Value | None]


@dataclass(frozen=True)
class MoveEnd:
    """An entry's `start`, its `end`, or the `whole` of it (by its start) drawn to another place."""

    target: Target
    end: str
    to: PageSpot


@dataclass(frozen=True)
class SetDepth:
    """The pace at the bottom of a slowdown, as a share of the basic tempo."""

    target: Target
    to: float


@dataclass(frozen=True)
class SetAmount:
    """How much: of a hold its length as a factor or its seconds, of a level its dB."""

    target: Target
    to: float


@dataclass(frozen=True)
class DrawHairpin:
    """A crescendo by so many dB (below 0: a diminuendo) from one place until another."""

    start: PageSpot
    until: PageSpot
    to: float


@dataclass(frozen=True)
class TakeOffer:
    """One of the offers for a place or a stretch."""

    id: str
    at: PageSpot
    until: PageSpot | None


@dataclass(frozen=True)
class Remove:
    """An entry left out."""

    target: Target


@dataclass(frozen=True)
class MendRemark:
    """The change that a remark offers, by the remark's number."""

    index: int


@dataclass(frozen=True)
class AcceptRemark:
    """A remark that may stand, and the reason."""

    index: int
    because: str


Asked = SetKeys | MoveEnd | SetDepth | SetAmount | DrawHairpin | TakeOffer | Remove | MendRemark | AcceptRemark


def read_change(given: object) -> Asked:
    """The change that JSON asks for. CannotDo says what is wrong with it."""
    wish = _Wish(given)
    read = _READERS.get(wish.text("what", 20))
    if read is None:
        raise cannot("this is no change that is known here")
    return read(wish)


def read_spot(given: object) -> PageSpot:
    """A place on the page as JSON has it: {row, offset, pass}."""
    wish = _Wish(given)
    pass_ = None if wish.given.get("pass") is None else wish.whole("pass", 1, 99)
    return PageSpot(wish.whole("row", 0, _MOST), wish.number("offset", 0, _MOST), pass_)


class _Wish:
    """What is asked, key by key."""

    def __init__(self, given: object):
        if not isinstance(given, dict):
            raise cannot("this is no change: it names nothing to be changed")
        self.given: dict[Any, Any] = given

    def text(self, key: str, longest: int = _LONGEST) -> str:
        value = self.given.get(key)
        if not isinstance(value, str) or not value.strip():
            raise cannot(f"the change does not say its '{key}'")
        if len(value) > longest:
            raise cannot(f"'{key}' has {len(value)} letters: the most is {longest}")
        return value.strip()

    def number(self, key: str, least: float, most: float) -> float:
        value = self.given.get(key)
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise cannot(f"'{key}' is not a number")
        if (isinstance(value, float) and not math.isfinite(value)) or not least <= value <= most:
            raise cannot(f"'{key}' is out of range: it can be {least:g} to {most:g}")
        return float(value)

    def whole(self, key: str, least: int, most: int) -> int:
        number = self.number(key, least, most)
        if number != int(number):
            raise cannot(f"'{key}' is not a whole number")
        return int(number)

    def target(self) -> Target:
        file = None if self.given.get("file") is None else self.text("file", 255)
        return Target(self.text("section", 60), self.whole("line", 1, _MOST), self.whole("column", 1, _MOST), file)

    def spot(self, key: str) -> PageSpot:
        if not isinstance(self.given.get(key), dict):
            raise cannot(f"the change does not say the place of '{key}'")
        return read_spot(self.given[key])

    def keys(self) -> dict[str, Value | None]:
        given = self.given.get("keys")
        if not isinstance(given, dict) or not given:
            raise cannot("the change does not say which settings it changes")
        if len(given) > _MOST_KEYS:
            raise cannot(f"a change can be of {_MOST_KEYS} settings at most")
        return {self._key(key): self._value(key, value) for key, value in given.items()}

    def reason(self) -> str:
        """A text for people, on one line."""
        reason = self._value("because", self.text("because"))
        assert isinstance(reason, str)
        return reason

    @staticmethod
    def _key(key: object) -> str:
        if not isinstance(key, str) or not 0 < len(key) <= 100 or not key.isprintable():
            raise cannot("a setting has a name of letters")
        return key

    @staticmethod
    def _value(key: str, value: object) -> Value | None:
        """A value as a plan writes it; an empty text leaves the setting out."""
        if value is None or isinstance(value, bool):
            return value
        if isinstance(value, int | float):
            if (isinstance(value, float) and not math.isfinite(value)) or abs(value) > 1e9:
                raise cannot(f"'{key}' is a number beyond all music")
            return int(value) if value == int(value) else value
        if not isinstance(value, str):
            raise cannot(f"'{key}' is one value: a word, a number, yes or no")
        text = " ".join(value.split())
        if len(text) > _LONGEST:
            raise cannot(f"'{key}' has {len(text)} letters: the most is {_LONGEST}")
        if not text.isprintable():
            raise cannot(f"'{key}' holds a character that is no text")
        return text or None


def _amount(make: Callable[[Target, float], Asked], least: float, most: float) -> Callable[[_Wish], Asked]:
    return lambda wish: make(wish.target(), wish.number("to", least, most))


def _move(wish: _Wish) -> MoveEnd:
    end = wish.text("end", 20)
    if end not in ("start", "end", "whole"):
        raise cannot("what is moved is a start, an end, or the whole")
    return MoveEnd(wish.target(), end, wish.spot("to"))


def _offer(wish: _Wish) -> TakeOffer:
    until = None if wish.given.get("until") is None else wish.spot("until")
    return TakeOffer(wish.text("id", 100), wish.spot("at"), until)


_READERS: dict[str, Callable[[_Wish], Asked]] = {
    "settings": lambda wish: SetKeys(wish.target(), wish.keys()),
    "move": _move,
    "depth": _amount(SetDepth, 0.01, 10),
    "amount": _amount(SetAmount, -100, 100),
    "hairpin": lambda wish: DrawHairpin(wish.spot("from"), wish.spot("until"), wish.number("to", -100, 100)),
    "offer": _offer,
    "remove": lambda wish: Remove(wish.target()),
    "mend": lambda wish: MendRemark(wish.whole("index", 0, _MOST)),
    "accept": lambda wish: AcceptRemark(wish.whole("index", 0, _MOST), wish.reason()),
}
