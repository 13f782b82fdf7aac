"""The worker: what it does first, and what gives way to what. And the board that all pages take from."""

from __future__ import annotations

from threading import Event

import pytest
from hypothesis import given
from hypothesis import strategies as st

from render.rehearse.board import Board
from render.rehearse.worker import MOST_WAITING, Worker

PATIENCE = 20  # seconds


class Bench:
    """A worker that notes what it does."""

    def __init__(self, kinds: int = 2):
        self.done: list[object] = []
        self.faults: list[Exception] = []
        self.idled = 0
        self.worker = Worker(kinds, self._idle, self.faults.append)

    def _idle(self) -> bool:
        self.idled += 1
        return False

    def job(self, name: str, holds: int, pieces: int, between=None):
        """A job of so many pieces, of which it may not be given up before it `holds` no more."""

        def made():
            try:
                for number in range(pieces):
                    self.done.append((name, number))
                    if between is not None:
                        between(number)
                    yield number + 1 >= holds
                self.done.append((name, "whole"))
            finally:
                self.done.append((name, "left"))

        return made

    def all(self) -> list[object]:
        """What is done until there is nothing left to do."""
        over = Event()
        self.worker.start()

        def rest():
            if any(self.worker._waiting) or any(self.worker._jobs):
                self.worker.do(rest)
            else:
                over.set()

        over.clear()
        self.worker.do(rest)
        assert over.wait(PATIENCE)
        self.worker.stop(PATIENCE)
        return self.done


def test_of_what_waits_only_the_newest_is_done():
    bench = Bench()
    for name in "abc":
        bench.worker.begin(0, bench.job(name, 1, 3))
    assert bench.all() == [("c", 0), ("c", 1), ("c", 2), ("c", "whole"), ("c", "left")]


@pytest.mark.parametrize("holds", [1, 3, 5])
def test_what_has_begun_is_heard_before_it_gives_way(holds):
    """If every newer one put an end to the one before, nothing would ever be heard of a drag."""
    bench = Bench()

    def newer(number):
        if number == 0:
            bench.worker.begin(0, bench.job("newer", 1, 2))

    bench.worker.begin(0, bench.job("older", holds, 10, newer))
    done = bench.all()
    assert [number for name, number in done if name == "older"] == [*range(holds), "left"]
    assert done[-2:] == [("newer", "whole"), ("newer", "left")]


def test_tasks_come_in_order_and_between_the_pieces_of_a_job():
    bench = Bench()

    def asked(number):
        bench.worker.do(lambda: bench.done.append(number))

    bench.worker.begin(0, bench.job("job", 2, 4, asked))
    done = [each for each in bench.all() if each not in (("job", "whole"), ("job", "left"))]
    assert done == [("job", 0), ("job", 1), 0, 1, ("job", 2), 2, ("job", 3), 3]


def test_the_first_kind_goes_before_the_second():
    bench = Bench()
    bench.worker.begin(1, bench.job("other", 1, 2, lambda n: n or bench.worker.begin(0, bench.job("plan", 1, 2))))
    names = [name for name, _ in bench.all()]
    assert names == ["other", "plan", "plan", "plan", "plan", "other", "other", "other"]


def test_the_last_task_gives_way_to_one_of_the_same_name_and_keeps_its_turn():
    bench = Bench()
    for name, what in (("drawing", 1), ("drawing", 2), (None, 3), ("drawing", 4), ("drawing", 5)):
        bench.worker.do(lambda what=what: bench.done.append(what), name)
    assert bench.all() == [2, 3, 5]


def test_too_many_tasks_are_not_taken():
    bench = Bench()
    taken = [bench.worker.do(lambda: None) for _ in range(MOST_WAITING + 5)]
    assert taken == [True] * MOST_WAITING + [False] * 5


def test_a_fault_ends_its_job_and_nothing_else():
    bench = Bench()

    def broken():
        yield True
        raise ZeroDivisionError

    def task():
        raise KeyError

    bench.worker.begin(0, broken)
    bench.worker.begin(1, bench.job("other", 1, 2))
    bench.worker.do(task)
    assert ("other", "whole") in bench.all()
    assert sorted(type(fault).__name__ for fault in bench.faults) == ["KeyError", "ZeroDivisionError"]


def test_what_is_stopped_leaves_its_job():
    bench, begun = Bench(), Event()

    def endless():
        try:
            while True:
                begun.set()
                yield True
        finally:
            bench.done.append("left")

    bench.worker.begin(0, endless)
    bench.worker.start()
    assert begun.wait(PATIENCE)
    bench.worker.stop(PATIENCE)
    assert bench.done == ["left"] and not bench.worker.is_alive()


# -- the board


@given(st.lists(st.tuples(st.sampled_from("abcde"), st.booleans()), max_size=60), st.data())
def test_each_page_is_told_the_newest_of_everything_in_order(posts, data):
    """However slow a page is: what it takes rises, and in the end it has the last word of every kind."""
    board, had, serials, serial = Board(), {}, [], 0
    for number, (key, gone) in enumerate(posts):
        if gone:
            board.take_down(lambda each, key=key: each == key)
        else:
            board.post(key, f"{key}{number}")
        for _ in range(data.draw(st.integers(0, 2))):
            if (told := board.after(serial)) is not None:
                serial, content = told
                serials.append(serial)
                had[content[0]] = content
    while (told := board.after(serial)) is not None:
        serial, content = told
        serials.append(serial)
        had[content[0]] = content
    assert serials == sorted(set(serials))
    last = {}
    for number, (key, gone) in enumerate(posts):
        if gone:
            last.pop(key, None)
        else:
            last[key] = f"{key}{number}"
    assert last.items() <= had.items()
    late, serial = {}, 0
    while (told := board.after(serial)) is not None:
        serial, content = told
        late[content[0]] = content
    assert late == last


def test_who_listens_is_told_until_it_leaves():
    board, heard = Board(), []
    leave = board.listen(lambda: heard.append(1))
    board.post("a", "a")
    leave()
    board.post("a", "b")
    assert heard == [1]


def test_what_is_past_takes_no_room():
    board = Board()
    for number in range(10_000):
        board.post("a", str(number))
    assert len(board._serials) < 300 and len(board._held) == 1
