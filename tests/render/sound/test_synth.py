"""FluidSynth: whichever library is there, damaged banks, and a machine without any."""

from __future__ import annotations

import ctypes.util
import json
import os
import struct
import subprocess
import sys
from pathlib import Path

import pytest
from support import musicxml

from render.sound.library import bundled
from soundfonts.banks import standard_bank

TESTS = Path(__file__).parents[2]
ROOT = TESTS.parent
ENVIRONMENT = {**os.environ, "PYTHONPATH": os.pathsep.join([str(ROOT), str(TESTS)]), "NO_COLOR": "1", "COLUMNS": "100"}

# What a process finds when it looks for FluidSynth: {system} is a file name or None, {wheel} a list of them.
FIND = """
import ctypes.util, sys
import render.sound.library
found = ctypes.util.find_library
ctypes.util.find_library = lambda name: {system!r} if "fluidsynth" in name else found(name)
render.sound.library.bundled = lambda: {wheel!r}
"""
SYSTEM, WHEEL = ctypes.util.find_library("fluidsynth"), bundled()
LIBRARIES = [
    pytest.param((SYSTEM, []), id="system's", marks=pytest.mark.skipif(not SYSTEM, reason="none is installed")),
    pytest.param((None, WHEEL), id="wheel's", marks=pytest.mark.skipif(not WHEEL, reason="this wheel has none")),
]


def run(library, code: str, *words, cwd=None, **environment) -> subprocess.CompletedProcess:
    """Run code in a process of its own that finds only this library."""
    code = FIND.format(system=library[0], wheel=library[1]) + code
    command = [sys.executable, "-c", code, *map(str, words)]
    environment = {**ENVIRONMENT, **environment}
    return subprocess.run(command, capture_output=True, text=True, timeout=120, cwd=cwd, env=environment)


def test_some_library_is_there():
    assert SYSTEM or WHEEL


TAKE = """
from performances import performance
from render.sound.audio import render_audio
import json, numpy as np, soundfile
onsets = np.array([0.1234, 0.9876, 2.3456, 3.1415])
def heard(level, path, curves=()):
    notes = [{"onset": float(on), "score_onset": n, "end": float(on) + 0.3, "pitch": 72, "level": level}
             for n, on in enumerate(onsets)]
    take = render_audio(performance(notes, programs=(113,)), path)
    return take, np.abs(soundfile.read(path)[0]).max(axis=1)
take, loud = heard(-6.0, sys.argv[1])
_, soft = heard(-14.0, sys.argv[2])
again, _ = heard(-6.0, sys.argv[2])
begins = []
for onset in onsets:  # an agogo bell starts at once: the first sample that is above a thousandth of its peak
    first = max(round((onset - 0.02) * 44_100), 0)
    here = loud[first : first + 4000]
    begins.append((first + int(np.argmax(here > here.max() / 1000))) / 44_100)
same = open(sys.argv[1], "rb").read() == open(sys.argv[2], "rb").read()
print(json.dumps({"synth": take.synth, "off": [float(x) for x in begins - onsets],
                  "softer": float(20 * np.log10(loud.max() / soft.max())), "same": same}))
"""


@pytest.mark.parametrize("library", LIBRARIES)
@pytest.mark.parametrize("ci", [{}, {"CI": "true", "GITHUB_ACTIONS": "true"}], ids=["", "CI"])
def test_time_level_and_bytes_with_either_library(tmp_path, library, ci):
    """Bank TimGM6mb, program 113 (agogo), pitch 72, velocities 90 and 57."""
    done = run(library, TAKE, tmp_path / "a.wav", tmp_path / "b.wav", **ci)
    assert (done.returncode, done.stderr) == (0, "")
    (line,) = done.stdout.splitlines()  # and nothing else is printed
    told = json.loads(line)
    assert told["synth"].startswith("FluidSynth 2.")
    assert max(map(abs, told["off"])) < 1e-3
    assert told["softer"] == pytest.approx(8.0, abs=0.5)
    assert told["same"]


def damaged() -> dict[str, bytes]:
    """Banks whose headers are as they should be."""
    whole = standard_bank().read_bytes()
    records = whole.index(b"pdta")

    def at(name: bytes, content: bytes, skip: int = 8) -> bytes:
        place = whole.index(name, records) + skip
        return whole[:place] + content + whole[place + len(content) :]

    size = len(whole) - records - 4
    return {
        "noise": whole[: records + 4] + bytes(n * n % 251 for n in range(size)),
        "zeros": whole[: records + 4] + bytes(size),
        "no-presets": at(b"phdr", struct.pack("<I", 0), skip=4),
        "endless-presets": at(b"phdr", struct.pack("<I", 2**32 - 1), skip=4),
        "bags-nowhere": at(b"pbag", b"\xff" * 400),
        "generators-nowhere": at(b"igen", bytes(n % 256 for n in range(40_000))),
        "instruments-nowhere": at(b"inst", b"\xff" * 2000),
        "samples-nowhere": at(b"shdr", b"\xff" * 4000),
    }


