"""Takes as files: their kinds, what is refused, and that nothing half-written is left. The bank is TimGM6mb."""

from __future__ import annotations

import os
import signal
import struct
import subprocess
import sys
import tracemalloc
from pathlib import Path

import pytest
import soundfile
from house import ROOT
from performances import heard, level_of, performance

from render.events.levels import velocity
from render.sound.audio import render_audio
from render.sound.stems import RATE
from soundfonts.banks import standard_bank
from timing.remarks import CannotDo

GUITAR = 24


@pytest.mark.parametrize(
    ("suffix", "kind", "coding"),
    [
        (".wav", "WAV", "PCM_24"),
        (".flac", "FLAC", "PCM_24"),
        (".ogg", "OGG", "VORBIS"),
        (".mp3", "MP3", "MPEG_LAYER_III"),
        (".WAV", "WAV", "PCM_24"),
    ],
)
def test_the_suffix_decides_what_is_written(tmp_path, suffix, kind, coding):
    made = performance([{"score_onset": n, "pitch": 60 + n} for n in range(4)], programs=(GUITAR,))
    exact = heard(made, tmp_path / "exact.wav")
    take = render_audio(made, tmp_path / f"a{suffix}")
    found = soundfile.info(tmp_path / f"a{suffix}")
    assert (found.format, found.subtype, found.samplerate, found.channels) == (kind, coding, RATE, 2)
    assert found.duration == pytest.approx(take.seconds, abs=0.05)
    sound = soundfile.read(tmp_path / f"a{suffix}")[0]
    both = min(len(sound), len(exact))
    assert level_of(sound[:both] - exact[:both]) < level_of(exact) - 20


@pytest.mark.parametrize("name", ["a.aiff", "a", "a.mid", "a.wav.txt"])
def test_other_suffixes_are_refused_with_those_that_work(tmp_path, name):
    with pytest.raises(CannotDo, match=r"\.wav, \.flac, \.ogg, \.mp3"):
        render_audio(performance([{}]), tmp_path / name)
    assert list(tmp_path.iterdir()) == []


def test_the_same_performance_gives_the_same_samples(tmp_path):
    made = performance([{"score_onset": n / 2, "pitch": 50 + n} for n in range(16)], programs=(GUITAR,))
    render_audio(made, tmp_path / "a.wav")
    render_audio(made, tmp_path / "b.wav")
    assert (tmp_path / "a.wav").read_bytes() == (tmp_path / "b.wav").read_bytes()


def test_memory_does_not_grow_with_the_length(tmp_path):
    def most(minutes: int) -> int:
        tracemalloc.start()
        far = float(minutes * 60)
        render_audio(performance([{}, {"score_onset": far}]), tmp_path / "a.flac")
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return peak

    most(1)  # what is imported and kept
    assert most(6) < most(2) + 2**20  # four minutes of samples are 80 MiB


def test_another_bank_and_names_in_any_script(tmp_path):
    bank = tmp_path / "Банк – été.sf2"
    bank.write_bytes(standard_bank().read_bytes())
    take = render_audio(performance([{}]), tmp_path / "Взятие 1.wav", soundfont=bank)
    assert list(take.banks) == [bank]
    assert (tmp_path / "Взятие 1.wav").read_bytes()[:4] == b"RIFF"


def test_a_file_that_is_no_bank_is_refused_and_nothing_is_written(tmp_path):
    bank = tmp_path / "bank.sf2"
    bank.write_bytes(standard_bank().read_bytes()[:-1])
    with pytest.raises(CannotDo, match=r"bank\.sf2 is cut short"):
        render_audio(performance([{}]), tmp_path / "a.wav", soundfont=bank)
    assert [path.name for path in tmp_path.iterdir()] == ["bank.sf2"]


def with_presets_at(bank: int, program: int) -> bytes:
    """The standard bank with all presets moved to one place (SoundFont 2.04 §7.2: name, preset, bank, ...)."""
    content = bytearray(standard_bank().read_bytes())
    start = content.index(b"phdr") + 8
    for record in range(start, start + int.from_bytes(content[start - 4 : start], "little"), 38):
        content[record + 20 : record + 24] = struct.pack("<HH", program, bank)
    return bytes(content)


