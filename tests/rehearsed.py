"""The page on which a plan is rehearsed, in a browser."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import sittings


@contextmanager
def rehearsed(plan: Path, *arguments: str) -> Iterator[str]:
    """The address of the page on which a plan is rehearsed meanwhile."""
    with sittings.rehearsed(plan, *arguments) as process:
        yield process.address


@contextmanager
def opened(browser, address: str, init: str = "", **options) -> Iterator:
    """A page there, which must not fail, nor ask for anything elsewhere; the script `init` comes before its own."""
    faults: list[str] = []
    context = browser.new_context(**{"viewport": {"width": 1280, "height": 900}} | options)
    page = context.new_page()
    page.set_default_timeout(20_000)
    page.on("console", lambda message: faults.append(message.text) if message.type == "error" else None)
    page.on("pageerror", lambda fault: faults.append(str(fault)))
    page.on("request", lambda request: _own(request.url, address) or faults.append(f"asked for {request.url}"))
    if init:
        page.add_init_script(init)
    try:
        page.goto(address)
        page.wait_for_selector("html[data-drawn][data-remarks]")
        page.wait_for_selector(".bow", state="attached")
        yield page
    finally:
        context.close()
    assert not faults


def _own(url: str, address: str) -> bool:
    return url.startswith((address, address.replace("http", "ws", 1), "data:", "blob:"))


def settled(page) -> int:
    """Wait until what is saved last is drawn and judged; its number."""
    page.wait_for_function(
        "() => { const { saved, drawn } = document.documentElement.dataset; return saved === drawn; }"
    )
    return int(page.locator("html").get_attribute("data-drawn"))
