"""The command `sounds`: the banks and their tones, and which bank is the usual one."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from render.commands.terminal import console


def sounds(
    use: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE", show_default=False,
            help="From now on play all but the classical guitar with this General MIDI bank (.sf2).",
        ),
    ] = None,
    standard: Annotated[
        bool, typer.Option("--standard", help="Go back to the bank that comes along.")
    ] = False,
) -> None:  # fmt: skip
    """List the banks of sound, their tones and where their files are. Builds the guitar if it is not there yet."""
    from render.telling.report import show_sounds

    if use is not None and standard:
        raise typer.BadParameter("--use chooses a bank and --standard takes the choice back: give one of them")
    if use is not None or standard:
        _choose(use)
    else:
        show_sounds(console(), console(stderr=True))


def _choose(bank: Path | None) -> None:
    from render.sound.synth import missing_programs
    from render.telling.report import show_choice
    from soundfonts.banks import checked_bank
    from soundfonts.chosen import choose_bank, general_bank

    missing = missing_programs(checked_bank(bank)) if bank is not None else []
    choose_bank(bank)
    show_choice(general_bank(), missing, console())
