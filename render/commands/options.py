"""What may be said of how a reading is heard, to every command that lets it sound."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any, TypeVar

import typer

_Said = TypeVar("_Said")


def _percent(low: float, high: float, example: str) -> Callable[[str], float]:
    """A reader of percentages on the command line, as a factor."""

    def read(text: str) -> float:
        from timing.plan.units import amount

        return _read(amount("%", low, high, example, per=100), text)

    return read


def _pass(text: str) -> int | str:
    from timing.plan.words import read_pass

    return _read(read_pass, text)


def _room(text: str) -> str:
    from timing.plan import ROOMS
    from timing.plan.words import word_reader

    return _read(word_reader(ROOMS, "a room"), text)


def _read(reader: Callable[[str], _Said], text: str) -> _Said:
    """As a plan would read it; a fault is told as one of the command line."""
    try:
        return reader(text)
    except ValueError as fault:
        raise typer.BadParameter(str(fault)) from None


SoundfontOption = Annotated[
    Path | None, typer.Option(metavar="FILE", help="A SoundFont (.sf2) to play with.", show_default=False)
]
OnlyOption = Annotated[
    list[str] | None,
    typer.Option(
        metavar="VOICE", show_default=False,
        help="Play this voice alone: melody, bass, inner, voice 2, a part's name; may be given again.",
    ),
]  # fmt: skip
WithoutOption = Annotated[
    list[str] | None, typer.Option(metavar="VOICE", show_default=False, help="Leave this voice out.")
]
FingeringOption = Annotated[
    str | None,
    typer.Option(
        metavar="NAME", show_default=False,
        help="Play the passages this way: a name in the plan's `strings`.",
    ),
]  # fmt: skip
PaceOption = Annotated[
    float,
    typer.Option(
        parser=_percent(10, 300, "80%"), metavar="PERCENT",
        help="How fast against the plan's tempo, from 10% to 300%, as for practising.",
    ),
]  # fmt: skip
AmountOption = Annotated[
    float,
    typer.Option(
        parser=_percent(0, 200, "50%"), metavar="PERCENT",
        help="How much of all shaping, from 0% (in strict time, at an even level) to 200% (drawn twice as large).",
    ),
]  # fmt: skip
WHOLE: Any = "100%"  # as one writes it: defaults are read like all else
RoomOption = Annotated[
    str | None,
    typer.Option(
        parser=_room, metavar="ROOM", show_default=False,
        help="What it is heard in: dry, small or hall; else what the plan says, or dry.",
    ),
]  # fmt: skip
BarsOption = Annotated[
    str | None,
    typer.Option(
        metavar="RANGE", show_default=False,
        help="These bars alone, written as in a plan: 5-8, or \"7:2 - 8:3\"; the first time that they are heard whole.",
    ),
]  # fmt: skip
PassOption = Annotated[
    str | None,
    typer.Option(
        "--pass", parser=_pass, metavar="PASS", show_default=False,
        help="The bars as they are on this pass: 1, 2, ..., last, or \"da capo\".",
    ),
]  # fmt: skip
LoopOption = Annotated[
    int, typer.Option(metavar="N", min=1, help="Play it so many times, in time.", show_default=False)
]
ClickOption = Annotated[bool, typer.Option("--click", help="A click on every felt beat, in planned time.")]
CountInOption = Annotated[bool, typer.Option("--count-in", help="A bar of clicks before the music.")]
