"""The one thread that reads, performs, renders and draws. Of what waits for it only the newest counts; but what has
begun plays its first moments before it gives way, or of a drag nothing would ever be heard.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator
from contextlib import suppress
from threading import Condition, Thread

MOST_WAITING = 100  # tasks

Work = Iterator[bool]  # work, piece by piece; what it yields says whether it may be given up after that


class Worker(Thread):
    """Does pieces of work: short tasks first, then the newest job of the first kind that has one, then what is idle."""

    def __init__(self, kinds: int, idle: Callable[[], bool], broken: Callable[[Exception], None]):
        """`kinds` of jobs, the first ones first; `idle` does a piece of what may be done at leisure and says whether
        there was any; `broken` is told what should not have happened, and the work goes on."""
        super().__init__(name="rehearsing", daemon=True)
        self._idle, self._broken = idle, broken
        self._wake = Condition()
        self._tasks: deque[tuple[object, Callable[[], None]]] = deque()
        self._waiting: list[Callable[[], Work] | None] = [None] * kinds
        self._jobs: list[Work | None] = [None] * kinds
        self._held: int | None = None  # the kind of the job that may not be given up yet
        self._stopped = False

    def do(self, task: Callable[[], None], instead_of: object = None) -> bool:
        """Do a task after those that wait, in the place of the last one if that has the same name; False where too many
        wait."""
        with self._wake:
            if instead_of is not None and self._tasks and self._tasks[-1][0] == instead_of:
                self._tasks.pop()
            if len(self._tasks) >= MOST_WAITING:
                return False
            self._tasks.append((instead_of, task))
            self._wake.notify()
            return True

    def begin(self, kind: int, job: Callable[[], Work]) -> None:
        """Begin a job in the place of what waits or is being done of its kind."""
        with self._wake:
            self._waiting[kind] = job
            self._wake.notify()

    def wake(self) -> None:
        with self._wake:
            self._wake.notify()

    def stop(self, seconds: float) -> None:
        """Stop after the piece of work that is being done; wait at most so long for that."""
        with self._wake:
            self._stopped = True
            self._wake.notify()
        self.join(seconds)

    def run(self) -> None:
        while not self._stopped:
            try:
                if not self._piece():
                    with self._wake:
                        if not (self._stopped or self._tasks or any(self._waiting)):
                            self._wake.wait()
            except Exception as fault:
                self._broken(fault)
        for job in self._jobs:
            _give_up(job)

    def _piece(self) -> bool:
        """Do one piece of work; False where there is none."""
        if self._held is not None:
            return self._go_on(self._held)
        with self._wake:
            task = self._tasks.popleft()[1] if self._tasks else None
        if task is not None:
            task()
            return True
        for kind, job in enumerate(self._jobs):
            with self._wake:
                begun, self._waiting[kind] = self._waiting[kind], None
            if begun is not None:
                _give_up(job)
                self._jobs[kind] = begun()
                return self._go_on(kind)
            if job is not None:
                return self._go_on(kind)
        return self._idle()

    def _go_on(self, kind: int) -> bool:
        job, self._held = self._jobs[kind], None
        assert job is not None
        try:
            may_give_way = next(job)
        except StopIteration:
            self._jobs[kind] = None
        except BaseException:
            self._jobs[kind] = None
            raise
        else:
            self._held = None if may_give_way else kind
        return True


def _give_up(job: Work | None) -> None:
    if job is not None:
        with suppress(Exception):
            job.close()  # type: ignore[attr-defined]  # they are generators
