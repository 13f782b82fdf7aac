"""One browser for all tests that look at what was written."""

from __future__ import annotations

import pytest
from pages import browser_or_why


@pytest.fixture(scope="session")
def browser():
    path, why = browser_or_why()
    if not path:
        pytest.skip(why)
    from playwright.sync_api import sync_playwright

    arguments = ["--no-sandbox", "--autoplay-policy=no-user-gesture-required"]
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=path, args=arguments)
        yield opened
        opened.close()
