"""Files are written whole or not at all, and nothing else in the folder changes."""

from __future__ import annotations

import codecs
import errno
import os
import socket
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from render.files import keep_from_inputs, refuse_outputs, rewrite, temporary_file, written_whole
from timing.remarks import CannotDo

ROOT = Path(__file__).parents[2]


@pytest.fixture
def folder(tmp_path):
    """A folder with a neighbour whose bytes must not change."""
    (tmp_path / "neighbour.wav").write_bytes(b"mine")
    yield tmp_path
    assert (tmp_path / "neighbour.wav").read_bytes() == b"mine"


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir() if path.name != "neighbour.wav")


def write(path: Path, content: bytes = b"new") -> None:
    with written_whole(path) as temporary:
        temporary.write_bytes(content)


@pytest.mark.parametrize("name", ["take.wav", "Prélude №1.wav", " .wav", "x" * 251 + ".wav"])
def test_a_file_is_written(folder, name):
    write(folder / name)
    assert names(folder) == [name] and (folder / name).read_bytes() == b"new"


def test_the_old_file_stays_until_the_new_one_is_whole(folder):
    (folder / "take.wav").write_bytes(b"old")
    with written_whole(folder / "take.wav") as temporary:
        temporary.write_bytes(b"new")
        assert (folder / "take.wav").read_bytes() == b"old"
    assert (folder / "take.wav").read_bytes() == b"new"


@pytest.mark.parametrize("fault", [RuntimeError, KeyboardInterrupt, OSError(errno.ENOSPC, "no room"), MemoryError])
def test_a_failure_leaves_what_was_there(folder, fault):
    (folder / "take.wav").write_bytes(b"old")
    expected = (RuntimeError, KeyboardInterrupt, CannotDo, MemoryError)
    with pytest.raises(expected), written_whole(folder / "take.wav") as temporary:
        temporary.write_bytes(b"half")
        raise fault
    assert names(folder) == ["take.wav"] and (folder / "take.wav").read_bytes() == b"old"


# A process for each step of the writing, which is interrupted at that step; the last one goes through to its end.
INTERRUPTED = """
import os, sys
from pathlib import Path
from render.files import written_whole

WATCHED = ("files.py", "contextlib.py", "unfinished.py")

def interrupt_at(step):
    def trace(frame, event, _):
        nonlocal step
        if not frame.f_code.co_filename.endswith(WATCHED):
            return None
        frame.f_trace_opcodes, frame.f_trace_lines = True, False
        if event == "opcode":
            step -= 1
            if step < 0:
                raise KeyboardInterrupt
        return trace
    sys.settrace(trace)

take, step, done = Path(sys.argv[1]), 0, False
while not done:
    take.write_bytes(b"old")
    child = os.fork()
    if not child:
        interrupt_at(step)
        try:
            with written_whole(take) as temporary:
                temporary.write_bytes(b"new")
        except KeyboardInterrupt:
            sys.exit(130)
        sys.exit()
    done = os.waitpid(child, 0)[1] == 0
    assert os.listdir(take.parent) == [take.name], f"left behind at step {step}: {os.listdir(take.parent)}"
    assert take.read_bytes() in ((b"new",) if done else (b"old", b"new"))
    step += 1
print(step)
"""


@pytest.mark.skipif(not hasattr(os, "fork"), reason="a process can be doubled on POSIX systems only")
def test_interrupted_at_any_step_nothing_is_left_behind(tmp_path):
    process = subprocess.run(
        [sys.executable, "-c", INTERRUPTED, str(tmp_path / "take.wav")],
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        timeout=300,
    )
    assert process.returncode == 0, process.stderr
    assert int(process.stdout) > 100


@pytest.mark.parametrize(
    ("number", "words"),
    [(errno.ENOSPC, "no space is left"), (errno.EIO, os.strerror(errno.EIO)), (errno.EROFS, "only be read")],
)
def test_the_reason_is_told(folder, number, words):
    with pytest.raises(CannotDo, match=words), written_whole(folder / "take.wav"):
        raise OSError(number, os.strerror(number))


@pytest.mark.parametrize(("mask", "mode"), [(0o022, 0o644), (0o077, 0o600), (0o002, 0o664)])
def test_permissions_follow_the_umask(folder, mask, mode):
    before = os.umask(mask)
    try:
        write(folder / "take.wav")
        assert os.umask(mask) == mask  # it is as it was
    finally:
        os.umask(before)
    assert (folder / "take.wav").stat().st_mode & 0o777 == mode


def test_what_new_files_of_other_threads_may_is_not_touched(folder, monkeypatch):
    """The umask is the whole process's: whoever sets it, if only to see it, opens the files that others make."""

    def touched(mask: int) -> int:
        raise AssertionError(f"umask {mask:o}")

    monkeypatch.setattr(os, "umask", touched)
    write(folder / "take.wav")
    (folder / "plan.yaml").write_text("a: 1\n")
    rewrite(folder / "plan.yaml", "a: 1\n", "a: 2\n")
    assert names(folder) == ["plan.yaml", "take.wav"]


