"""The plan of a sitting: its text, state after state, and the one file that it stands in.

The file is the one truth. What is changed on the page is written there at once; what changes there becomes the next
state. Where both change at a time, the file's text goes on, and the page's is kept until somebody has chosen.
"""

from __future__ import annotations

import difflib
import time
import zlib
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from threading import RLock

from render.files import rewrite, written_whole
from timing.plan.yamltext import MAX_BYTES, read_text
from timing.remarks import CannotDo

MOST_STATES = 1_000  # that can be brought back, and steps that can be undone
_MOST_LINES = 10_000  # of two texts whose difference is shown


@dataclass(frozen=True)
class State:
    """The plan as it was saved at some moment: `by` the file, the page, undo, redo or back; what was `said` of it."""

    number: int
    text: str
    by: str
    at: float  # seconds since 1970
    said: str
    drawn_from: int | None = None  # while something is drawn by hand: the state from which, and all is one step


@dataclass(frozen=True)
class Earlier:
    """A state that can be brought back."""

    number: int
    packed: bytes
    at: float
    said: str

    @property
    def text(self) -> str:
        return zlib.decompress(self.packed).decode()


@dataclass(frozen=True)
class Two:
    """Two texts that claim to be the plan's next one: that of the page, and that of the file."""

    ours: str
    theirs: str

    @property
    def difference(self) -> str:
        """What the page's text changes in the file's, as lines that begin with a space, + or -."""
        theirs, ours = self.theirs.splitlines(), self.ours.splitlines()
        if len(theirs) + len(ours) > _MOST_LINES:
            return ""
        return "\n".join(list(difflib.unified_diff(theirs, ours, lineterm="", n=2))[2:])


