"""What hands and keys do on the score: each gesture changes in the plan's text the entry that it touches, no other."""

from __future__ import annotations

import difflib
import shutil

import pytest
from house import PLANS
from rehearsed import opened, rehearsed, settled

PLAN = "low-water-flowing.yaml"
SLOWING = "rallentando 5:4"


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    made = tmp_path_factory.mktemp("rehearsed")
    for name in (PLAN, "low-water-inward.yaml", "low-water.musicxml"):
        shutil.copy(PLANS / name, made)
    return made


@pytest.fixture(scope="module")
def address(folder):
    with rehearsed(folder / PLAN) as address:
        yield address


@pytest.fixture
def page(browser, address, folder):
    with opened(browser, address) as page:
        yield page
        given_back(page, folder)


def given_back(page, folder) -> None:
    """The plan as it was at first, for the next test."""
    (folder / PLAN).write_bytes((PLANS / PLAN).read_bytes())
    first = (PLANS / PLAN).read_text(encoding="utf-8")
    page.wait_for_function(
        "async (text) => (await import('./files/link.js')).sitting.text === text", arg=first, polling=100
    )
    settled(page)


def differences(folder) -> list[str]:
    """The lines of the plan that are others than at first: as they were, and as they are."""
    was, now = ((place / PLAN).read_text(encoding="utf-8").splitlines() for place in (PLANS, folder))
    return [line for line in difflib.ndiff(was, now) if line[:2] in ("- ", "+ ")]


def changed(page, folder, before: int) -> list[str]:
    """As `differences`, when a change after the state `before` is there and drawn."""
    page.wait_for_function("(before) => Number(document.documentElement.dataset.saved) > before", arg=before)
    settled(page)
    return differences(folder)


def number(page) -> int:
    return int(page.locator("html").get_attribute("data-saved"))


def entry(page, words: str):
    return page.get_by_role("button", name=words).and_(page.locator(".entry")).first


def chosen(page, words: str):
    """Choose an entry by a press."""
    entry(page, words).scroll_into_view_if_needed()
    entry(page, words).click()
    page.locator(".entry.chosen").first.wait_for()


def grip(page, end: str, place: int = 0) -> tuple[float, float]:
    """The middle of a grip of the chosen entry, in the window."""
    found = page.locator(f"button.grip.{end}").nth(place)
    found.scroll_into_view_if_needed()
    box = found.bounding_box()
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def drag(page, start: tuple[float, float], *way: tuple[float, float], release: bool = True) -> None:
    page.mouse.move(*start)
    page.mouse.down()
    for x, y in way:
        page.mouse.move(x, y, steps=4)
    if release:
        page.mouse.up()


def at(page, row: int, offset: float) -> float:
    """The x of a place in the window."""
    return page.evaluate(
        """async ([row, offset]) => {
            const { shown } = await import("./files/music.js");
            const { system, x } = shown.paper.spot({ row, offset });
            const { left, width } = shown.systems[system].sheet.getBoundingClientRect();
            return left + (x * width) / shown.systems[system].width;
        }""",
        [row, offset],
    )


# -- drawn


def test_a_bracket_s_end_is_drawn_to_another_note(page, folder):
    before = number(page)
    chosen(page, "phrase 0 - 2:5")
    start = grip(page, "end")
    drag(page, start, (at(page, 2, 1.5), start[1] + 3))
    assert changed(page, folder, before) == [
        "-   - {bars: 0 - 2:5, name: the oars}", "+   - {bars: 0 - 2:3, name: the oars}",
        "-   - bars: 2:6 - 12:5", "+   - bars: 2:4 - 12:5",
        "-       - {bars: 2:6 - 6:5, arch: {pace: 8%, level: 2 dB}}",
        "+       - {bars: 2:4 - 6:5, arch: {pace: 8%, level: 2 dB}}",
    ]  # fmt: skip
    assert page.locator(".entry.chosen").first.get_attribute("aria-label").startswith("phrase 0 - 2:3")


