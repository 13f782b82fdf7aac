"""A performance as sound: events straight from the table, each at the nearest block of 64 samples."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from io import FileIO
from pathlib import Path

import numpy as np

from render.channels import channels
from render.files import written_whole
from render.levels import EXPRESSION, VOLUME, expression_changes, rounding, velocity
from render.loudness import Loudness
from render.strokes import let_go
from render.synth import BLOCK, MOST_PORTS, Synth, open_synth
from soundfonts.banks import checked_bank, fingerprint, standard_bank
from timing.performance import Performance
from timing.remarks import CannotDo

RATE = 44_100
KINDS = {
    ".wav": ("WAV", "PCM_24"),
    ".flac": ("FLAC", "PCM_24"),
    ".ogg": ("OGG", "VORBIS"),
    ".mp3": ("MP3", "MPEG_LAYER_III"),
}

_CHUNK = 65_536  # frames; larger pieces crashed libsndfile's Vorbis encoder
_LONGEST_TAIL = 6.0  # seconds
_INAUDIBLE = 10 ** (-90 / 20)


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
    bank: Path
    bank_hash: str


def render_audio(
    performance: Performance,
    path: str | Path,
    *,
    soundfont: str | Path | None = None,
    progress: Callable[[float, float], None] | None = None,
) -> Take:
    """Render to a stereo file, its kind by the suffix (.wav, .flac, .ogg, .mp3), whole or not at all.

    `soundfont` is another bank than the standard one; `progress(done, total)` is told in seconds. Raises CannotDo
    without a synth, for an unknown suffix, a file that is no SoundFont, or a place that cannot be written to.
    """
    path = Path(path)
    if path.suffix.lower() not in KINDS:
        raise CannotDo.because("output-kind", f"{path}: sound is written as {', '.join(KINDS)}", path)
    total = float(performance.notes["end"].max(initial=0))
    if path.suffix.lower() == ".wav" and (total + _LONGEST_TAIL) * RATE * 6 > 2**32 - 65_536:
        message = f"{path}: {total / 3600:.1f} hours are longer than a WAV file can hold"
        raise CannotDo.because("too-long", message, path, suggestion="-o FILE.flac")
    bank = checked_bank(soundfont) if soundfont else standard_bank()
    ports, numbers = channels(len(performance.lanes), MOST_PORTS)
    with open_synth(bank, RATE, int(ports.max(initial=0)) + 1) as synth, written_whole(path) as temporary:
        where = 16 * ports + numbers
        for channel, lane in zip(where.tolist(), performance.lanes, strict=True):
            synth.program(channel, int(lane["program"]))
            synth.control(channel, 7, VOLUME)
            synth.control(channel, 11, EXPRESSION)
        name = os.fsencode(bank.name).decode("utf-8", "replace")
        record = f"lentando; FluidSynth {synth.version}; {name} sha256 {(digest := fingerprint(bank))}"
        found = _write(temporary, path, record, _stream(synth, _events(performance, where)), total, progress)
        loudness = found.loudness.value()
    version = f"FluidSynth {synth.version}"
    return Take(path, found.frames / RATE, RATE, found.peak_level(), found.clipped, loudness, version, bank, digest)


def _events(performance: Performance, where: np.ndarray) -> tuple[np.ndarray, ...]:
    """Columns (frame, kind, channel, data, value) in playing order; kind 0 lets go, 1 controls, 2 strikes.

    What a soft note loses where its level becomes a whole velocity, CC11 gives back.
    """
    notes, curves = performance.notes, performance.curves
    start = _frames(notes["onset"])
    stop = let_go(notes, start, np.maximum(_frames(notes["end"]), start + BLOCK))
    channel = where[notes["lane"]]
    columns = [
        (stop, 0, channel, notes["pitch"], np.zeros(len(notes), np.int64)),
        (start, 2, channel, notes["pitch"], velocity(notes["level"])),
    ]
    points = _frames(curves["second"])
    for lane in np.unique(notes["lane"]):
        own, mine = notes["lane"] == lane, curves["lane"] == lane
        struck, rest = start[curves["note"][mine]], rounding(notes["level"][own])
        frame, value = expression_changes(points[mine], curves["level"][mine], struck, start[own], rest)
        columns.append((frame, 1, np.full(len(frame), where[lane]), np.full(len(frame), 11), value))
    wide = [np.broadcast_arrays(*column) for column in columns]
    frame, kind, channel, data, value = (np.concatenate(same) for same in zip(*wide, strict=True))
    order = np.lexsort((data, channel, kind, frame))
    return frame[order], kind[order], channel[order], data[order], value[order]


def _frames(seconds: np.ndarray) -> np.ndarray:
    """The nearest block boundary to each time."""
    return np.rint(seconds * RATE / BLOCK).astype(np.int64) * BLOCK


def _stream(synth: Synth, events: tuple[np.ndarray, ...]) -> Iterator[np.ndarray]:
    """The sound as (frames, 2) float32 chunks, until it has died away after the last event."""
    chunk = np.zeros((_CHUNK, 2), np.float32)
    filled = now = 0
    act = (
        lambda channel, data, _: synth.note_off(channel, data),
        synth.control,
        synth.note_on,
    )
    for frame, kind, channel, data, value in zip(*(column.tolist() for column in events), strict=True):
        while now < frame:
            step = min(frame - now, _CHUNK - filled)
            synth.read(chunk[filled : filled + step])
            filled, now = filled + step, now + step
            if filled == _CHUNK:
                yield chunk
                filled = 0
        act[kind](channel, data, value)
    if filled:
        yield chunk[:filled]
    tail = chunk[: 64 * BLOCK]
    for _ in range(int(_LONGEST_TAIL * RATE / len(tail))):
        synth.read(tail)
        yield tail
        if not synth.sounding or np.abs(tail).max() < _INAUDIBLE:
            return


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
    """A file for libsndfile to write to. It keeps the reason where writing fails, which the library does not tell."""

    def __init__(self, file: FileIO):
        self._file = file
        self.seek, self.tell, self.read = file.seek, file.tell, file.read
        self.fault: OSError | None = None

    def write(self, data: bytes) -> int:
        """Write all of it; 0 where that is not possible."""
        left = memoryview(data)
        try:
            while left:
                left = left[self._file.write(left) :]
        except OSError as fault:
            self.fault = fault
            return 0
        return len(data)


def _write(temporary: Path, path: Path, record: str, stream: Iterator[np.ndarray], total: float, progress) -> _Measure:
    """Write the stream and measure it. While one chunk is written, the next is rendered."""
    import soundfile

    # Freeing one large block tells glibc to keep what smaller ones leave behind. Otherwise it hands them back to the
    # system after every chunk and asks for them again, while both threads wait: that took longer than the rendering.
    np.empty(16 * _CHUNK)
    measure = _Measure()
    kind, coding = KINDS[path.suffix.lower()]
    with temporary.open("w+b", buffering=0) as raw:
        output = _Output(raw)
        try:
            sound = soundfile.SoundFile(output, "w", RATE, 2, coding, format=kind)
            with sound as file, ThreadPoolExecutor(1) as writer:
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
