"""Bars of one's own on a page: the stretches that the command's `--bars` takes, found by the script."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from pages import pair_of, repeat
from support import reading, score

from render.page.document import SCRIPTS
from render.page.music import Music
from render.page.recording import Recording
from render.page.tables import reading_values, score_values
from timing.listening import stretch
from timing.plan.position import Position, Range
from timing.remarks import CannotDo

FIND = """([score, reading, texts]) => {
    const made = new Reading({ ...reading, score: 0 }, 0, [new Score(score)]);
    return texts.map((text) => {
        try {
            return made.where.heard(text);
        } catch (fault) {
            if (fault instanceof Fault) return fault.message;
            throw fault;
        }
    });
}"""


@pytest.fixture(scope="module")
def find(browser):
    """Let the script of the page look for ranges in a reading: for each its stretches, or what it says."""
    from importlib.resources import files

    page = browser.new_page()
    needed = [name for name in SCRIPTS if name in ("numbers", "ranges", "places")]
    scripts = [files("render.page").joinpath(f"files/{name}.js").read_text(encoding="utf-8") for name in needed]
    page.add_script_tag(content="\n".join(scripts))

    def found(made, texts):
        music = Music(made.score, [0], [], "")
        bars = made.performance.bars
        values = reading_values(made, np.arange(len(bars)), Recording(b"", 44_100, 1, -6.0, 0.0))
        values |= {"name": "", "letter": "a"}
        return page.evaluate(FIND, [score_values(music, made.where.endings), values, texts])

    yield found
    page.close()


def by_command(made, text, passes=None):
    """The stretch that the command plays: from and until which quarter, and its pass; or what it says."""
    try:
        run = stretch(made, text, passes)
    except CannotDo as refusal:
        return refusal.remarks[0].message
    return {"from": run.start, "until": run.end, "pass": int(made.performance.bars["pass"][run.first])}


def agree(find, made, texts):
    for text, found in zip(texts, find(made, texts), strict=True):
        expected = by_command(made, text)
        assert (found if isinstance(found, str) else found[0]) == expected, text
        if not isinstance(found, str):
            for pass_ in range(1, 5):
                here = by_command(made, text, pass_)
                assert [each for each in found if each["pass"] == pass_] == ([] if isinstance(here, str) else [here])


@st.composite
def readings(draw):
    """Bars with names of all kinds and repeats, endings and jumps anywhere, or an order of the plan's own, which may
    turn within a bar."""
    count = draw(st.integers(2, 8))
    pickup = draw(st.sampled_from([0.0, 0.5, 1.0]))
    row = st.integers(0, count - 1)
    mark = st.fixed_dictionaries({
        "kind": st.sampled_from(["repeat start", "repeat end", "ending", "da capo", "dal segno", "segno", "fine"]),
        "bar": row, "end_bar": row, "offset": st.sampled_from([0.0, 3.0]), "text": st.sampled_from(["1", "2", "1,2"]),
    })  # fmt: skip
    metre = draw(st.sampled_from([(3, 4), (6, 8), (2, 2), (5, 8)]))
    made = score(count, metre, pickup=pickup, marks=draw(st.lists(mark, max_size=6)))
    for bar in range(1, len(made.bars)):  # letters, and numbers that are left out
        made.bars["suffix"][bar] = draw(st.sampled_from(["", "", "", "b", "C"]))
        made.bars["number"][bar:] += draw(st.sampled_from([0, 0, 0, 2, -1]))
    named = np.char.lower(np.char.add(made.bars["number"].astype(str), made.bars["suffix"]))
    for bar in range(len(made.bars)):  # no two bars are called alike
        if named[bar] in named[:bar]:
            made.bars["suffix"][bar] = "xyzuvwst"[bar % 8] * 2
    names = [made.bar_name(bar) for bar in range(len(made.bars))]
    bar = st.integers(0, len(names) - 1)
    stretches = st.lists(st.tuples(bar, bar, st.sampled_from(["", "", ":2", ":2.5"])), min_size=1, max_size=4)
    order = draw(st.none() | stretches)
    written = ", ".join(f"{names[min(a, b)]} - {names[max(a, b)]}{beat}" for a, b, beat in order or [])
    try:
        return reading({"order": written} if order else {}, made)
    except CannotDo:  # a beat that this bar has not
        return reading({}, made)


@st.composite
def ranges(draw, names):
    """Ranges as they are written, most of them of bars that are there."""
    parts = ["2.5", "1.0", "4.0", "7.0", "2+1/3", "1+2/6", "3.333333", "2.00005", "0", "9"]
    beat = st.integers(1, 4).map(str) | st.sampled_from(parts)
    name = st.sampled_from(names) | st.sampled_from(["0", "3", "007", "11", "2b", "99", "4q"])
    position = st.builds(lambda bar, beat, colon: f"{bar}{colon}{beat}" if beat else bar,
                         name, st.none() | beat, st.sampled_from([":", " : "]))  # fmt: skip
    odd = ["", "-", "7 -", "1-2-3", "2.1", "two", "1:2+1/0", "1:1+4/3", "1:", "1" * 70, "1" * 50, "7:2:3", "١"]
    both = st.builds("{}{}{}".format, position, st.sampled_from([" - ", "-", "–"]), position)
    return draw(both | position | st.sampled_from(odd))


@given(st.data())
def test_the_page_finds_the_stretches_that_the_command_plays_or_says_the_same(find, data):
    made = data.draw(readings())
    names = [made.score.bar_name(bar) for bar in range(len(made.score.bars))]
    agree(find, made, data.draw(st.lists(ranges(names), min_size=1, max_size=12)))


@given(
    bar=st.integers(1, 999_999), beat=st.integers(1, 9999), top=st.integers(0, 10**9), bottom=st.integers(1, 9999)
)
@example(bar=1, beat=8, top=10_000, bottom=1)  # just a millionth
def test_the_page_writes_beats_as_the_command_does(find, bar, beat, top, bottom):
    made = reading({}, score(2))
    decimal = f"1:{beat}.{top:010d}"[:-1]
    part = Fraction(top % bottom, bottom)
    texts = [decimal, f"1:{beat}+{part.numerator}/{part.denominator}", f"{bar}:{beat}"]
    expected = Range(Position("2", beat + part, True), Position("1", beat + part, True))
    agree(find, made, [*texts, str(expected)])


ORDERED = """\
score: piece.abc
instrument: violin
tempo: 160
order: [1-8, 1-3, 9-16]
phrases:
  - {bars: 1-4}