def test_the_bottom_of_a_slowdown_is_drawn_deeper_and_the_curve_goes_there(page, folder):
    before = number(page)
    chosen(page, SLOWING)
    start = grip(page, "depth")
    drag(page, start, (start[0] + 1, start[1] + 24))
    found = changed(page, folder, before)
    assert [line.replace("to: 88%", "").strip("-+ ")[:14] for line in found] == ["{rallentando: "] * 2
    to = int(found[1].split("to: ")[1].split("%")[0])
    assert 60 < to < 80 and found[1] == found[0].replace("- ", "+ ", 1).replace("88%", f"{to}%")
    drawn = page.evaluate(
        """async () => {
            const { shown } = await import("./files/music.js");
            const grip = document.querySelector("button.grip.depth");
            const system = shown.systems[grip.closest(".drawing").dataset.system];
            return shown.paper.paceAt(Number(grip.dataset.y) - system.pace[1]);
        }"""
    )
    assert drawn == pytest.approx(to / 100, abs=0.02)


@pytest.mark.parametrize(
    ("end", "to", "said"),
    [("start", (5, 0.5), "5:2 - 6:5"), ("depth", (6, 1.5), "5:4 - 6:3")],
    ids=["its beginning", "its bottom, sideways"],
)
def test_a_slowdown_is_drawn_to_another_beat(page, folder, end, to, said):
    before = number(page)
    chosen(page, SLOWING)
    start = grip(page, end)
    drag(page, start, (at(page, *to), start[1] + 4))
    assert [line[:33] for line in changed(page, folder, before)] == [
        "-   - {rallentando: 5:4 - 6:5, to", f"+   - {{rallentando: {said}, to",
    ]  # fmt: skip


def test_with_alt_what_is_drawn_is_free_of_the_beats(page, folder):
    before = number(page)
    chosen(page, SLOWING)
    start = grip(page, "start")
    page.keyboard.down("Alt")
    drag(page, start, ((at(page, 5, 0.5) + at(page, 5, 1.0)) / 2, start[1] + 4))
    page.keyboard.up("Alt")
    (was, now) = changed(page, folder, before)
    assert "rallentando: 5:4 " in was and "rallentando: 5:2.5 " in now


def test_a_hairpin_is_drawn_on_the_band_of_the_level(page, folder):
    before = number(page)
    level = page.locator(".drawable").nth(3)
    level.scroll_into_view_if_needed()
    y = level.bounding_box()["y"] + level.bounding_box()["height"] / 2
    drag(page, (at(page, 18, 0), y), (at(page, 19, 1.5), y - 15))
    assert changed(page, folder, before) == ["+   - {crescendo: 18:1 - 19:4, by: 3 dB}"]
    assert page.locator(".entry.chosen").first.get_attribute("aria-label").startswith("crescendo 18:1 - 19:4")


def test_an_entry_is_drawn_along_as_a_whole(page, folder):
    before = number(page)
    chosen(page, "breath after 18")
    box = entry(page, "breath after 18").bounding_box()
    start = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    drag(page, start, (start[0] - (at(page, 18, 3.0) - at(page, 18, 1.5)), start[1] + 1))
    assert changed(page, folder, before) == [
        "-   - {breath: after 18, seconds: 0.15}", "+   - {breath: after 18:3, seconds: 0.15}",
    ]  # fmt: skip


def test_an_entry_that_repeats_cut_in_pieces_is_taken_at_its_own_ends(page):
    chosen(page, "phrase 2:6 - 12:5")
    assert page.locator("button.grip.start").count() == page.locator("button.grip.end").count() == 1


