"""Files that are watched: what counts is what they hold once they have come to rest. No test looks at a clock; each
waits until something is told, or until something else that comes later is."""

from __future__ import annotations

import os
import queue
import time

import pytest

from render.rehearse.watching import Watch

PATIENCE = 20  # seconds, for a machine that has much else to do


class Told:
    """A watch on files; `next` is what it tells next, as (name, content)."""

    def __init__(self, *files, readable=lambda text: not text.startswith("?")):
        self.files, self._queue = list(files), queue.Queue()
        self._good = readable
        self.watch = Watch(lambda: self.files, self._readable, self._changed)
        self.watch.start()
        self.begin()

    def _readable(self, file):
        return self._good(file.read_text())

    def _changed(self, file):
        self._queue.put((file.name, file.read_text() if file.exists() else None))

    def begin(self):
        """The folders are watched from some moment on; what is saved before is found when all is looked at anyhow."""

    def next(self):
        return self._queue.get(timeout=PATIENCE)

    def quiet(self):
        return self._queue.empty()

    def close(self):
        self.watch.stop()
        self.watch.join(PATIENCE)
        assert not self.watch.is_alive()


@pytest.fixture
def told(tmp_path):
    opened = []

    def watching(*names, **options):
        files = [tmp_path / name for name in names]
        for file in files:
            if file.parent.is_dir() and not file.exists():
                file.write_text("first")
        opened.append(Told(*files, **options))
        return (*files, opened[-1])

    yield watching
    for each in opened:
        each.close()


def replaced(file, text):
    new = file.with_suffix(".new")
    new.write_text(text)
    os.replace(new, file)


def test_saving_in_place_by_a_rename_and_by_moving_away_is_seen(told):
    plan, watch = told("plan.yaml")
    plan.write_text("in place")
    assert watch.next() == ("plan.yaml", "in place")
    replaced(plan, "by a rename")
    assert watch.next() == ("plan.yaml", "by a rename")
    plan.rename(plan.with_suffix(".old"))
    plan.write_text("moved away before")
    assert watch.next() == ("plan.yaml", "moved away before")


def test_the_same_content_is_no_news(told):
    plan, watch = told("plan.yaml")
    replaced(plan, "first")
    os.utime(plan)
    replaced(plan, "second")
    assert watch.next() == ("plan.yaml", "second") and watch.quiet()


def test_what_is_gone_is_told_and_so_is_its_return(told):
    plan, watch = told("plan.yaml")
    plan.unlink()
    assert watch.next() == ("plan.yaml", None)
    plan.write_text("back")
    assert watch.next() == ("plan.yaml", "back")


def test_a_folder_that_goes_and_comes_back_is_watched_again(told, tmp_path):
    (tmp_path / "music").mkdir()
    plan, watch = told("music/plan.yaml")
    (tmp_path / "music").rename(tmp_path / "away")
    assert watch.next() == ("plan.yaml", None)
    (tmp_path / "away").rename(tmp_path / "music")
    assert watch.next() == ("plan.yaml", "first")
    replaced(plan, "second")
    assert watch.next() == ("plan.yaml", "second")


def test_half_a_file_is_never_told_where_the_rest_follows(told):
    """In place and in two goes: the first is refused, so it waits for the second."""
    plan, watch = told("plan.yaml")
    for number in range(20):
        with plan.open("w") as file:
            file.write("?")
            file.flush()
            time.sleep(0.02)  # longer than a readable one has to be still
            file.seek(0)
            file.write(f"{number}")
        seen = watch.next()
        while seen == ("plan.yaml", ""):  # emptied, and then the machine had something else to do
            seen = watch.next()
        assert seen == ("plan.yaml", f"{number}")
    assert watch.quiet()


def test_a_plan_that_stays_refused_is_told_as_well(told):
    plan, watch = told("plan.yaml")
    replaced(plan, "? no plan")
    assert watch.next() == ("plan.yaml", "? no plan")


def test_a_burst_of_saves_is_told_in_order_and_ends_with_the_last(told):
    plan, watch = told("plan.yaml")
    for number in range(60):
        replaced(plan, f"{number}")
        time.sleep(0.01)
    seen = []
    while not seen or seen[-1] != 59:
        seen.append(int(watch.next()[1]))
    assert seen == sorted(set(seen)) and watch.quiet()


def test_files_in_several_folders_and_such_as_come_later_are_watched(told, tmp_path):
    (tmp_path / "scores").mkdir()
    plan, score, watch = told("plan.yaml", "scores/a.abc")
    replaced(score, "another score")
    assert watch.next() == ("a.abc", "another score")
    (tmp_path / "older").mkdir()
    older = tmp_path / "older" / "older.yaml"
    older.write_text("older")
    watch.files.append(older)
    replaced(plan, "based on the older one")
    assert watch.next() == ("plan.yaml", "based on the older one")
    replaced(older, "older, changed")
    assert watch.next() == ("older.yaml", "older, changed")


def test_a_link_is_followed(told, tmp_path):
    (tmp_path / "real").mkdir()
    real = tmp_path / "real" / "real.yaml"
    real.write_text("first")
    (tmp_path / "plan.yaml").symlink_to(real)
    _, watch = told("plan.yaml")
    replaced(real, "second")
    assert watch.next() == ("plan.yaml", "second")


def test_no_file_stays_open(told):
    plan, watch = told("plan.yaml")
    replaced(plan, "warm")
    watch.next()
    open_files = len(os.listdir("/proc/self/fd")) if os.path.isdir("/proc/self/fd") else 0
    for number in range(50):
        replaced(plan, f"{number}")
        watch.next()
    now = len(os.listdir("/proc/self/fd")) if open_files else 0
    assert now <= open_files + 1
