"""All commands of `lentando`, under one name."""

from __future__ import annotations

from typing import Annotated

import typer

from render.commands.check import check
from render.commands.compare import compare
from render.commands.draft import draft
from render.commands.draw import draw
from render.commands.explain import explain
from render.commands.play import play
from render.commands.rehearse import rehearse
from render.commands.render import render
from render.commands.schema import schema
from render.commands.sounds import sounds
from render.commands.timeline import timeline

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
app.command(short_help="Change a plan where the music is, and hear it at once.")(rehearse)
app.command(short_help="Say where the plan works against the phrase.")(check)
app.command(short_help="Explain what is told by a code.")(explain)
app.command(short_help="Put readings side by side, in the terminal or on a page.")(compare)
app.command(short_help="Draw the reading over its score, as PDF, SVG or PNG.")(draw)
app.command(short_help="List when everything sounds.")(timeline)
app.command(short_help="List the banks of sound and their tones.")(sounds)
app.command(short_help="Print the JSON Schema of plans.")(schema)