class Sitting:
    """All that became of one plan since it was opened. Every method may be called from any thread."""

    def __init__(self, path: Path, keep: Path | None = None):
        """CannotDo if the plan cannot be read, or `keep`, where the earlier states are written, is no folder."""
        if keep is not None and not keep.is_dir():
            raise CannotDo.because("no-folder", f"there is no folder {keep} in which to keep the earlier states", keep)
        self.path, self._keep, self._lock = path, keep, RLock()
        text = read_text(path)
        self._disk: str | None = text  # what the file holds as far as we know; None: there is none
        self._newest, self._last = State(0, text, "file", time.time(), "opened"), 0
        self._begun = time.strftime("%Y%m%d-%H%M%S")
        self._states = [_packed(self._newest)]
        self._past: list[bytes] = []
        self._future: list[bytes] = []
        self.two: Two | None = None

    @property
    def newest(self) -> State:
        return self._newest

    @property
    def states(self) -> tuple[Earlier, ...]:
        with self._lock:
            return tuple(self._states)

    @property
    def can_undo(self) -> bool:
        return bool(self._past)

    @property
    def can_redo(self) -> bool:
        return bool(self._future)

    # -- from the disk

    def arrived(self) -> State | None:
        """Look at the file again: the state that its text makes, if it is another one. CannotDo if there is no plan."""
        with self._lock:
            try:
                text = read_text(self.path)
            except CannotDo:
                if not self.path.exists():
                    self._disk = None
                raise
            known, self._disk = self._disk, text
            if text == self._newest.text or text == known:
                return None
            return self._go_on(text, "file", f"{self.path.name} was saved")

    def touched(self, said: str) -> State:
        """The same text once more, since something that it is read with is another one."""
        with self._lock:
            return self._become(self._state(self._newest.text, "file", said))

    # -- from the page

    def typed(self, text: str, number: int | None = None) -> State | None:
        """The text as it was typed, on top of the state with this number; None where it is the same. Where the plan is
        another one by now, both are kept (`two`)."""
        with self._lock:
            text = self._as_its_lines_end(text)
            if len(text.encode(errors="replace")) > MAX_BYTES:
                raise CannotDo.because("plan-size", "this is too long for a plan")
            if text == self._newest.text:
                return None
            if number is not None and number != self._newest.number and self.text_of(number) != self._newest.text:
                self.two = Two(text, self._newest.text)
                return None
            self._leave_two()  # whoever goes on from the file's text has chosen
            return self._put(text, "page", "typed")

    def changed(self, number: int, text: str, said: str, drawing: bool = False) -> State | None:
        """The text as a change of the state with this number makes it; None where it is the same.

        While somebody is `drawing`, one change comes in the place of the other, each made on the same state, until one
        that ends it. CannotDo where the plan is another one by now.
        """
        with self._lock:
            newest = self._newest
            going_on = newest.drawn_from == number
            if not going_on and number != newest.number and self.text_of(number) != newest.text:
                message = "the plan has changed meanwhile, so nothing was done: try again"
                raise CannotDo.because("plan-changed", message, self.path)
            if text == newest.text:
                self._newest = newest if drawing else replace(newest, drawn_from=None)
                return None
            return self._put(text, "page", said, one_step=going_on, drawn_from=number if drawing else None)

    def undo(self) -> State | None:
        """Take back the last change; None where there is none."""
        with self._lock:
            if not self._past:
                return None
            text, now = _unpacked(self._past[-1]), self._newest.text
            state = self._put(text, "undo", "taken back", keeping_past=True)
            if state is not None:
                self._past.pop()
                self._future.append(_pack(now))
            return state

    def redo(self) -> State | None:
        """Make the change again that was taken back last; None where there is none."""
        with self._lock:
            if not self._future:
                return None
            text, future, now = _unpacked(self._future[-1]), self._future[:-1], self._newest.text
            state = self._put(text, "redo", "made again", keeping_past=True)
            if state is not None:
                self._future = future
                self._past.append(_pack(now))
            return state

    def back(self, to: int) -> State | None:
        """Bring back the state with this number, as a change that can be undone. CannotDo if it is not known."""
        with self._lock:
            text = self.text_of(to)
            if text is None:
                raise CannotDo.because("no-state", f"there is no state {to} in this sitting")
            return None if text == self._newest.text else self._put(text, "back", f"state {to} brought back")

    def settle(self, keep_ours: bool) -> State | None:
        """Choose between the two texts. The other one can be brought back as an earlier state."""
        with self._lock:
            if self.two is None:
                return None
            ours, theirs = self.two.ours, self._newest.text
            if keep_ours:
                self.two = None
                return self._put(ours, "page", "the page's text chosen")
            self._leave_two()
            return self._become(self._state(theirs, "file", "the file's text chosen"))

    def text_of(self, number: int) -> str | None:
        """The text of a state of this sitting."""
        with self._lock:
            if number == self._newest.number:
                return self._newest.text
            return next((state.text for state in self._states if state.number == number), None)

    # -- what becomes of it

    def _put(
        self, text: str, by: str, said: str, *, keeping_past: bool = False, one_step: bool = False,
        drawn_from: int | None = None,
    ) -> State | None:  # fmt: skip
        """Write a text into the file, and go on from there; where the file holds another one by now, with that."""
        try:
            if self.path.exists():
                rewrite(self.path, self._newest.text if self._disk is None else self._disk, text)
            else:
                with written_whole(self.path) as temporary:
                    temporary.write_bytes(text.encode())
        except CannotDo as refusal:
            if refusal.remarks[0].code != "plan-changed":
                raise
            theirs = read_text(self.path)
            if theirs != text:
                self._disk = theirs
                self.two = Two(text, theirs)
                return self._go_on(theirs, "file", f"{self.path.name} was saved")
        self._disk = text
        if keeping_past:
            return self._become(self._state(text, by, said))
        return self._go_on(text, by, said, one_step=one_step, drawn_from=drawn_from)

    def _go_on(
        self, text: str, by: str, said: str, *, one_step: bool = False, drawn_from: int | None = None
    ) -> State:
        if not one_step:
            self._past = [*self._past[1 - MOST_STATES :], _pack(self._newest.text)]
        self._future = []
        return self._become(self._state(text, by, said, drawn_from), one_step)

    def _state(self, text: str, by: str, said: str, drawn_from: int | None = None) -> State:
        self._last += 1
        return State(self._last, text, by, time.time(), said, drawn_from)

    def _leave_two(self) -> None:
        """Keep the page's text of two, which nobody has chosen, as an earlier state."""
        if self.two is not None:
            self._remember(self._state(self.two.ours, "page", "typed, not chosen"))
            self.two = None

    def _become(self, state: State, one_step: bool = False) -> State:
        if one_step:
            self._states.pop()
        elif self._keep is not None and state.text != self._newest.text:
            self._put_aside(self._keep)
        self._newest = state
        self._remember(state)
        return state

    def _remember(self, state: State) -> None:
        self._states.append(_packed(state))
        del self._states[:-MOST_STATES]

    def _put_aside(self, folder: Path) -> None:
        """Write what is the newest state so far beside others of this sitting, over nothing that is there."""
        file = folder / f"{self.path.stem}-{self._begun}-{self._newest.number:04}{self.path.suffix}"
        if not file.exists():
            with written_whole(file) as temporary:
                temporary.write_bytes(self._newest.text.encode())

    def _as_its_lines_end(self, text: str) -> str:
        """The text with the line ends of the plan, since a browser knows one kind only."""
        now = self._newest.text
        if now.count("\r\n") and now.count("\r\n") == now.count("\n") and "\r" not in text:
            return text.replace("\n", "\r\n")
        return text


def listed(states: Iterable[Earlier]) -> list[dict]:
    """Earlier states as a page shows them."""
    return [{"number": state.number, "at": round(state.at, 3), "said": state.said} for state in states]


def _pack(text: str) -> bytes:
    return zlib.compress(text.encode(), 1)


def _unpacked(packed: bytes) -> str:
    return zlib.decompress(packed).decode()


def _packed(state: State) -> Earlier:
    return Earlier(state.number, _pack(state.text), state.at, state.said)