@pytest.mark.skipif(os.name == "nt", reason="there are no such permissions")
def test_a_private_file_is_private_while_it_is_rewritten(folder, monkeypatch):
    plan = folder / "plan.yaml"
    plan.write_text("a: 1\n")
    plan.chmod(0o600)
    seen, put = [], os.replace
    monkeypatch.setattr(os, "chmod", lambda path, mode: seen.append((stat.S_IMODE(os.stat(path).st_mode), mode)))
    monkeypatch.setattr(os, "replace", lambda made, place: seen.append(made) or put(made, place))
    rewrite(plan, "a: 1\n", "a: 2\n")
    assert seen[0] == (0o600, 0o600) and len(seen) == 2


def test_a_file_that_is_protected_is_not_replaced(folder):
    (folder / "take.wav").write_bytes(b"old")
    (folder / "take.wav").chmod(0o444)
    with pytest.raises(CannotDo, match="protected against writing"):
        write(folder / "take.wav")
    assert (folder / "take.wav").read_bytes() == b"old" and names(folder) == ["take.wav"]


def test_a_link_still_points_to_its_file(folder):
    (folder / "elsewhere").mkdir()
    (folder / "elsewhere" / "real.wav").write_bytes(b"old")
    (folder / "take.wav").symlink_to(folder / "elsewhere" / "real.wav")
    write(folder / "take.wav")
    assert (folder / "take.wav").is_symlink()
    assert (folder / "elsewhere" / "real.wav").read_bytes() == b"new" and names(folder / "elsewhere") == ["real.wav"]


@pytest.mark.parametrize(
    ("path", "words"),
    [
        ("nowhere/take.wav", "there is no folder"),
        ("neighbour.wav/take.wav", "is not a folder"),
        (".", "is a folder: name a file"),
        ("x" * 300 + ".wav", "the name is too long"),
    ],
)
def test_a_place_that_cannot_be_written(folder, path, words):
    with pytest.raises(CannotDo, match=words):
        write(folder / path)
    assert names(folder) == []


@pytest.mark.skipif(os.name == "nt" or os.getuid() == 0, reason="the administrator may write everywhere")
def test_a_folder_without_permission(folder):
    (folder / "shut").mkdir(mode=0o555)
    with pytest.raises(CannotDo, match="you may not write in"):
        write(folder / "shut" / "take.wav")


@pytest.fixture
def small_disk(tmp_path):
    """A disk of 64 kB."""
    place = tmp_path / "small"
    place.mkdir()
    mounted = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", place], capture_output=True)
    if mounted.returncode:
        pytest.skip("needs the right to mount a disk")
    yield place
    subprocess.run(["umount", place], check=True)


def test_a_full_disk(small_disk):
    write(small_disk / "small.mid", b"old")
    with pytest.raises(CannotDo, match="no space is left on the disk"):
        write(small_disk / "small.mid", bytes(200_000))
    assert [p.name for p in small_disk.iterdir()] == ["small.mid"]
    assert (small_disk / "small.mid").read_bytes() == b"old"


def made(kind: str, path: Path) -> None:
    """Something at `path` that is no file."""
    if kind == "pipe":
        os.mkfifo(path)
    elif kind == "socket":
        with socket.socket(socket.AF_UNIX) as listening:
            listening.bind(os.path.relpath(path))  # its whole name may be too long for a socket
    elif kind == "device":
        try:
            os.mknod(path, 0o600 | stat.S_IFCHR, os.makedev(1, 3))  # one that takes everything
        except PermissionError:
            pytest.skip("needs the right to make a device")
    else:
        path.mkdir()


@pytest.mark.skipif(os.name == "nt", reason="needs pipes with names")
@pytest.mark.parametrize("links", [0, 1, 3])
@pytest.mark.parametrize("kind", ["pipe", "socket", "device", "folder"])
def test_what_is_no_file_is_never_replaced(folder, kind, links):
    path = folder / "take-0.wav"
    made(kind, path)
    for number in range(links):
        path = folder / f"take-{number + 1}.wav"
        path.symlink_to(f"take-{number}.wav")
    before = {each.name: each.lstat().st_mode for each in folder.iterdir()}
    for refuse in (write, lambda file: refuse_outputs([folder / "other.wav", file], [])):
        with pytest.raises(CannotDo, match=f"take-{links}.wav is a {kind}.*: name a file"):
            refuse(path)
        assert {each.name: each.lstat().st_mode for each in folder.iterdir()} == before


