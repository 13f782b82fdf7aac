"""What a page shows in a browser: notes where the engraver says, accessible to all, safe with any words, and at work
without scripts."""

from __future__ import annotations

import json

import numpy as np
import pytest
from pages import page_of, written

from render.drawing.engraver import engrave
from render.page.music import WIDTHS

AXE_RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
SIZES = {"wide": 1280, "middle": 800, "narrow": 390}
HOSTILE = "</title></script><script>window.broken=1</script><img src=x onerror=window.broken=1> & 'so' 夜 שלום"


@pytest.mark.parametrize("name", SIZES)
def test_noteheads_are_drawn_where_the_engraver_says_and_curves_pass_over_them(open_page, made, name):
    """At each moment with a note a curve has its point at the leftmost notehead of that moment."""
    page = open_page(viewport={"width": SIZES[name], "height": 900})
    shown = page.evaluate(
        """() => [...document.querySelectorAll(".sheets")].filter((each) => each.getClientRects().length)
            .map((each) => each.dataset.prefix)"""
    )
    assert shown == [f"{name}0-"]
    measured = page.evaluate(
        """(prefix) => [...document.querySelectorAll(`[id^="${prefix}n"]`)].map((note) => {
            const head = note.querySelector(".notehead use").getBoundingClientRect();
            const drawing = note.closest("svg").getBoundingClientRect();
            const width = note.closest("svg").viewBox.baseVal.width;
            return [Number(note.id.slice(prefix.length + 1)), (head.left + head.right) / 2 - drawing.left,
                    drawing.width / width];
        })""",
        shown[0],
    )
    engraving = engrave(made[0][0].score, WIDTHS[name])
    expected = {int(head): x for system in engraving.systems for head, x, _ in system.heads.tolist()}
    assert len(measured) == len(expected) == len(made[0][0].score.heads)
    apart = [x - expected[head] * scale for head, x, scale in measured]
    assert np.abs(apart).max() < 1.0
    apart = page.evaluate(
        """() => {
            const found = [];
            for (const drawing of document.querySelectorAll(".sheets .drawing")) {
                if (!drawing.getClientRects().length) continue;
                const svg = drawing.querySelector("svg");
                const left = svg.getBoundingClientRect().left;
                const scale = svg.getBoundingClientRect().width / svg.viewBox.baseVal.width;
                const heads = [...svg.querySelectorAll(".notehead use")].map((use) => {
                    const box = use.getBoundingClientRect();
                    return (box.left + box.right) / 2 - left;
                });
                for (const curve of svg.querySelectorAll("path.curve[data-over]")) {
                    for (const point of curve.dataset.over.trim().split(/ +/).filter(Boolean)) {
                        const x = Number(point.split(",")[0]) * scale;
                        found.push(Math.min(...heads.map((head) => Math.abs(head - x))));
                    }
                }
            }
            return found;
        }"""
    )
    assert len(apart) > 20
    assert max(apart) < 1.0


def test_the_line_stands_on_the_note_that_is_heard(open_page, made):
    page = open_page()
    for bar in (0, 3, 6):
        page.locator("#bar").evaluate(f"it => {{ it.value = {bar}; it.dispatchEvent(new Event('input')) }}")
        line, heads = page.evaluate(
            """() => {
                const middle = (box) => (box.left + box.right) / 2;
                return [middle(document.querySelector(".line").getBoundingClientRect()),
                        [...document.querySelectorAll(".sounding .notehead use")].map((use) =>
                            middle(use.getBoundingClientRect()))];
            }"""
        )
        assert heads
        assert min(abs(head - line) for head in heads) < 1.0


@pytest.mark.parametrize("width", [1280, 390])
def test_no_barrier_is_found(open_page, width):
    """axe-core: no violation of WCAG 2.2, levels A and AA."""
    from axe_playwright_python.sync_playwright import Axe

    page = open_page(viewport={"width": width, "height": 900}, color_scheme="light", bypass_csp=True)
    page.locator("details.keys summary").click()
    grounds = set()
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)
        grounds.add(page.locator("body").evaluate("(it) => getComputedStyle(it).backgroundColor"))
        found = Axe().run(page, options={"runOnly": {"type": "tag", "values": AXE_RULES}})
        told = [(each["id"], each["nodes"][0]["html"][:200]) for each in found.response["violations"]]
        assert told == [], scheme
        assert len(found.response["passes"]) > 10  # that it looked at something
    assert len(grounds) == 2


def test_nothing_reaches_over_the_edge(open_page):
    page = open_page(viewport={"width": 320, "height": 900})
    for width in (320, 390, 800, 1280):
        page.set_viewport_size({"width": width, "height": 900})
        assert page.evaluate("innerWidth") == width
        assert page.evaluate("document.documentElement.scrollWidth") <= width


