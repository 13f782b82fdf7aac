"""All commands of `lentando`, under one name."""

from __future__ import annotations

import json
import sys
from typing import Annotated

import typer

from render.commands.comparing import compare
from render.commands.drafting import draft
from render.commands.drawing import draw
from render.commands.judging import check, explain
from render.commands.listening import play, render
from render.commands.terminal import PlanFile, console, print_json, refusing

app = typer.Typer(
    help="Hear a score as your plan reads it, and be told where the plan works against the phrase.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
)


def _version(wanted: bool) -> None:
    if wanted:
        from importlib.metadata import version

        print(f"lentando {version('lentando')}")
        raise typer.Exit


@app.callback()
def _lentando(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    pass


app.command()(render)
app.command(short_help="Write a first plan from the score alone.")(draft)
app.command(short_help="Play a plan through the sound card.")(play)
app.command(short_help="Say where the plan works against the phrase.")(check)
app.command(short_help="Explain what is told by a code.")(explain)
app.command(short_help="Put readings side by side, in the terminal or on a page.")(compare)
app.command(short_help="Draw the reading over its score, as PDF, SVG or PNG.")(draw)


@app.command(short_help="List when everything sounds.")
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


@app.command(short_help="List the banks of sound and their tones.")
def sounds() -> None:
    """List the banks of sound, their tones and where their files are. Builds the guitar if it is not there yet."""
    from render.telling.report import show_sounds

    show_sounds(console(), console(stderr=True))


@app.command(short_help="Print the JSON Schema of plans.")
def schema() -> None:
    """Print the JSON Schema of plans, with which editors complete and check as you type."""
    from timing.plan.schema import plan_schema

    print_json(plan_schema())
