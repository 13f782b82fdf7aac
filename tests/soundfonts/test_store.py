"""Keeping a bank in the cache: whole or not at all, whatever the cache is like."""

from __future__ import annotations

import errno
import os
import random
import subprocess
import sys

import pytest

from soundfonts import store
from soundfonts.banks import checked_bank
from soundfonts.sf2 import BankWriter, Instrument, Preset, Zone
from soundfonts.store import kept, whole
from timing.remarks import CannotDo

NAME = "tone-2-a.sf2"


@pytest.fixture(autouse=True)
def cache(tmp_path, monkeypatch):
    monkeypatch.setenv("LENTANDO_CACHE", str(tmp_path / "cache"))
    store._temporary.cache_clear()
    return tmp_path / "cache"


def small(file) -> None:
    """A bank of one note."""
    import numpy as np

    bank = BankWriter(file, "Small", "for a test")
    bank.add("note", np.arange(4_000, dtype="<i2"), None, 60, 44_100)
    bank.finish([Instrument("note", {}, [Zone(0, 127, 0, {})])], [Preset("note", 0, 0, 0)])


def keep(write=small):
    return kept(NAME, "tone", "2", write)


def never(file) -> None:
    raise AssertionError("there was a whole one")


def test_a_bank_is_written_once(cache):
    path = keep()
    assert path == cache / NAME
    assert checked_bank(path) == path
    assert keep(never) == path
    assert sorted(file.name for file in cache.iterdir()) == [NAME, f"{NAME}.sha256"]


def test_one_that_was_damaged_inside_is_written_again():
    path = keep()
    content = path.read_bytes()
    for damaged in (content[:500] + bytes(100) + content[600:], content[:-60] + b"x" + content[-59:]):
        path.write_bytes(damaged)
        assert not whole(path)
        assert keep().read_bytes() == content


@pytest.mark.parametrize("share", [0.0, 0.3, 0.99])
def test_one_that_was_cut_is_written_again(share):
    path = keep()
    content = path.read_bytes()
    path.write_bytes(content[: int(share * len(content))])
    assert keep().read_bytes() == content


@pytest.mark.parametrize(
    "damage", [lambda c: b"MThd" + c[4:], lambda c: c + b"more", lambda c: c.replace(b"pdta", b"xxxx")]
)
def test_one_that_was_damaged_is_written_again(damage):
    content = keep().read_bytes()
    keep().write_bytes(damage(content))
    assert keep().read_bytes() == content


@pytest.mark.parametrize("name", [NAME, f"{NAME}.sha256"])
def test_a_folder_in_its_place_is_moved_aside(cache, name):
    (cache / name / "inside").mkdir(parents=True)
    assert whole(keep()) and keep(never) == cache / NAME
    (aside,) = cache.glob("*.aside")
    assert (aside / "inside").is_dir()


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs pipes with names")
@pytest.mark.parametrize("name", [NAME, f"{NAME}.sha256"])
def test_a_pipe_in_its_place_is_replaced(cache, name):
    keep()
    (cache / name).unlink()
    os.mkfifo(cache / name)
    assert whole(keep()) and keep(never) == cache / NAME


@pytest.mark.parametrize("seed", range(40))
def test_whatever_is_damaged_is_written_again(seed):
    """Bytes changed, cut off, put in, in the bank or in the sum beside it."""
    chance, path = random.Random(seed), keep()
    content, digest = path.read_bytes(), path.with_name(f"{NAME}.sha256")
    damaged = digest if seed % 4 == 0 else path
    before = damaged.read_bytes()
    place = chance.randrange(len(before))
    more, rest = chance.randbytes(chance.randrange(1, 9)), before[place + chance.randrange(9) :]
    damaged.write_bytes(before[:place] + more + rest)
    if damaged.read_bytes() != before:
        assert not whole(path)
    assert keep().read_bytes() == content and keep(never) == path


def test_other_versions_and_what_a_killed_process_left_are_removed(cache):
    cache.mkdir()
    number = "0123456789abcdef"
    gone = ["tone-1-a.sf2", f"tone-2-a-{number}.part", f"tone-1-b-{number}.part"]
    stay = ["tone-2-a-x.part", f"other-{number}.part", "b.npz"]
    for name in (*gone, *stay):
        (cache / name).write_bytes(b"x")
    keep()
    assert sorted(path.name for path in cache.iterdir()) == sorted([*stay, NAME, f"{NAME}.sha256"])


def test_a_write_that_fails_leaves_nothing(cache):
    def broken(file):
        file.write(b"RIFF")
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        keep(broken)
    assert list(cache.iterdir()) == []


def test_where_the_cache_is_a_file_the_sound_lives_as_long_as_the_process(cache):
    cache.write_bytes(b"not a folder")
    path = keep()
    assert whole(path)
    assert cache not in path.parents
    assert keep(never) == path


def test_a_full_disk_is_said_with_what_helps():
    def full(file):
        raise OSError(errno.ENOSPC, "No space left on device")

    with pytest.raises(CannotDo, match="No space left on device") as refused:
        keep(full)
    assert "LENTANDO_CACHE" in refused.value.remarks[0].suggestion


PROCESS = """
import sys, time
sys.path[:0] = sys.argv[1:3]
from test_store import keep, small
def slow(file):
    small(file); file.flush(); print("writing", flush=True); time.sleep(float(sys.argv[3]))
print(keep(slow))
"""


def begun(seconds: float) -> subprocess.Popen:
    here = os.path.dirname(__file__)
    command = [sys.executable, "-c", PROCESS, here, os.path.dirname(os.path.dirname(here)), str(seconds)]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    assert process.stdout.readline() == "writing\n"
    return process


def test_two_processes_at_once_and_one_that_is_killed(cache):
    killed, other = begun(60), begun(0.5)
    killed.kill()
    killed.wait()
    assert whole(keep())
    assert other.communicate(timeout=30)[0].strip() == str(cache / NAME)
    assert whole(cache / NAME)
    assert sorted(path.name for path in cache.iterdir()) == [NAME, f"{NAME}.sha256"]  # nor is the killed one's left
