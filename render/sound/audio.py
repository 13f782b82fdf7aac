"""Performances as sound files."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

from render.files import faults_of, keep_from_inputs, written_whole
from render.kinds import SOUND, WAV, kind_of
from render.sound.coding import encode
from render.sound.measuring import Measure
from render.sound.memory import Progress, SoundFacts, open_sound, part_lowered, told
from render.sound.peaks import lowering
from render.sound.stems import LONGEST_TAIL, RATE
from timing.performance import Performance
from timing.remarks import CannotDo


@dataclass(frozen=True)
class Take(SoundFacts):
    """What was rendered to a file."""

    path: Path


def render_audio(
    performance: Performance,
    path: str | Path,
    *,
    soundfont: str | Path | None = None,
    lowered: float | None = None,
    progress: Progress | None = None,
    building: Progress | None = None,
) -> Take:
    """Render to a stereo file, its kind by the suffix (.wav, .flac, .ogg, .mp3), whole or not at all.

    `soundfont` is another bank than the standard one and the modelled guitar; `progress(done, total)` is told in
    seconds, and `building(done, total)` where the guitar has yet to be built. It is `lowered` by so many dB, or as far
    as it takes for it (and the whole that it is a part of) not to pass -1 dBTP. Raises CannotDo without a synth, for an
    unknown suffix, a file that is no SoundFont, or a place that cannot be written to.
    """

    def telling(_: Path) -> Progress | None:
        return progress

    files = [(performance, Path(path))]
    (take,) = render_takes(files, soundfont=soundfont, lowered=lowered, progress=telling, building=building)
    return take


def render_takes(
    files: Sequence[tuple[Performance, Path]],
    *,
    soundfont: str | Path | None = None,
    lowered: float | None = None,
    progress: Callable[[Path], Progress | None] = lambda _: None,
    building: Progress | None = None,
) -> list[Take]:
    """Render several takes that are to be compared, each as `render_audio` does: all are lowered alike, and no file is
    there before all are made. `progress(path)` is what is told how far a file is."""
    for performance, path in files:
        _refuse(performance, path)
    least = part_lowered([each for each, _ in files], soundfont, building) if lowered is None else lowered
    with ExitStack() as opened:
        unfinished = [opened.enter_context(written_whole(path)) for _, path in files]

        def all_of_them(lowered: float) -> list[Take]:
            made = []
            for (performance, path), temporary in zip(files, unfinished, strict=True):
                facts = _write(performance, path, temporary, soundfont, lowered, progress(path), building)
                made.append(Take(**vars(facts), path=path))
            return made

        takes = all_of_them(least)
        if lowered is None and (more := max(lowering(take.peak) for take in takes)):
            takes = all_of_them(least + more)  # once more, since what was clipped is lost
        return takes


def _refuse(performance: Performance, path: Path) -> None:
    if kind_of(path) not in SOUND:
        raise CannotDo.because("output-kind", f"{path}: sound is written as {', '.join(SOUND)}", path)
    total = float(performance.notes["end"].max(initial=0))
    if kind_of(path) == WAV and (total + LONGEST_TAIL) * RATE * 6 > 2**32 - 65_536:
        message = f"{path}: {total / 3600:.1f} hours are longer than a WAV file can hold"
        raise CannotDo.because("too-long", message, path, suggestion="-o FILE.flac")


def _write(
    performance: Performance,
    path: Path,
    temporary: Path,
    soundfont: str | Path | None,
    lowered: float,
    progress: Progress | None,
    building: Progress | None,
) -> SoundFacts:
    measure = Measure()
    with open_sound(performance, soundfont, building, lowered) as source:
        keep_from_inputs(path, source.banks)
        blocks = told(source.blocks, performance, progress)
        with faults_of(path), temporary.open("w+b", buffering=0) as raw:
            encode(blocks, raw, kind_of(path), comment=source.record, measure=measure)
    return source.facts(measure)
