"""The pictures in README.md, of a sheet, a page and a rehearsal: python tests/bench/views.py

Needs a Chromium of the system and playwright (pip install "lentando[test]").
"""

from __future__ import annotations

import re
import shutil
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[2]
PLANS = ROOT / "plans"
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from playwright.sync_api import sync_playwright  # noqa: E402
from sittings import rehearsed  # noqa: E402

from render.commands.app import app  # noqa: E402


def main() -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        sheet(folder)
        page(folder)
        rehearsal(folder)


def command(*words: object) -> None:
    app([str(word) for word in words], standalone_mode=False)


def sheet(folder: Path) -> None:
    """The first page of the reading with a misplaced slowdown, and of that the upper part."""
    from PIL import Image

    command("draw", PLANS / "low-water-misplaced.yaml", "-o", folder / "sheet.png")
    with Image.open(folder / "sheet-1.png") as drawn:
        width, height = drawn.size
        upper = drawn.convert("RGB").crop((0, 0, width, round(0.69 * height)))
        upper.resize((1000, round(1000 * upper.height / width))).quantize(64).save(PLANS / "sheet.png", optimize=True)


def page(folder: Path) -> None:
    """Two readings in the middle of the piece."""
    from PIL import Image

    readings = [PLANS / f"low-water-{name}.yaml" for name in ("flowing", "inward")]
    command("compare", *readings, "-o", folder / "page.html")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
        shown = browser.new_page(viewport={"width": 1200, "height": 800})
        shown.goto((folder / "page.html").as_uri())
        shown.wait_for_selector("#play:not([disabled])")
        shown.locator("#bar").evaluate("it => { it.value = 27; it.dispatchEvent(new Event('input')) }")
        shown.evaluate("document.querySelectorAll('.sheets.wide .system')[2].scrollIntoView({block: 'start'})")
        shown.evaluate("scrollBy(0, -24)")
        shown.wait_for_timeout(800)
        shown.screenshot(path=folder / "page.png")
        browser.close()
    with Image.open(folder / "page.png") as taken:
        taken.convert("RGB").quantize(128).save(PLANS / "page.png", optimize=True)


def rehearsal(folder: Path) -> None:
    """The misplaced slowdown, chosen, with its form and what there is to say of it."""
    from PIL import Image

    for name in ("low-water-misplaced.yaml", "low-water-flowing.yaml", "low-water.musicxml"):
        shutil.copy(PLANS / name, folder)
    with rehearsed(folder / "low-water-misplaced.yaml") as process, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
        shown = browser.new_page(viewport={"width": 1200, "height": 800})
        shown.goto(process.address)
        shown.wait_for_selector("html[data-drawn][data-remarks='1']")
        shown.get_by_role("button", name=re.compile("^rallentando 7")).first.click()
        shown.wait_for_timeout(1500)
        shown.screenshot(path=folder / "rehearsal.png")
        browser.close()
    with Image.open(folder / "rehearsal.png") as taken:
        taken.convert("RGB").quantize(128).save(PLANS / "rehearsal.png", optimize=True)


if __name__ == "__main__":
    main()
