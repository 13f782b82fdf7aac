"""The command that draws a reading over its score: `draw`."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from render.commands.status import CAUTIONED, DONE
from render.commands.terminal import PlanFile, console


class PaperSize(StrEnum):
    """The sizes of paper that there are."""

    A4 = "a4"
    LETTER = "letter"


def draw(
    plan: PlanFile,
    output: Annotated[
        Path | None,
        typer.Option(
            "-o", "--output", metavar="FILE", show_default=False,
            help="What to write: .pdf, .svg or .png (of the last two one for each page). "
            "Without it a .pdf beside the plan.",
        ),
    ] = None,
    curves: Annotated[bool, typer.Option("--curves", help="Draw over bars alone, without the notes.")] = False,
    paper: Annotated[PaperSize, typer.Option(help="The size of the paper.", case_sensitive=False)] = PaperSize.A4,
) -> None:  # fmt: skip
    """Draw the reading over its score, to be printed: phrases, pace and level, what the plan says and why, and where
    it works against the phrase."""
    from render.commands.sheets import draw_plan

    raise typer.Exit(CAUTIONED if draw_plan(plan, output, curves, str(paper), console(stderr=True)) else DONE)
