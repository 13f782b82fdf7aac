"""Playing through the sound card: SDL's drivers that need no device stand in for one."""

from __future__ import annotations

import io
import os
import re
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pytest
import soundfile
from house import COMMAND, ROOT
from rich.console import Console
from support import musicxml, reading, score

from render.sound.playing import Playhead, play
from timing.listening import heard

PLAN = "score: piece.musicxml\ntempo: 240\n"


@pytest.fixture
def begin(tmp_path):
    """Begin the command in a folder of its own, with a temporary folder of its own."""

    def call(*words, driver: str = "dummy", plan: str = PLAN, **environment):
        (tmp_path / "piece.musicxml").write_text(musicxml(8), encoding="utf-8")
        (tmp_path / "plan.yaml").write_text(plan, encoding="utf-8")
        (tmp_path / "temporary").mkdir(exist_ok=True)
        around = {**os.environ, "COLUMNS": "200", "PYTHONPATH": str(ROOT), "NO_COLOR": "1", "SDL_AUDIODRIVER": driver}
        around |= {"TMPDIR": str(tmp_path / "temporary"), "PYTHONUNBUFFERED": "1", **environment}
        return subprocess.Popen(
            [*COMMAND, *words], cwd=tmp_path, env=around, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )

    return call


def left(tmp_path: Path) -> list[str]:
    return [file.name for file in (tmp_path / "temporary").iterdir()]


def test_a_plan_is_played_and_the_command_ends_by_itself(begin, tmp_path):
    before = time.monotonic()
    out, err = (playing := begin("play", "plan.yaml", "--bars", "2-3")).communicate(timeout=60)
    assert playing.returncode == 0, err
    assert time.monotonic() - before > 2.0  # eight quarters at 240
    assert out == "" and err.strip() == "start with the volume low, above all in headphones"
    assert left(tmp_path) == []


def test_with_rounds_it_warns_of_strain_too(begin):
    err = begin("play", "plan.yaml", "--bars", "1", "--loop", "2").communicate(timeout=60)[1]
    for words in ("volume low", "rest", "stop if anything hurts", "teacher or a health professional"):
        assert err.count(words) == 1


@pytest.mark.parametrize("command", ["render", "play"])
def test_the_help_has_the_same_warning(begin, command):
    out = " ".join(begin(command, "--help").communicate(timeout=60)[0].split())
    for words in ("volume low", "headphones", "rest, stop if anything hurts", "teacher or a health professional"):
        assert words in out


def test_without_a_sound_device_it_says_so_and_what_to_do(begin, tmp_path):
    out, err = (playing := begin("play", "plan.yaml", driver="no-such-driver")).communicate(timeout=60)
    assert playing.returncode == 2 and "Traceback" not in err and out == ""
    assert "no sound device" in err and "no-such-driver" in err and "lentando render PLAN" in err
    assert left(tmp_path) == []


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="ALSA is Linux's")
def test_alsa_does_not_complain_on_the_terminal(begin):
    """With a configuration that has no devices; by itself the library says so in lines of its own."""
    playing = begin("play", "plan.yaml", driver="alsa", ALSA_CONFIG_PATH=os.devnull)
    out, err = playing.communicate(timeout=60)
    assert playing.returncode == 2 and out == ""
    assert "no sound device" in err and "ALSA lib" not in err


@pytest.mark.parametrize(("asked", "status"), [(signal.SIGINT, 0), (signal.SIGTERM, 143)])
def test_it_stops_at_once_and_says_where(begin, tmp_path, asked, status):
    playing = begin("play", "plan.yaml", plan=PLAN.replace("240", "60"))
    assert "volume low" in playing.stderr.readline()
    time.sleep(2.5)
    playing.send_signal(asked)
    before = time.monotonic()
    _, err = playing.communicate(timeout=60)
    assert playing.returncode == status and "Traceback" not in err
    assert time.monotonic() - before < 5  # of half a minute
    if not status:
        said = re.search(r"stopped at bar 1:(\d), pass 1, 0:0(\d) of 0:3\d", err)
        assert said and 1 <= int(said[2]) <= 4
    assert left(tmp_path) == []


