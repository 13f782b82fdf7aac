"""The commands that let a reading be heard: `render` and `play`."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any

import typer

from render.commands.status import CAUTIONED, DONE
from render.commands.terminal import PlanFile, console


def _percent(low: float, high: float, example: str) -> Callable[[str], float]:
    """A reader of percentages on the command line, as a factor."""

    def read(text: str) -> float:
        from timing.plan.units import amount

        try:
            return amount("%", low, high, example, per=100)(text)
        except ValueError as fault:
            raise typer.BadParameter(str(fault)) from None

    return read


def _pass(text: str) -> int | str:
    from timing.plan.words import read_pass

    try:
        return read_pass(text)
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
_WHOLE: Any = "100%"  # as one writes it: defaults are read like all else
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
    pace: PaceOption = _WHOLE,
    amount: AmountOption = _WHOLE,
    bars: BarsOption = None,
    passes: PassOption = None,
    loop: LoopOption = 1,
    click: ClickOption = False,
    count_in: CountInOption = False,
) -> None:  # fmt: skip
    """Turn plans into MIDI and sound.

    Keep the volume low when you first listen, above all in headphones. Where you practise with it: rest, stop if
    anything hurts, and ask your teacher or a health professional.
    """
    from render.commands.takes import Wanted, render_plans
    from timing.time.scale import Scale

    scale = Scale(amount, pace)
    wanted = Wanted(soundfont, only or (), without or (), fingering, scale, bars, passes, loop, click, count_in)
    raise typer.Exit(CAUTIONED if render_plans(plans, output or [], wanted, console(stderr=True)) else DONE)


def play(
    plan: PlanFile,
    soundfont: SoundfontOption = None,
    only: OnlyOption = None,
    without: WithoutOption = None,
    fingering: FingeringOption = None,
    pace: PaceOption = _WHOLE,
    amount: AmountOption = _WHOLE,
    bars: BarsOption = None,
    passes: PassOption = None,
    loop: LoopOption = 1,
    click: ClickOption = False,
    count_in: CountInOption = False,
) -> None:
    """Play a plan through the sound card; Ctrl-C stops and says where.

    Keep the volume low when you first listen, above all in headphones. Where you practise with it: rest, stop if
    anything hurts, and ask your teacher or a health professional.
    """
    from render.commands.takes import Wanted, play_plan
    from timing.time.scale import Scale

    scale = Scale(amount, pace)
    wanted = Wanted(soundfont, only or (), without or (), fingering, scale, bars, passes, loop, click, count_in)
    play_plan(plan, wanted, console(stderr=True))
