"""What the page of a sitting looks like and says: for every width and light, for whoever sees, hears or types; and that
no plan and no score can make it do anything."""

from __future__ import annotations

import json
import re
import shutil

import pytest
from house import PLANS
from rehearsed import opened, rehearsed, settled

RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
MISPLACED = "low-water-misplaced.yaml"


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    made = tmp_path_factory.mktemp("looked-at")
    for file in PLANS.glob("low-water*"):
        shutil.copy(file, made)
    return made


@pytest.fixture(scope="module")
def address(folder):
    with rehearsed(folder / MISPLACED, "--with", str(folder / "low-water-inward.yaml")) as address:
        yield address


def shown(page, what: str) -> None:
    """Let the page show more than at first."""
    if what == "form":
        page.get_by_role("button", name="phrase 2:6 - 12:5").first.focus()
        page.keyboard.press("Enter")
        page.locator("#form details.more summary").click()
    elif what == "offers":
        page.locator(".bar[data-row='8']").focus()
        page.keyboard.press("Enter")
        page.get_by_role("menuitem").nth(3).wait_for()
    elif what == "unfolded":
        for summary in page.locator("summary").all():
            if summary.is_visible():
                summary.click()


@pytest.mark.parametrize("what", ["first", "form", "offers", "unfolded"])
@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [1280, 1024, 390])
def test_no_barrier_is_found_and_nothing_reaches_over_the_edge(browser, address, width, scheme, what):
    """axe-core: no violation of WCAG 2.2, levels A and AA, nor of its best practices."""
    from axe_playwright_python.sync_playwright import Axe

    options = {"viewport": {"width": width, "height": 900}, "color_scheme": scheme, "bypass_csp": True}
    with opened(browser, address, **options) as page:
        shown(page, what)
        found = Axe().run(page, options={"runOnly": {"type": "tag", "values": RULES}})
        told = [(each["id"], each["nodes"][0]["html"][:200]) for each in found.response["violations"]]
        assert told == []
        assert len(found.response["passes"]) > 20  # that it looked at something
        assert page.evaluate("document.documentElement.scrollWidth") <= width


def contrast(page, selector: str, against: str = "body") -> float:
    """Of a stroke or a text against the paper (WCAG 2.2), as they are computed."""
    return page.evaluate(
        """([selector, against]) => {
            const one = getComputedStyle(document.querySelector(selector));
            const colour = one.stroke.startsWith("rgb") ? one.stroke : one.color;
            const paper = getComputedStyle(document.documentElement).backgroundColor;
            const light = (text) => {
                const [r, g, b] = text.match(/[\\d.]+/g).map(Number).map((c) => c / 255)
                    .map((c) => (c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4));
                return 0.2126 * r + 0.7152 * g + 0.0722 * b;
            };
            const [a, b] = [light(colour), light(paper)].sort((x, y) => y - x);
            return (a + 0.05) / (b + 0.05);
        }""",
        [selector, against],
    )


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_what_is_drawn_stands_out_from_the_paper(browser, address, scheme):
    """What axe does not see, since it is a drawing: 4.5 to 1 for its words, 3 to 1 for its lines."""
    with opened(browser, address, color_scheme=scheme) as page:
        for lines in (".reading.a .curve", ".reading.b .curve", ".bow", ".sign", ".phrase path"):
            assert contrast(page, lines) > 3, lines
        for words in (".phrase text", ".slowing text", ".tempo"):
            fill = page.evaluate("(words) => getComputedStyle(document.querySelector(words)).fill", words)
            page.evaluate("([words, fill]) => (document.querySelector(words).style.color = fill)", [words, fill])
            assert contrast(page, words) > 4.5, words


def test_the_other_plan_has_an_ink_and_a_line_of_its_own(browser, address):
    with opened(browser, address) as page:
        looks = page.evaluate(
            """() => ["a", "b"].map((letter) => {
                const curve = document.querySelector(`.reading.${letter} .curve.pass1`);
                return [getComputedStyle(curve).stroke, getComputedStyle(curve).strokeDasharray];
            })"""
        )
        assert looks[0][0] != looks[1][0] and looks[0][1] == "none" and looks[1][1] != "none"
        assert page.locator(".reading.b .words").count() == 0


def test_the_place_that_sounds_is_a_bow_under_its_beat_and_notes_keep_their_ink(browser, address):
    with opened(browser, address) as page:
        for row, offset, beat in ((4, 0.7, 0), (4, 2.0, 1.5), (20, 1.6, 1.5)):
            found = page.evaluate(
                """async ([row, offset, beat]) => {
                    const { emit } = await import("./files/link.js");
                    const { shown } = await import("./files/music.js");
                    emit("playhead", { reading: 0, row, offset, pass: 1, playing: false });
                    const { system, x } = shown.paper.spot({ row, offset: beat });
                    const bow = document.querySelector(".bow:not(.gone)");
                    const one = shown.systems[system];
                    const box = bow.getBBox();
                    return { inside: one.sheet.contains(bow), off: box.x - x, tall: box.height, y: box.y,
                        bottom: one.staff[1], level: one.level[1], part: bow.getAttribute("stroke-dasharray") };
                }""",
                [row, offset, beat],
            )
            assert found["inside"] and abs(found["off"] + 4) < 0.5 and found["tall"] < 12
            assert found["bottom"] < found["y"] < found["level"]
            assert float(found["part"].split()[0]) == pytest.approx((offset - beat) / 1.5, abs=0.1)
        heads = "[...document.querySelectorAll('.notehead')].map((head) => getComputedStyle(head).fill)"
        assert page.evaluate(f"() => new Set({heads}).size") == 1


