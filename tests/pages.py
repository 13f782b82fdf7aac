"""A short piece, two readings of it, and their page, for the tests that look at pages."""

from __future__ import annotations

import shutil
from pathlib import Path

from render.page import PageFacts, write_page
from timing.comparing import compare
from timing.loading import load_all
from timing.reading import Reading

PIECE = """\
X:1
T:{title}
M:3/4
L:1/4
K:G
|: G B d | g2 f | e c A | d3 | B/c/ d g | f e/d/ c | B G A |1 G3 :|2 G2 A ||
B d b | a2 g | e/f/ g a | b3 | g d B | c A F | G3 |]
"""
OUTWARD = """\
title: {title}
score: piece.abc
instrument: violin
tempo: 96
phrases:
  - {{bars: 1-8, name: {name}, inside: [1-4, 5-8]}}
  - {{bars: 9-16}}
slowing:
  - {{rallentando: 7:1 - 8:3, to: 70%, then: a tempo, why: {why}}}
dynamics:
  - {{at: 1, mark: f}}
"""
INWARD = """\
title: {title}
score: piece.abc
instrument: violin
tempo: 70
order: [1-7, 9-16]
phrases:
  - {{bars: 1-4}}
  - {{bars: 5-7}}
slowing:
  - {{rallentando: 2:1 - 3:3, to: 60%, then: a tempo}}
holds:
  - {{fermata: 4:1, length: 150%}}
dynamics:
  - {{at: 1, mark: p}}
tone:
  - {{bars: 5-7, tone: dark}}
"""


def written(folder: Path, title: str = "Tern Ledge", name: str = "first", why: str = "the tide turns") -> list[Path]:
    """The piece and its two plans in a folder."""
    (folder / "piece.abc").write_text(PIECE.format(title=title), encoding="utf-8")
    plans = [folder / "outward.yaml", folder / "inward.yaml"]
    for plan, text in zip(plans, (OUTWARD, INWARD), strict=True):
        words = {"title": f'"{title}"', "name": f'"{name}"', "why": f'"{why}"'}
        plan.write_text(text.format(**words), encoding="utf-8")
    return plans


def pair_of(folder: Path, plans: dict[str, str]) -> tuple[list[Reading], PageFacts]:
    """The page of plans over the piece, by their titles, in a folder."""
    (folder / "piece.abc").write_text(PIECE.format(title="Tern Ledge"), encoding="utf-8")
    files = [folder / f"{title.lower()}.yaml" for title in plans]
    for file, (title, text) in zip(files, plans.items(), strict=True):
        file.write_text(f"title: {title}\n{text}", encoding="utf-8")
    return page_of(files, list(plans), folder / "page.html")


def repeat(page, start: str, end: str) -> None:
    """Let the page repeat bars, and leave its fields."""
    page.locator("#repeat").select_option("bars")
    page.locator("#from").fill(start)
    page.locator("#until").fill(end)
    page.locator("#until").press("Enter")
    page.locator("h1").click()


def page_of(plans: list[Path], names: list[str], file: Path) -> tuple[list[Reading], PageFacts]:
    """Write the page of these plans."""
    readings = load_all(plans)
    comparison = compare(readings) if len(readings) > 1 else None
    return readings, write_page(readings, file, names, comparison=comparison)


def browser_or_why() -> tuple[str | None, str]:
    """The browser of the system, or why there is none."""
    try:
        import playwright  # noqa: F401
    except ImportError:
        return None, "playwright is not installed"
    found = shutil.which("chromium")
    return found, "" if found else "there is no chromium on this system"
