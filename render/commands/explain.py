"""The command `explain`: what is told by a code, and why."""

from __future__ import annotations

from typing import Annotated

import typer

from render.commands.terminal import console


def explain(
    code: Annotated[
        str | None, typer.Argument(metavar="CODE", help="A code of a remark, as in slowing-mid-phrase.")
    ] = None,
) -> None:
    """Explain what a code tells: why it matters, from when on and by what source, an example, and what mends it.
    Without a code: list them all."""
    from render.telling.explain import show_codes, show_page

    if code is None:
        show_codes(console())
    else:
        show_page(console(), code)
