"""A piece tapped in the browser, from the first click to the entries in the plan's file."""

from __future__ import annotations

import json
from contextlib import contextmanager

import numpy as np
import pytest
from pages import PIECE
from rehearsed import opened, rehearsed
from written_page import until, written_page

PLAN = """\
title: Tern Ledge, tapped
score: piece.abc
instrument: violin
tempo: 96      # a guess
phrases: [1-8, 9-16]
"""
DELAY = {"delay": 0.04, "spread": 0.012}
KNOWN = f"localStorage.setItem('lentando: the delay of taps', {json.dumps(json.dumps(DELAY))})"
# The clock of taps is the events' own; so that a test need not take as long as music does, it is set here.
CLOCK = (
    "Object.defineProperty(Event.prototype, 'timeStamp', { get() { return globalThis.tapAt ?? performance.now(); } })"
)


@pytest.fixture
def plan(tmp_path):
    (tmp_path / "piece.abc").write_text(PIECE.format(title="Tern Ledge"), encoding="utf-8")
    file = tmp_path / "tapped.yaml"
    file.write_text(PLAN, encoding="utf-8")
    return file


@contextmanager
def sitting_page(browser, plan, init: str = "", **options):
    with rehearsed(plan) as address, opened(browser, address, init, **options) as page:
        yield page


def open_taps(page) -> None:
    page.locator(".taps-part > summary").click()
    page.locator("#tap-count").uncheck()


def tap(page, seconds, finger: bool = False) -> None:
    """Tap at these seconds of the events' clock."""
    for second in seconds:
        page.evaluate("(at) => { globalThis.tapAt = at; }", 1000 * float(second))
        if finger:
            page.locator("#tapping .pad").tap()
        else:
            page.keyboard.press(" ")


def places(page) -> str:
    return page.locator("#tapping .pad").inner_text()


def slowing_down(beats: int = 24) -> np.ndarray:
    """The moments of 24 beats at 80, the last six of which slow down, with a scatter of 10 ms."""
    lasts = np.full(beats, 0.75)
    lasts[-6:] *= [1.05, 1.12, 1.2, 1.32, 1.5, 1.75]
    moments = np.append(0.0, np.cumsum(lasts))
    return 5.0 + moments + np.random.default_rng(2).normal(0, 0.01, beats + 1)


def test_a_tapped_slowing_stands_in_the_file_once_it_is_taken(browser, plan):
    with sitting_page(browser, plan, f"{KNOWN}; {CLOCK}") as page:
        open_taps(page)
        page.get_by_role("button", name="From the beginning").click()
        page.wait_for_selector("#tapping")
        assert places(page) == "bar 1, beat 1"
        tap(page, slowing_down()[:24])
        assert places(page) == "bar 1, beat 1, pass 2"
        page.keyboard.press("Enter")
        page.wait_for_selector(".ticks")
        words = page.locator(".ticks label > span").all_inner_texts()
        assert words[0].startswith("tempo 80")
        slowing = [each for each in words if each.startswith("rallentando")]
        assert len(slowing) == 1 and "% of what is not even" in slowing[0]
        assert page.locator("#music .taps circle").count() == 23
        page.get_by_role("button", name="None").click()
        assert page.get_by_role("button", name="Take what is ticked").is_disabled()
        page.get_by_role("button", name="All", exact=True).click()
        page.get_by_role("button", name="Take what is ticked").click()
        until(page, "document.documentElement.dataset.saved === '1'")
        text = plan.read_text(encoding="utf-8")
        assert "tempo: 80      # a guess" in text and "rallentando" in text
        assert text.startswith("title: Tern Ledge, tapped\n")
        assert page.locator("#tapping").count() == 0
        until(page, "document.documentElement.dataset.drawn === '1'")
        page.keyboard.press("Control+z")
        until(page, "document.documentElement.dataset.saved === '2'")
        assert plan.read_text(encoding="utf-8") == PLAN


def test_a_finger_that_missed_a_beat_is_asked_and_the_end_can_be_put_right(browser, plan):
    phone = {"viewport": {"width": 390, "height": 780}, "has_touch": True}
    with sitting_page(browser, plan, f"{KNOWN}; {CLOCK}", **phone) as page:
        open_taps(page)
        page.get_by_role("button", name="From the beginning").click()
        page.wait_for_selector("#tapping")
        even = 5.0 + 0.7 * np.arange(24)
        tap(page, np.delete(even, 10), finger=True)
        page.locator("#tapping").get_by_role("button", name="Done").click()
        page.wait_for_selector(".question")
        question = page.locator(".question").first
        assert "4:1" in question.inner_text()  # before the tap that is missing
        page.locator("#taps select").last.select_option(label="bar 8, beat 3")
        until(page, "document.querySelector('.ticks') !== null")
        assert page.locator("#music .taps circle").count() == 22
        assert page.locator(".question [aria-pressed=true]").inner_text() == "a tap is missing"
        page.locator(".question").get_by_role("button", name="one beat, held").click()
        page.wait_for_selector(".ticks")
        page.get_by_role("button", name="Put it away").click()
        assert page.locator("#music .taps circle").count() == 0
        assert plan.read_text(encoding="utf-8") == PLAN


