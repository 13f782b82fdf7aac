"""What the commands share: exit status, the plan's argument, the terminal, remarks as JSON."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Annotated

import typer

DONE, CAUTIONED, IMPOSSIBLE, INTERRUPTED, TERMINATED = 0, 1, 2, 130, 143

PlanFile = Annotated[
    Path, typer.Argument(metavar="PLAN", help="The plan, a YAML file that names its score.", show_default=False)
]


def console(stderr: bool = False):
    from rich.console import Console

    return Console(stderr=stderr, highlight=False, soft_wrap=not sys.stdout.isatty() and not stderr)


def print_remarks(remarks) -> None:
    print(json.dumps(as_values(remarks), indent=2))


def as_values(remarks) -> list[dict]:
    from render.tables import remark_values

    return [remark_values(remark) for remark in remarks]