@pytest.fixture(scope="module")
def four(tmp_path_factory):
    """A page of four readings with long names."""
    folder = tmp_path_factory.mktemp("four")
    names = [f"{name} from the beginning to the very end" for name in ("Outward", "Inward", "Upward", "Downward")]
    return page_of(written(folder)[:1] * 4, names, folder / "four.html")


OVER = """() => {
    const called = (each) => each.id || each.textContent;
    const things = "#notice, #play, .which label, #place, #bar, #repeat, .turns, .ends > *";
    const shown = [...document.querySelectorAll(things)].filter((each) => each.getClientRects().length)
        .map((each) => [each, each.getBoundingClientRect()]);
    const found = shown.filter(([, box]) => box.left < 0 || box.right > innerWidth || box.bottom > innerHeight)
        .map(([each]) => `${called(each)} lies outside`);
    for (const [one, a] of shown) for (const [two, b] of shown) {
        const across = Math.min(a.right, b.right) - Math.max(a.left, b.left);
        const down = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
        if (one !== two && across > 1 && down > 1) found.push(`${called(one)} over ${called(two)}`);
    }
    return found;
}"""


@pytest.mark.parametrize("width", [320, 390, 640, 920, 1280])
def test_nothing_in_the_player_lies_over_another_thing(open_page, four, width):
    """With all that it can show: four readings, bars of one's own, a choice of the time, and a notice."""
    page = open_page(four[1].path, viewport={"width": width, "height": 700})
    for blind in (False, True):
        if blind:
            page.locator("#blind").click()
            assert not page.locator(".readings").is_visible()
        page.locator("#repeat").select_option("bars")
        assert page.locator("#time").is_visible()
        page.locator("#from").fill("99")
        page.locator("#from").press("Enter")
        assert page.locator("#notice").is_visible()
        assert page.evaluate(OVER) == [], blind


def test_without_its_own_colours_a_page_shows_what_is_chosen_and_what_it_says(open_page):
    page = open_page(forced_colors="active")
    colour = "(it) => getComputedStyle(it).borderBottomColor"
    chosen, other = (page.locator(".choice").nth(number).evaluate(colour) for number in (0, 1))
    assert chosen != other
    page.locator("#repeat").select_option("bars")
    page.locator("#from").fill("99")
    page.locator("#from").press("Enter")
    words, ground = page.locator("#notice").evaluate(
        "(it) => [getComputedStyle(it).color, getComputedStyle(it).backgroundColor]"
    )
    body = page.locator("body").evaluate("(it) => getComputedStyle(it).backgroundColor")
    assert ground == body != words
    # the sign of the button is a triangle made of borders, three of which are not seen
    seen = page.locator("#play .sign").evaluate("(it) => getComputedStyle(it).borderTopColor")
    assert seen == "rgba(0, 0, 0, 0)"


@pytest.mark.parametrize("width", [390, 1280])
def test_nothing_moves_when_it_plays(open_page, width):
    """Everything but the line stays where it is, and nothing comes to lie beside the page."""
    page = open_page(viewport={"width": width, "height": 900})
    places = """() => [...document.querySelectorAll("main *, .player *")]
        .filter((it) => !it.matches(".line") && !it.closest("#play, .where"))
        .map((it) => it.getBoundingClientRect())
        .map(({ x, y, width }) => [x, y + scrollY, width].map(Math.round))"""
    before = page.evaluate(places)
    page.keyboard.press(" ")
    page.wait_for_timeout(600)
    assert page.locator("#play.playing").count() == 1
    assert page.evaluate(places) == before


@pytest.mark.parametrize("width", [390, 1280])
def test_no_barrier_is_found_where_bars_are_repeated_and_one_listens_blind(open_page, width):
    from axe_playwright_python.sync_playwright import Axe

    page = open_page(viewport={"width": width, "height": 900})
    page.locator("#repeat").select_option("bars")
    page.locator("#blind").click()
    found = Axe().run(page, options={"runOnly": AXE_RULES})
    assert [(each["id"], each["nodes"][0]["html"][:200]) for each in found.response["violations"]] == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_words_with_markup_stay_words(open_page, tmp_path):
    words = HOSTILE.replace('"', "")
    plans = written(tmp_path, title=words, name=words[:50], why=words)
    _, facts = page_of(plans, [words[:40], "Inward"], tmp_path / "hostile.html")
    page = open_page(facts.path)
    assert page.evaluate("window.broken") is None
    assert page.locator("h1").inner_text() == words
    assert page.locator(".comments li", has_text="window.broken=1").count() > 0
    assert page.locator("img").count() == 0
    assert page.locator("script").count() == 2


def test_the_policy_of_the_page_forbids_other_scripts(browser, made):
    with browser.new_context() as context:
        page = context.new_page()
        page.goto(made[1].path.as_uri())
        page.evaluate(
            """() => {
                const more = document.createElement("script");
                more.textContent = "window.broken = 1";
                document.body.append(more);
            }"""
        )
        assert page.evaluate("window.broken") is None
        policy = page.locator("meta[http-equiv=Content-Security-Policy]").get_attribute("content")
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy


def test_it_works_without_scripts(open_page):
    page = open_page(ready=False, java_script_enabled=False)
    assert page.locator("audio[controls]").count() == 2
    assert page.locator("audio").first.is_visible()
    assert page.locator(".sheets:visible svg").count() > 0
    assert page.locator("table").first.is_visible()
    assert not page.locator(".player").is_visible()
    assert not page.locator("button:visible").count()


def test_the_keyboard_is_enough(open_page):
    page = open_page()
    said, place = page.locator("#said"), page.locator("#place")
    page.keyboard.press("ArrowRight")
    assert "bar 2" in place.inner_text()
    assert "bar 2" in said.inner_text()
    page.keyboard.press("b")
    assert page.locator("input[name=reading]").nth(1).is_checked()
    assert "Inward" in said.inner_text()
    page.keyboard.press("Home")
    assert "bar 1" in place.inner_text()
    page.locator("details.keys summary").click()
    page.locator("#letters").uncheck()
    page.locator("h1").click()
    page.keyboard.press("a")
    assert page.locator("input[name=reading]").nth(1).is_checked()  # letters are no keys any more


def test_a_bar_is_touched_to_go_there_and_again_for_its_next_time(open_page):
    page = open_page()
    page.locator(".sheets.wide .touch[data-bar='4']").click()
    assert page.locator("#place").inner_text().startswith("bar 5, beat 1")
    first = page.locator("#place").inner_text()
    page.locator(".sheets.wide .touch[data-bar='4']").click()
    assert page.locator("#place").inner_text().startswith("bar 5, beat 1")
    assert page.locator("#place").inner_text() != first


def test_where_a_reading_does_not_play_a_bar_it_is_said(open_page):
    page = open_page()
    page.locator(".sheets.wide .touch[data-bar='4']").click()
    page.locator(".sheets.wide .touch[data-bar='4']").click()  # the second time, which Inward has not
    page.keyboard.press("b")
    assert "not played here" in page.locator("#notice").inner_text()
    assert "bar 5" in page.locator("#place").inner_text()


def test_listening_blind_hides_which_is_which_and_then_tells(open_page):
    page = open_page()
    page.locator("#blind").click()
    assert not page.locator(".readings").is_visible()
    assert not page.get_by_text("Outward", exact=False).locator("visible=true").count()
    assert not page.locator(".reading.a .curve").first.is_visible()
    assert "first" in page.locator(".which").inner_text()
    page.locator("#game input[type=radio], #game select").first.wait_for()


def test_a_page_of_two_short_readings_is_small(made):
    """Sixteen bars, half a minute of sound in each reading."""
    _, facts = made
    assert facts.size < 3_000_000
    data = facts.path.read_text(encoding="utf-8").split('id="values">')[1].split("</script>")[0]
    assert len(json.loads(data)["readings"]) == 2


def test_readings_of_different_scores_have_each_their_own_music(open_page, tmp_path):
    plans = written(tmp_path)
    other = (tmp_path / "piece.abc").read_text(encoding="utf-8").replace("G B d | g2 f", "D B d | g2 e", 1)
    (tmp_path / "edition.abc").write_text(other, encoding="utf-8")
    text = plans[1].read_text(encoding="utf-8").replace("score: piece.abc", "score: edition.abc")
    plans[1].write_text(text, encoding="utf-8")
    _, facts = page_of(plans, ["Outward", "Inward"], tmp_path / "editions.html")
    page = open_page(facts.path)
    assert page.locator("h3:visible", has_text="The music of").all_inner_texts() == ["The music of A", "The music of B"]
    assert "the notes differ in bars 1-2" in page.locator(".part-apart").inner_text().lower()
    page.locator("#bar").evaluate("it => { it.value = 2; it.dispatchEvent(new Event('input')) }")
    page.keyboard.press("b")
    assert page.locator(".line").evaluate("it => it.closest('.sheets').dataset.prefix") == "wide1-"
    assert page.locator("#place").inner_text().startswith("bar 3")


def test_a_score_that_is_not_engraved_still_has_bars_curves_and_sound(open_page, tmp_path, monkeypatch):
    import verovio

    monkeypatch.setattr(verovio.toolkit, "loadData", lambda *_: False)
    _, facts = page_of(written(tmp_path), ["Outward", "Inward"], tmp_path / "bars.html")
    assert facts.refused
    page = open_page(facts.path)
    assert "cannot be engraved" in page.locator(".refused").inner_text()
    assert page.locator(".sheets.wide path.curve").count() > 0
    page.locator(".sheets.wide .touch[data-bar='3']").click()
    assert page.locator("#place").inner_text().startswith("bar 4")
    page.keyboard.press(" ")
    page.wait_for_function("document.body.classList.contains('heard')")
    page.keyboard.press(" ")