def test_a_fault_of_the_plan_is_told_before_anything_sounds(begin, tmp_path):
    _, err = (playing := begin("play", "plan.yaml", "--bars", "99")).communicate(timeout=60)
    assert playing.returncode == 2 and "bar 99: the score ends at bar 8" in err and "volume" not in err
    assert left(tmp_path) == []


def test_what_reaches_the_device_is_what_render_writes(begin, tmp_path):
    """SDL's disk driver writes what a device would be given: 32-bit floats, after some silence."""
    raw = tmp_path / "device.raw"
    words = ["plan.yaml", "--bars", "2", "--click"]
    playing = begin("play", *words, driver="disk", SDL_DISKAUDIOFILE=str(raw), SDL_DISKAUDIODELAY="5")
    _, err = playing.communicate(timeout=60)
    assert playing.returncode == 0, err
    assert begin("render", *words, "-o", "a.wav").wait(60) == 0
    written = soundfile.read(tmp_path / "a.wav", dtype="float32")[0]
    given = np.fromfile(raw, np.float32).reshape(-1, 2)
    shift = np.flatnonzero(given.any(axis=1))[0] - np.flatnonzero(written.any(axis=1))[0]
    whole = len(written) - 4096  # the last buffers may be cut off; there is nothing in them
    assert np.abs(given[shift : shift + whole] - written[:whole]).max() < 1e-6
    assert np.abs(written).max() > 0.01


# -- the line


def test_the_line_moves_with_the_music(monkeypatch, tmp_path):
    """In a terminal, from the beginning to the end, never back."""
    monkeypatch.setenv("SDL_AUDIODRIVER", "dummy")
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    made = reading({"tempo": 240}, bars=2)
    playhead = Playhead(made.performance, made.score)
    said, told = io.StringIO(), []
    console = Console(force_terminal=True, width=100, file=said)

    def place(second: float) -> str:
        told.append(second)
        return playhead.at(second)

    def make(file: Path) -> float:
        soundfile.write(file, np.zeros((2 * 44_100, 2), np.float32), 44_100, "PCM_24")
        return 2.0

    play(make, place, "softly", console)
    assert said.getvalue().startswith("softly")
    shown = re.findall(r"bar (\d):(\d)  pass 1  0:0(\d) / 0:02", said.getvalue())
    assert shown == sorted(shown) and {bar for bar, _, _ in shown} == {"1", "2"}
    assert told == sorted(told) and told[0] < 0.2 and told[-1] > 1.8
    assert not list(tmp_path.iterdir())


def test_places_are_told_as_the_score_has_them():
    made = reading({"tempo": 60, "order": "1-2, 1-3"}, bars=3)
    playhead = Playhead(made.performance, made.score)
    said = {0: "1:1  pass 1", 1.5: "1:2  pass 1", 7.99: "2:4  pass 1", 8: "1:1  pass 2", 13.2: "2:2  pass 2"}
    said[99] = "3:4  pass 1"
    assert [playhead.at(second) for second in said] == [f"bar {place}" for place in said.values()]


def test_places_in_rounds_after_a_count_in():
    made = reading({"tempo": 60}, score(3, (3, 4)))
    performance = heard(made, bars="2:2 - 3:1", loop=2, count_in=True)
    playhead = Playhead(performance, made.score, rounds=2, counted_in=True)
    assert playhead.at(1) == "count-in"
    assert playhead.at(3.5) == "bar 2:1  pass 1  round 1 of 2"  # the beat before, which is still counted
    assert playhead.at(4.5) == "bar 2:2  pass 1  round 1 of 2"
    assert playhead.at(6.5) == "bar 3:1  pass 1  round 1 of 2"
    assert playhead.at(7.5) == "bar 2:2  pass 1  round 2 of 2"


def test_a_leading_voice_does_not_flash_the_bar_before():
    made = reading({"voices": {"voice 1": {"level": "0 dB", "lead": "40 ms"}}}, bars=3)
    playhead = Playhead(heard(made, bars="2"), made.score)
    assert playhead.at(0.0) == "bar 2:1  pass 1"
