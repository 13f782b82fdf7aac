"""The commands that let a reading be heard: `render`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from render.terminal import CAUTIONED, DONE, console


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
) -> None:  # fmt: skip
    """Turn plans into MIDI and sound.

    Keep the volume low when you first listen, above all in headphones.
    """
    from render.takes import Wanted, render_plans

    wanted = Wanted(soundfont, only or (), without or (), fingering)
    raise typer.Exit(CAUTIONED if render_plans(plans, output or [], wanted, console(stderr=True)) else DONE)
