"""Taps are looked at beside all other work: a fit takes its time, and the sound does not wait for it."""

from __future__ import annotations

from collections.abc import Callable
from threading import Lock, Thread
from typing import Any

from render.rehearse import taps
from render.rehearse.rehearsal import Rehearsal
from render.rehearse.wire import said
from timing.remarks import CannotDo

_BUSY = "your last taps are still being looked at: a moment more"


class TapDesk:
    """Answers what pages ask about taps, one after the other."""

    def __init__(self, rehearsal: Rehearsal):
        self._rehearsal, self._busy = rehearsal, Lock()

    def take(self, message: dict[str, Any], answer: Callable[[str], None]) -> None:
        """Take what a page asks; it is answered from another thread."""
        if not self._busy.acquire(blocking=False):
            answer(said("told", words=_BUSY))
            return
        Thread(target=self._look, args=(message, answer), name="tapped", daemon=True).start()

    def _look(self, message: dict[str, Any], answer: Callable[[str], None]) -> None:
        try:
            if taps.understood(message).what == "take":
                self._change(message, answer)
            else:
                answer(said("taps", **taps.answer(self._rehearsal.reading, message)))
        except CannotDo as refusal:
            answer(said("taps", what="refused", words=str(refusal)))
        except Exception as fault:  # of ours: it is told, and the next taps are looked at all the same
            answer(said("taps", what="refused", words=f"something went wrong here ({type(fault).__name__}: {fault})"))
        finally:
            self._busy.release()

    def _change(self, message: dict[str, Any], answer: Callable[[str], None]) -> None:
        """Make the change on the newest state that could be performed."""
        rehearsal = self._rehearsal
        number, text, reading = rehearsal.performed
        made = taps.changed(reading, text, rehearsal.plan, message)

        def put() -> None:
            try:
                rehearsal.put(lambda: rehearsal.sitting.changed(number, made, "tapped"))
            except CannotDo as refusal:
                answer(said("told", words=str(refusal)))

        rehearsal.worker.do(put)