def test_a_bank_without_the_program_gives_what_it_has_and_one_without_any_is_refused(tmp_path):
    bank = tmp_path / "bank.sf2"
    bank.write_bytes(with_presets_at(bank=0, program=0))
    assert render_audio(performance([{}], programs=(GUITAR,)), tmp_path / "a.wav", soundfont=bank).loudness is not None
    bank.write_bytes(with_presets_at(bank=5, program=0))
    with pytest.raises(CannotDo, match=r"bank\.sf2 has no sound for program 25"):
        render_audio(performance([{}], programs=(GUITAR,)), tmp_path / "b.wav", soundfont=bank)
    assert not (tmp_path / "b.wav").exists()


@pytest.mark.parametrize("failure", [RuntimeError, KeyboardInterrupt])
@pytest.mark.parametrize("suffix", [".wav", ".flac", ".ogg", ".mp3"])
def test_a_take_that_fails_half_way_leaves_the_one_before(tmp_path, suffix, failure):
    def stop(done: float, total: float) -> None:
        if done > 4:
            raise failure

    kept = tmp_path / f"a{suffix}"
    kept.write_bytes(b"an older take")
    made = performance([{"score_onset": n} for n in range(20)])
    with pytest.raises(failure):
        render_audio(made, kept, progress=stop)
    assert [path.name for path in tmp_path.iterdir()] == [kept.name]
    assert kept.read_bytes() == b"an older take"


LONG = """
import sys
from performances import performance
from render.sound.audio import render_audio
from timing.remarks import CannotDo
made = performance([{"score_onset": n} for n in range(4000)])
try:
    render_audio(made, sys.argv[1], progress=lambda done, total: print(done, flush=True))
except CannotDo as refusal:
    print("refused:", refusal)
"""


def rendering(path: Path, before: str = "") -> subprocess.Popen:
    environment = os.environ | {"PYTHONPATH": os.pathsep.join([str(ROOT), str(ROOT / "tests")])}
    return subprocess.Popen(
        [sys.executable, "-c", before + LONG, str(path)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=environment,
    )


@pytest.mark.skipif(os.name != "posix", reason="Ctrl-C cannot be sent to one process elsewhere")
def test_ctrl_c_while_rendering_leaves_nothing(tmp_path):
    process = rendering(tmp_path / "a.wav")
    for _ in range(3):
        assert float(process.stdout.readline()) >= 0
    assert len(list(tmp_path.iterdir())) == 1  # the temporary file
    process.send_signal(signal.SIGINT)
    _, errors = process.communicate(timeout=30)
    assert process.returncode == -signal.SIGINT
    assert "KeyboardInterrupt" in errors
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(os.name != "posix", reason="files cannot be limited elsewhere")
@pytest.mark.parametrize("suffix", [".wav", ".flac", ".ogg", ".mp3"])
def test_a_full_disk_is_said_and_leaves_nothing(tmp_path, suffix):
    """A limit on the size of files stands for the full disk: writing fails in the same place."""
    limit = "import resource\nresource.setrlimit(resource.RLIMIT_FSIZE, (300_000, 300_000))\n"
    process = rendering(tmp_path / f"a{suffix}", before=limit)
    told, errors = process.communicate(timeout=60)
    assert errors == ""
    assert f"refused: {tmp_path / f'a{suffix}'} cannot be written: File too large" in told
    assert list(tmp_path.iterdir()) == []


def test_velocities_out_of_range_sound_at_the_limit(tmp_path):
    loudest = heard(performance([{"level": 0.0}]), tmp_path / "a.wav")
    beyond = heard(performance([{"level": 12.0}]), tmp_path / "b.wav")
    assert velocity(12.0) == 127
    assert (loudest == beyond).all()


def test_more_hours_than_a_wav_file_can_hold_are_refused_before_anything_is_rendered(tmp_path):
    made = performance([{}, {"score_onset": 4.6 * 3600, "onset": 4.6 * 3600, "end": 4.6 * 3600 + 1}])
    with pytest.raises(CannotDo, match=r"4\.6 hours are longer than a WAV file can hold") as refusal:
        render_audio(made, tmp_path / "a.wav", progress=lambda done, total: pytest.fail("it was begun"))
    assert "flac" in refusal.value.remarks[0].suggestion
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere names are text")
def test_names_that_are_not_utf_8(tmp_path):
    bank, take = (tmp_path / os.fsdecode(name) for name in (b"b\xe9.sf2", b"t\xe9.flac"))
    bank.write_bytes(standard_bank().read_bytes())
    assert render_audio(performance([{}]), take, soundfont=bank).loudness is not None
    assert take.stat().st_size > 1000
