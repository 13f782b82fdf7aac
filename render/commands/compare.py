"""The command that puts readings side by side: `compare`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from render.commands.options import SoundfontOption
from render.commands.status import CAUTIONED, DONE
from render.commands.terminal import console, print_json, refusing


def compare(
    plans: Annotated[
        list[Path],
        typer.Argument(
            metavar="PLAN", show_default=False, help="Plans, YAML files that name their score; called A, B, C ..."
        ),
    ],
    beside: Annotated[
        list[str] | None,
        typer.Option(
            "--with", metavar="plain|exaggerated|misplaced", show_default=False,
            help="One more reading, made of the first plan: plain (in strict time), exaggerated (all shaping doubled), "
            "misplaced (its slowdowns in the middle of their phrases); may be given again.",
        ),
    ] = None,
    output: Annotated[
        Path | None,
        typer.Option(
            "-o", "--output", metavar="FILE", show_default=False,
            help="Write a page (.html) to see and hear, with all in one file; of one plan alone, too.",
        ),
    ] = None,
    soundfont: SoundfontOption = None,
    as_json: Annotated[bool, typer.Option("--json", help="All values as JSON.")] = False,
) -> None:  # fmt: skip
    """Put readings of one piece side by side, phrase by phrase: length, slowest beat, tempo, level, tone, and what
    only one of them does. In the terminal, or with -o on a page with the music and the sound."""
    if as_json and output is not None:
        raise typer.BadParameter("choose one of --json and -o")
    if soundfont is not None and output is None:
        raise typer.BadParameter("--soundfont is what a page sounds with: add -o page.html")
    from render.commands.comparisons import gather

    with refusing(as_json):
        side_by_side = gather(plans, beside or [], output)
    if output is not None:
        from render.commands.comparisons import write

        write(side_by_side, output, soundfont, console(stderr=True))
    else:
        from render.telling.comparison_report import comparison_values, show_comparison

        comparison = side_by_side.comparison
        assert comparison is not None  # one reading alone is refused where there is no page
        if as_json:
            print_json(comparison_values(comparison, side_by_side.sides))
        else:
            show_comparison(console(), comparison, side_by_side.sides)
    raise typer.Exit(CAUTIONED if any(side.cautions for side in side_by_side.sides) else DONE)
