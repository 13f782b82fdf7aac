"""Ways of listening to a performance: a stretch of it, one line alone or all but one, again and again, with clicks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from timing.listening.clicks import with_clicks
from timing.listening.excerpt import excerpt, some_of
from timing.listening.rounds import repeated
from timing.performance import Performance
from timing.plan.position import Range, parse_range
from timing.reading import Reading
from timing.remarks import CannotDo, Severity
from timing.where import Run, pass_in_words
from timing.where.hearings import Hearings


def heard(
    reading: Reading,
    only: Sequence[str] = (),
    without: Sequence[str] = (),
    *,
    bars: str | None = None,
    passes: int | str | None = None,
    loop: int = 1,
    click: bool = False,
    count_in: bool = False,
    grid: float = 0.0,
) -> Performance:
    """The performance as it is to be heard, by default as it is.

    `only` these voices, and `without` those, each named as a plan names them (`melody`, `voice 2`, a part, several with
    commas); a range of `bars` on one of its `passes` (see `stretch`); `loop` rounds of it; with a `click` on every felt
    beat, and a bar of them to `count_in`. Stretches, rounds and what is counted begin at multiples of `grid` (seconds;
    0: anywhere), so that a writer whose events act on a grid makes the same sound of them.

    CannotDo for a name or a bar that the score does not have, where nothing is left, and for rounds without end.
    """
    performance = reading.performance
    kept = _voices(reading, only, without)
    if bars is not None:
        run = stretch(reading, bars, passes)
        performance = excerpt(performance, run.start, run.end, grid)
    elif passes is not None:
        raise CannotDo.because("no-bars", f"pass {passes} of which bars? Give the bars as well")
    if not kept.all():
        chosen = kept[performance.notes["id"]]
        if not chosen.any():
            message = "none of the notes belong to the voices that are asked for: nothing is left"
            raise CannotDo.because("no-notes", message)
        performance = some_of(performance, chosen)
    performance = repeated(performance, loop, grid)
    if click or count_in:
        performance = with_clicks(performance, through=click, count_in=count_in, grid=grid)
    return performance


def _voices(reading: Reading, only: Sequence[str], without: Sequence[str]) -> np.ndarray:
    """(score's notes,) which belong to the voices that are to be heard."""
    hearings = Hearings(reading.where)
    chosen = [[reading.lines.of_score(name, None, hearings) for name in names] for names in (only, without)]
    if hearings.remarks:
        raise CannotDo(replace(remark, severity=Severity.ERROR) for remark in hearings.remarks)
    kept = np.logical_or.reduce(chosen[0]) if only else np.ones(len(reading.score.notes), bool)
    for left_out in chosen[1]:
        kept = kept & ~left_out
    return kept


def stretch(reading: Reading, bars: str, passes: int | str | None = None) -> Run:
    """Where a range, written as in a plan, is heard from its beginning to its end without a break: for the first time,
    or where it begins on this pass (1, 2, ..., `last`, `da capo`). CannotDo says where the score has no such bars, or
    that they are never heard so."""
    try:
        asked = parse_range(bars)
        runs = reading.where.runs(asked)
    except ValueError as fault:
        raise CannotDo.because("no-such-bars", str(fault)) from None
    whole = [run for run in runs if run.begun and run.complete]
    begins = reading.where.on_pass(passes)
    found = next((run for run in whole if begins[run.first]), None)
    if found is None:
        raise CannotDo.because("never-heard", _not_heard(reading, asked, whole, passes))
    return found


def _not_heard(reading: Reading, asked: Range, whole: list[Run], passes: int | str | None) -> str:
    if not whole:
        return f"{asked} is never heard in one go: the order of the bars is {reading.order}"
    when = pass_in_words(passes)
    known = " and ".join(str(number) for number in dict.fromkeys(reading.where.bars["pass"][r.first] for r in whole))
    return f"{asked} is not heard in one go {when}, but on pass {known}: the order of the bars is {reading.order}"
