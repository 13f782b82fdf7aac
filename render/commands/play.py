"""The command `play`: a plan through the sound card."""

from __future__ import annotations

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
from render.commands.terminal import PlanFile, console


def play(
    plan: PlanFile,
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
) -> None:
    """Play a plan through the sound card; Ctrl-C stops and says where.

    Keep the volume low when you first listen, above all in headphones. Where you practise with it: rest, stop if
    anything hurts, and ask your teacher or a health professional.
    """
    from render.commands.takes import Wanted, play_plan
    from timing.time.scale import Scale

    scale = Scale(amount, pace)
    wanted = Wanted(soundfont, only or (), without or (), fingering, scale, bars, passes, loop, click, count_in, room)
    play_plan(plan, wanted, console(stderr=True))