def test_escape_takes_back_what_is_being_drawn(page, folder):
    before = number(page)
    chosen(page, "phrase 0 - 2:5")
    start = grip(page, "end")
    drag(page, start, (start[0] - 20, start[1]), (at(page, 1, 1.5), start[1]), release=False)
    page.wait_for_function("(before) => Number(document.documentElement.dataset.saved) > before", arg=before)
    assert page.locator(".ghost").count() > 0 and page.locator(".saying").inner_text().startswith("until bar 1")
    page.keyboard.press("Escape")
    page.mouse.up()
    page.wait_for_function("() => document.querySelector('#states li.now')?.textContent.includes('taken back')")
    settled(page)
    assert differences(folder) == []
    assert page.locator(".ghost").count() == 0 and page.locator(".saying").count() == 0


def test_a_gesture_however_long_is_one_step_back(page, folder):
    chosen(page, SLOWING)
    start = grip(page, "depth")
    before = number(page)
    page.mouse.move(*start)
    page.mouse.down()
    for down in range(1, 30):
        page.mouse.move(start[0], start[1] + down)
        page.wait_for_timeout(25)
    page.mouse.up()
    assert len(changed(page, folder, before)) == 2
    assert number(page) > before + 2  # several states were heard
    before = number(page)
    page.get_by_role("button", name="undo").click()
    assert changed(page, folder, before) == []
    assert (folder / PLAN).read_bytes() == (PLANS / PLAN).read_bytes()


# -- by keyboard


def test_arrows_move_by_a_percent_and_a_beat_and_with_shift_by_five_and_a_bar(page, folder):
    for keys, was, now in (
        (["ArrowDown"], "to: 80%", "to: 79%"),
        (["Shift+ArrowUp", "ArrowUp"], "to: 80%", "to: 86%"),
        (["ArrowLeft"], "18:1 - 18:6", "17:6 - 18:5"),
        (["Shift+ArrowLeft"], "18:1 - 18:6", "17:1 - 17:6"),
    ):
        before = number(page)
        entry(page, "rallentando 18:1").focus()
        for key in keys:
            page.keyboard.press(key)
        page.wait_for_timeout(800)  # a pause: the gesture is over
        lines = changed(page, folder, before)
        assert len(lines) == 2 and was in lines[0] and now in lines[1], (keys, lines)
        assert page.evaluate("document.activeElement.getAttribute('aria-label')").startswith("rallentando")
        before = number(page)
        page.keyboard.press("Control+z")
        assert changed(page, folder, before) == []


def test_a_grip_moves_by_arrows_alone(page, folder):
    before = number(page)
    entry(page, "rallentando 18:1").focus()
    page.keyboard.press("Enter")
    page.locator("button.grip.start").focus()
    assert page.evaluate("document.activeElement.getAttribute('aria-label')").startswith("the beginning of rallentando")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    page.wait_for_timeout(800)
    (was, now) = changed(page, folder, before)
    assert "18:1 - 18:6" in was and "18:3 - 18:6" in now
    assert page.evaluate("document.activeElement.className").startswith("grip start")


def test_delete_takes_an_entry_out(page, folder):
    before = number(page)
    entry(page, "rallentando 15:4").focus()
    page.keyboard.press("Delete")
    assert changed(page, folder, before) == ["-   - {rallentando: 15:4 - 16:3, to: 86%, then: a tempo}"]
    assert page.locator("#form").is_hidden()


def test_bars_are_gone_through_by_arrows_and_offer_by_enter(page, folder):
    before = number(page)
    page.locator(".bar[data-row='0']").focus()
    for key in ("ArrowRight", "ArrowRight", "ArrowRight", "ArrowRight", "ArrowDown"):
        page.keyboard.press(key)
    row = int(page.evaluate("document.activeElement.dataset.row"))
    assert row > 6
    page.keyboard.press("End")
    assert page.evaluate("document.activeElement.getAttribute('aria-label')") == "bar 33"
    page.locator(".bar[data-row='8']").focus()
    page.keyboard.press("Enter")
    item = page.get_by_role("menuitem", name="breath").first
    item.wait_for()
    assert page.evaluate("document.activeElement.textContent") == "play from here"
    for _ in range(60):
        if page.evaluate("document.activeElement.textContent").startswith("breath"):
            break
        page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    (added,) = changed(page, folder, before)
    assert added.startswith("+   - {breath: ")
    assert page.locator(".offers").is_hidden()
    assert page.locator("#form h2").inner_text().startswith("breath")


