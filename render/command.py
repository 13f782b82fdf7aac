"""The command `lentando`.

Exit status: 0 all is well (or there is only advice), 1 there is a caution, 2 it cannot be done, 130 interrupted
(143 terminated), as shells have it.
"""

from __future__ import annotations

import json
import os
import sys
from typing import Annotated

import typer

from render.comparing_commands import compare
from render.drafting_commands import draft
from render.drawing_commands import draw
from render.interrupts import heed_interrupts
from render.judging_commands import check, explain
from render.listening_commands import play, render
from render.terminal import DONE, IMPOSSIBLE, INTERRUPTED, PlanFile, console, print_json, refusing

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
    from render.tables import timeline as values
    from render.tables import timeline_csv
    from timing.loading import load

    with refusing(as_json):
        reading = load(plan)
    if as_csv:
        sys.stdout.write(timeline_csv(reading))
    elif as_json:
        sys.stdout.write(json.dumps(values(reading)) + "\n")
    else:
        from render.report import show_beats, show_reading

        terminal = console()
        show_reading(terminal, reading)
        show_beats(terminal, values(reading)["grid"])


@app.command(short_help="List the banks of sound and their tones.")
def sounds() -> None:
    """List the banks of sound, their tones and where their files are. Builds the guitar if it is not there yet."""
    from render.report import show_sounds

    show_sounds(console(), console(stderr=True))


@app.command(short_help="Print the JSON Schema of plans.")
def schema() -> None:
    """Print the JSON Schema of plans, with which editors complete and check as you type."""
    from timing.plan.schema import plan_schema

    print_json(plan_schema())


def main() -> None:
    """Run the command; a user's mistake ends in words, never in a traceback."""
    from timing.remarks import CannotDo

    for stream in (sys.stdout, sys.stderr):
        stream.reconfigure(errors="replace")  # a terminal that has no letters for a title still shows the rest
    heed_interrupts()
    try:
        status = _run()
        sys.stdout.flush()
    except CannotDo as refusal:
        from render.report import show_remarks

        show_remarks(console(stderr=True), refusal.remarks)
        status = IMPOSSIBLE
    except BrokenPipeError:
        _let_go_of_output()  # who reads our output (a pager, say) has had enough
        status = DONE
    except OSError as fault:
        _let_go_of_output()
        print(f"the output cannot be written: {fault.strerror}", file=sys.stderr)
        status = IMPOSSIBLE
    if status == INTERRUPTED:
        print("interrupted: nothing half-written is left behind", file=sys.stderr)
    sys.exit(status)


def _run() -> int:
    try:
        app()
    except SystemExit as leaving:  # typer ends every run so; an interrupt is 130
        return int(leaving.code or 0)
    return DONE


def _let_go_of_output() -> None:
    """Keep Python from failing once more when it flushes a standard output that nobody takes."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
