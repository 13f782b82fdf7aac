"""A page of its own for readings: score, curves, sound and figures in one file that opens by a double click."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

from render.files import keep_from_inputs, written_whole
from timing.comparing import Comparison
from timing.reading import Reading
from timing.remarks import CannotDo, Remark

MOST = 4  # readings on one page


@dataclass(frozen=True)
class PageFacts:
    """What was written: its size in bytes, the seconds of sound of each reading, and what could not be engraved."""

    path: Path
    size: int
    seconds: tuple[float, ...]
    refused: tuple[str, ...]  # why a score is drawn as bars without notes
    cautions: tuple[tuple[Remark, ...], ...]  # those of each reading that stand


def write_page(
    readings: Sequence[Reading],
    names: Sequence[str],
    plans: Sequence[Path],
    file: Path,
    *,
    comparison: Comparison | None,
    soundfont: Path | None = None,
    progress: Callable[[str, float, float], None] | None = None,
) -> PageFacts:
    """Write one to four readings as a page (HTML), whole or not at all. `names` are what they are called on it; a
    single reading needs no `comparison`. `progress(what, done, total)` in seconds of sound.

    Raises CannotDo where there is nothing to play, for more than four readings, a file that is no SoundFont, or a place
    that cannot be written to.
    """
    from render.drawing.drawn import drawn
    from render.page.document import document
    from render.page.music import music_of
    from render.page.sections import span_labels
    from render.page.tables import script_values
    from render.telling.words import plain
    from soundfonts import guitar
    from timing.cautions import check
    from timing.comparing import compare

    _refuse_impossible(readings, plans)
    keep_from_inputs(file, [*plans, *(reading.score.path for reading in readings)])
    names = [plain(name) or letter for name, letter in zip(names, "ABCD", strict=False)]
    with written_whole(file) as temporary, ExitStack() as opened:
        recordings = _recorded(readings, names, soundfont, progress, opened)
        remarks = [check(reading, sound=guitar) for reading in readings]
        looks = [drawn(reading, said) for reading, said in zip(readings, remarks, strict=True)]
        music = music_of(readings, looks)
        comparison = comparison or compare(readings)
        labels = span_labels(comparison)
        sounds = [recording.result() for recording in recordings]
        values = script_values(readings, names, sounds, music, comparison, labels)
        title = plain(_title(readings)) or "Readings"
        page = document(title, names, sounds, music, looks, comparison, labels, values).encode("utf-8", "replace")
        temporary.write_bytes(page)
    standing = tuple(tuple(remark for remark in said if remark.stands) for said in remarks)
    refused = tuple(one.refused for one in music if one.refused)
    return PageFacts(file, len(page), tuple(sound.seconds for sound in sounds), refused, standing)


def _refuse_impossible(readings: Sequence[Reading], plans: Sequence[Path]) -> None:
    if not 1 <= len(readings) <= MOST:
        message = f"a page has room for one to {MOST} readings, not for {len(readings)}"
        raise CannotDo.because("output-count", message)
    for reading, plan in zip(readings, plans, strict=False):
        if not len(reading.performance.notes):
            message = f"{plan}: there is nothing to play, for the bars of this order hold no notes"
            raise CannotDo.because("no-notes", message, plan)


def _recorded(readings, names, soundfont, progress, opened: ExitStack) -> list[Future]:
    """The recordings to come, of all readings at one sampling rate."""
    from render.page.recording import rate_for, record
    from render.sound.sounds import find_sounds
    from render.sound.stems import open_stems
    from soundfonts.banks import checked_bank

    def telling(what: str) -> Callable[[float, float], None] | None:
        return (lambda done, total: progress(what, done, total)) if progress else None

    if soundfont is not None:
        checked_bank(soundfont)
    performances = [reading.performance for reading in readings]
    rate = rate_for(performances)
    building = telling("the guitar is built, once")
    sounds = [find_sounds(performance, soundfont, building) for performance in performances]
    stems = [opened.enter_context(open_stems(*each)) for each in zip(performances, sounds, strict=True)]
    recorders = opened.enter_context(ThreadPoolExecutor(2))
    return [
        recorders.submit(record, performance, opened_stems, rate, telling(name))
        for performance, opened_stems, name in zip(performances, stems, names, strict=True)
    ]


def _title(readings: Sequence[Reading]) -> str:
    """What the page is called: the piece, or the one reading of it."""
    first = readings[0]
    return first.performance.title if len(readings) == 1 else first.score.title or first.performance.title
