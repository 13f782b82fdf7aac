"""The command `rehearse`: a plan on a page of its own, where it is changed and heard at once."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from render.commands.terminal import console


def rehearse(
    plan: Annotated[
        Path,
        typer.Argument(
            metavar="PLAN|SCORE", show_default=False,
            help="The plan, a YAML file; or a score, for which a plan is drafted first.",
        ),
    ],
    other: Annotated[
        Path | None,
        typer.Option("--with", metavar="PLAN", show_default=False, help="A second plan, to be heard beside it."),
    ] = None,
    port: Annotated[
        int, typer.Option(metavar="N", min=0, max=65_535, help="The port of the page; any free one for 0.")
    ] = 0,
    no_browser: Annotated[
        bool, typer.Option("--no-browser", help="Print the address and open no browser.")
    ] = False,
    keep: Annotated[
        Path | None,
        typer.Option(
            metavar="FOLDER", show_default=False,
            help="A folder in which each state of the plan is kept as a file when another one comes.",
        ),
    ] = None,
) -> None:  # fmt: skip
    """Rehearse a plan: a page in the browser, on this machine alone, that holds the score, its curves, the plan's text
    and the sound. Whatever is changed there, or in any editor, is heard at once at the same bar and beat. Ctrl-C ends
    it.

    Keep the volume low when you first listen, above all in headphones.
    """
    from render.commands.rehearsals import rehearse_plan

    rehearse_plan(plan, other, port, not no_browser, keep, console(stderr=True))
