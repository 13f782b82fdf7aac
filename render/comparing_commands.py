"""The command that puts two readings side by side: `compare`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from render.terminal import console, print_json, refusing

_PLAN = "A plan, a YAML file that names its score."


def compare(
    first: Annotated[Path, typer.Argument(metavar="A", help=_PLAN, show_default=False)],
    second: Annotated[Path, typer.Argument(metavar="B", help=_PLAN, show_default=False)],
    as_json: Annotated[bool, typer.Option("--json", help="All values as JSON.")] = False,
) -> None:
    """Put two readings of one piece side by side, phrase by phrase: length, slowest beat, tempo, level, tone, and what
    only one of them does."""
    from timing.comparing import compare as compared
    from timing.loading import load_all

    plans = [first, second]
    with refusing(as_json):
        comparison = compared(load_all(plans))
    if as_json:
        from render.comparison_report import comparison_values

        print_json(comparison_values(comparison, plans))
    else:
        from render.comparison_report import show_comparison

        show_comparison(console(), comparison, plans)
