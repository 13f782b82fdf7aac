"""What there is to say of bars before they have names, and their names in words once they have.

The numbers of the file are no names: several bars may have one. So whatever is found while the file is walked keeps the
row of its bar, and is told when `numbering` has given the names.
"""

from __future__ import annotations

from collections.abc import Sequence

from timing.remarks import Remark, Severity

MOST_NAMED = 12  # stretches of bars
_LISTED = 5  # bars one by one


class Slips:
    """Slips of the file, those of one kind together.

    The words of a kind may hold {what} for what stands in the first of its bars, {bars} for all of them, or {first} for
    the first and {others} for what is then said of the others.
    """

    def __init__(self) -> None:
        self._found: dict[tuple[str, str], dict[int, str]] = {}  # code, words -> row of the bar -> what stands there

    def remember(self, code: str, words: str, row: int, what: str = "") -> None:
        """Remember a slip in the bar of this row; of several of a kind in one bar, the first."""
        self._found.setdefault((code, words), {}).setdefault(row, what)

    def told(self, names: Sequence[str]) -> list[Remark]:
        """A caution for each kind; `names` are those of all bars, by row."""
        made = []
        for (code, words), found in self._found.items():
            rows = sorted(found)
            first, *others = dict.fromkeys(names[row] for row in rows)
            values = {"first": first, "others": likewise(others), "bars": _bars([first, *others])}
            message = words.format(what=found[rows[0]], **values)
            made.append(Remark(Severity.CAUTION, code, message, bar_name=first))
        return made


def likewise(names: Sequence[str]) -> str:
    """That what was said of one bar holds for these as well."""
    return f"; the same holds for bar{'s' * (len(names) > 1)} {stretches(names)}" if names else ""


def stretches(names: Sequence[str]) -> str:
    """The names of bars, those that follow each other as one: 3, 5-9, 12a."""
    found: list[list[str]] = []
    for name in names:
        follows = bool(found) and name.isdecimal() and found[-1][-1].isdecimal()
        if follows and int(name) == int(found[-1][-1]) + 1:
            found[-1].append(name)
        else:
            found.append([name])
    told = [stretch[0] if len(stretch) == 1 else f"{stretch[0]}-{stretch[-1]}" for stretch in found]
    left = sum(map(len, found[MOST_NAMED:]))
    return ", ".join(told[:MOST_NAMED]) + and_more(left)


def and_more(left: int) -> str:
    """What ends a list of which so many are not told; nothing where all are."""
    return f" and {left:,} more" if left > 0 else ""


def _bars(names: list[str]) -> str:
    listed = ", ".join(names[:_LISTED]) + and_more(len(names) - _LISTED)
    return f"bar{'s' * (len(names) > 1)} {listed}"
