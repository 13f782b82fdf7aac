"""From a plan, or a score, to a page that is served until somebody interrupts it."""

from __future__ import annotations

from pathlib import Path

from rich.console import Console
from rich.text import Text

from render.commands.drafts import write_draft
from timing.plan.planfile import PLANS, SCORES
from timing.remarks import CannotDo

_SOFTLY = "start with the volume low, above all in headphones; Ctrl-C ends it"


def rehearse_plan(
    plan: Path, other: Path | None, port: int, browser: bool, keep: Path | None, console: Console
) -> None:
    """Serve the page of a plan. CannotDo if it, the other plan, the folder or the port is not possible."""
    from render.rehearse.desk import Desk
    from render.rehearse.rehearsal import Rehearsal
    from render.rehearse.server import open_port, serve

    with open_port(port) as opened:
        if plan.suffix.lower() in SCORES:
            plan = _drafted(plan, console)
        if other is not None and other.resolve() == plan.resolve():
            raise CannotDo.because("plan-twice", f"{other} is the plan itself: name another one to be heard with it")
        rehearsal = Rehearsal(plan, other, keep)

        def begun(address: str) -> None:
            print(address, flush=True)
            console.print(Text(f"{plan}: {_SOFTLY}", style="dim"))
            if browser:
                _open(address)

        rehearsal.start()
        try:
            serve(Desk(rehearsal), opened, begun)
        except KeyboardInterrupt:
            console.print(Text(f"the plan is in {plan}"))
        finally:
            rehearsal.stop()


def _drafted(score: Path, console: Console) -> Path:
    """The plan beside a score: the one that is there, or a draft."""
    plan = score.with_suffix(PLANS[0])
    if plan.exists():
        console.print(Text(f"{plan} is there already, so no draft is made: this plan is rehearsed"))
    else:
        write_draft(score, plan, phrases_only=False, force=False, console=console)
    return plan


def _open(address: str) -> None:
    """Open the browser of the system, without waiting for it."""
    import webbrowser
    from threading import Thread

    Thread(target=webbrowser.open, args=(address,), daemon=True).start()
