"""How long it takes from a change of a plan to its sound, measured in the browser of the system:

    python tests/bench/rehearse.py [--runs N] [--long] [--thousand]

A change is a rename that saves the plan, or a message of the page; it is over when the page's root says that the new
state sounds, which the audio callback tells as it first plays it (the loudspeaker comes later by the latency of the
system). `--long` takes ten minutes of music, `--thousand` sends a thousand changes and looks at memory and open files.
Beside the times stand the load of the machine and the time of its processor that the server took for a change: on a
machine that has much else to do only these can be compared.
"""

from __future__ import annotations

import argparse
import os
import re
import shutil
import statistics
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from pages import browser_or_why  # noqa: E402
from sittings import Process, Wire, saved  # noqa: E402

PIECE, SCORE = "low-water-flowing.yaml", "low-water.musicxml"
WATCH = """async () => {
  globalThis.seen = {};
  const root = document.documentElement;
  const note = (kind, number) => { seen[`${kind} ${number}`] ??= performance.timeOrigin + performance.now(); };
  new MutationObserver((changes) => {
    for (const { attributeName } of changes) note(attributeName.slice(5), root.getAttribute(attributeName));
  }).observe(root, { attributes: true, attributeFilter: ["data-saved", "data-drawn", "data-sounding"] });
  const { on } = await import("./files/link.js");
  on("whole", ({ reading, number }) => (reading === 0 ? note("whole", number) : null));
  on("remarks", ({ reading, number }) => (reading === 0 ? note("remarks", number) : null));
}"""
SAY = "message => import('./files/link.js').then(({ send }) => send(message))"
KINDS = ("saved", "sounding", "drawn", "whole", "remarks")


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--runs", type=int, default=30)
    asked.add_argument("--long", action="store_true")
    asked.add_argument("--thousand", action="store_true")
    options = asked.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        plan = piece(Path(folder), options.long)
        if options.thousand:
            thousand(plan)
            return
        browser, why = browser_or_why()
        if browser is None:
            sys.exit(why)
        changes(plan, browser, options.runs)


def piece(folder: Path, long: bool) -> Path:
    for name in (PIECE, SCORE):
        shutil.copy(ROOT / "plans" / name, folder)
    plan = folder / PIECE
    if long:
        plan.write_text(plan.read_text() + f"\norder: [{', '.join(['0-33'] * 8)}]\n")
    return plan


def changed(text: str, percent: int) -> str:
    """Another depth of the first slowdown."""
    return re.sub(r"to: \d+%", f"to: {percent}%", text, count=1)


def changes(plan: Path, browser: str, runs: int) -> None:
    from playwright.sync_api import sync_playwright

    text, process = plan.read_text(), Process(plan)
    with sync_playwright() as playwright:
        arguments = ["--autoplay-policy=no-user-gesture-required"]
        opened = playwright.chromium.launch(executable_path=browser, args=arguments)
        page = opened.new_page()
        page.set_default_timeout(120_000)
        page.goto(process.address)
        page.evaluate(WATCH)
        page.wait_for_selector("html[data-remarks]", state="attached")
        page.click("#play")
        seconds = page.evaluate("import('./files/link.js').then(({ sitting }) => sitting.clock.seconds.at(-1))")
        print(f"{plan.name}: {seconds:.0f} s of music; {runs} changes of each kind, load {load()}")
        number = 0
        for kind in ("a rename", "the page"):
            rows, used = [], cpu(process.pid)
            for run in range(runs):
                number += 1
                new = changed(text, 50 + (number * 7) % 45)
                begun = time.time() * 1000
                if kind == "a rename":
                    saved(plan, new)
                else:
                    page.evaluate(SAY, {"do": "text", "text": new})
                rows.append(seen(page, number, begun))
                page.wait_for_timeout(300 + 100 * (run % 3))
            report(f"saved by {kind}", rows, (cpu(process.pid) - used) / runs)
        opened.close()
    process.leave()


def seen(page, number: int, begun: float) -> dict[str, float]:
    """Milliseconds from a change to each of its effects."""
    page.wait_for_selector(f"html[data-sounding='{number}']", state="attached")
    page.wait_for_selector(f"html[data-drawn='{number}']", state="attached")
    while f"remarks {number}" not in (found := page.evaluate("seen")):
        page.wait_for_timeout(20)
    return {kind: found[f"{kind} {number}"] - begun for kind in KINDS}


def report(what: str, rows: list[dict[str, float]], used: float) -> None:
    print(f"\n{what}: load {load()}; {1000 * used:.0f} ms of the processor a change      median    p95")
    for kind in KINDS:
        values = sorted(row[kind] for row in rows)
        print(f"  {kind:<10} {statistics.median(values):8.0f} {values[int(0.95 * (len(values) - 1))]:6.0f} ms")


def thousand(plan: Path) -> None:
    """A thousand changes of the text, as fast as they are heard."""
    text, process = plan.read_text(), Process(plan)
    with Wire(process) as page:
        page.until("remarks", number=0)
        for number in range(1, 1001):
            page.say(do="text", text=changed(text, 40 + number % 60), number=number - 1)
            page.until("sound", number=number)
            page.told.clear()
            if number in (1, 10, 100, 250, 500, 750, 1000):
                held = f"{memory(process.pid):6.1f} MB, {files(process.pid)} open files"
                print(f"{number:5} changes: {held}, load {load()}", flush=True)
        page.until("remarks", number=1000)
    process.leave()


def load() -> str:
    return f"{os.getloadavg()[0]:.1f} on {os.cpu_count()} cores"


def cpu(pid: int) -> float:
    """Seconds of the processor that a process has taken."""
    parts = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(parts[11]) + int(parts[12])) / os.sysconf("SC_CLK_TCK")


def memory(pid: int) -> float:
    return int(re.search(r"VmRSS:\s+(\d+)", Path(f"/proc/{pid}/status").read_text())[1]) / 1024


def files(pid: int) -> int:
    return len(os.listdir(f"/proc/{pid}/fd"))


if __name__ == "__main__":
    main()
