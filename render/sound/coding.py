"""Sound as WAV, FLAC, Ogg Vorbis or MP3, into a file or in memory."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager, suppress
from io import BytesIO
from typing import TYPE_CHECKING, BinaryIO

import numpy as np

from render.kinds import FLAC, MP3, OGG, WAV
from render.sound.measuring import Measure
from render.sound.stems import CHUNK, RATE

if TYPE_CHECKING:
    from soundfile import SoundFile

_WHOLE = "PCM_24"
_CODINGS = {
    WAV: ("WAV", _WHOLE),
    FLAC: ("FLAC", _WHOLE),
    OGG: ("OGG", "VORBIS"),
    MP3: ("MP3", "MPEG_LAYER_III"),
}


def encoded(
    blocks: Iterable[np.ndarray],
    kind: str,
    *,
    rate: int = RATE,
    channels: int = 2,
    compression: float | None = None,
    comment: str = "",
) -> bytes:
    """Sound as the content of a file of this kind (.wav, .flac, .ogg, .mp3: one of `render.kinds.SOUND`).

    `blocks` are (frames, channels) float32 of any length, or (frames,) where there is one channel. With a `compression`
    from 0 to 1 the bit rate of an MP3 varies; otherwise the coder has its own way.
    """
    content = BytesIO()
    encode(blocks, content, kind, rate=rate, channels=channels, compression=compression, comment=comment)
    return content.getvalue()


def encode(
    blocks: Iterable[np.ndarray],
    into: BinaryIO,
    kind: str,
    *,
    rate: int = RATE,
    channels: int = 2,
    compression: float | None = None,
    comment: str = "",
    measure: Measure | None = None,
) -> None:
    """The same into a file that is open for reading and writing, and measured on the way. While one block is written,
    the next is made. OSError where the file does not take it."""
    import soundfile

    # Freeing one large block tells glibc to keep what smaller ones leave behind. Otherwise it hands them back to the
    # system after every chunk and asks for them again, while both threads wait: that took longer than the rendering.
    np.empty(16 * CHUNK)
    form, coding = _CODINGS[kind]
    more = {} if compression is None else {"compression_level": compression, "bitrate_mode": "VARIABLE"}
    output = _Output(into)

    def open_file() -> SoundFile:
        return soundfile.SoundFile(output, "w", rate, channels, coding, format=form, **more)

    def write(file: SoundFile, chunk: np.ndarray) -> None:
        if measure is not None:
            measure.take_in(chunk)
        file.write(_whole_numbers(chunk) if coding == _WHOLE else chunk)

    # The library calls back into Python, where an interrupt would be lost: so all it does is done in the other thread.
    with ThreadPoolExecutor(1) as writer:
        try:
            with _opened_by(writer, open_file) as file:
                if comment:
                    file.comment = comment
                written: Future[None] | None = None
                for chunk in _chunks(blocks):
                    if written is not None:
                        written.result()
                    if output.fault is not None:  # the encoders of lossy kinds would go on to the end
                        break
                    written = writer.submit(write, file, chunk.copy())
                if written is not None:
                    written.result()
        except (soundfile.LibsndfileError, AssertionError) as fault:  # it asserts that all was written
            if output.fault is None:
                raise OSError(str(fault)) from None
    if output.fault is not None:
        raise output.fault


def _chunks(blocks: Iterable[np.ndarray]) -> Iterator[np.ndarray]:
    for block in blocks:
        for start in range(0, len(block), CHUNK):
            yield block[start : start + CHUNK]


def _whole_numbers(chunk: np.ndarray) -> np.ndarray:
    """The nearest 24-bit samples, in the upper bits of 32; what is beyond full scale is clipped."""
    full = 2**23
    return np.clip(np.rint(chunk * np.float32(full)), -full, full - 1).astype(np.int32) << 8


@contextmanager
def _opened_by(writer: ThreadPoolExecutor, make: Callable[[], SoundFile]) -> Iterator[SoundFile]:
    """What `make` opens, in the writer's thread, where it is also closed at the end."""
    opening = writer.submit(make)
    try:
        yield opening.result()
    finally:
        writer.submit(_close, opening).result()


def _close(opening: Future[SoundFile]) -> None:
    if opening.exception() is None:
        opening.result().close()


class _Output:
    """A file for libsndfile to write to. It keeps the reason where writing fails, which the library does not tell.

    After an interrupt the library may come back to a file that is closed by then: it finds nothing there.
    """

    def __init__(self, file: BinaryIO):
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