def test_escape_leaves_off_and_nothing_comes_of_it(browser, plan):
    with sitting_page(browser, plan, KNOWN) as page:
        open_taps(page)
        page.get_by_role("button", name="From the beginning").click()
        page.wait_for_selector("#tapping")
        for _ in range(6):
            page.keyboard.press(" ")
        page.keyboard.press("Escape")
        assert page.locator("#tapping").count() == 0
        assert page.evaluate("document.documentElement.dataset.playing") is None
        assert page.evaluate("document.activeElement.textContent") == "From the beginning"
        assert page.locator(".ticks").count() == 0


def test_the_delay_is_asked_for_once_and_kept(browser, plan):
    """Somebody who taps 60 ms after each click, on average."""
    with sitting_page(browser, plan) as page:
        open_taps(page)
        page.get_by_role("button", name="From the beginning").click()
        page.get_by_role("button", name="Begin the clicks").click()
        page.wait_for_selector("#tapping")
        late = "60 + 8 * Math.sin(7 * row)"
        page.evaluate(
            f"""async () => {{
              const {{ delayOf }} = await import("./files/clicks.js");
              const times = Array.from({{ length: 16 }}, (_, row) => 1000 + 600 * row);
              const taps = times.map((time, row) => time + {late}).filter((_, row) => row !== 9);
              globalThis.found = delayOf([...taps, 5, 6000], times);
            }}"""
        )
        found = page.evaluate("found")
        assert found["delay"] == pytest.approx(0.060, abs=0.006) and 0.001 <= found["spread"] < 0.015
        page.keyboard.press("Escape")
        page.evaluate(KNOWN)
        page.reload()
        page.locator(".taps-part > summary").click()
        assert "Your taps come 40 ms after the click, and scatter by 12 ms" in page.locator("#taps .delay").inner_text()


def test_clicks_are_heard_at_their_moments_and_tapped_to(browser):
    """The whole measurement, by a page that taps at the moments at which clicks are said to be heard."""
    script = """async () => {
      const { clicks, delayOf } = await import("./files/clicks.js");
      const { times, stop } = await clicks(14, 0.15);
      const began = times[0] - performance.now();
      stop();
      return [times, began, delayOf(times.map((time) => time + 25), times), delayOf(times.slice(0, 6), times)];
    }"""
    with written_page(browser) as page:
        times, began, found, few = page.evaluate(script)
    assert np.diff(times) == pytest.approx(150)
    assert 0 < began < 2000
    assert found["delay"] == pytest.approx(0.025) and few is None


def test_the_count_in_belongs_to_no_beat(browser, plan):
    with sitting_page(browser, plan, f"{KNOWN}; {CLOCK}") as page:
        page.locator(".taps-part > summary").click()
        page.get_by_role("button", name="From the beginning").click()
        page.wait_for_selector("#tapping")
        until(page, "document.querySelector('#tapping .pad').textContent === '2'")
        page.keyboard.press(" ")  # with the clicks
        until(page, "document.querySelector('#tapping .pad').textContent === 'bar 1, beat 1'")
        page.keyboard.press(" ")
        assert places(page) == "bar 1, beat 2"


@pytest.mark.parametrize("light", ["light", "dark"])
def test_tapping_and_writing_pass_the_checks_of_accessibility(browser, plan, light):
    from axe_playwright_python.sync_playwright import Axe

    with sitting_page(browser, plan, f"{KNOWN}; {CLOCK}", bypass_csp=True, color_scheme=light) as page:
        open_taps(page)
        page.get_by_role("button", name="From the beginning").click()
        page.wait_for_selector("#tapping")
        tap(page, slowing_down()[:10])
        during = Axe().run(page, context="#tapping")
        page.keyboard.press("Enter")
        page.wait_for_selector(".ticks")
        after = Axe().run(page, context="#taps")
        page.locator(".text-part > summary").click()
        page.locator(".cm-line").nth(4).click()
        page.keyboard.press("Control+End")
        page.keyboard.type("s")
        page.keyboard.press("Control+Space")
        page.wait_for_selector(".cm-tooltip-autocomplete li")
        text = Axe().run(page, context="#text")
    for found in (during, after, text):
        assert len(found.response["passes"]) > 5
        assert found.violations_count == 0, found.generate_report()
