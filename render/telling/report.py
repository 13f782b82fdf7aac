"""What the command says in the terminal: remarks with the line they mean, and the shape of a reading at a glance."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from pathlib import Path

from rich.console import Console
from rich.table import Table
from rich.text import Text

from render.telling.words import clock
from timing.comparing import is_held, last_beats
from timing.marks.uses import Fate, MarkUse
from timing.reading import Reading
from timing.remarks import Remark, Severity
from timing.strings.playable import listed

_STYLES = {Severity.ERROR: "bold red", Severity.CAUTION: "bold yellow", Severity.ADVICE: "bold blue"}


def show_remarks(console: Console, remarks: Sequence[Remark]) -> None:
    """Print remarks, each with its place, the line with a caret, and what to do; apart from them what is accepted."""
    for remark in remarks:
        if remark.accepted is None:
            _show_remark(console, remark)
    for remark in remarks:
        if remark.accepted is not None:
            console.print(_heading(remark))
            console.print(Text(remark.message))
            console.print(Text.assemble("  accepted: ", (remark.accepted, "green")))
            console.print()


def _show_remark(console: Console, remark: Remark) -> None:
    console.print(_heading(remark))
    console.print(Text(remark.message))
    place = remark.place
    if place and place.line and place.excerpt.strip():
        _show_line(console, place.line, place.excerpt, place.column or 1)
    if remark.suggestion:
        console.print(Text.assemble("  instead: ", (remark.suggestion, "green")))
    console.print()


_DIFFERENCES = {"+": "green", "-": "red", "@": "cyan"}  # by what the line of a unified diff begins with


def show_difference(console: Console, changes: Sequence[str]) -> None:
    """Print the changes of a plan, the lines of a unified diff."""
    if not changes:
        console.print(Text("nothing is mended"))
    for line in changes:
        console.print(Text(line, style=_DIFFERENCES.get(line[:1], "")))
    console.print()


def show_left(
    console: Console,
    remarks: Sequence[Remark],
    refused: Sequence[tuple[Remark, str]],
    wanted: Callable[[Remark], bool],
) -> None:
    """Print which of the changes that remarks offer were tried and not kept, and why; and whose turn it is now."""
    for remark, why in refused:
        console.print(Text.assemble(("not mended", "bold"), f"  {_where(remark)}: {why}"))
    left = [remark for remark in remarks if remark.accepted is None]
    if left:
        console.print(Text("What is left takes a musician to decide."))
    if any(remark.fix and not wanted(remark) for remark in left):
        console.print(Text("--fix-advice mends as the advice says, --fix-code CODE what one code tells."))


def _heading(remark: Remark) -> Text:
    weight = (f"{remark.severity}", _STYLES[remark.severity]) if remark.accepted is None else ("accepted", "green")
    return Text.assemble(weight, "  ", _where(remark))


def _where(remark: Remark) -> str:
    """Where a remark stands in file and music, and its code."""
    place = remark.place
    where = ""
    if place:
        where = str(place.file) + (f":{place.line}:{place.column}" if place.line else "")
    heard = f"bar {remark.bar_name}" if remark.bar_name is not None else ""
    if heard and remark.beat is not None:
        heard += f", beat {remark.beat:g}"
    if heard and remark.passes:
        heard += f", passes {listed(list(remark.passes))}"
    elif heard and (remark.pass_ or 1) > 1:
        heard += f", pass {remark.pass_}"
    return "  ".join(part for part in (where, heard, f"[{remark.code}]") if part)


def _show_line(console: Console, line: int, excerpt: str, column: int) -> None:
    width = max(console.width - 10, 30)
    skip = max(0, column - 1 - width // 2) if len(excerpt) > width else 0
    shown = excerpt[skip : skip + width].replace("\t", " ")
    console.print(Text.assemble((f"{line:6} | ", "dim"), shown), no_wrap=True, crop=True)
    console.print(Text.assemble((" " * 6 + " | ", "dim"), " " * (column - 1 - skip), ("^", "bold")))


def show_reading(console: Console, reading: Reading) -> None:
    """Print the order of the bars, the length, what each slowdown comes to, and what became of the score's marks."""
    performance = reading.performance
    console.print(Text(performance.title, style="bold"))
    console.print(Text.assemble("order    ", reading.order))
    console.print(Text.assemble("length   ", clock(performance.time.length), f", {len(performance.notes)} notes"))
    if reading.pace.slowings:
        console.print(_slowings(reading))
    if reading.marks:
        console.print(Text(_marks_told(reading.marks)))
    console.print()


_MOST_NAMED = 6  # marks that are not understood; of more only how many