def test_the_bow_goes_along_while_it_plays(browser, address):
    with opened(browser, address) as page:
        bow = "() => document.querySelector('.bow:not(.gone)').getAttribute('d')"
        before = page.evaluate(bow)
        page.locator("#play").click()
        page.wait_for_function(f"(before) => ({bow})() !== before", arg=before)
        page.locator("#play").click()


# -- remarks


@pytest.fixture
def remarked(browser, address, folder):
    (folder / MISPLACED).write_bytes((PLANS / MISPLACED).read_bytes())
    with opened(browser, address) as page:
        page.wait_for_selector("html[data-remarks='1']")
        settled(page)
        yield page, (folder / MISPLACED)


def test_a_remark_stands_at_its_place_with_its_reason(remarked):
    page, _ = remarked
    sign = page.locator(".sign")
    assert sign.count() == 1
    reason = page.locator("#remarks li.caution .message").inner_text()
    assert "may be heard as an ending" in reason and sign.get_attribute("aria-label") == f"remark: {reason}"
    off = page.evaluate(
        """async () => {
            const { shown } = await import("./files/music.js");
            const box = document.querySelector(".sign").getBoundingClientRect();
            const { system, x } = shown.paper.spot({ row: 8, offset: 0 });
            const sheet = shown.systems[system].sheet.getBoundingClientRect();
            return (box.left + box.right) / 2 - (sheet.left + (x * sheet.width) / shown.systems[system].width);
        }"""
    )
    assert abs(off) < 2
    sign.click()
    assert page.evaluate("document.activeElement.closest('#remarks li') !== null")


def test_a_remark_is_mended(remarked):
    page, plan = remarked
    page.get_by_role("button", name="Mend it").click()
    page.wait_for_selector("html[data-remarks='0']")
    assert "rallentando: 6:1 - 6:5" in plan.read_text(encoding="utf-8")
    assert page.locator(".sign").count() == 0
    page.get_by_role("button", name="undo").click()
    page.wait_for_selector("html[data-remarks='1']")
    assert plan.read_bytes() == (PLANS / MISPLACED).read_bytes()


def test_a_remark_is_accepted_with_a_reason_and_not_without(remarked):
    page, plan = remarked
    because = page.get_by_label("or accept, because")
    page.get_by_role("button", name="Accept").click()
    assert because.get_attribute("aria-invalid") == "true"
    assert plan.read_bytes() == (PLANS / MISPLACED).read_bytes()
    because.fill("the listener is to be misled here")
    because.press("Enter")
    page.wait_for_selector("html[data-remarks='0']")
    assert re.search(r"accept:\n.*because: the listener is to be misled here", plan.read_text(encoding="utf-8"), re.S)
    page.locator("#remarks summary", has_text="Accepted").click()
    assert "Accepted because the listener is to be misled here" in page.locator("#remarks").inner_text()


# -- two texts


def test_of_two_texts_the_difference_is_shown_and_one_is_chosen(browser, address):
    with opened(browser, address) as page:
        page.evaluate(
            """async () => {
                const { emit } = await import("./files/link.js");
                window.sent = [];
                const send = WebSocket.prototype.send;
                WebSocket.prototype.send = function (text) { window.sent.push(text); send.call(this, text); };
                emit("two", { ours: "a", theirs: "b", difference: ["@@ -1 +1 @@", "-tempo: 60", "+tempo: 63 <b>"] });
            }"""
        )
        assert page.locator("#two pre").inner_text().split("\n") == ["@@ -1 +1 @@", "-tempo: 60", "+tempo: 63 <b>"]
        page.get_by_role("button", name="What was done here").click()
        assert page.locator("#two").count() == 0
        assert '{"do":"settle","keep":"ours"}' in page.evaluate("() => window.sent")


# -- hostile words


EVIL = "<script>window.broken=1</script><img src=x onerror='window.broken=1'> \"quoted\" & 'single'"


def test_words_with_markup_stay_words_wherever_they_stand(browser, tmp_path):
    piece = f"X:1\nT:{EVIL}\nM:4/4\nL:1/4\nK:C\nC D E F | G A G F | E D C D | C4 |]\n"
    (tmp_path / "piece.abc").write_text(piece, encoding="utf-8")
    words, name = json.dumps(EVIL), json.dumps(EVIL[:60])
    text = (
        f"title: {words}\nscore: piece.abc\nphrases:\n  - {{bars: 1-4, name: {name}, why: {words}}}\n"
        f"slowing:\n  - {{rallentando: 2:1 - 3:1, to: 55%, then: a tempo, why: {words}}}\n"
    )
    plan = tmp_path / "plan.yaml"
    plan.write_text(text, encoding="utf-8")
    with rehearsed(plan) as address, opened(browser, address) as page:
        assert page.locator("h1").inner_text() == EVIL
        page.get_by_role("button", name="phrase 1-4").first.focus()
        page.keyboard.press("Enter")
        assert page.locator("#form textarea[data-key='why']").input_value() == EVIL
        assert page.locator("#form input[data-key='name']").input_value() == EVIL[:60]
        page.locator("#form input[data-key='name']").fill("<img src=x onerror=window.broken=1>")
        page.keyboard.press("Enter")
        page.wait_for_function("() => document.querySelector('#form h2').textContent.includes('onerror')")
        settled(page)
        page.locator(".bar[data-row='1']").focus()
        page.keyboard.press("Enter")
        page.get_by_role("menuitem").nth(2).wait_for()
        page.keyboard.press("Escape")
        page.locator("#states summary").click()
        assert page.evaluate("() => window.broken") is None
        assert page.locator("img").count() == 0 and page.locator("body script").count() == 0
