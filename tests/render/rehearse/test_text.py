"""The plan's text in the page: completed, marked and told at its lines, in step with what is saved."""

from __future__ import annotations

import pytest
from written_page import say, sent, until, written_page

from render.rehearse.vocabulary import vocabulary

PLAN = """\
# the bridge at noon
title: Slow Bells
score: bells.musicxml
tempo: 63          # walking
phrases:
  - {bars: 1-8, inside: [1-4, 5-8]}
  - bars: 9-16
    name: answer
slowing:
  - {rallentando: 7:1 - 8:3, to: 80%, then: a tempo}
  - {ritenuto: 15, to: 70%}
"""
ENTRIES = [
    {"section": "phrases", "line": 6, "column": 5, "first": 6, "last": 6, "own": True},
    {"section": "phrases", "line": 6, "column": 26, "first": 6, "last": 6, "own": True},
    {"section": "phrases", "line": 6, "column": 31, "first": 6, "last": 6, "own": True},
    {"section": "phrases", "line": 7, "column": 5, "first": 7, "last": 8, "own": True},
    {"section": "slowing", "line": 10, "column": 5, "first": 10, "last": 10, "own": True},
    {"section": "slowing", "line": 11, "column": 5, "first": 11, "last": 11, "own": True},
]


@pytest.fixture
def page(browser):
    with written_page(browser, "text.js") as opened:
        opened.wait_for_selector(".cm-content")
        say(opened, "vocabulary", **vocabulary())
        save(opened, PLAN, 0)
        say(opened, "drawn", number=0, reading=0, entries=ENTRIES)
        yield opened


def save(page, text: str, number: int, by: str = "file", faults=()) -> None:
    say(page, "saved", number=number, text=text, by=by, faults=list(faults))


def text_of(page) -> str:
    """What is in the editor, all of it: it keeps as lines what it shows."""
    return page.evaluate("[...document.querySelectorAll('.cm-line')].map((line) => line.textContent).join('\\n')")


def line(page, number: int):
    return page.locator(".cm-line").nth(number - 1)


def stand(page, number: int, column: int) -> None:
    """Put the cursor there, by keys alone."""
    page.locator(".cm-content").focus()
    page.keyboard.press("Control+Home")
    for _ in range(number - 1):
        page.keyboard.press("ArrowDown")
    for _ in range(column - 1):
        page.keyboard.press("ArrowRight")


def offered(page) -> list[str]:
    page.wait_for_selector(".cm-tooltip-autocomplete li")
    return page.locator(".cm-tooltip-autocomplete li .cm-completionLabel").all_inner_texts()


def type_and_see(page, number: int, column: int, typed: str) -> list[str]:
    stand(page, number, column)
    page.keyboard.type(typed)
    page.wait_for_timeout(200)
    page.keyboard.press("Escape")  # what was offered on the way
    page.keyboard.press("Control+Space")
    return offered(page)


# -- completion


def test_keys_in_braces_are_those_that_are_missing(page):
    found = type_and_see(page, 11, 27, ", ")
    assert found[:4] == ["then", "louder", "curvature", "pass"]
    assert not {"ritenuto", "rallentando", "to"} & set(found)


def test_a_chosen_key_is_followed_by_its_values(page):
    stand(page, 11, 27)
    page.keyboard.type(", th")
    assert offered(page)[0] == "then"
    page.wait_for_timeout(100)  # the editor takes no Enter sooner, lest it meet somebody who types on
    page.keyboard.press("Enter")
    until(page, "document.querySelectorAll('.cm-tooltip-autocomplete li').length === 2")
    assert offered(page) == ["a tempo", "a tempo by 9:3"]
    page.wait_for_timeout(100)
    page.keyboard.press("Enter")
    assert line(page, 11).inner_text() == "  - {ritenuto: 15, to: 70%, then: a tempo}"


def test_nested_phrases_and_their_arches_have_their_own_keys(page):
    assert type_and_see(page, 6, 26, "{bars: 1, ")[:3] == ["name", "inside", "arch"]
    page.keyboard.press("Escape")
    page.keyboard.type("arch: {")
    assert offered(page) == ["pace", "pace peak", "level", "level peak"]


