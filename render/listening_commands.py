"""The commands that let a reading be heard: `render`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from render.terminal import CAUTIONED, DONE, console


def _percent(low: float, high: float, example: str):
    """A reader of percentages on the command line, as a factor."""

    def read(text: str) -> float:
        from timing.units import amount

        try:
            return amount("%", low, high, example, per=100)(text)
        except ValueError as fault:
            raise typer.BadParameter(str(fault)) from None

    return read


Pace = Annotated[
    float,
    typer.Option(
        parser=_percent(10, 300, "80%"), metavar="PERCENT",
        help="How fast against the plan's tempo, from 10% to 300%, as for practising.",
    ),
]  # fmt: skip
Amount = Annotated[
    float,
    typer.Option(
        parser=_percent(0, 200, "50%"), metavar="PERCENT",
        help="How much of all shaping, from 0% (in strict time, at an even level) to 200% (drawn twice as large).",
    ),
]  # fmt: skip

def render(
    plans: Annotated[list[Path], typer.Argument(metavar="PLAN...", help="Plans (YAML files).", show_default=False)],
    output: Annotated[
        list[Path] | None,
        typer.Option(
            "-o", "--output", metavar="FILE", show_default=False,
            help="What to write: .mid, .wav, .flac, .ogg or .mp3; may be given again. "
            "With several plans: one file for each, or a folder. Without it a .mid and a .wav beside the plan.",
        ),
    ] = None,
    soundfont: Annotated[
        Path | None, typer.Option(metavar="FILE", help="A SoundFont (.sf2) to play with.", show_default=False)
    ] = None,
    only: Annotated[
        list[str] | None,
        typer.Option(
            metavar="VOICE", show_default=False,
            help="Play this voice alone: melody, bass, inner, voice 2, a part's name; may be given again.",
        ),
    ] = None,
    without: Annotated[
        list[str] | None, typer.Option(metavar="VOICE", show_default=False, help="Leave this voice out.")
    ] = None,
    fingering: Annotated[
        str | None,
        typer.Option(
            metavar="NAME", show_default=False,
            help="Play the passages this way: a name in the plan's `strings`.",
        ),
    ] = None,
    pace: Pace = "100%",
    amount: Amount = "100%",
) -> None:  # fmt: skip
    """Turn plans into MIDI and sound.

    Keep the volume low when you first listen, above all in headphones.
    """
    from render.takes import Wanted, render_plans
    from timing.scale import Scale

    wanted = Wanted(soundfont, only or (), without or (), fingering, Scale(amount, pace))
    raise typer.Exit(CAUTIONED if render_plans(plans, output or [], wanted, console(stderr=True)) else DONE)
