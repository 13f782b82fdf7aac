"""Being asked to stop: by Ctrl-C, or by the system. Both leave through the same doors, so that files are taken away."""

from __future__ import annotations

import signal
import sys

from render.terminal import TERMINATED

_AGAIN = 0.01  # seconds after which a lost interrupt is asked for again


def heed_interrupts() -> None:
    """Leave as after Ctrl-C when the system asks, and never lose such a wish.

    Python throws away what is raised within a destructor or a library's callback; where that was an interrupt, it
    comes once more as soon as they are done.
    """
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(TERMINATED))
    sys.unraisablehook = _ask_again


def _ask_again(lost: sys.UnraisableHookArgs) -> None:
    from _thread import interrupt_main
    from threading import Timer

    wishes = {KeyboardInterrupt: signal.SIGINT, SystemExit: signal.SIGTERM}
    if lost.exc_type in wishes:
        Timer(_AGAIN, interrupt_main, [wishes[lost.exc_type]]).start()
    else:
        sys.__unraisablehook__(lost)