def test_a_new_line_of_a_list_begins_an_entry(page):
    stand(page, 11, 1)
    page.keyboard.press("End")
    page.keyboard.type("\n- ")
    page.keyboard.press("Control+Space")
    assert offered(page)[:3] == ["rallentando", "ritardando", "ritenuto"]
    page.wait_for_timeout(100)
    page.keyboard.press("Enter")
    assert line(page, 12).inner_text().strip() == "- {rallentando: 7:2 - 8:3}"
    page.keyboard.type("3-4")  # over the example
    assert line(page, 12).inner_text().strip() == "- {rallentando: 3-4}"


def test_the_values_of_tone_are_offered(page):
    stand(page, 11, 1)
    page.keyboard.press("Control+End")
    page.keyboard.type("tone:\n  - {bars: 3, tone: s")
    assert {"sul tasto", "sul ponticello"} <= set(offered(page))


def test_settings_in_lines_are_completed_too(page):
    stand(page, 8, 1)
    page.keyboard.press("End")
    page.keyboard.press("Enter")
    page.keyboard.press("Control+Space")
    assert offered(page)[:2] == ["inside", "arch"]


def test_what_a_setting_does_is_told_under_the_mouse(page):
    page.get_by_text("ritenuto", exact=True).hover()
    told = page.wait_for_selector(".cm-told").inner_text()
    assert told == "ritenuto held back at once, where its range begins (both ends counted in)"


# -- remarks


def remark(line: int, column: int, **more) -> dict:
    usual = {
        "index": 3, "severity": "caution", "code": "slowing-mid-phrase", "message": "it turns too soon", "line": line,
        "column": column, "own": True, "fix": True, "mends": "{rallentando: 7:1 - 8:3, to: 80%}", "accepted": None,
        "suggestion": None,
    }  # fmt: skip
    return usual | more


def test_remarks_stand_at_their_lines_and_can_be_mended(page):
    say(page, "remarks", number=0, reading=0, remarks=[remark(10, 5), remark(2, 1, own=False)])
    marked = page.locator(".cm-lintRange-warning")
    assert "".join(marked.all_inner_texts()) == "{rallentando: 7:1 - 8:3, to: 80%, then: a tempo}"
    assert page.locator(".cm-lint-marker-warning").count() == 1
    marked.first.hover()
    tooltip = page.wait_for_selector(".cm-tooltip-lint")
    assert "it turns too soon" in tooltip.inner_text()
    tooltip.query_selector("button").click()
    assert sent(page, "change") == [{"do": "change", "number": 0, "change": {"what": "mend", "index": 3}}]


def test_faults_of_what_was_typed_take_the_place_of_remarks(page):
    say(page, "remarks", number=0, reading=0, remarks=[remark(10, 5)])
    fault = remark(11, 18, severity="error", message="to is a share", fix=False)
    save(page, PLAN.replace("70%", "70"), 1, "page", [fault])
    assert page.locator(".cm-lint-marker-error").count() == 1
    assert page.locator(".cm-lint-marker-warning").count() == 0
    save(page, PLAN, 2)
    say(page, "remarks", number=2, reading=0, remarks=[])
    assert page.locator("[class*=cm-lint-marker-]").count() == 0


def test_remarks_go_along_with_lines_that_are_typed_before_them(page):
    stand(page, 1, 1)
    page.keyboard.type("\n\n")
    say(page, "remarks", number=0, reading=0, remarks=[remark(11, 5)])
    assert "ritenuto" in line(page, 13).inner_text()
    assert line(page, 13).locator(".cm-lintRange").count() > 0


def test_by_keyboard_one_goes_from_remark_to_remark_and_reads_them(page):
    say(page, "remarks", number=0, reading=0, remarks=[remark(10, 5), remark(11, 5, message="how long?")])
    stand(page, 2, 1)
    said = page.locator("#text-said")
    assert said.inner_text() == "title: what this reading is called; without it, what the score calls itself"
    page.keyboard.press("F8")
    assert said.inner_text() == "it turns too soon"
    until(page, "document.querySelector('.cm-announced').textContent.includes('it turns too soon')")
    page.keyboard.press("F8")
    assert said.inner_text() == "how long?"


# -- in step with the server


