"""Where the commands write: never over what was read, over what is no file, or over another way of listening."""

from __future__ import annotations

import os
import subprocess
import sys
from functools import partial
from pathlib import Path

import doubling
import pytest
from house import ROOT
from support import musicxml, reading

from render.sound import audio, memory
from render.sound.sounds import find_sounds
from soundfonts.banks import standard_bank
from timing.remarks import CannotDo

PLAN = "score: piece.musicxml\ntempo: 60\n"
OUTPUTS = {
    "take.mid": ["render", "plan.yaml"],
    "take.wav": ["render", "plan.yaml"],
    "take.mp3": ["render", "plan.yaml"],
    "sheet.pdf": ["draw", "plan.yaml"],
    "sheet.svg": ["draw", "plan.yaml"],
    "sheet.png": ["draw", "plan.yaml"],
    "page.html": ["compare", "plan.yaml"],
    "draft.yaml": ["draft", "piece.musicxml", "--force"],
}


@pytest.fixture
def run(tmp_path):
    """Run the command in a folder with a score and a plan of it."""
    (tmp_path / "piece.musicxml").write_text(musicxml(8), encoding="utf-8")
    (tmp_path / "plan.yaml").write_text(PLAN, encoding="utf-8")
    return partial(doubling.run, folder=tmp_path, COLUMNS="200")


def everything(folder: Path) -> dict[str, bytes | int]:
    """What lies in a folder: the bytes of the files, of what is none its kind."""
    return {path.name: path.read_bytes() if path.is_file() else path.lstat().st_mode for path in folder.iterdir()}


def refused(done, words: str) -> bool:
    return done.returncode == 2 and words in " ".join(done.stderr.split()) and "Traceback" not in done.stderr


# -- what is no file


@pytest.mark.skipif(os.name == "nt", reason="needs pipes with names")
@pytest.mark.parametrize("name", OUTPUTS)
def test_no_command_replaces_what_is_no_file(run, tmp_path, name):
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / name).symlink_to("pipe")
    before = everything(tmp_path)
    assert refused(run(*OUTPUTS[name], "-o", name), f"{name} is a pipe, not a file")
    assert everything(tmp_path) == before and (tmp_path / name).is_symlink()


@pytest.mark.skipif(os.name == "nt", reason="needs pipes with names")
@pytest.mark.parametrize(("command", "name"), [("render", "plan.wav"), ("draw", "plan.pdf")])
def test_nor_does_it_by_a_name_that_it_chose_itself(run, tmp_path, command, name):
    os.mkfifo(tmp_path / name)
    before = everything(tmp_path)
    assert refused(run(command, "plan.yaml"), "is a pipe, not a file")
    assert everything(tmp_path) == before  # the .mid beside it is not written either


def test_nothing_is_written_where_one_of_several_files_cannot_be(run, tmp_path):
    before = everything(tmp_path)
    assert refused(run("render", "plan.yaml", "-o", "a.mid", "-o", "nowhere/b.wav"), "there is no folder")
    assert everything(tmp_path) == before


# -- what was read


@pytest.fixture
def chain(tmp_path, run):
    """A plan that is based on two others, whose names look like those of outputs."""
    for name, text in {
        "first.mp3": PLAN,
        "own.pdf": "based on: first.mp3\n",
        "own.wav": "based on: own.pdf\n",
        "own.yaml": "based on: own.wav\ntempo: 50\n",
    }.items():
        (tmp_path / name).write_text(text, encoding="utf-8")


@pytest.mark.parametrize(
    "words",
    [
        ["render", "own.yaml"],
        ["draw", "own.yaml"],
        ["render", "own.yaml", "-o", "take.mid", "-o", "first.mp3"],
        ["render", "plan.yaml", "own.yaml", "-o", "take.mid", "-o", "own.wav"],
        ["compare", "plan.yaml", "own.yaml", "-o", "hard.html"],
        ["compare", "own.yaml", "--with", "plain", "-o", "soft.html"],
        ["draw", "own.yaml", "-o", "soft.svg"],
        ["draw", "own.yaml", "-o", "hard.png"],
        ["draft", "piece.musicxml", "--force", "-o", "score.yaml"],
    ],
)
def test_no_plan_that_was_read_is_written_over(run, chain, tmp_path, words):
    """Nor a score, by whatever name."""
    for kind in ("html", "svg", "png"):
        (tmp_path / f"soft.{kind}").symlink_to("first.mp3")
        os.link(tmp_path / "first.mp3", tmp_path / f"hard.{kind}")
    os.link(tmp_path / "piece.musicxml", tmp_path / "score.yaml")
    before = everything(tmp_path)
    assert refused(run(*words), "name another file")
    assert everything(tmp_path) == before


