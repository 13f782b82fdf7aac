"""The command `check`: what there is to say about a plan, and mending it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from render.commands.status import CAUTIONED, DONE
from render.commands.terminal import PlanFile, as_values, console, print_json, refusing

if TYPE_CHECKING:
    from collections.abc import Callable

    from timing.cautions.fixing import Mended
    from timing.remarks import Remark


def check(
    plan: PlanFile,
    as_json: Annotated[bool, typer.Option("--json", help="The same as JSON.")] = False,
    fix: Annotated[
        bool, typer.Option("--fix", help="Mend in the plan what earns a caution, where that is safe; show the changes.")
    ] = False,
    fix_advice: Annotated[bool, typer.Option("--fix-advice", help="The same, and what earns advice.")] = False,
    fix_code: Annotated[
        list[str] | None,
        typer.Option("--fix-code", metavar="CODE", help="Mend what this code tells alone (may be repeated)."),
    ] = None,
) -> None:
    """Say in which order the bars are played, and where the plan works against the phrase."""
    mending = bool(fix or fix_advice or fix_code)
    with refusing(as_json, values=_nothing_mended if mending else list):
        remarks = _mend(plan, as_json, _wanted(fix_advice, fix_code or [])) if mending else _judge(plan, as_json)
    raise typer.Exit(CAUTIONED if any(remark.stands for remark in remarks) else DONE)


def _judge(plan: PlanFile, as_json: bool) -> list:
    """Print what there is to say about a plan."""
    from soundfonts import guitar
    from timing.cautions import check as find_remarks
    from timing.loading import load

    reading = load(plan)
    remarks = find_remarks(reading, sound=guitar)
    if as_json:
        print_json(as_values(remarks))
    else:
        from render.telling.report import show_reading, show_remarks

        terminal = console()
        show_reading(terminal, reading)
        show_remarks(terminal, remarks)
    return remarks


def _wanted(advice: bool, codes: list[str]) -> Callable[[Remark], bool]:
    """Which remarks are to be mended."""
    from render.telling.explain import find
    from timing.cautions.fixing import cautions, everything

    if codes:
        named = {find(code).code for code in codes}
        return lambda remark: remark.code in named
    return everything if advice else cautions


def _mend(plan: PlanFile, as_json: bool, wanted: Callable[[Remark], bool]) -> list:
    """Mend a plan where that is safe, and print the changes and what is left to say."""
    from render.files import rewrite
    from soundfonts import guitar
    from timing.cautions.fixing import fix
    from timing.plan.yamltext import read_text

    text = read_text(plan)
    mended = fix(plan, text, guitar, wanted)
    if mended.text != text:
        rewrite(plan, text, mended.text)
    changes = _difference(plan, text, mended.text)
    if as_json:
        values = {"fixed": as_values(mended.fixed), "diff": "\n".join(changes), "remarks": as_values(mended.remarks)}
        print_json(values)
    else:
        _show_mending(mended, changes, wanted)
    return mended.remarks


def _show_mending(mended: Mended, changes: list[str], wanted: Callable[[Remark], bool]) -> None:
    from render.telling.report import show_difference, show_left, show_reading, show_remarks

    terminal = console()
    show_difference(terminal, changes)
    show_reading(terminal, mended.reading)
    show_remarks(terminal, mended.remarks)
    show_left(terminal, mended.remarks, mended.refused, wanted)


def _nothing_mended(remarks: list[dict]) -> dict:
    return {"fixed": [], "diff": "", "remarks": remarks}


def _difference(plan: PlanFile, before: str, after: str) -> list[str]:
    """The lines that differ, with those around them, as a unified diff; none if there is no difference. Both texts end
    alike, with a line break or without."""
    from difflib import unified_diff

    from timing.plan.yamltext import LINE_BREAK

    old, new = (LINE_BREAK.split(text) for text in (before, after))
    if not old[-1] and not new[-1]:
        old, new = old[:-1], new[:-1]  # after the last line break there is no line
    return list(unified_diff(old, new, str(plan), f"{plan}, mended", lineterm=""))