def test_what_is_typed_reaches_the_server_once_it_is_still(page):
    stand(page, 4, 8)
    page.keyboard.type("5")
    assert sent(page, "text") == []
    until(page, "sent.some((message) => message.do === 'text')")
    page.wait_for_timeout(400)
    assert sent(page, "text") == [{"do": "text", "text": PLAN.replace("tempo: 63", "tempo: 563"), "number": 0}]


def test_what_was_typed_on_meanwhile_stays_when_the_first_of_it_comes_back(page):
    stand(page, 4, 8)
    page.keyboard.type("5")
    until(page, "sent.some((message) => message.do === 'text')")
    page.keyboard.type("4")
    save(page, sent(page, "text")[0]["text"], 1, "page")
    assert line(page, 4).inner_text().startswith("tempo: 5463")
    until(page, "sent.filter((message) => message.do === 'text').length === 2")
    assert sent(page, "text")[1]["number"] == 1


def test_a_change_from_elsewhere_keeps_the_cursor_and_what_is_shown(page):
    long = PLAN + "".join(f"  - {{ritenuto: {bar}, to: 70%}}\n" for bar in range(20, 120))
    save(page, long, 1)
    stand(page, 60, 18)
    page.locator(".cm-scroller").evaluate("(each) => { each.scrollTop = 900; }")
    page.wait_for_timeout(100)
    top = page.locator(".cm-scroller").evaluate("(each) => each.scrollTop")
    save(page, long.replace("to: 80%", "to: 65%").replace("# walking", "# walking\n# or running"), 2)
    page.wait_for_timeout(100)
    moved = page.locator(".cm-scroller").evaluate("(each) => each.scrollTop")
    assert abs(moved - top) < 60
    page.keyboard.type("9")  # where the cursor was
    until(page, "sent.some((message) => message.do === 'text')")
    assert "  - {ritenuto: 689, to: 70%}" in sent(page, "text")[0]["text"]
    assert "to: 65%" in sent(page, "text")[0]["text"]


def test_what_is_typed_and_what_comes_at_once_both_stay(page):
    stand(page, 4, 8)
    page.keyboard.type("5")
    save(page, PLAN.replace("to: 80%", "to: 65%"), 1)
    until(page, "sent.some((message) => message.do === 'text')")
    both = PLAN.replace("to: 80%", "to: 65%").replace("tempo: 63", "tempo: 563")
    assert sent(page, "text")[-1] == {"do": "text", "text": both, "number": 1}


def test_undo_is_that_of_the_sitting_and_takes_what_was_typed_along(page):
    stand(page, 4, 8)
    page.keyboard.type("5")
    page.keyboard.press("Control+z")
    page.keyboard.press("Control+Shift+Z")
    assert [message["do"] for message in page.evaluate("sent") if "do" in message] == ["text"]
    save(page, sent(page, "text")[0]["text"], 1, "page")
    save(page, PLAN, 2, "undo")
    assert text_of(page) == PLAN
    assert [message["do"] for message in page.evaluate("sent") if "do" in message] == ["text", "undo", "redo"]


def test_what_is_typed_on_waits_for_what_is_on_its_way(page):
    """Or the server would take the second for a change of another text."""
    stand(page, 4, 8)
    page.keyboard.type("5")
    until(page, "sent.some((message) => message.do === 'text')")
    page.keyboard.type("4")
    page.wait_for_timeout(400)
    assert len(sent(page, "text")) == 1
    save(page, sent(page, "text")[0]["text"], 1, "page")
    until(page, "sent.filter((message) => message.do === 'text').length === 2")
    assert sent(page, "text")[1]["number"] == 1


def test_what_was_on_its_way_when_the_connection_went_is_sent_again(page):
    stand(page, 4, 8)
    page.keyboard.type("5")
    until(page, "sent.some((message) => message.do === 'text')")
    say(page, "hello", saved=0)
    save(page, PLAN, 0)
    until(page, "sent.filter((message) => message.do === 'text').length === 2")
    assert sent(page, "text")[1] == sent(page, "text")[0]


