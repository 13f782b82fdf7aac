"""Being asked to stop: by Ctrl-C, or by the system. Both leave through the same doors, so that files are taken away.

This is imported before all else, so it imports nothing that takes time.
"""

from __future__ import annotations

import os
import signal
import sys

from render.commands.status import INTERRUPTED, TERMINATED

_SAID = "interrupted: nothing half-written is left behind"
_AGAIN = 0.01  # seconds after which a lost interrupt is asked for again


def stand_by() -> None:
    """Until `heed_interrupts`, leave at once after Ctrl-C: nothing has begun by then, and what is raised while a module
    is imported may come out as a fault of its own."""
    if signal.getsignal(signal.SIGINT) is signal.default_int_handler:  # else we were started to go on regardless
        signal.signal(signal.SIGINT, _leave_at_once)


def heed_interrupts() -> None:
    """Leave as after Ctrl-C when the system asks, and never lose such a wish.

    Python throws away what is raised within a destructor or a library's callback; where that was an interrupt, it
    comes once more as soon as they are done.
    """
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(TERMINATED))
    sys.unraisablehook = _ask_again
    if signal.getsignal(signal.SIGINT) is _leave_at_once:
        signal.signal(signal.SIGINT, signal.default_int_handler)


def leave(status: int) -> None:
    """End the process. It is on its way already, so who asks once more is not heard while files are taken away."""
    for asked in (signal.SIGINT, signal.SIGTERM):
        signal.signal(asked, signal.SIG_IGN)
    if status == INTERRUPTED:
        print(_SAID, file=sys.stderr)
    sys.exit(status)


def _leave_at_once(*_: object) -> None:
    try:
        os.write(2, f"{_SAID}\n".encode())
    finally:
        os._exit(INTERRUPTED)


def _ask(number: signal.Signals) -> None:
    """Ask the main thread, which may be waiting: where the system allows it, it is woken."""
    import threading
    from _thread import interrupt_main

    main = threading.main_thread().ident
    if hasattr(signal, "pthread_kill") and main is not None:
        signal.pthread_kill(main, number)
    else:
        interrupt_main(number)


def _ask_again(lost: sys.UnraisableHookArgs) -> None:
    from threading import Timer

    wishes = {KeyboardInterrupt: signal.SIGINT, SystemExit: signal.SIGTERM}
    if lost.exc_type in wishes:
        Timer(_AGAIN, _ask, [wishes[lost.exc_type]]).start()
    else:
        sys.__unraisablehook__(lost)
