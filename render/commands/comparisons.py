"""From plans to readings side by side: which there are, and what is said about each."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from rich.console import Console
from rich.text import Text

from render.files import refuse_outputs
from render.kinds import PAGE, kind_of
from render.page import MOST_READINGS
from render.telling.comparison_words import LETTERS
from render.telling.sides import Side, SideBySide, cautions_in_words, names_of
from render.telling.words import clock, lowering_in_words
from timing.companions import companion
from timing.comparing import compare
from timing.loading import load_all
from timing.remarks import CannotDo


def gather(plans: Sequence[Path], kinds: Sequence[str], output: Path | None) -> SideBySide:
    """Read the plans, make what is to stand beside the first (each kind once), and compare them all.

    CannotDo where a plan, a kind or a page's file `output` is not possible, and where there are too few or too many.
    """
    kinds = list(dict.fromkeys(kinds))
    _count(len(plans) + len(kinds), plans[0], output)
    if output is not None and not output.is_dir() and kind_of(output) not in PAGE:
        raise CannotDo.because("output-kind", f"{output}: the name of a page must end in {PAGE[0]}", output)
    readings = load_all(plans)
    if output is not None:
        refuse_outputs([output], [*plans, *(file for reading in readings for file in reading.files)])
    sides = [Side(plan, reading) for plan, reading in zip(plans, readings, strict=True)]
    for kind in kinds:
        made = companion(kind, readings[0])
        sides.append(Side(plans[0], made.reading, kind, made.told))
    return SideBySide(tuple(sides), compare([side.reading for side in sides]))


def _count(readings: int, plan: Path, output: Path | None) -> None:
    if readings == 1 and output is None:
        message = f"{plan} has nothing to be compared with: name a second plan B, or add --with plain"
        more = f"a page of one plan alone: lentando compare {plan} -o {plan.stem}.html"
        raise CannotDo.because("one-reading", message, suggestion=more)
    most, where = (MOST_READINGS, "a page") if output is not None else (len(LETTERS), "one comparison")
    if readings > most:
        message = f"{readings} readings are too many for {where}, which has room for {most}: leave some out"
        raise CannotDo.because("too-many-readings", message)


def write(made: SideBySide, file: Path, soundfont: Path | None, console: Console) -> None:
    """Write the page, and say which file it is and how to open it. CannotDo if that is not possible."""
    from rich.progress import Progress

    from render.page import write_page

    if soundfont is not None:
        refuse_outputs([file], [soundfont])
    names = names_of(made.readings)
    remarks = [side.remarks for side in made.sides]
    with Progress(console=console, transient=True, disable=not console.is_terminal) as bar:
        tasks = {name: bar.add_task(name, total=None) for name in names}

        def progress(what: str, done: float, total: float) -> None:
            task = tasks.get(what, tasks[names[0]])
            bar.update(task, description=what, completed=done, total=total)

        facts = write_page(
            made.readings, file, names, comparison=made.comparison, remarks=remarks, soundfont=soundfont,
            progress=progress,
        )  # fmt: skip
    if facts.lowered:
        console.print(Text(lowering_in_words(facts.lowered, len(names)), style="bold"))
    for reason in dict.fromkeys(facts.refused):
        console.print(Text(f"{reason}; so its bars are drawn without notes", style="bold yellow"))
    for line in cautions_in_words(made.sides):
        console.print(Text(line, style="bold yellow"))
    count = "1 reading" if len(names) == 1 else f"{len(names)} readings"
    lengths = dict.fromkeys(map(clock, facts.seconds))
    console.print(Text(f"{file}  {count}, {', '.join(lengths)}, {facts.size / 1e6:.1f} MB"))
    console.print(Text("Open it with a double click, in any browser and without a network.", style="dim"))