def test_the_chosen_entry_is_marked_where_it_stands_in_the_next_state(page):
    say(page, "select", section="slowing", line=10, column=5, **{"from": "music"})
    moved = PLAN.replace("# the bridge", "# one line more\n# the bridge")
    save(page, moved, 1)
    entries = [each | {key: each[key] + 1 for key in ("line", "first", "last")} for each in ENTRIES]
    say(page, "chosen", entry=entries[4])
    say(page, "drawn", number=1, reading=0, entries=entries)
    assert "".join(page.locator(".cm-entry").all_inner_texts()).startswith("{rallentando: 7:1")


def test_touching_the_music_does_not_scroll_the_page_away_from_it(page):
    long = PLAN + "".join(f"  - {{ritenuto: {bar}, to: 70%}}\n" for bar in range(20, 120))
    save(page, long, 1)
    entry = {"section": "slowing", "line": 100, "column": 5, "first": 100, "last": 100, "own": True}
    say(page, "drawn", number=1, reading=0, entries=[*ENTRIES, entry])
    page.evaluate("document.body.style.minHeight = '4000px'")
    before = page.evaluate("scrollY")
    say(page, "select", section="slowing", line=100, column=5, **{"from": "music"})
    until(page, "document.querySelector('.cm-entry')?.getBoundingClientRect().top > 0")
    assert page.evaluate("scrollY") == before
    assert "".join(page.locator(".cm-entry").all_inner_texts()) == "{ritenuto: 108, to: 70%}"


def test_lines_that_end_as_windows_has_them_are_no_change(page):
    save(page, PLAN.replace("\n", "\r\n"), 1)
    page.locator(".cm-content").focus()
    page.locator("#after").focus()
    page.wait_for_timeout(400)
    assert sent(page, "text") == []


# -- the entry that is selected


def selected(page) -> list[dict]:
    return [message["select"] for message in page.evaluate("sent") if "select" in message]


@pytest.mark.parametrize(
    ("place", "entry"),
    [((10, 20), 4), ((6, 10), 0), ((6, 27), 1), ((6, 32), 2), ((6, 18), 0), ((8, 12), 3), ((7, 8), 3), ((11, 6), 5)],
)
def test_the_entry_under_the_cursor_is_selected(page, place, entry):
    stand(page, *place)
    wanted = {key: ENTRIES[entry][key] for key in ("section", "line", "column")} | {"from": "text"}
    assert selected(page)[-1] == wanted
    assert page.locator(".cm-entry").count() > 0


def test_outside_of_entries_nothing_is_selected(page):
    stand(page, 10, 20)
    stand(page, 2, 3)
    assert selected(page)[-1] == {"from": "text"}
    assert page.locator(".cm-entry").count() == 0


def test_what_is_selected_in_the_music_is_marked_and_not_told_again(page):
    say(page, "select", section="slowing", line=11, column=5, **{"from": "music"})
    assert "".join(page.locator(".cm-entry").all_inner_texts()) == "{ritenuto: 15, to: 70%}"
    assert len(selected(page)) == 1
    say(page, "select", section="phrases", line=7, column=5, **{"from": "music"})
    assert page.locator(".cm-entryLine").count() == 2


# -- who cannot use it


def test_escape_and_tab_leave_the_editor(page):
    stand(page, 5, 1)
    page.keyboard.press("Tab")
    assert line(page, 5).inner_text() == "  phrases:"
    page.keyboard.press("Escape")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.id") == "after"


def test_where_the_editor_does_not_load_there_is_a_plain_field(browser):
    with written_page(browser, "text.js", missing=("editor.js",)) as page:
        field = page.locator("textarea")
        field.wait_for()
        save(page, PLAN, 0)
        assert field.input_value() == PLAN
        field.evaluate("(each) => each.setSelectionRange(60, 60)")
        save(page, PLAN.replace("# the bridge", "# the old bridge"), 1)
        assert field.evaluate("(each) => each.selectionStart") == 64
        field.focus()
        page.keyboard.type("x")
        until(page, "sent.some((message) => message.do === 'text')")
        assert len(sent(page, "text")[0]["text"]) == len(PLAN) + 5
        say(page, "remarks", number=1, reading=0, remarks=[remark(10, 5)])
        assert page.locator(".told-here li").all_inner_texts() == ["line 10: it turns too soon"]
