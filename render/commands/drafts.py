"""Drafted plans as files."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from rich.console import Console
from rich.text import Text

from render.files import refuse_outputs, written_whole
from soundfonts import guitar
from timing.disk.links import IN_A_CIRCLE, in_a_circle
from timing.drafting import draft
from timing.finding.phrases import FoundPhrase
from timing.plan.planfile import PLANS
from timing.reader import read_score
from timing.remarks import CannotDo


def write_draft(score: Path, file: Path | None, phrases_only: bool, force: bool, console: Console) -> None:
    """Draft a plan for a score and write it. CannotDo where there is no score, or a file already and no `force`."""
    file = file or score.with_suffix(PLANS[0])
    if file.suffix.lower() not in PLANS:
        raise CannotDo.because("output-kind", f"{file}: the name of a plan ends in {' or '.join(PLANS)}", file)
    if in_a_circle(score):
        raise CannotDo.because("score-missing", f"the score {score} {IN_A_CIRCLE}", score)
    read = read_score(score)
    refuse_outputs([file], [score])
    if file.exists() and not force:
        message = f"{file} is there already: name another file with -o, or write over it with --force"
        raise CannotDo.because("output-there", message, file)
    with written_whole(file) as temporary:
        made = draft(read, file, phrases_only, sound=guitar)
        temporary.write_text(made.text, encoding="utf-8")
    smallest = sum(1 for _ in _innermost(made.phrases))
    found = f"{smallest} phrase{'s' * (smallest != 1)}" if smallest else "no melody with phrases"
    console.print(Text(f"{file}  {found}"))
    console.print(Text(f"Read it, change it, and hear it: lentando render {file}", style="dim"))


def _innermost(phrases: tuple[FoundPhrase, ...]) -> Iterator[FoundPhrase]:
    for phrase in phrases:
        yield from _innermost(phrase.inside) if phrase.inside else (phrase,)
