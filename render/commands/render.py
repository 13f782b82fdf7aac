"""The command `render`: plans become MIDI and sound."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from render.commands.options import (
    WHOLE,
    AmountOption,
    BarsOption,
    ClickOption,
    CountInOption,
    FingeringOption,
    LoopOption,
    OnlyOption,
    PaceOption,
    PassOption,
    RoomOption,
    SoundfontOption,
    WithoutOption,
)
from render.commands.status import CAUTIONED, DONE
from render.commands.terminal import console


def render(
    plans: Annotated[list[Path], typer.Argument(metavar="PLAN...", help="Plans (YAML files).", show_default=False)],
    output: Annotated[
        list[Path] | None,
        typer.Option(
            "-o", "--output", metavar="FILE", show_default=False,
            help="What to write: .mid, .wav, .flac, .ogg or .mp3; may be given again. "
            "With several plans: one file for each, or a folder. Without it a .mid and a .wav beside the plan, named "
            "after it and after what is heard of it.",
        ),
    ] = None,
    soundfont: SoundfontOption = None,
    only: OnlyOption = None,
    without: WithoutOption = None,
    fingering: FingeringOption = None,
    pace: PaceOption = WHOLE,
    amount: AmountOption = WHOLE,
    bars: BarsOption = None,
    passes: PassOption = None,
    loop: LoopOption = 1,
    click: ClickOption = False,
    count_in: CountInOption = False,
    room: RoomOption = None,
) -> None:  # fmt: skip
    """Turn plans into MIDI and sound.

    Keep the volume low when you first listen, above all in headphones. Where you practise with it: rest, stop if
    anything hurts, and ask your teacher or a health professional.
    """
    from render.commands.takes import Wanted, render_plans
    from timing.time.scale import Scale

    scale = Scale(amount, pace)
    wanted = Wanted(soundfont, only or (), without or (), fingering, scale, bars, passes, loop, click, count_in, room)
    raise typer.Exit(CAUTIONED if render_plans(plans, output or [], wanted, console(stderr=True)) else DONE)
