"""From a plan to its sheet, and what is said about it."""

from __future__ import annotations

from pathlib import Path

from rich.console import Console
from rich.text import Text

from render.drawing.printing import STAND_IN, missing_letters
from render.drawing.sheet import make_sheet
from render.drawing.sheet_files import refuse_kind, sheet_files, write_sheet
from render.files import refuse_outputs
from render.kinds import PDF, SVG, kind_of
from render.telling.report import show_remarks
from soundfonts import guitar
from timing.cautions import check
from timing.loading import load

_MOST_NAMED = 12  # letters


def draw_plan(plan: Path, output: Path | None, curves: bool, paper: str, console: Console) -> bool:
    """Draw a plan's sheet; True if there was a caution. CannotDo if the plan, or the file, is not possible."""
    from rich.progress import Progress

    path = output or plan.with_suffix(PDF)
    refuse_kind(path)
    reading = load(plan)
    remarks = check(reading, sound=guitar)
    cautions = [remark for remark in remarks if remark.stands]
    show_remarks(console, cautions)
    with Progress(console=console, transient=True, disable=not console.is_terminal) as bar:
        task = bar.add_task("the score is engraved", total=None)

        def progress(done: int, total: int) -> None:
            bar.update(task, description="system by system", completed=done, total=total)

        sheet = make_sheet(reading, remarks, name=plan.name, paper=paper, curves=curves, progress=progress)
        refuse_outputs(sheet_files(sheet, path), reading.files)
        bar.update(task, description=f"{path.name} is written", total=None)
        files = write_sheet(sheet, path)
    if sheet.refusal is not None:
        console.print(Text(f"{sheet.refusal.message}; so its bars are drawn without notes", style="bold yellow"))
    if missing := missing_letters(sheet):
        shown = " ".join(missing[:_MOST_NAMED]) + (" ..." if len(missing) > _MOST_NAMED else "")
        seen = "they are seen only where there is one" if kind_of(path) == SVG else f"{STAND_IN} stands for them"
        message = f"no font of this computer has the letters {shown}: {seen}"
        console.print(Text(message, style="bold yellow"))
    for file in files:
        console.print(Text(str(file)))
    return bool(cautions)