def test_a_stretch_of_bars_is_asked_about_by_keyboard(page):
    page.locator(".bar[data-row='12']").focus()
    page.keyboard.press("Shift+ArrowRight")
    page.keyboard.press("Shift+ArrowRight")
    assert page.locator(".bar.asked").count() == 3
    page.keyboard.press("Enter")
    page.get_by_role("menuitem").nth(1).wait_for()
    assert page.locator("#offers-where").inner_text() == "bar 12, beat 1, until the end of bar 14"
    page.keyboard.press("Escape")
    assert page.locator(".bar.asked").count() == 0


def test_escape_closes_what_is_offered_and_the_bar_has_the_focus_again(page):
    page.locator(".bar[data-row='8']").focus()
    page.keyboard.press("Enter")
    page.get_by_role("menuitem").first.wait_for()
    page.keyboard.press("Escape")
    assert page.locator(".offers").is_hidden()
    assert page.evaluate("document.activeElement.dataset.row") == "8"


# -- offers, forms


def test_a_press_on_a_bar_offers_what_can_stand_there(page, folder):
    before = number(page)
    bar = page.locator(".bar[data-row='8']")
    bar.scroll_into_view_if_needed()
    bar.click(position={"x": 60, "y": bar.bounding_box()["height"] * 0.6})
    page.get_by_role("menuitem", name="rallentando").first.click()
    (added,) = changed(page, folder, before)
    assert added.startswith("+   - {rallentando: ") and "8:" in added
    assert page.locator("#form h2").inner_text().startswith("rallentando")


def test_several_bars_are_drawn_over(page):
    bar = page.locator(".bar[data-row='12']")
    bar.scroll_into_view_if_needed()
    box = bar.bounding_box()
    y = box["y"] + box["height"] * 0.6
    drag(page, (at(page, 12, 0), y), (at(page, 13, 1.5), y))
    page.get_by_role("menuitem").nth(1).wait_for()
    assert page.locator("#offers-where").inner_text() == "bar 12, beat 1, until bar 13, beat 4"


def test_the_form_changes_a_setting(page, folder):
    before = number(page)
    chosen(page, "rallentando 18:1")
    field = page.locator("#form input[data-key='to']")
    assert field.input_value() == "80%"
    field.fill("71%")
    field.press("Enter")
    (was, now) = changed(page, folder, before)
    assert now == was.replace("- ", "+ ", 1).replace("to: 80%", "to: 71%")
    assert page.locator("#form input[data-key='to']").input_value() == "71%"
    assert "to: 71%" in page.locator("#form pre").inner_text()


def test_the_slide_of_a_form_is_one_step(page, folder):
    chosen(page, "rallentando 18:1")
    before = number(page)
    slide = page.locator("#form input[type=range][data-key='to slide']")
    box = slide.bounding_box()
    middle = box["y"] + box["height"] / 2
    ways = [(box["x"] + box["width"] * part, middle) for part in (0.42, 0.6, 0.2)]
    drag(page, *ways)
    (was, now) = changed(page, folder, before)
    to = int(now.split("to: ")[1].split("%")[0])
    assert now == was.replace("- ", "+ ", 1).replace("80%", f"{to}%") and 45 < to < 65
    before = number(page)
    page.get_by_role("button", name="undo").click()
    assert changed(page, folder, before) == []


