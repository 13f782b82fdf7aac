"""The command that writes a first plan: `draft`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from render.commands.terminal import console


def draft(
    score: Annotated[
        Path,
        typer.Argument(
            metavar="SCORE", help="A score: MusicXML, MIDI, ABC, kern or MEI.", show_default=False
        ),
    ],
    output: Annotated[
        Path | None,
        typer.Option(
            "-o", "--output", metavar="FILE", show_default=False,
            help="The plan to write (.yaml). Without it one beside the score.",
        ),
    ] = None,
    phrases_only: Annotated[bool, typer.Option("--phrases-only", help="Write the phrases and nothing else.")] = False,
    force: Annotated[bool, typer.Option("--force", help="Write over a plan that is there already.")] = False,
) -> None:  # fmt: skip
    """Write a first plan from the score alone: phrases, voices, slowdowns, repeats and the score's own marks, each with
    the reason why it is there. It is a beginning, to be changed."""
    from render.commands.drafts import write_draft

    write_draft(score, output, phrases_only, force, console())