PLAY = """
from performances import performance
from render.sound.audio import render_audio
from timing.remarks import CannotDo
notes = [{"score_onset": n, "onset": n / 20, "end": n / 20 + 0.2, "pitch": 40 + n} for n in range(12)]
for bank in sys.argv[2:]:
    try:
        render_audio(performance(notes, programs=(0, 24, 40)), sys.argv[1], soundfont=bank)
        print("played")
    except CannotDo as refusal:
        print("refused", refusal)
"""


@pytest.mark.parametrize("library", LIBRARIES)
def test_a_damaged_bank_never_ends_the_process(tmp_path, library):
    """Lists of garbage are refused, or FluidSynth makes the best of them; nothing else is on the terminal."""
    banks = damaged()
    for name, content in banks.items():
        (tmp_path / f"{name}.sf2").write_bytes(content)
    done = run(library, PLAY, tmp_path / "a.wav", *(tmp_path / f"{name}.sf2" for name in banks))
    assert (done.returncode, done.stderr) == (0, "")
    told = dict(zip(banks, done.stdout.splitlines(), strict=True))
    for name in ("noise", "zeros", "no-presets", "endless-presets", "bags-nowhere"):
        assert told[name].startswith("refused") and f"{name}.sf2" in told[name], told


# -- other threads


BESIDE = """
import ctypes.util, os, threading
from pathlib import Path
from render.sound.library import binding
from render.sound.synth import open_synth
from timing.remarks import CannotDo
usual, out, err = ctypes.util.find_library, sys.stdout, sys.stderr
stop, said, felt = threading.Event(), 0, set()
def beside():
    global said
    while not stop.is_set():
        os.write(2, b"line %d\\n" % said)
        said += 1
        if ctypes.util.find_library is not usual: felt.add("find_library")
        if (sys.stdout, sys.stderr) != (out, err): felt.add("streams")
sys.setswitchinterval(1e-5)
thread = threading.Thread(target=beside)
thread.start()
binding()
for bank in sys.argv[1:]:
    for _ in range(5):
        try:
            with open_synth(Path(bank), 44_100, 1): pass
        except CannotDo: pass
stop.set()
thread.join()
print(said, *felt)
"""


@pytest.mark.parametrize("library", LIBRARIES)
def test_what_another_thread_says_meanwhile_is_not_lost(tmp_path, library):
    """While the library is bound, and while it loads banks whole and damaged; and nothing else is said."""
    (tmp_path / "noise.sf2").write_bytes(damaged()["noise"])
    done = run(library, BESIDE, tmp_path / "noise.sf2", standard_bank())
    assert done.returncode == 0, done.stderr
    said, *felt = done.stdout.split()
    assert felt == [] and int(said) > 100
    assert done.stderr == "".join(f"line {number}\n" for number in range(int(said)))


# -- without any library


@pytest.fixture
def plan(tmp_path):
    (tmp_path / "piece.musicxml").write_text(musicxml(2))
    (tmp_path / "plan.yaml").write_text("score: piece.musicxml\ntempo: 60\n")
    return tmp_path


COMMAND = "from render.commands.entry import main; main()"


def test_without_a_library_midi_and_checks_work_and_sound_says_what_to_do(plan):
    nothing = (None, [])
    checked = run(nothing, COMMAND, "check", "plan.yaml", cwd=plan)
    assert (checked.returncode, checked.stderr) == (0, "")
    done = run(nothing, COMMAND, "render", "plan.yaml", cwd=plan)
    assert done.returncode == 2
    said = " ".join(done.stderr.split())
    for words in ("the FluidSynth library was not found", "(tried libfluidsynth", "pip install pygame-ce"):
        assert words in said, said
    assert "MIDI files and checks work without it" in said and "Traceback" not in said
    assert sorted(path.name for path in plan.iterdir()) == ["piece.musicxml", "plan.mid", "plan.yaml"]


def test_a_library_that_is_none_is_named(tmp_path, plan):
    broken = tmp_path / "libfluidsynth.so.3"
    broken.write_bytes(b"not a library")
    done = run((str(broken), []), COMMAND, "render", "plan.yaml", "-o", "take.wav", cwd=plan)
    assert done.returncode == 2
    said = "".join(done.stderr.split())
    assert str(broken) in said and "Traceback" not in done.stderr and not (plan / "take.wav").exists()


@pytest.mark.skipif(not WHEEL, reason="this wheel has none")
def test_a_library_that_is_none_does_not_stand_in_the_way_of_one_that_is(tmp_path, plan):
    broken = tmp_path / "libfluidsynth.so.3"
    broken.write_bytes(b"not a library")
    done = run((str(broken), WHEEL), COMMAND, "render", "plan.yaml", "-o", "take.wav", cwd=plan)
    assert done.returncode == 0, done.stderr
    assert (plan / "take.wav").stat().st_size > 44_100
