"""The command `lentando`: how it begins, and how it is left.

Exit status: 0 all is well (or there is only advice), 1 there is a caution, 2 it cannot be done, 130 interrupted
(143 terminated), as shells have it.

Nothing is imported here but what being asked to stop takes: all else takes tenths of a second.
"""

from __future__ import annotations

import sys

try:
    from render.commands.interrupts import heed_interrupts, leave, stand_by
    from render.commands.status import DONE, IMPOSSIBLE, INTERRUPTED
except KeyboardInterrupt:
    sys.exit(130)

TYPE_CHECKING = False  # as in `typing`
if TYPE_CHECKING:
    from collections.abc import Callable


def main() -> None:
    """Run the command; a user's mistake ends in words, never in a traceback."""
    stand_by()
    from render.commands.app import app
    from render.commands.outlets import open_outlets
    from timing.remarks import CannotDo

    status = INTERRUPTED
    try:
        output = open_outlets()
        heed_interrupts()
        try:
            status = _run(app)
            sys.stdout.flush()
        except CannotDo as refusal:
            from render.commands.terminal import console
            from render.telling.report import show_remarks

            show_remarks(console(stderr=True), refusal.remarks)
            status = IMPOSSIBLE
        except OSError as fault:  # of the system itself: too many files are open, a disk fails
            print(f"it cannot be done: {fault}", file=sys.stderr)
            status = IMPOSSIBLE
        if output.fault is not None:
            print(f"the output cannot be written: {output.fault.strerror}", file=sys.stderr)
            status = IMPOSSIBLE
    except KeyboardInterrupt:
        status = INTERRUPTED
    leave(status)


def _run(app: Callable[[], None]) -> int:
    try:
        app()
    except SystemExit as leaving:  # typer ends every run so; an interrupt is 130
        return int(leaving.code or 0)
    return DONE


if __name__ == "__main__":
    main()
