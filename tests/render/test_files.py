"""Files are there whole, or as they were before."""

from __future__ import annotations

import errno
import os
import stat
from pathlib import Path

import pytest

from render.files import written_whole
from timing.remarks import CannotDo


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_a_file_appears_when_it_is_whole(tmp_path):
    with written_whole(tmp_path / "a.mid") as temporary:
        temporary.write_bytes(b"half")
        assert not (tmp_path / "a.mid").exists()
        assert temporary.parent == tmp_path
    assert names(tmp_path) == ["a.mid"]
    assert (tmp_path / "a.mid").read_bytes() == b"half"


@pytest.mark.parametrize("failure", [RuntimeError, KeyboardInterrupt, MemoryError, SystemExit])
@pytest.mark.parametrize("before", [None, b"old"])
def test_after_a_failure_all_is_as_before(tmp_path, failure, before):
    if before:
        (tmp_path / "a.wav").write_bytes(before)
    with pytest.raises(failure), written_whole(tmp_path / "a.wav") as temporary:
        temporary.write_bytes(b"half")
        raise failure
    assert names(tmp_path) == (["a.wav"] if before else [])
    assert not before or (tmp_path / "a.wav").read_bytes() == before


@pytest.mark.parametrize(
    ("number", "words"),
    [
        (errno.ENOSPC, "no space is left on the disk"),
        (errno.EACCES, "you may not write in"),
        (errno.EROFS, "can only be read"),
        (errno.EIO, "Input/output error"),
    ],
)
def test_what_the_system_refuses_is_said_in_words(tmp_path, number, words):
    with pytest.raises(CannotDo, match=words) as refusal, written_whole(tmp_path / "a.mid"):
        raise OSError(number, os.strerror(number))
    assert "a.mid cannot be written" in str(refusal.value)
    assert names(tmp_path) == []


def test_a_folder_that_is_not_there_is_named(tmp_path):
    with pytest.raises(CannotDo, match=r"there is no folder .*nowhere"), written_whole(tmp_path / "nowhere" / "a.mid"):
        pytest.fail("nothing to write to")


def test_a_file_is_no_folder(tmp_path):
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(CannotDo, match="is not a folder"), written_whole(tmp_path / "file" / "a.mid"):
        pytest.fail("nothing to write to")


def test_a_folder_is_no_file(tmp_path):
    with pytest.raises(CannotDo, match="is a folder: name a file"), written_whole(tmp_path):
        pytest.fail("nothing to write to")


@pytest.mark.skipif(os.name != "posix", reason="names are limited otherwise elsewhere")
def test_a_name_as_long_as_the_system_allows_is_taken_and_a_longer_one_refused(tmp_path):
    with written_whole(tmp_path / ("n" * 251 + ".mid")) as temporary:
        temporary.write_bytes(b"")
    with pytest.raises(CannotDo, match="name is too long"), written_whole(tmp_path / ("n" * 252 + ".mid")):
        pass
    assert len(names(tmp_path)) == 1


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may write everywhere")
def test_a_folder_that_may_not_be_written_in(tmp_path):
    tmp_path.chmod(0o500)
    try:
        with pytest.raises(CannotDo, match="you may not write in"), written_whole(tmp_path / "a.mid"):
            pytest.fail("nothing to write to")
    finally:
        tmp_path.chmod(0o700)


def test_a_protected_file_is_not_written_over(tmp_path):
    kept = tmp_path / "a.mid"
    kept.write_bytes(b"old")
    kept.chmod(0o400)
    with pytest.raises(CannotDo, match="protected"), written_whole(kept):
        pytest.fail("nothing to write to")
    assert kept.read_bytes() == b"old"


@pytest.mark.skipif(os.name != "posix", reason="links need rights elsewhere")
def test_a_link_stays_a_link(tmp_path):
    (tmp_path / "takes").mkdir()
    (tmp_path / "a.mid").symlink_to(tmp_path / "takes" / "real.mid")
    with written_whole(tmp_path / "a.mid") as temporary:
        temporary.write_bytes(b"new")
    assert (tmp_path / "a.mid").is_symlink()
    assert (tmp_path / "takes" / "real.mid").read_bytes() == b"new"


@pytest.mark.skipif(os.name != "posix", reason="modes mean something else elsewhere")
def test_others_may_read_what_the_umask_lets_them(tmp_path):
    before = os.umask(0o022)
    try:
        with written_whole(tmp_path / "a.mid") as temporary:
            temporary.write_bytes(b"")
    finally:
        os.umask(before)
    assert stat.S_IMODE((tmp_path / "a.mid").stat().st_mode) == 0o644
