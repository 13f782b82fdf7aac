"""The commands that say what there is to say about a plan: `check`, and `explain` what it says."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Annotated

import typer

from render.terminal import CAUTIONED, DONE, IMPOSSIBLE, PlanFile, as_values, console, print_remarks

if TYPE_CHECKING:
    from timing.cautions.fixing import Mended


def check(
    plan: PlanFile,
    as_json: Annotated[bool, typer.Option("--json", help="The same as JSON.")] = False,
    fix: Annotated[bool, typer.Option("--fix", help="Mend the plan where that is safe, and show the changes.")] = False,
) -> None:
    """Say in which order the bars are played, and where the plan works against the phrase."""
    from timing.remarks import CannotDo

    try:
        remarks = _mend(plan, as_json) if fix else _judge(plan, as_json)
    except CannotDo as refusal:
        if not as_json:
            raise
        if fix:
            _print_mending([], [], refusal.remarks)
        else:
            print_remarks(refusal.remarks)
        raise typer.Exit(IMPOSSIBLE) from None
    raise typer.Exit(CAUTIONED if any(remark.stands for remark in remarks) else DONE)


def explain(
    code: Annotated[
        str | None, typer.Argument(metavar="CODE", help="A code of a remark, as in slowing-mid-phrase.")
    ] = None,
) -> None:
    """Explain what a code tells: why it matters, from when on and by what source, an example, and what mends it.
    Without a code: list them all."""
    from render.explain import show_codes, show_page

    if code is None:
        show_codes(console())
    else:
        show_page(console(), code)


def _judge(plan: PlanFile, as_json: bool) -> list:
    """Print what there is to say about a plan."""
    from soundfonts import guitar
    from timing.cautions import check as find_remarks
    from timing.loading import load

    reading = load(plan)
    remarks = find_remarks(reading, sound=guitar)
    if as_json:
        print_remarks(remarks)
    else:
        from render.report import show_reading, show_remarks

        terminal = console()
        show_reading(terminal, reading)
        show_remarks(terminal, remarks)
    return remarks


def _mend(plan: PlanFile, as_json: bool) -> list:
    """Mend a plan where that is safe, and print the changes and what is left to say."""
    from render.files import rewrite
    from soundfonts import guitar
    from timing.cautions.fixing import fix
    from timing.plan.yamltext import read_text

    text = read_text(plan)
    mended = fix(plan, text, sound=guitar)
    if mended.text != text:
        rewrite(plan, text, mended.text)
    changes = _difference(plan, text, mended.text)
    if as_json:
        _print_mending(mended.fixed, changes, mended.remarks)
    else:
        _show_mending(mended, changes)
    return mended.remarks


def _show_mending(mended: Mended, changes: list[str]) -> None:
    from render.report import show_difference, show_left, show_reading, show_remarks

    terminal = console()
    show_difference(terminal, changes)
    show_reading(terminal, mended.reading)
    show_remarks(terminal, mended.remarks)
    show_left(terminal, mended.remarks, mended.refused)


def _print_mending(fixed, changes: list[str], remarks) -> None:
    print(json.dumps({"fixed": as_values(fixed), "diff": "\n".join(changes), "remarks": as_values(remarks)}, indent=2))


def _difference(plan: PlanFile, before: str, after: str) -> list[str]:
    """The lines that differ, with those around them, as a unified diff; none if there is no difference."""
    from difflib import unified_diff

    from timing.plan.yamltext import LINE_BREAK

    old, new = (LINE_BREAK.split(text) for text in (before, after))
    return list(unified_diff(old, new, str(plan), f"{plan}, mended", lineterm=""))
