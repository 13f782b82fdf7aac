"""A page of its own for readings: score, curves, sound and figures in one file that opens by a double click."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from render.files import keep_from_inputs, written_whole
from timing.comparing import Comparison
from timing.reading import Reading
from timing.remarks import CannotDo, Remark

if TYPE_CHECKING:
    from render.page.recording import Recording

MOST_READINGS = 4  # on one page: so many can be told apart by colour and line
SoundProgress = Callable[[str, float, float], None]  # what is rendered; the seconds that are done, and of how many


@dataclass(frozen=True)
class PageFacts:
    """What a page came to: its size in bytes, the seconds of sound of each reading, by how many dB all are lowered so
    that none clips, and what could not be engraved."""

    size: int
    seconds: tuple[float, ...]
    lowered: float
    refused: tuple[str, ...]  # why a score is drawn as bars without notes
    cautions: tuple[tuple[Remark, ...], ...]  # those of each reading that stand
    path: Path | None = None  # where it is written; None while it is in memory alone


def write_page(
    readings: Sequence[Reading],
    path: str | Path,
    names: Sequence[str] | None = None,
    *,
    comparison: Comparison | None = None,
    remarks: Sequence[Sequence[Remark]] | None = None,
    soundfont: str | Path | None = None,
    progress: SoundProgress | None = None,
) -> PageFacts:
    """Write readings as a page (see `page_html`), whole or not at all, and over nothing that they were read from.

    Raises CannotDo also for a place that cannot be written to.
    """
    file = Path(path)
    keep_from_inputs(file, [given for reading in readings for given in reading.files])
    with written_whole(file) as temporary:
        html, facts = page_html(
            readings, names, comparison=comparison, remarks=remarks, soundfont=soundfont, progress=progress
        )
        temporary.write_bytes(html.encode())
    return replace(facts, path=file)


def page_html(
    readings: Sequence[Reading],
    names: Sequence[str] | None = None,
    *,
    comparison: Comparison | None = None,
    remarks: Sequence[Sequence[Remark]] | None = None,
    soundfont: str | Path | None = None,
    progress: SoundProgress | None = None,
) -> tuple[str, PageFacts]:
    """One to four readings as a page: HTML with all in it, score, curves, sound and figures, and what it came to.

    `names` are what the readings are called on it (else by their titles), `remarks` what is to be said of each (else
    what `check` says), `comparison` is theirs; `progress(what, done, total)` in seconds of sound.

    Raises CannotDo where there is nothing to play, for more than four readings, and for a file that is no SoundFont.
    """
    from render.drawing.drawn import drawn
    from render.page.document import document
    from render.page.music import music_of
    from render.page.sections import span_labels
    from render.page.tables import script_values
    from render.sound.peaks import lowering
    from render.telling.sides import names_of
    from render.telling.words import plain
    from soundfonts import guitar
    from timing.cautions import check
    from timing.comparing import compare

    _refuse_impossible(readings)
    called = zip(names_of(readings) if names is None else names, "ABCD", strict=False)
    names = [plain(name) or letter for name, letter in called]
    bank = Path(soundfont) if soundfont else None
    with ExitStack() as opened:
        recordings = _recorded(readings, names, bank, 0.0, progress, opened)
        remarks = [check(reading, sound=guitar) for reading in readings] if remarks is None else remarks
        looks = [drawn(reading, said) for reading, said in zip(readings, remarks, strict=True)]
        music = music_of(readings, looks)
        comparison = comparison or compare(readings)
        labels = span_labels(comparison)
        sounds = [recording.result() for recording in recordings]
    lowered = lowering(max(sound.peak for sound in sounds))
    if lowered:
        with ExitStack() as opened:  # once more, since what was clipped is lost
            recordings = _recorded(readings, names, bank, lowered, progress, opened)
            sounds = [recording.result() for recording in recordings]
    values = script_values(readings, names, sounds, music, comparison, labels)
    title = plain(_title(readings)) or "Readings"
    html = document(title, names, sounds, music, looks, comparison, labels, values, _room(readings))
    page = html.encode("utf-8", "replace")
    standing = tuple(tuple(remark for remark in said if remark.stands) for said in remarks)
    seconds = tuple(sound.seconds for sound in sounds)
    refused = tuple(one.refused for one in music if one.refused)
    return page.decode(), PageFacts(len(page), seconds, lowered, refused, standing)


def _refuse_impossible(readings: Sequence[Reading]) -> None:
    if not 1 <= len(readings) <= MOST_READINGS:
        message = f"a page has room for one to {MOST_READINGS} readings, not for {len(readings)}"
        raise CannotDo.because("output-count", message)
    for reading in readings:
        if not len(reading.performance.notes):
            file = reading.files[0]
            message = f"{file}: there is nothing to play, for the bars of this order hold no notes"
            raise CannotDo.because("no-notes", message, file)


def _recorded(
    readings: Sequence[Reading],
    names: Sequence[str],
    soundfont: Path | None,
    lowered: float,
    progress: SoundProgress | None,
    opened: ExitStack,
) -> list[Future[Recording]]:
    """The recordings to come, of all readings at one sampling rate, lowered by so many dB."""
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
        recorders.submit(record, performance, opened_stems, rate, lowered, telling(name))
        for performance, opened_stems, name in zip(performances, stems, names, strict=True)
    ]


def _room(readings: Sequence[Reading]) -> str:
    """The room that a page opens in: that of the first plan that names one, or else a small one."""
    planned = (reading.plan.room for reading in readings)
    return next((room for room in planned if room is not None), "small")


def _title(readings: Sequence[Reading]) -> str:
    """What the page is called: the piece, or the one reading of it."""
    first = readings[0]
    return first.performance.title if len(readings) == 1 else first.score.title or first.performance.title
