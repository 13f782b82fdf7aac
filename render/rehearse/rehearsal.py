"""A sitting at work: what comes from files and pages goes to the worker, and what it makes to the board."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from render.rehearse.board import Board
from render.rehearse.clock import TakeClock
from render.rehearse.differing import differing
from render.rehearse.reading import PerformedState, Performing
from render.rehearse.showing import Showing
from render.rehearse.sitting import Sitting, State, Two, listed
from render.rehearse.takes import GrowingTake
from render.rehearse.told import remark_list
from render.rehearse.watching import Watch
from render.rehearse.wire import THE_OTHER, THE_PLAN, Hear, said, sound
from render.rehearse.worker import Work, Worker
from render.sound.joining import Synths
from render.sound.stems import RATE
from timing.changing.entries import entries
from timing.plan.planfile import read_plan
from timing.plan.yamltext import read_text
from timing.reading import Reading
from timing.remarks import CannotDo, Remark

_HEARD_FIRST = 0.7  # seconds that a take plays before it gives way to a newer one
_BEFORE_DRAWING = 2.0  # seconds of sound that come before the drawing
_EARLY = 0.03  # seconds before the playhead at which a take begins, since it is told late
_CLOCKS = 40  # takes by which a page may be behind
_PATIENCE = 1.0  # seconds that are waited at the end for the work that is being done


@dataclass(frozen=True)
class Listening:
    """Where somebody listens, as it was told at a moment of the clock."""

    reading: int
    number: int
    second: float
    playing: bool
    at: float

    @property
    def now(self) -> float:
        return self.second + (time.monotonic() - self.at if self.playing else 0.0)


class Rehearsal:
    """One plan, and perhaps another one beside it, rehearsed until it is stopped."""

    def __init__(self, plan: Path, other: Path | None = None, keep: Path | None = None):
        """CannotDo if one of the plans cannot be performed."""
        self.board, self.sitting = Board(), Sitting(plan, keep)
        self.plan, self.other = plan, other
        self.notice: Callable[[str], None] = lambda message: None  # tells all pages that are there what passes by
        paths = [plan] if other is None else [plan, other]
        self._performing = [Performing(path) for path in paths]
        self._synths = Synths()
        self._showing = Showing(self.board, lambda reading: [entry.as_json() for entry in entries(reading)])
        texts = [self.sitting.newest.text, *(read_text(path) for path in paths[1:])]
        self._heard = [each.perform(0, text) for each, text in zip(self._performing, texts, strict=True)]
        self._numbers = [0] * len(paths)
        self._clocks: list[dict[int, TakeClock]] = [{} for _ in paths]  # of the latest takes, by number
        self._judged: tuple[Reading, list[Remark]] | None = None  # the reading that was judged last
        self._two: Two | None = None  # as it was told last
        self._playhead = Listening(THE_PLAN, 0, 0.0, False, time.monotonic())
        self.worker = Worker(len(paths), self._synths.make_one, self._broken)
        self._watch = Watch(self._files, self._readable, self._changed)

    # -- begin and end

    def start(self) -> None:
        self._tell_saved()
        for kind in range(len(self._heard)):
            self.worker.begin(kind, partial(self._opened, kind))
        self.worker.start()
        self._watch.start()

    def stop(self) -> None:
        self._watch.stop()
        self.worker.stop(_PATIENCE)
        if not self.worker.is_alive():
            self._synths.close()

    @property
    def title(self) -> str:
        return self._heard[THE_PLAN].reading.performance.title

    @property
    def reading(self) -> Reading:
        """The plan's newest state that could be performed."""
        return self._heard[THE_PLAN].reading

    @property
    def performed(self) -> tuple[int, str, Reading]:
        """The same with its number and its text. CannotDo if that state is no longer there."""
        heard = self._heard[THE_PLAN]
        text = self.sitting.text_of(heard.number)
        if text is None:
            raise CannotDo.because("no-state", "the plan has changed meanwhile: try again")
        return heard.number, text, heard.reading

    def perform(self, number: int, text: str) -> PerformedState:
        """A state of the plan, performed; to be called by the worker. CannotDo lists every fault."""
        return self._performing[THE_PLAN].perform(number, text)

    def remarks_of(self, heard: PerformedState) -> list[Remark]:
        """What there is to say of a state, as the page numbers it; to be called by the worker."""
        if self._judged is None or self._judged[0] is not heard.reading:
            from soundfonts import guitar
            from timing.cautions import check

            self._judged = heard.reading, check(heard.reading, guitar)
        return self._judged[1]

    def hello(self) -> str:
        """What a page is told first."""
        names = [each.path.name for each in self._performing]
        return said(
            "hello", title=self.title, plan=self.plan.name,
            other=self.other.name if self.other else None, saved=self.sitting.newest.number, names=names,
        )  # fmt: skip

    # -- from the files

    def _files(self) -> list[Path]:
        heard = (file for each in self._heard for file in each.files)
        return list(dict.fromkeys([*(each.path for each in self._performing), *heard]))

    def _readable(self, file: Path) -> bool:
        """Whether all is well with a file as it is now; of a score nobody knows at once."""
        plans = [each.path for each in self._performing if file in (each.path, *self._chain(each.path))]
        try:
            for plan in plans:
                read_plan(plan)
        except CannotDo:
            return False
        return bool(plans)

    def _chain(self, plan: Path) -> tuple[Path, ...]:
        kind = THE_OTHER if plan == self.other else THE_PLAN
        return self._heard[kind].reading.plan.files

    def _changed(self, file: Path) -> None:
        """A file has come to rest with another content."""
        for kind, heard in enumerate(self._heard):
            if file == self._performing[kind].path or file in heard.files:
                self._take_up(kind, file)

    def _take_up(self, kind: int, file: Path) -> None:
        if file != self._performing[kind].path:
            self._performing[kind].read_anew()
        if kind == THE_OTHER:
            self._numbers[THE_OTHER] += 1
            self._begin_other(self._numbers[THE_OTHER])
            return
        try:
            state = self.sitting.arrived() if file == self.plan else self.sitting.touched(f"{file.name} was saved")
        except CannotDo as refusal:
            self._tell_faults(self.sitting.newest, refusal.remarks)
            return
        self._tell_two()
        if state is not None:
            self._begin(state)
        else:
            self._tell_saved()

    # -- from the pages

    def hear(self, wish: Hear) -> None:
        """Take note of where somebody listens."""
        if wish.reading < len(self._heard):
            self._playhead = Listening(wish.reading, wish.number, wish.second, wish.playing, time.monotonic())

    def show_on(self, paper: str) -> None:
        """Some page shows the music on this paper."""
        self._showing.want(paper)

    def put(self, make: Callable[[], State | None]) -> None:
        """Let the sitting make a state, and take it up."""
        state = make()
        self._tell_two()
        if state is None:
            self._tell_saved()
        else:
            self._begin(state)

    def _tell_two(self) -> None:
        """Tell of the two texts that claim to be the plan, or that there are none any more."""
        two = self.sitting.two
        if two == self._two:
            return
        self._two = two
        values = {"ours": two.ours, "theirs": two.theirs, "difference": two.difference} if two else {}
        self.board.post("two", said("two", **({"ours": None, "theirs": None, "difference": None} | values)))

    # -- what is told

    def _tell_saved(self, faults: Iterable[dict[str, Any]] = ()) -> None:
        state, sitting = self.sitting.newest, self.sitting
        message = said(
            "saved", number=state.number, text=state.text, by=state.by, faults=list(faults),
            states=listed(sitting.states), undo=sitting.can_undo, redo=sitting.can_redo,
        )  # fmt: skip
        self.board.post("saved", message)

    def _tell_faults(self, state: State, faults: Iterable[Remark]) -> None:
        if state.number == self.sitting.newest.number:
            self._tell_saved(remark_list(tuple(faults), self.plan))

    def _tell(self, words: str) -> None:
        self.notice(said("told", words=words))

    def _broken(self, fault: Exception) -> None:
        """A fault of ours, or of a library: it is told, and the work goes on."""
        if isinstance(fault, CannotDo):
            self._tell(str(fault))
        else:
            self._tell(f"something went wrong here ({type(fault).__name__}: {fault}); the plan is safe in its file")

    # -- the work

    def _opened(self, kind: int) -> Work:
        return self._sounding(kind, self._heard[kind])

    def _begin(self, state: State) -> None:
        self._tell_saved()
        self.worker.begin(THE_PLAN, lambda: self._performed(state))

    def _begin_other(self, number: int) -> None:
        self.worker.begin(THE_OTHER, lambda: self._performed_other(number))

    def _performed(self, state: State) -> Work:
        try:
            heard = self.perform(state.number, state.text)
        except CannotDo as refusal:
            self._tell_faults(state, refusal.remarks)
            return
        yield from self._sounding(THE_PLAN, heard)

    def _performed_other(self, number: int) -> Work:
        try:
            heard = self._performing[THE_OTHER].perform(number, read_text(self._performing[THE_OTHER].path))
        except CannotDo as refusal:
            self._tell(f"{self._performing[THE_OTHER].path.name}: {refusal}")
            return
        yield from self._sounding(THE_OTHER, heard)

    def _sounding(self, kind: int, heard: PerformedState) -> Work:
        """Let a performed state be heard, then seen, then judged."""
        before, self._heard[kind] = self._heard[kind], heard
        clocks = self._clocks[kind]
        clocks[heard.number] = heard.clock
        while len(clocks) > _CLOCKS:
            del clocks[next(iter(clocks))]
        self.board.take_down(lambda key: isinstance(key, tuple) and key[:2] in (("sound", kind), ("whole", kind)))
        place = {"number": heard.number, "reading": kind, "room": heard.reading.plan.room}
        self.board.post(("clock", kind), said("clock", **place, **heard.clock.values()))
        self._synths.want([stave for each in self._heard for stave in each.joining.staves])
        take = GrowingTake(heard.joining, lambda: self._frame(kind, heard))
        made, shown = 0, False
        for first, block in take.blocks(self._synths):
            self.board.post(("sound", kind, first), sound(kind, heard.number, first, take.frames or 0, block))
            made += len(block)
            yield made >= _HEARD_FIRST * RATE
            if not shown and made >= _BEFORE_DRAWING * RATE:
                shown = True
                yield from self._seen(kind, before, heard)
        if not shown:
            yield from self._seen(kind, before, heard)
        self.board.post(("whole", kind), said("whole", number=heard.number, reading=kind, frames=take.frames))
        yield True
        self._judge(kind, heard)

    def _seen(self, kind: int, before: PerformedState, heard: PerformedState) -> Work:
        self._tell_differing(kind, before, heard)
        yield True
        self._draw(kind, heard)
        yield True

    def _frame(self, kind: int, heard: PerformedState) -> int:
        """The frame of a take at which somebody listens, or would."""
        head = self._playhead
        there = self._clocks[head.reading].get(head.number)
        second = head.now if there is None else there.carried(head.now, heard.clock)
        return int(max(second - _EARLY, 0.0) * RATE)

    def _tell_differing(self, kind: int, before: PerformedState, heard: PerformedState) -> None:
        if kind != THE_PLAN or before is heard:
            return
        span = differing(before.reading.performance, heard.reading.performance)
        start, end = span or (None, None)
        self.board.post("differs", said("differs", number=heard.number, **{"from": start, "until": end}))

    def _draw(self, kind: int, heard: PerformedState) -> None:
        self._showing.show(kind, heard.number, heard.reading)

    def _judge(self, kind: int, heard: PerformedState) -> None:
        remarks = remark_list(self.remarks_of(heard), self._performing[kind].path, heard.reading)
        self.board.post(("remarks", kind), said("remarks", number=heard.number, reading=kind, remarks=remarks))