def _marks_told(marks: Sequence[MarkUse]) -> str:
    """What became of the score's own marks, in one sentence."""
    counts: Counter[Fate] = Counter()
    for use in marks:
        counts[use.fate] += use.count
    words = {Fate.OVERRIDDEN: "overridden by the plan"}
    told = [f"{counts[fate]} {words.get(fate, fate)}" for fate in Fate if counts[fate] and fate != Fate.NOT_UNDERSTOOD]
    strange = [f"'{use.text}' at {use.place}" for use in marks if use.fate == Fate.NOT_UNDERSTOOD]
    if (more := len(strange) - _MOST_NAMED) > 0:
        strange = [*strange[:_MOST_NAMED], f"and {more} more"]
    parts = [", ".join(told), f"not understood: {', '.join(strange)}" if strange else ""]
    return f"marks of the score: {'; '.join(part for part in parts if part)}"


def _slowings(reading: Reading) -> Table:
    table = Table(box=None, pad_edge=False, header_style="dim")
    for heading in ("slowing", "bars", "pass", "pace at its end", "of its last beat"):
        table.add_column(heading)
    for slow, (heard, freely) in zip(reading.pace.slowings, last_beats(reading), strict=True):
        last = f"{heard:.0%}"
        if is_held(heard, freely):
            last += f" with its hold, {freely:.0%} without"
        pass_ = reading.where.beat_before(slow.run.end)[2]
        reached = f"{slow.to:.0%}" if slow.until == slow.run.end else "cut short"
        table.add_row(slow.entry.kind, str(slow.entry.where), str(pass_), reached, last)
    return table


def show_beats(console: Console, grid: Sequence[dict]) -> None:
    """Print when each bar begins, and the tempo there."""
    table = Table(box=None, pad_edge=False, header_style="dim")
    for heading in ("bar", "pass", "begins", "quarters a minute"):
        table.add_column(heading, justify="right")
    previous = None
    for beat in grid:
        if (bar := (beat["bar_name"], beat["pass"])) != previous:
            table.add_row(beat["bar_name"], str(beat["pass"]), f"{beat['second']:.3f} s", f"{beat['bpm']:.1f}")
        previous = bar
    console.print(table)


def show_choice(bank: Path, missing: Sequence[int], console: Console) -> None:
    """Say which bank plays all but the guitar from now on, and the programs (from 0) that it has no sound for."""
    console.print(Text(f"from now on {bank} plays all but the classical guitar"))
    if missing:
        programs = ", ".join(str(program + 1) for program in missing[:10]) + ", ..." * (len(missing) > 10)
        message = f"it has no sound of its own for {len(missing)} of the 128 programs of General MIDI: {programs}"
        console.print(Text(message, style="bold yellow"))


def show_sounds(console: Console, progress_console: Console) -> None:
    """Print the banks of sound, where their files are, and the tones of each. Builds the guitar if it has to."""
    from rich.progress import Progress

    from soundfonts.chosen import chosen_bank, general_bank
    from soundfonts.guitar import PLUCKING_POINTS, TONES_IN_BANK, guitar_bank, preset
    from timing.disk.keeping import folder

    with Progress(console=progress_console, transient=True, disable=not progress_console.is_terminal) as bar:
        task = bar.add_task("the guitar is built, once", total=None)
        bank = guitar_bank(progress=lambda done, total: bar.update(task, completed=done, total=total))
    console.print(Text("classical guitar", style="bold"))
    console.print(Text(f"  {bank}  {bank.stat().st_size / 1e6:.0f} MB"))
    if bank.parent != folder():
        message = f"  the cache {folder()} cannot be written: it is built anew each time"
        console.print(Text(message, style="bold yellow"))
    console.print(Text("  modelled; each string has a preset of its own (program 25, banks as below), strings 1 to 6"))
    tones = Table(box=None, pad_edge=False, padding=(0, 3, 0, 0))
    for heading in ("  tone", "plucked at", "banks"):
        tones.add_column(Text(heading))
    for tone, name in enumerate(TONES_IN_BANK):
        place = f"{PLUCKING_POINTS[tone]:.3g} cm from the bridge" if tone in PLUCKING_POINTS else "not plucked"
        tones.add_row(f"  {name}", place, f"{preset(1, tone)[0]}-{preset(6, tone)[0]}")
    console.print(tones)
    console.print(Text("  any other plucking point, as in tone: 5 cm, is built when a plan asks for it"))
    console.print()
    console.print(Text("all other instruments", style="bold"))
    console.print(Text(f"  {general_bank()}{', as you have chosen' * (chosen_bank() is not None)}"))
    console.print(Text("  General MIDI, 128 programs; tones: dark, plain, bright"))
    console.print()
    console.print(Text("With lentando sounds --use FILE another bank plays them; with render --soundfont FILE, all."))
