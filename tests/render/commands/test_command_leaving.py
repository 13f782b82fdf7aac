"""How the command is left: interrupted at any moment from its first on, and with outputs that take nothing."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from house import MAIN, ROOT
from support import musicxml

PLAN = """\
score: piece.musicxml
tempo: 60
phrases:
  - {bars: 1-8, inside: [1-4, 5-8]}
"""
BAD = PLAN + "slowing:\n  - {rallentando: 6:1 - 6:2, to: 60%, then: a tempo, why: a test}\n"
SAID = "interrupted: nothing half-written is left behind\n"

# Ctrl-C at a chosen import: what comes before is Python's own beginning, and the three imports that find the command.
AT_AN_IMPORT = """
import signal, sys
left = int(sys.argv.pop(1)) + 3

class Interrupting:
    @staticmethod
    def find_spec(name, path, target=None):
        global left
        left -= 1
        if not left:
            signal.raise_signal(signal.SIGINT)

sys.meta_path.insert(0, Interrupting)
""" + MAIN


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Where there are a score, a plan of it, and one that earns a caution; the score has been read."""
    place = tmp_path_factory.mktemp("leaving")
    (place / "piece.musicxml").write_text(musicxml(8), encoding="utf-8")
    (place / "plan.yaml").write_text(PLAN, encoding="utf-8")
    (place / "bad.yaml").write_text(BAD, encoding="utf-8")
    assert run(place, "check", "plan.yaml").returncode == 0
    return place


def begin(folder: Path, *words: str, code: str = MAIN, **more) -> subprocess.Popen:
    environment = os.environ | {"LENTANDO_CACHE": str(folder / "cache"), "PYTHONPATH": str(ROOT), "COLUMNS": "100"}
    more = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE} | more
    return subprocess.Popen([sys.executable, "-c", code, *words], cwd=folder, env=environment, text=True, **more)


def run(folder: Path, *words: str, **more) -> subprocess.CompletedProcess:
    process = begin(folder, *words, **more)
    out, said = process.communicate(timeout=120)
    return subprocess.CompletedProcess(words, process.returncode, out, said)


# -- interrupted


def test_interrupted_while_anything_is_imported_it_leaves_in_words(folder):
    moment, left = 1, 130
    while left == 130:
        done = run(folder, str(moment), "check", "plan.yaml", code=AT_AN_IMPORT)
        left = done.returncode
        if left == 130:  # at the very first not even the words are there
            assert done.stderr == SAID or (moment < 4 and done.stderr == ""), moment
        moment += 1 if moment < 4 else 43
    assert (left, done.stderr) == (0, "")  # that moment was never reached
    assert moment > 300


@pytest.mark.parametrize("words", [["check", "anew.yaml"], ["render", "plan.yaml", "-o", "a.wav", "-o", "a.mid"]])
def test_interrupted_in_the_midst_of_a_library_nothing_is_left(folder, words):
    """The notation library, the synth and what writes sound are imported where they are used."""
    before = {"bad.yaml", "cache", "piece.musicxml", "plan.yaml", "anew.yaml", "anew.musicxml"}
    (folder / "anew.yaml").write_text("score: anew.musicxml\n", encoding="utf-8")
    for moment in range(400, 1600, 290):
        (folder / "anew.musicxml").write_text(musicxml(8) + f"<!-- {moment} -->", encoding="utf-8")
        done = run(folder, str(moment), *words, code=AT_AN_IMPORT)
        if done.returncode == 0:
            break
        assert done.returncode == 130 and done.stderr.endswith(SAID), moment
        assert "Traceback" not in done.stderr, moment
        assert {path.name for path in folder.iterdir()} - {"a.mid", "a.wav"} <= before
    assert moment > 400


STANDING_BY = """
from render.commands import entry as command
ready = command.stand_by
command.stand_by = lambda: (ready(), print("begun", flush=True))
command.main()
"""


