"""The text on the page of a real sitting: typed, saved, taken back, and met with the music and the file."""

from __future__ import annotations

import pytest
from rehearsed import opened, rehearsed
from sittings import PLAN, saved, written
from written_page import until


@pytest.fixture(scope="module")
def at(browser, tmp_path_factory):
    plan = written(tmp_path_factory.mktemp("written"))
    with rehearsed(plan) as address, opened(browser, address) as page:
        page.locator(".text-part > summary").click()
        page.wait_for_selector(".cm-line")
        yield page, plan


@pytest.fixture
def page(at):
    """The page, with the plan as it was at first."""
    page, plan = at
    if plan.read_text(encoding="utf-8") != PLAN:
        saved(plan, PLAN)
    until(page, f"document.querySelectorAll('.cm-line').length === {PLAN.count(chr(10)) + 1}")
    calm(page)
    return page


@pytest.fixture
def plan(at):
    return at[1]


def calm(page) -> int:
    """Wait until what is saved is drawn and judged; its number."""
    until(page, "(({ saved, drawn }) => saved === drawn)(document.documentElement.dataset)")
    page.wait_for_timeout(300)
    until(page, "(({ saved, drawn }) => saved === drawn)(document.documentElement.dataset)")
    return int(page.evaluate("document.documentElement.dataset.saved"))


def line(page, number: int):
    return page.locator(".cm-line").nth(number - 1)


def to_end_of(page, number: int) -> None:
    line(page, number).click()
    page.keyboard.press("End")
    page.keyboard.press("End")  # of what is shown on several lines


def test_what_is_typed_is_in_the_file_and_in_the_music_and_can_be_taken_back(page, plan):
    number = calm(page)
    to_end_of(page, 9)
    page.keyboard.type("\n- {ritenuto: 15, why: coda")  # the editor indents, and closes the brace
    until(page, f"Number(document.documentElement.dataset.drawn) > {number}")
    calm(page)
    assert plan.read_text(encoding="utf-8") == PLAN + "  - {ritenuto: 15, why: coda}\n"
    for _ in range(10):  # a step for each time it was still
        if "coda" not in page.locator(".cm-content").inner_text():
            break
        page.keyboard.press("Control+z")
        page.wait_for_timeout(400)
    until(page, "!document.querySelector('.cm-content').textContent.includes('coda')")
    assert calm(page) > number and plan.read_text(encoding="utf-8") == PLAN


def test_the_music_marks_the_entry_under_the_cursor_and_the_text_the_one_in_the_music(page):
    to_end_of(page, 9)  # the rallentando
    page.keyboard.press("ArrowLeft")
    page.wait_for_selector("#music .entry.chosen")
    assert "rallentando" in page.locator("#music .entry.chosen").first.get_attribute("aria-label")
    page.locator("#music button.entry").filter(has_not_text="x").first.focus()
    page.keyboard.press("Enter")
    name = page.locator("#music .entry.chosen").first.get_attribute("data-name")
    marked = int(name.split(":")[0])
    assert line(page, marked).locator(".cm-entry").count() > 0


def test_a_fault_is_told_at_its_line_and_the_last_good_reading_stays(page, plan):
    number = calm(page)
    drawn = page.evaluate("document.documentElement.dataset.drawn")
    to_end_of(page, 9)
    page.keyboard.press("ArrowLeft")
    page.keyboard.type(", two: 7")
    until(page, "document.querySelector('.cm-lint-marker-error') !== null")
    assert int(page.evaluate("document.documentElement.dataset.saved")) > number
    assert page.evaluate("document.documentElement.dataset.drawn") == drawn
    page.locator(".cm-lintRange-error").first.hover()
    assert "two" in page.wait_for_selector(".cm-tooltip-lint").inner_text()
    for _ in range(8):
        page.keyboard.press("Backspace")
    until(page, "document.querySelector('.cm-lint-marker-error') === null")


def test_a_file_that_is_saved_elsewhere_comes_in_around_the_cursor(page, plan):
    to_end_of(page, 4)
    saved(plan, PLAN.replace("title: Tern Ledge", "# on a windy day\ntitle: Tern Ledge").replace("to: 70%", "to: 64%"))
    until(page, "document.querySelector('.cm-content').textContent.includes('to: 64%')")
    assert page.evaluate("document.activeElement.className").startswith("cm-content")
    page.keyboard.type("!")
    assert line(page, 5).inner_text() == "tempo: 120   # as it dances!"
    page.locator("#piece").click()  # away from it
    page.wait_for_timeout(600)
    assert "as it dances!" in plan.read_text(encoding="utf-8") and "windy" in plan.read_text(encoding="utf-8")
