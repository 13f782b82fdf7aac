"""The command `timeline`: when everything sounds."""

from __future__ import annotations

import json
import sys
from typing import Annotated

import typer

from render.commands.terminal import PlanFile, console, refusing


def timeline(
    plan: PlanFile,
    as_json: Annotated[bool, typer.Option("--json", help="Every note and every beat as JSON.")] = False,
    as_csv: Annotated[bool, typer.Option("--csv", help="Every note as comma-separated values.")] = False,
) -> None:
    """List when everything sounds: bars and their tempo, or every note with its time and level."""
    if as_json and as_csv:
        raise typer.BadParameter("choose one of --json and --csv")
    from render.telling.tables import timeline as values
    from render.telling.tables import timeline_csv
    from timing.loading import load

    with refusing(as_json):
        reading = load(plan)
    if as_csv:
        sys.stdout.write(timeline_csv(reading))
    elif as_json:
        sys.stdout.write(json.dumps(values(reading)) + "\n")
    else:
        from render.telling.report import show_beats, show_reading

        terminal = console()
        show_reading(terminal, reading)
        show_beats(terminal, values(reading)["grid"])
