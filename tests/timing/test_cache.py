"""Scores kept by their content."""

from __future__ import annotations

import subprocess
import sys
from contextlib import suppress
from dataclasses import replace

import numpy as np
import pytest
from written import FOUR_FOUR, bar, musicxml, note

from timing.reader import cache, read_score

SCORE = musicxml([bar(note("C4", 2) + note("E4", 3), 1, FOUR_FOUR), bar(note("D4", 4), 2)])


@pytest.fixture(autouse=True)
def folder(tmp_path, monkeypatch):
    monkeypatch.setenv("LENTANDO_CACHE", str(tmp_path / "cache"))
    return tmp_path / "cache"


@pytest.fixture
def path(tmp_path):
    path = tmp_path / "a.musicxml"
    path.write_text(SCORE)
    return path


def same(one, other) -> bool:
    tables = ("notes", "heads", "bars", "marks", "parts")
    equal = all(np.array_equal(getattr(one, t), getattr(other, t)) or t == "marks" for t in tables)
    return equal and one.marks.tobytes() == other.marks.tobytes() and one.remarks == other.remarks


def test_a_kept_score_is_the_score(path, folder):
    read = read_score(path)
    assert read.remarks  # bar 1 holds more than its metre
    assert len(list(folder.glob("*.npz"))) == 1
    kept = read_score(path)
    assert same(read, kept)
    assert (kept.title, kept.path) == (read.title, path)


def test_the_second_time_music21_is_not_loaded(path):
    read_score(path)
    code = "import sys, timing.reader as r; r.read_score(sys.argv[1]); sys.exit('music21' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code, str(path)], check=False).returncode == 0


def test_the_key_is_the_content(path, tmp_path, folder):
    read_score(path)
    other = tmp_path / "other.musicxml"
    other.write_text(SCORE)
    assert read_score(other).path == other
    assert len(list(folder.glob("*.npz"))) == 1
    other.write_text(SCORE.replace("<step>E", "<step>F"))
    assert 65 in read_score(other).notes["pitch"]
    assert len(list(folder.glob("*.npz"))) == 2


def test_another_version_of_the_reader_reads_anew(path, folder, monkeypatch):
    read_score(path)
    monkeypatch.setattr(cache, "READER", "another")
    read_score(path)
    assert len(list(folder.glob("*.npz"))) == 2


@pytest.mark.parametrize("broken", [b"", b"no archive", None], ids=["empty", "junk", "cut"])
def test_a_broken_archive_is_read_over(path, folder, broken):
    whole = read_score(path)
    (archive,) = folder.glob("*.npz")
    archive.write_bytes(archive.read_bytes()[:200] if broken is None else broken)
    assert same(read_score(path), whole)
    assert cache.load(archive.stem, path) is not None


def test_an_archive_of_pickles_or_other_tables_is_not_opened(path, folder):
    read_score(path)
    (archive,) = folder.glob("*.npz")
    np.savez(archive, about=np.array([{}], object))
    assert cache.load(archive.stem, path) is None
    np.savez(archive, about=np.array("{}"), **{t: np.zeros(3) for t in ("notes", "heads", "bars", "marks", "parts")})
    assert cache.load(archive.stem, path) is None


def test_a_folder_that_cannot_be_made_is_no_error(path, tmp_path, monkeypatch):
    (tmp_path / "file").write_text("in the way")
    monkeypatch.setenv("LENTANDO_CACHE", str(tmp_path / "file" / "cache"))
    assert len(read_score(path).notes) == 3


def test_a_full_disk_leaves_nothing_behind(path, folder, monkeypatch):
    def full(*_, **__):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(np, "savez_compressed", full)
    assert len(read_score(path).notes) == 3
    assert list(folder.iterdir()) == []


def test_without_cache_nothing_is_kept(path, folder):
    read_score(path, cache=False)
    assert not folder.exists()


def test_tables_come_back_whatever_they_hold(path):
    score = read_score(path)
    score = replace(score, title="Höhe – 高", notes=np.repeat(score.notes, 1000))
    cache.store("name", score)
    kept = cache.load("name", path)
    assert same(score, kept)
    assert kept.title == "Höhe – 高"


@pytest.mark.parametrize("fault", [KeyboardInterrupt, MemoryError, OSError])
def test_what_could_not_be_kept_leaves_nothing(path, folder, monkeypatch, fault):
    def fail(file, **_):
        file.write(b"half")
        raise fault

    monkeypatch.setattr(np, "savez_compressed", fail)
    with suppress(KeyboardInterrupt, MemoryError):
        read_score(path)
    assert list(folder.iterdir()) == []
