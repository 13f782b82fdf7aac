"""A performance as a sound file."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from render.files import keep_from_inputs, written_whole
from render.kinds import SOUND, WAV, kind_of
from render.sound.coding import encode
from render.sound.measuring import Measure
from render.sound.memory import Progress, SoundFacts, open_sound, told
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
    progress: Progress | None = None,
    building: Progress | None = None,
) -> Take:
    """Render to a stereo file, its kind by the suffix (.wav, .flac, .ogg, .mp3), whole or not at all.

    `soundfont` is another bank than the standard one and the modelled guitar; `progress(done, total)` is told in
    seconds, and `building(done, total)` where the guitar has yet to be built. Raises CannotDo without a synth, for an
    unknown suffix, a file that is no SoundFont, or a place that cannot be written to.
    """
    path = Path(path)
    if kind_of(path) not in SOUND:
        raise CannotDo.because("output-kind", f"{path}: sound is written as {', '.join(SOUND)}", path)
    total = float(performance.notes["end"].max(initial=0))
    if kind_of(path) == WAV and (total + LONGEST_TAIL) * RATE * 6 > 2**32 - 65_536:
        message = f"{path}: {total / 3600:.1f} hours are longer than a WAV file can hold"
        raise CannotDo.because("too-long", message, path, suggestion="-o FILE.flac")
    measure = Measure()
    with open_sound(performance, soundfont, building) as source:
        keep_from_inputs(path, source.banks)
        blocks = told(source.blocks, performance, progress)
        with written_whole(path) as temporary, temporary.open("w+b", buffering=0) as raw:
            encode(blocks, raw, kind_of(path), comment=source.record, measure=measure)
    return Take(**vars(source.facts(measure)), path=path)
