"""Files that are being written, and those that were left behind."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import time

import pytest
from house import ROOT

from timing.disk import unfinished as module
from timing.disk.unfinished import NUMBER, tidy, unfinished

NAMES = re.compile(rf"\.begun-{NUMBER}(\.wav)?")
HOLDING = """
import sys, time
from pathlib import Path
from timing.disk.unfinished import unfinished
with unfinished(Path(sys.argv[1]), ".begun-", ".wav") as file:
    file.path.write_bytes(b"half")
    print(file.path.name, flush=True)
    time.sleep(60)
"""


@pytest.fixture
def other(tmp_path):
    """Another process that writes a file, and the file."""
    command = [sys.executable, "-c", HOLDING, str(tmp_path)]
    process = subprocess.Popen(command, env=os.environ | {"PYTHONPATH": str(ROOT)}, stdout=subprocess.PIPE, text=True)
    yield process, tmp_path / process.stdout.readline().strip()
    process.kill()
    process.wait()


def test_what_a_living_process_writes_stays_and_what_it_leaves_when_killed_goes(tmp_path, other):
    process, file = other
    tidy(tmp_path, NAMES)
    assert file.read_bytes() == b"half"
    process.kill()
    process.wait()
    assert file.exists()
    tidy(tmp_path, NAMES)
    assert not file.exists()


def test_what_this_process_writes_itself_stays(tmp_path):
    with unfinished(tmp_path, ".begun-") as file:
        tidy(tmp_path, NAMES)
        assert file.path.exists()
        file.path.write_bytes(b"whole")
        tidy(tmp_path, NAMES)
        file.put(tmp_path / "done")
    assert [path.name for path in tmp_path.iterdir()] == ["done"]
    assert (tmp_path / "done").read_bytes() == b"whole"


def test_a_file_is_the_users_alone_and_gone_at_the_end(tmp_path):
    with unfinished(tmp_path, ".begun-", ".wav") as file:
        assert NAMES.fullmatch(file.path.name)
        assert os.name == "nt" or file.path.stat().st_mode & 0o777 == 0o600
    assert list(tmp_path.iterdir()) == []


def test_nothing_but_files_with_such_names_is_tidied(tmp_path):
    number = "0123456789abcdef"
    others = [f".begun-{number}0", ".begun-notes.wav", f".begun-{number}.txt", f"begun-{number}", ".begun-0123"]
    for name in (*others, f".begun-{number}", f".begun-{number}.wav"):
        (tmp_path / name).write_bytes(b"x")
    (tmp_path / f".begun-{number[::-1]}").mkdir()
    others.append(f".begun-{number[::-1]}")
    if os.name == "posix":
        (tmp_path / f".begun-{'a' * 16}").symlink_to(tmp_path / others[0])
        os.mkfifo(tmp_path / f".begun-{'b' * 16}")
        others += [f".begun-{'a' * 16}", f".begun-{'b' * 16}"]
    tidy(tmp_path, NAMES)
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(others)


def test_where_there_is_no_folder_there_is_nothing_to_tidy(tmp_path):
    tidy(tmp_path / "nowhere", NAMES)


@pytest.mark.skipif(module.fcntl is None, reason="needs locks")
def test_a_file_that_is_tidied_before_it_is_held_is_made_again(tmp_path, monkeypatch):
    """As by another process, which took it for one that was left behind."""
    held, lock = [], module.fcntl.flock

    def late(number, how):
        held.append(next(tmp_path.iterdir()))
        if len(held) < 3:
            held[-1].unlink()
        lock(number, how)

    monkeypatch.setattr(module.fcntl, "flock", late)
    with unfinished(tmp_path, ".begun-") as file:
        assert file.path.exists() and file.path not in held[:2]


@pytest.mark.skipif(module.fcntl is None, reason="needs locks")
def test_on_a_disk_without_locks_files_are_written_and_nothing_is_tidied(tmp_path, monkeypatch):
    def none(*_):
        raise OSError(95, "Operation not supported")

    monkeypatch.setattr(module.fcntl, "flock", none)
    left = tmp_path / f".begun-{'0' * 16}"
    left.write_bytes(b"half")
    tidy(tmp_path, NAMES)
    with unfinished(tmp_path, ".begun-") as file:
        file.put(tmp_path / "done")
    assert sorted(path.name for path in tmp_path.iterdir()) == [left.name, "done"]


def test_on_a_system_without_locks_what_was_just_touched_stays(tmp_path, monkeypatch):
    monkeypatch.setattr(module, "fcntl", None)
    young, old = (tmp_path / f".begun-{digit * 16}" for digit in "01")
    for path in (young, old):
        path.write_bytes(b"half")
    os.utime(old, (time.time() - 3600,) * 2)
    with unfinished(tmp_path, ".begun-") as file:
        tidy(tmp_path, NAMES)
        file.put(tmp_path / "done")
    assert sorted(path.name for path in tmp_path.iterdir()) == [young.name, "done"]
