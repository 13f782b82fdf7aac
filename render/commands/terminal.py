"""What the commands share: the plan's argument, the terminal, remarks as JSON."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from render.commands.status import IMPOSSIBLE

if TYPE_CHECKING:
    from rich.console import Console

    from timing.remarks import Remark

PlanFile = Annotated[
    Path, typer.Argument(metavar="PLAN", help="The plan, a YAML file that names its score.", show_default=False)
]


def console(stderr: bool = False) -> Console:
    from rich.console import Console

    return Console(stderr=stderr, highlight=False, soft_wrap=not sys.stdout.isatty() and not stderr)


@contextmanager
def refusing(as_json: bool, values: Callable[[list[dict]], Any] = lambda remarks: {"remarks": remarks}) -> Iterator:
    """Where JSON is asked for, a refusal in this block is JSON too: `values` of its remarks."""
    from timing.remarks import CannotDo

    try:
        yield
    except CannotDo as refusal:
        if not as_json:
            raise
        print_json(values(as_values(refusal.remarks)))
        raise typer.Exit(IMPOSSIBLE) from None


def print_json(values: Any) -> None:
    print(json.dumps(values, indent=2))


def as_values(remarks: Iterable[Remark]) -> list[dict]:
    from render.telling.tables import remark_values

    return [remark_values(remark) for remark in remarks]
