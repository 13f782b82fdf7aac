"""One page for all tests that look at pages."""

from __future__ import annotations

import pytest
from pages import page_of, written


@pytest.fixture(scope="session")
def made(tmp_path_factory):
    """Two readings, Outward and Inward, and what their page is."""
    folder = tmp_path_factory.mktemp("page")
    return page_of(written(folder), ["Outward", "Inward"], folder / "page.html")


@pytest.fixture
def open_page(browser, made):
    """Open a page (the one of the two readings) so that faults and requests are caught; they are judged at the end."""
    contexts, faults = [], []

    def opened(file=None, *, ready=True, init="", room="dry", **options):
        context = browser.new_context(**{"viewport": {"width": 1280, "height": 900}} | options)
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(15_000)
        page.on("console", lambda message: faults.append(message.text) if message.type == "error" else None)
        page.on("pageerror", lambda fault: faults.append(str(fault)))
        page.on("request", lambda request: _judge(request.url, faults))
        if room:  # dry, so that what is heard can be measured
            page.add_init_script(f"localStorage.setItem('lentando: room', '{room}')")
        if init:
            page.add_init_script(init)
        page.goto((file or made[1].path).as_uri())
        if ready:
            page.wait_for_selector("body.ready")
        return page

    yield opened
    for context in contexts:
        context.close()
    assert not faults


def _judge(url: str, faults: list[str]) -> None:
    """A page asks for itself, and for what it carries."""
    if not url.startswith(("data:", "blob:")) and not (url.startswith("file:") and ".html" in url):
        faults.append(f"asked for {url}")
