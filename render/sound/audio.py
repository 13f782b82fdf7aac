"""A performance as sound: events straight from the table, each at the nearest block of 64 samples."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from io import FileIO
from pathlib import Path

import numpy as np

from render.files import keep_from_inputs, written_whole
from render.kinds import FLAC, MP3, OGG, SOUND, WAV, kind_of
from render.sound.loudness import Loudness
from render.sound.sounds import find_sounds
from render.sound.stems import CHUNK, LONGEST_TAIL, RATE, open_stems, stream
from soundfonts.banks import fingerprint
from timing.performance import Performance
from timing.remarks import CannotDo

_CODINGS = {
    WAV: ("WAV", "PCM_24"),
    FLAC: ("FLAC", "PCM_24"),
    OGG: ("OGG", "VORBIS"),
    MP3: ("MP3", "MPEG_LAYER_III"),
}


@dataclass(frozen=True)
class Take:
    """What was rendered: `peak` in dBFS, `loudness` in LUFS (None for silence), and with which synth and bank."""

    path: Path
    seconds: float
    rate: int
    peak: float
    clipped: int
    loudness: float | None
    synth: str
    banks: dict[Path, str]  # and the SHA-256 of each


def render_audio(
    performance: Performance,
    path: str | Path,
    *,
    soundfont: str | Path | None = None,
    progress: Callable[[float, float], None] | None = None,
    building: Callable[[float, float], None] | None = None,
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
    sounds = find_sounds(performance, Path(soundfont) if soundfont else None, building)
    keep_from_inputs(path, sounds.fonts)
    with open_stems(performance, sounds) as stems, written_whole(path) as temporary:
        version = f"FluidSynth {stems[0].synth.version}"
        banks = {bank: fingerprint(bank) for bank in sounds.fonts}
        record = "; ".join(["lentando", version, *(f"{_name(bank)} sha256 {banks[bank]}" for bank in banks)])
        found = _write(temporary, path, record, stream(stems), total, progress)
    loudness = found.loudness.value()
    return Take(path, found.frames / RATE, RATE, found.peak_level(), found.clipped, loudness, version, banks)


def _name(bank: Path) -> str:
    return os.fsencode(bank.name).decode("utf-8", "replace")


class _Measure:
    """What is known of a take while its samples go by."""

    def __init__(self):
        self.frames = self.clipped = 0
        self.peak = 0.0
        self.loudness = Loudness(RATE)

    def take_in(self, file, chunk: np.ndarray) -> None:
        """Write the next samples and measure them."""
        size = np.abs(chunk)
        self.frames += len(chunk)
        self.peak = max(self.peak, float(size.max()))
        self.clipped += int(np.count_nonzero(size > 1))
        file.write(_whole_numbers(chunk) if file.subtype == "PCM_24" else chunk)
        self.loudness.feed(chunk)

    def peak_level(self) -> float:
        """The peak in dBFS."""
        return float(20 * np.log10(self.peak)) if self.peak else -np.inf


def _whole_numbers(chunk: np.ndarray) -> np.ndarray:
    """The nearest 24-bit samples, in the upper bits of 32; what is beyond full scale is clipped."""
    full = 2**23
    return np.clip(np.rint(chunk * np.float32(full)), -full, full - 1).astype(np.int32) << 8


class _Output:
    """A file for libsndfile to write to. It keeps the reason where writing fails, which the library does not tell.

    After an interrupt the library may come back to a file that is closed by then: it finds nothing there.
    """

    def __init__(self, file: FileIO):
        self._file = file
        self.fault: OSError | None = None

    def seek(self, offset: int, whence: int = os.SEEK_SET) -> int:
        """Go to a byte, and say which; 0 once the file is closed."""
        with suppress(ValueError):
            return self._file.seek(offset, whence)
        return 0

    def tell(self) -> int:
        """The byte that comes next; 0 once the file is closed."""
        return self.seek(0, os.SEEK_CUR)

    def read(self, size: int) -> bytes:
        """The next bytes; none once the file is closed."""
        with suppress(ValueError):
            return self._file.read(size)
        return b""

    def write(self, data: bytes) -> int:
        """Write all of it; 0 where that is not possible."""
        left = memoryview(data)
        try:
            while left:
                left = left[self._file.write(left) :]
        except OSError as fault:
            self.fault = fault
            return 0
        except ValueError:
            return 0
        return len(data)


@contextmanager
def _opened_by(writer: ThreadPoolExecutor, make: Callable, *arguments, **named) -> Iterator:
    """What `make` opens, in the writer's thread, where it is also closed at the end."""
    opening = writer.submit(make, *arguments, **named)
    try:
        yield opening.result()
    finally:
        writer.submit(_close, opening).result()


def _close(opening: Future) -> None:
    if opening.exception() is None:
        opening.result().close()


def _write(temporary: Path, path: Path, record: str, stream: Iterator[np.ndarray], total: float, progress) -> _Measure:
    """Write the stream and measure it. While one chunk is written, the next is rendered."""
    import soundfile

    # Freeing one large block tells glibc to keep what smaller ones leave behind. Otherwise it hands them back to the
    # system after every chunk and asks for them again, while both threads wait: that took longer than the rendering.
    np.empty(16 * CHUNK)
    measure = _Measure()
    kind, coding = _CODINGS[kind_of(path)]
    # The library calls back into Python, where an interrupt would be lost: so all it does is done in the other thread.
    with temporary.open("w+b", buffering=0) as raw, ThreadPoolExecutor(1) as writer:
        output = _Output(raw)
        try:
            with _opened_by(writer, soundfile.SoundFile, output, "w", RATE, 2, coding, format=kind) as file:
                file.comment = record
                written: Future | None = None
                for chunk in stream:
                    if written is not None:
                        written.result()
                    if output.fault is not None:  # the encoders of lossy kinds would go on to the end
                        break
                    written = writer.submit(measure.take_in, file, chunk.copy())
                    if progress:
                        progress(min(measure.frames / RATE, total), total)
                if written is not None:
                    written.result()
        except (soundfile.LibsndfileError, AssertionError) as fault:  # it asserts that all was written
            if output.fault is None:
                raise CannotDo.because("cannot-write", f"{path} cannot be written: {fault}", path) from None
        if output.fault is not None:
            raise output.fault
    return measure