def test_the_kind_of_an_entry_is_chosen_in_its_form(page, folder):
    before = number(page)
    chosen(page, "rallentando 15:4")
    page.locator("#form select[data-key='kind']").select_option("ritenuto")
    assert changed(page, folder, before) == [
        "-   - {rallentando: 15:4 - 16:3, to: 86%, then: a tempo}",
        "+   - {ritenuto: 15:4 - 16:3, to: 86%, then: a tempo}",
    ]  # fmt: skip


def test_what_cannot_be_is_said_and_nothing_is_changed(page, folder):
    chosen(page, "rallentando 15:4")
    field = page.locator("#form input[data-key='to']")
    field.fill("plenty")
    field.press("Enter")
    page.wait_for_function("() => document.querySelector('#told').textContent !== ''")
    assert "plenty" in page.locator("#told").inner_text()
    assert differences(folder) == []


# -- states


def test_an_earlier_state_is_brought_back(page, folder):
    first = number(page)
    entry(page, "rallentando 15:4").focus()
    page.keyboard.press("Delete")
    changed(page, folder, first)
    before = number(page)
    page.locator("#states summary").click()
    page.get_by_role("button", name=f"bring back state {first + 1}:").click()
    assert changed(page, folder, before) == []
    before = number(page)
    page.get_by_role("button", name="undo").click()
    assert len(changed(page, folder, before)) == 1


# -- by finger


@pytest.fixture
def tablet(browser, address, folder):
    with opened(browser, address, viewport={"width": 820, "height": 1100}, has_touch=True, is_mobile=True) as page:
        yield page
        given_back(page, folder)


class Finger:
    def __init__(self, page):
        self._wire = page.context.new_cdp_session(page)

    def put(self, kind: str, *points: tuple[float, float]) -> None:
        touches = [{"x": x, "y": y} for x, y in points]
        self._wire.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": touches})

    def draw(self, start: tuple[float, float], *way: tuple[float, float]) -> None:
        self.put("touchStart", start)
        before = start
        for point in way:
            for part in range(1, 6):
                self.put("touchMove", tuple(a + (b - a) * part / 5 for a, b in zip(before, point, strict=True)))
            before = point
        self.put("touchEnd")


def test_a_finger_draws_a_slowdown_deeper_and_the_page_stays(tablet, folder):
    before = number(tablet)
    entry(tablet, SLOWING).scroll_into_view_if_needed()
    entry(tablet, SLOWING).tap()
    tablet.locator("button.grip.depth").wait_for()
    x, y = grip(tablet, "depth")
    scrolled = tablet.evaluate("scrollY")
    Finger(tablet).draw((x, y), (x, y + 10), (x + 1, y + 30))
    (was, now) = changed(tablet, folder, before)
    assert int(now.split("to: ")[1].split("%")[0]) < 80 and "to: 88%" in was
    assert tablet.evaluate("scrollY") == scrolled


def test_a_finger_that_goes_up_scrolls_and_one_that_taps_asks(tablet, folder):
    bar = tablet.locator(".bar[data-row='4']")
    box = bar.bounding_box()
    x, y = box["x"] + 40, box["y"] + box["height"] * 0.5
    Finger(tablet).draw((x, y), (x, y - 80), (x, y - 200))
    tablet.wait_for_function("scrollY > 100")
    assert tablet.locator(".offers").is_hidden() and differences(folder) == []
    bar.tap(position={"x": 40, "y": bar.bounding_box()["height"] * 0.5})
    tablet.get_by_role("menuitem", name="breath").first.wait_for()


def test_a_finger_draws_a_bracket_s_end(tablet, folder):
    before = number(tablet)
    entry(tablet, "phrase 0 - 2:5").tap()
    tablet.locator("button.grip.end").wait_for()
    x, y = grip(tablet, "end")
    Finger(tablet).draw((x, y), (at(tablet, 1, 3.0), y + 4))
    assert "+   - {bars: 0-1, name: the oars}" in changed(tablet, folder, before)
