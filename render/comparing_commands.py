"""The command that puts two readings side by side: `compare`."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer

from render.terminal import DONE, IMPOSSIBLE, as_values, console

_PLAN = "A plan, a YAML file that names its score."


def compare(
    first: Annotated[Path, typer.Argument(metavar="A", help=_PLAN, show_default=False)],
    second: Annotated[Path, typer.Argument(metavar="B", help=_PLAN, show_default=False)],
    as_json: Annotated[bool, typer.Option("--json", help="All values as JSON.")] = False,
) -> None:
    """Put two readings of one piece side by side, phrase by phrase: length, slowest point, tempo, level, tone, and what
    only one of them does."""
    from timing.comparing import compare as compared
    from timing.remarks import CannotDo

    plans = [first, second]
    try:
        comparison = compared(_readings(plans))
    except CannotDo as refusal:
        if not as_json:
            raise
        print(json.dumps({"remarks": as_values(refusal.remarks)}, indent=2))
        raise typer.Exit(IMPOSSIBLE) from None
    if as_json:
        from render.comparison_report import comparison_values

        print(json.dumps(comparison_values(comparison, plans), indent=2))
    else:
        from render.comparison_report import show_comparison

        show_comparison(console(), comparison, plans)
    raise typer.Exit(DONE)


def _readings(plans: list[Path]) -> list:
    """The readings of these plans. CannotDo lists the faults of all of them."""
    from timing.loading import load
    from timing.remarks import CannotDo

    readings, faults = [], []
    for plan in plans:
        try:
            readings.append(load(plan))
        except CannotDo as refusal:
            faults += refusal.remarks
    if faults:
        raise CannotDo(dict.fromkeys(faults))
    return readings