@pytest.mark.skipif(os.name == "nt", reason="needs links")
def test_links_that_lead_in_a_circle_or_to_no_folder_are_told(folder):
    (folder / "a.wav").symlink_to("b.wav")
    (folder / "b.wav").symlink_to("a.wav")
    (folder / "c.wav").symlink_to("nowhere/take.wav")
    for name, words in (("a.wav", "leads in a circle"), ("c.wav", "there is no folder .*nowhere")):
        for refuse in (write, lambda file: refuse_outputs([file], [folder / "b.wav"])):
            with pytest.raises(CannotDo, match=words):
                refuse(folder / name)
    assert names(folder) == ["a.wav", "b.wav", "c.wav"]


def test_all_outputs_are_looked_at_before_the_first_is_written(folder):
    refuse_outputs([folder / "a.wav", folder / "neighbour.wav"], [folder / "score.mid"])
    with pytest.raises(CannotDo, match="there is no folder"):
        refuse_outputs([folder / "a.wav", folder / "nowhere" / "b.wav"], [])
    with pytest.raises(CannotDo, match="is what the music is read from"):
        refuse_outputs([folder / "a.wav", folder / "neighbour.wav"], [folder / "neighbour.wav"])


KILLED = """
import os, sys
from pathlib import Path
from render.files import written_whole
with written_whole(Path(sys.argv[1])) as temporary:
    temporary.write_bytes(b"half")
    os._exit(9)  # as after kill -9, nothing is tidied
"""


def test_what_a_killed_process_left_is_tidied_by_the_next(folder):
    command = [sys.executable, "-c", KILLED, str(folder / "take.wav")]
    assert subprocess.run(command, env=os.environ | {"PYTHONPATH": str(ROOT)}).returncode == 9
    (left,) = names(folder)
    assert left.startswith(".lentando-")
    (folder / ".lentando-mine.wav").write_bytes(b"a user's own")
    with temporary_file(folder, ".wav") as being_written:
        write(folder / "other.wav")
        assert names(folder) == sorted([being_written.path.name, ".lentando-mine.wav", "other.wav"])
    assert names(folder) == [".lentando-mine.wav", "other.wav"]


def test_what_was_read_is_not_written_over_by_any_name(tmp_path):
    score = tmp_path / "score.mid"
    score.write_bytes(b"music")
    keep_from_inputs(tmp_path / "take.mid", [score])
    others = [score, tmp_path / "." / "x" / ".." / "score.mid"]
    if os.name == "posix":
        (tmp_path / "soft.mid").symlink_to(score)
        os.link(score, tmp_path / "hard.mid")
        others += [tmp_path / "soft.mid", tmp_path / "hard.mid"]
    for name in others:
        with pytest.raises(CannotDo, match="is what the music is read from"):
            keep_from_inputs(name, [tmp_path / "plan.yaml", score])


# -- a text in the place of another one


def test_a_text_takes_the_place_of_another_one(folder):
    plan = folder / "plan.yaml"
    plan.write_bytes("a: é\r\n".encode())
    plan.chmod(0o604)
    rewrite(plan, "a: é\r\n", "a: ♩\r\n")
    assert plan.read_bytes() == "a: ♩\r\n".encode() and plan.stat().st_mode & 0o777 == 0o604
    assert names(folder) == ["plan.yaml"]


def test_a_byte_order_mark_stays(folder):
    plan = folder / "plan.yaml"
    plan.write_bytes(codecs.BOM_UTF8 + b"a: 1\n")
    rewrite(plan, "a: 1\n", "a: 2\n")
    assert plan.read_bytes() == codecs.BOM_UTF8 + b"a: 2\n"


@pytest.mark.parametrize("now", [b"a: 3\n", b"a: 1\n\n", b"\xff", b""])
def test_a_file_that_has_been_changed_meanwhile_stays(folder, now):
    plan = folder / "plan.yaml"
    plan.write_bytes(now)
    with pytest.raises(CannotDo, match="changed by someone else"):
        rewrite(plan, "a: 1\n", "a: 2\n")
    assert plan.read_bytes() == now and names(folder) == ["plan.yaml"]


def test_a_text_that_is_taken_away_meanwhile_is_not_made_anew(folder):
    with pytest.raises(CannotDo, match="changed by someone else"):
        rewrite(folder / "plan.yaml", "a: 1\n", "a: 2\n")
    assert names(folder) == []


@pytest.mark.parametrize("fault", [KeyboardInterrupt, OSError(errno.ENOSPC, "no room"), MemoryError])
def test_a_failure_while_a_text_is_written_leaves_the_old_one(folder, monkeypatch, fault):
    plan = folder / "plan.yaml"
    plan.write_bytes(b"a: 1\n")

    def fail(*_):
        raise fault

    monkeypatch.setattr(os, "replace", fail)
    with pytest.raises((KeyboardInterrupt, CannotDo, MemoryError)):
        rewrite(plan, "a: 1\n", "a: 2\n")
    assert plan.read_bytes() == b"a: 1\n" and names(folder) == ["plan.yaml"]
