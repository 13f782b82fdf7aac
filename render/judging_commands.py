"""The commands that say what there is to say about a plan: `check`, and `explain` what it says."""

from __future__ import annotations

from typing import Annotated

import typer

from render.terminal import CAUTIONED, DONE, IMPOSSIBLE, PlanFile, console, print_remarks


def check(
    plan: PlanFile,
    as_json: Annotated[bool, typer.Option("--json", help="The same as JSON.")] = False,
) -> None:
    """Say in which order the bars are played, and where the plan works against the phrase."""
    from timing.remarks import CannotDo

    try:
        from soundfonts import guitar
        from timing.cautions import check as find_remarks
        from timing.loading import load

        reading = load(plan)
        remarks = find_remarks(reading, sound=guitar)
    except CannotDo as refusal:
        if not as_json:
            raise
        print_remarks(refusal.remarks)
        raise typer.Exit(IMPOSSIBLE) from None
    if as_json:
        print_remarks(remarks)
    else:
        from render.report import show_reading, show_remarks

        terminal = console()
        show_reading(terminal, reading)
        show_remarks(terminal, remarks)
    raise typer.Exit(CAUTIONED if any(remark.stands for remark in remarks) else DONE)


def explain(
    code: Annotated[
        str | None, typer.Argument(metavar="CODE", help="A code of a remark, as in slowing-mid-phrase.")
    ] = None,
) -> None:
    """Explain what a code tells: why it matters, from when on and by what source, an example, and what mends it.
    Without a code: list them all."""
    from render.explain import show_codes, show_page

    if code is None:
        show_codes(console())
    else:
        show_page(console(), code)
