"""What each bar is called, so that a plan can name every one of them.

Where several bars have one number, as the bars of a cadenza, those under two endings, or a bar without a number after a
whole one, all but the first get a letter of their own: 24, 24b, 24c, after z aa (common practice for such bars). Where
the numbers begin again, as in a second movement, every bar of it has the same letter: 1b, 2b, 3b. Letters that the
score prints itself, as in 12a, are left to it. The parts of one divided bar share its name, since their beats count on.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import Protocol

from timing.reader.slips import MOST_NAMED, and_more
from timing.remarks import Remark, Severity

MOST = 999_999  # the highest number of a bar that a position can have
LONGEST = 8  # letters after it
CODE = "bar-names"
_TOLD = 3  # numbers that are told one by one
_COUNTS = ("two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")


class Bar(Protocol):
    """A bar of the table that is being made."""

    number: int
    suffix: str
    shift: Fraction
    length: Fraction
    beats: int

    @property
    def metre(self) -> Fraction: ...


def name_bars(bars: Sequence[Bar], close: Fraction) -> list[Remark]:
    """Give every bar a name of its own by its `suffix`, and say so once; `close` is the least length that counts."""
    for before, bar in zip([None, *bars[:-1]], bars, strict=True):
        bar.suffix = "".join(c for c in bar.suffix if c.isascii() and c.isalpha())[:LONGEST]
        if not 0 <= bar.number <= MOST:
            bar.number, bar.suffix = (before.number, before.suffix) if before else (0, "")
    whole = _whole_bars(bars, close)
    letters = _letters_of_movements(whole)
    printed = [(parts[0].number, parts[0].suffix) for parts in whole]
    taken: set[tuple[int, str]] = set()
    left = []
    for place, (parts, letter) in enumerate(zip(whole, letters, strict=True)):
        suffix = f"{parts[0].suffix}{letter}"[:LONGEST]
        name = parts[0].number, suffix.lower()
        if name in taken:
            left.append(place)
        else:
            taken.add(name)
            _call(parts, suffix)
    following: dict[int, Iterator[str]] = {}
    for place in left:
        number = whole[place][0].number
        free = following.setdefault(number, _letters())
        _call(whole[place], next(letter for letter in free if (number, letter) not in taken))
    return _told(whole, printed, letters, left)


def _call(parts: Sequence[Bar], suffix: str) -> None:
    for bar in parts:
        bar.suffix = suffix


def _whole_bars(bars: Sequence[Bar], close: Fraction) -> list[list[Bar]]:
    """The bars, those that are parts of one together: they have its number, and count on where the last one stopped."""
    whole: list[list[Bar]] = []
    for bar in bars:
        before = whole[-1][-1] if whole else None
        if (
            before is not None
            and (before.number, before.suffix.lower()) == (bar.number, bar.suffix.lower())
            and (before.metre, before.beats) == (bar.metre, bar.beats)
            and abs(before.shift + before.length - bar.shift) <= close
        ):
            whole[-1].append(bar)
        else:
            whole.append([bar])
    return whole


def _letters_of_movements(whole: list[list[Bar]]) -> list[str]:
    """The letter of the movement that each bar belongs to, none for the first. One begins where the numbers fall to 1
    (or to 0, a pickup) and count on from there."""
    own = {parts[0].suffix.lower() for parts in whole}
    free = (letter for letter in _letters() if letter not in own)
    letters, letter = [], ""
    for place, parts in enumerate(whole):
        number = parts[0].number
        following = whole[place + 1][0].number if place + 1 < len(whole) else number + 1
        if place and number <= 1 and whole[place - 1][0].number > max(number, 1) and following == number + 1:
            letter = next(free)
        letters.append(letter)
    return letters


def _letters() -> Iterator[str]:
    """b, c, ..., z, aa, ab, ..."""
    count = 1
    while True:
        count += 1
        name, rest = "", count
        while rest:
            rest, letter = divmod(rest - 1, 26)
            name = chr(ord("a") + letter) + name
        yield name


# -- in words


def _told(
    whole: list[list[Bar]], printed: list[tuple[int, str]], letters: list[str], left: list[int]
) -> list[Remark]:
    """One piece of advice on all bars that are called otherwise than they are printed."""
    names = [f"{parts[0].number}{parts[0].suffix}" for parts in whole]
    said = []
    begins = [place for place in range(1, len(letters)) if letters[place] != letters[place - 1]]
    if begins:
        ends = [place - 1 for place in [*begins[1:], len(whole)]]
        movements = [f"{names[a]}-{names[b]}" for a, b in zip(begins[:MOST_NAMED], ends, strict=False)]
        called = ", ".join(movements) + and_more(len(begins) - MOST_NAMED)
        said.append(f"the bars are counted from the beginning again: there they are called {called}")
    again: dict[tuple[int, str, str], list[str]] = {}
    for place in left:
        again.setdefault((*printed[place], letters[place]), []).append(names[place])
    for (number, suffix, letter), others in list(again.items())[:_TOLD]:
        count = _COUNTS[len(others) - 1] if len(others) <= len(_COUNTS) else str(len(others) + 1)
        which = f"the second is {others[0]}" if len(others) == 1 else f"after the first they are {_stretch(others)}"
        said.append(f"{count} bars are called {number}{suffix}{letter}: {which} here")
    if (more := len(again) - _TOLD) > 0:
        said.append(f"and so it is with {more} more number{'s' * (more > 1)}")
    if not said:
        return []
    first = min([*begins, *left])
    return [Remark(Severity.ADVICE, CODE, "; ".join(said), bar_name=names[first])]


def _stretch(names: list[str]) -> str:
    return " and ".join(names) if len(names) == 2 else f"{names[0]} to {names[-1]}"