def test_no_bank_is_written_over(run, tmp_path):
    bank = tmp_path / "bank.wav"
    bank.write_bytes(standard_bank().read_bytes())
    (tmp_path / "page.html").symlink_to("bank.wav")
    before = everything(tmp_path)
    assert refused(run("render", "plan.yaml", "--soundfont", "bank.wav", "-o", "bank.wav"), "name another file")
    assert refused(run("compare", "plan.yaml", "--soundfont", "bank.wav", "-o", "page.html"), "name another file")
    assert everything(tmp_path) == before


@pytest.mark.skipif(os.name == "nt", reason="needs links")
def test_a_bank_of_ours_is_not_written_over_through_a_link(tmp_path, monkeypatch):
    """Whichever bank the instruments of a piece need."""
    bank = tmp_path / "ours.sf2"
    bank.write_bytes(before := standard_bank().read_bytes())
    performance = reading().performance
    sounds = find_sounds(performance, bank)
    monkeypatch.setattr(memory, "find_sounds", lambda *_: sounds)
    (tmp_path / "take.wav").symlink_to(bank)
    with pytest.raises(CannotDo, match="name another file"):
        audio.render_audio(performance, tmp_path / "take.wav")
    assert bank.read_bytes() == before


# -- ways of listening


def test_a_stretch_does_not_stand_in_the_place_of_the_whole(run, tmp_path):
    assert run("render", "plan.yaml").returncode == 0
    whole = everything(tmp_path)
    done = run("render", "plan.yaml", "--bars", "2-3", "--pace", "60%")
    assert done.returncode == 0 and "plan_bars-2-3_pace-60.wav" in done.stderr
    after = everything(tmp_path)
    assert after.keys() - whole.keys() == {"plan_bars-2-3_pace-60.mid", "plan_bars-2-3_pace-60.wav"}
    assert {name: after[name] for name in whole} == whole
    assert run("render", "plan.yaml", "--pace", "60 %", "--bars", "2 - 3").returncode == 0
    assert everything(tmp_path) == after
    (tmp_path / "out").mkdir()
    assert run("render", "plan.yaml", "--loop", "2", "--click", "-o", "out").returncode == 0
    assert sorted(os.listdir(tmp_path / "out")) == ["plan_loop-2_click.mid", "plan_loop-2_click.wav"]
    assert run("render", "plan.yaml", "--bars", "2", "-o", "mine.mid").returncode == 0
    assert everything(tmp_path).keys() - after.keys() == {"out", "mine.mid"}  # -o says all of it


# -- what a killed process left


@pytest.mark.skipif(os.name == "nt", reason="needs POSIX signals")
def test_what_was_left_when_it_was_killed_is_tidied_by_the_next(run, tmp_path):
    code = """
import os, sys
from render.commands.entry import main
put = os.replace
def kill(made, place):  # when all is written, and before it is put in its place
    return os.kill(os.getpid(), 9) if os.fspath(place).endswith("a.mid") else put(made, place)
os.replace = kill
main()
"""
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    command = [sys.executable, "-c", code, "render", "plan.yaml", "-o", "a.mid"]
    assert subprocess.run(command, cwd=tmp_path, env=environment, timeout=60).returncode == -9
    assert [name for name in os.listdir(tmp_path) if name.startswith(".lentando-")]
    assert run("render", "plan.yaml", "-o", "b.mid").returncode == 0
    assert sorted(os.listdir(tmp_path)) == ["b.mid", "piece.musicxml", "plan.yaml"]