"""


@pytest.fixture(scope="module")
def apart(tmp_path_factory):
    """A page on which a repeat stands after bar 8, and a second reading that plays straight on."""
    orders = {"Turning": ORDERED, "Straight": ORDERED.replace("1-8, 1-3, 9-16", "1-8, 9-16")}
    return pair_of(tmp_path_factory.mktemp("bars"), orders)


def test_bars_that_are_not_heard_in_one_go_are_refused_in_words(open_page, apart):
    page = open_page(apart[1].path)
    repeat(page, "7", "9")
    said = "7-9 is never heard in one go: the order of the bars is 1-8, 1-3, 9-16"
    assert page.locator("#notice").inner_text() == said
    assert page.locator("#said").inner_text() == said
    assert page.locator("#from").get_attribute("aria-invalid") == "true"
    page.keyboard.press("b")  # which plays them so
    repeat(page, "7:2", "9")
    assert page.locator("#from").get_attribute("aria-invalid") == "false"
    assert not page.locator("#notice").is_visible()
    assert page.locator("#place").inner_text().startswith("bar 7, beat 2")


REFUSED = [
    ("17", "18", "bar 17: the score ends at bar 16"),
    ("3", "1", "3-1 ends before it begins: did you mean 1-3?"),
    ("1:5", "2", "bar 1 has 3 beats: there is no 1:5"),
    ("two", "3", "'two' is not a position: write bar:beat, as in 7:2, or a bar alone"),
    ("", "", "'' is not a range: write where it begins and ends, as in 7:2 - 8:3 or 7-8"),
    ("1:1", "1:1.01", "1:1 - 1:1.01 is too short to be repeated"),
]


def test_what_cannot_be_repeated_is_said_in_the_words_of_the_command(open_page, apart):
    page = open_page(apart[1].path)
    for start, end, said in REFUSED:
        repeat(page, start, end)
        assert page.locator("#notice").inner_text() == said
        repeat(page, "1", "2")
        assert not page.locator("#notice").is_visible(), said


def test_both_ends_may_be_written_into_one_field(open_page, apart):
    page = open_page(apart[1].path)
    repeat(page, "7:2 - 8:1", "")
    assert page.locator("#from").input_value() == "7:2"
    assert page.locator("#until").input_value() == "8:1"
    assert page.locator("#place").inner_text().startswith("bar 7, beat 2")
    repeat(page, "5", "")
    assert page.locator("#place").inner_text().startswith("bar 5, beat 1")


HEARD = """() => {
    window.bars = [];
    const place = document.getElementById("place");
    new MutationObserver(() => {
        const bar = place.textContent.split(",")[0] + (/, pass [0-9]+/.exec(place.textContent)?.[0] ?? "");
        if (window.bars.at(-1) !== bar) window.bars.push(bar);
    }).observe(place, { childList: true });
}"""


def test_the_time_that_is_repeated_can_be_chosen(open_page, apart):
    page = open_page(apart[1].path)
    page.locator("#bar").evaluate("it => { it.value = 9; it.dispatchEvent(new Event('input')) }")
    repeat(page, "2", "3")
    assert page.locator("#time option").all_inner_texts() == ["pass 1", "pass 2"]
    assert page.locator("#time").input_value() == "2"  # it was the second time that was heard
    page.locator("#time").select_option("1")
    assert page.locator("#place").inner_text() == "bar 2, beat 1, pass 1"
    page.evaluate(HEARD)
    page.locator("h1").click()
    page.keyboard.press(" ")
    page.wait_for_timeout(6000)  # at 160 quarters a minute two bars last 2.25 seconds
    page.keyboard.press(" ")
    bars = page.evaluate("window.bars")
    assert len(bars) >= 5
    assert set(bars[::2]) | set(bars[1::2]) == {"bar 2, pass 1", "bar 3, pass 1"}
    repeat(page, "5", "6")
    assert not page.locator("#time").is_visible()


def test_by_turns_every_reading_plays_the_bars_that_are_written(open_page, apart):
    """Where one does not play them in one go, it is left out."""
    page = open_page(apart[1].path)
    page.keyboard.press("b")
    repeat(page, "8", "9")
    page.locator("#turns").check()
    page.evaluate(HEARD)
    page.locator("h1").click()
    page.keyboard.press(" ")
    page.wait_for_timeout(4000)
    page.keyboard.press(" ")
    assert set(page.evaluate("window.bars")) == {"bar 8", "bar 9"}
    page.keyboard.press("a")
    assert page.locator("input[name=reading]").nth(0).is_checked()