@pytest.mark.skipif(os.name == "nt", reason="needs POSIX signals")
@pytest.mark.parametrize("delay", [0, 0.01, 0.03, 0.06, 0.1, 0.15, 0.2, 0.25, 0.3, 0.4, 0.5])
def test_interrupted_by_another_process_it_leaves_in_words_or_was_done(folder, delay):
    process = begin(folder, "check", "plan.yaml", code=STANDING_BY)
    assert process.stdout.readline() == "begun\n"
    time.sleep(delay)
    process.send_signal(signal.SIGINT)
    said = process.communicate(timeout=60)[1]
    assert (process.returncode, said) in ((130, SAID), (0, ""))


@pytest.mark.skipif(os.name == "nt", reason="needs POSIX signals")
def test_what_was_started_to_go_on_regardless_does(folder):
    code = "import signal\nsignal.signal(signal.SIGINT, signal.SIG_IGN)\n" + AT_AN_IMPORT
    for moment in (5, 150):
        assert run(folder, str(moment), "check", "plan.yaml", code=code).returncode == 0


ASKED_AGAIN = """
import atexit, signal
atexit.register(lambda: [signal.raise_signal(asked) for asked in (signal.SIGINT, signal.SIGTERM)])
"""


def test_who_asks_again_while_it_leaves_is_not_heard(folder):
    for words, status in ((["check", "plan.yaml"], 0), (["check", "nothing.yaml"], 2)):
        done = run(folder, *words, code=ASKED_AGAIN + MAIN)
        assert done.returncode == status and "Traceback" not in done.stderr


# -- outputs that take nothing


def closed(*numbers: int):
    return {"preexec_fn": lambda: [os.close(number) for number in numbers]}


posix = pytest.mark.skipif(os.name == "nt", reason="needs POSIX descriptors")


@posix
@pytest.mark.parametrize(
    "words", [["check", "plan.yaml"], ["timeline", "plan.yaml", "--json"], ["--version"], ["--help"], ["schema"]]
)
def test_where_standard_output_is_closed_that_is_said(folder, words):
    done = run(folder, *words, **closed(1))
    assert (done.returncode, done.stderr) == (2, "the output cannot be written: Bad file descriptor\n")


@posix
def test_where_nothing_is_said_a_closed_output_is_no_fault(folder, tmp_path):
    for numbers in ((1,), (2,), (0, 1, 2)):
        done = run(folder, "render", "plan.yaml", "-o", str(tmp_path / "a.mid"), **closed(*numbers))
        assert done.returncode == 0 and "Traceback" not in done.stderr
        assert (tmp_path / "a.mid").read_bytes().startswith(b"MThd")  # and no message is written into it


@posix
@pytest.mark.parametrize(("words", "status"), [(["check", "bad.yaml"], 1), (["check", "nothing.yaml"], 2)])
def test_where_messages_are_lost_the_status_says_it(folder, words, status):
    assert run(folder, *words, **closed(2)).returncode == status
    with open("/dev/full", "w") as full:
        assert run(folder, *words, stderr=full).returncode == status


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
@pytest.mark.parametrize("words", [["check", "bad.yaml"], ["timeline", "plan.yaml", "--json"], ["--help"], ["explain"]])
def test_on_a_full_disk_that_is_said(folder, words):
    with open("/dev/full", "w") as full:
        done = run(folder, *words, stdout=full)
    assert (done.returncode, done.stderr) == (2, "the output cannot be written: No space left on device\n")


@pytest.mark.parametrize("both", [False, True])
@pytest.mark.parametrize(
    ("words", "status"),
    [
        (["check", "plan.yaml"], 0),
        (["check", "bad.yaml"], 1),
        (["check", "nothing.yaml", "--json"], 2),
        (["check", "nothing.yaml"], 2),
        (["timeline", "plan.yaml", "--json"], 0),
        (["schema"], 0),
        (["--version"], 0),
        (["perform"], 2),
    ],
)
def test_a_reader_who_has_had_enough_is_no_fault(folder, words, status, both):
    """However much was to come, the status is that of the command."""
    reading, writing = os.pipe()
    os.close(reading)
    process = begin(folder, *words, stdout=writing, stderr=writing if both else subprocess.PIPE)
    os.close(writing)
    said = process.communicate(timeout=60)[1]
    assert process.returncode == status
    assert both or status == 2 or said == ""
    assert both or "Traceback" not in said
