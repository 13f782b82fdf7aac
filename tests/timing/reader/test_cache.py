"""Scores kept by their content."""

from __future__ import annotations

import os
import random
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
    whole = read_score(path)
    (archive,) = folder.glob("*.npz")
    tables = {table: getattr(whole, table) for table in ("notes", "heads", "bars", "marks", "parts")}
    about = np.load(archive)["about"]
    np.savez(archive, about=about, **tables)
    assert same(cache.load(archive.stem, path), whole)  # so an archive is made
    np.savez(archive, about=about, **tables | {"notes": np.array([{}], object)})
    assert cache.load(archive.stem, path) is None
    np.savez(archive, about=about, **tables | {"notes": np.zeros(3)})
    assert cache.load(archive.stem, path) is None
    np.savez(archive, about=np.array("[]"), **tables)
    assert cache.load(archive.stem, path) is None


def mended(path, folder, whole) -> bool:
    """Whether the score comes back, and lies in the cache again."""
    again = read_score(path)
    (archive,) = (each for each in folder.glob("*.npz") if each.is_file())
    return same(again, whole) and same(cache.load(archive.stem, path), whole)


@pytest.mark.parametrize("seed", range(150))
def test_whatever_is_damaged_is_read_anew_and_mended(path, folder, seed):
    """Bytes changed, cut off, put in, twice or turned over, anywhere in the archive."""
    whole = read_score(path)
    (archive,) = folder.glob("*.npz")
    chance, content = random.Random(seed), archive.read_bytes()
    for _ in range(chance.choice([1, 1, 2, 20])):
        place, more = chance.randrange(len(content)), chance.randbytes(chance.randrange(1, 30))
        content = chance.choice(
            [
                content[:place] + bytes([content[place] ^ 1 << chance.randrange(8)]) + content[place + 1 :],
                content[:place] + more + content[place + len(more) :],
                content[:place] + more + content[place:],
                content[: max(place, 1)],
                content[:place] + content[place + len(more) :] or b"x",
                content[place:] + content[:place],
                content[:place] + bytes(len(content) - place),
            ]
        )
    archive.write_bytes(content)
    kept = cache.load(archive.stem, path)
    assert kept is None or same(kept, whole)
    assert mended(path, folder, whole)


def test_the_archive_of_another_score_is_not_taken_for_it(path, tmp_path, folder):
    whole = read_score(path)
    (archive,) = folder.glob("*.npz")
    other = tmp_path / "other.musicxml"
    other.write_text(SCORE.replace("<step>E", "<step>F"))
    read_score(other)
    (theirs,) = set(folder.glob("*.npz")) - {archive}
    archive.write_bytes(theirs.read_bytes())
    theirs.unlink()
    assert cache.load(archive.stem, path) is None
    assert mended(path, folder, whole)


def test_a_folder_in_its_place_is_moved_aside(path, folder):
    whole = read_score(path)
    (archive,) = folder.glob("*.npz")
    archive.unlink()
    (archive / "inside").mkdir(parents=True)
    assert mended(path, folder, whole)
    (aside,) = folder.glob("*.aside")
    assert (aside / "inside").is_dir()


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs pipes with names")
def test_a_pipe_in_its_place_is_replaced(path, folder):
    whole = read_score(path)
    (archive,) = folder.glob("*.npz")
    archive.unlink()
    os.mkfifo(archive)
    assert mended(path, folder, whole)


@pytest.mark.skipif(os.name == "nt", reason="needs permissions and links")
def test_one_that_may_not_be_read_and_one_that_leads_in_a_circle_are_replaced(path, folder):
    whole = read_score(path)
    (archive,) = folder.glob("*.npz")
    archive.chmod(0)
    assert mended(path, folder, whole)
    archive.unlink()
    archive.symlink_to(archive)
    assert mended(path, folder, whole)


KILLED = """
import os, sys
import numpy as np
from timing.reader import read_score

def killed(file, **_):
    file.write(b"half")
    file.flush()
    os._exit(9)  # as after kill -9, nothing is tidied

np.savez_compressed = killed
read_score(sys.argv[1])
"""


def test_what_a_killed_process_left_is_tidied_by_the_next(path, folder):
    assert subprocess.run([sys.executable, "-c", KILLED, str(path)], check=False).returncode == 9
    assert [each.suffix for each in folder.iterdir()] == [".part"]
    (folder / "mine-0123456789abcdef.part").write_bytes(b"a user's own")
    read_score(path)
    assert sorted(each.suffix for each in folder.iterdir()) == [".npz", ".part"]
    assert (folder / "mine-0123456789abcdef.part").exists()


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
