"""What can be written at a place of a plan, as the page's script finds it; and the least change from text to text."""

from __future__ import annotations

import json
from itertools import pairwise

import pytest
from house import DEMOS
from hypothesis import example, given
from hypothesis import strategies as st
from written_page import written_page

from render.rehearse.vocabulary import vocabulary


@pytest.fixture(scope="module")
def call(browser):
    """Call a function of a script as the browser has it: call("edits.js", "edits", before, after)."""
    with written_page(browser) as page:
        page.evaluate("(value) => { globalThis.known = value; }", vocabulary())

        def called(script: str, function: str, *given):
            source = (
                "async ([script, name, given]) => { const module = await import(`./files/${script}`); "
                "return module[name](...given.map((each) => each === 'VOCABULARY' ? globalThis.known : each)); }"
            )
            return page.evaluate(source, [script, function, list(given)])

        yield called


@pytest.fixture
def at(call):
    """What is offered where | stands in a text, by what would be written."""

    def offered(text: str) -> list[str]:
        found = call("completing.js", "choices", "VOCABULARY", text.replace("|", ""), text.index("|"))
        return [each["apply"] for each in found["choices"]] if found else []

    return offered


# -- the vocabulary


def test_the_vocabulary_is_small_and_has_a_sentence_for_everything():
    told = vocabulary()
    assert len(json.dumps(told)) < 40_000
    for kind in told["kinds"].values():
        assert kind["help"] and "\n" not in kind["help"]
        assert set(kind["first"]) <= kind["settings"].keys()
        for value in kind["settings"].values():
            assert value["help"] and value.get("kind", "Plan") in told["kinds"]


def test_what_every_entry_may_carry_comes_last():
    keys = list(vocabulary()["kinds"]["Slowing"]["settings"])
    assert keys[0] == "rallentando" and keys[-3:] == ["pass", "why", "omit"]


# -- completion

SLOWINGS = ["rallentando: ", "ritardando: ", "ritenuto: ", "allargando: ", "accelerando: ", "stringendo: ", "a tempo: "]
SHARED = ["pass: ", "why: ", "omit: "]


@pytest.mark.parametrize(
    ("text", "offered"),
    [
        ("slowing:\n  - {|", [*SLOWINGS, "to: ", "then: ", "louder: ", "curvature: ", *SHARED]),
        ("slowing:\n- {|", [*SLOWINGS, "to: ", "then: ", "louder: ", "curvature: ", *SHARED]),
        ("slowing:\n  - {rallentando: 7-8, |", ["to: ", "then: ", "louder: ", "curvature: ", *SHARED]),
        ("slowing:\n  - {rallentando: 7-8, |, to: 80%}", ["then: ", "louder: ", "curvature: ", *SHARED]),
        ("slowing:\n  - {rallentando: 7-8,\n     |", ["to: ", "then: ", "louder: ", "curvature: ", *SHARED]),
        ("slowing:\n  - {to: 80%\n  - {rallentando: 1, |", ["to: ", "then: ", "louder: ", "curvature: ", *SHARED]),
        ("slowing:\n  - {why: 'a, b: {', to: 80%, |", [
            *SLOWINGS, "then: ", "louder: ", "curvature: ", "pass: ", "omit: "]),
        ("slowing:\n  - rallentando: 7-8\n    |", ["to: ", "then: ", "louder: ", "curvature: ", *SHARED]),
        ("slowing:\n  - rallentando: 7-8\n    |\n    to: 80%\n", ["then: ", "louder: ", "curvature: ", *SHARED]),
        ("slowing:\n  - {rallentando: 7-8, then: |", ["a tempo", "a tempo by 9:3"]),
        ("phrases:\n  - {bars: 1-8, inside: [1-4, {bars: 5-8, |", ["name: ", "inside: ", "arch: ", *SHARED]),
        ("phrases:\n  - {bars: 1-8, inside: [|", ["7:2 - 8:3", "7-8", "{bars: ⟨7:2 - 8:3⟩}"]),
        ("phrases:\n  - bars: 1-8\n    inside:\n      - |", ["7:2 - 8:3", "7-8", "{bars: ⟨7:2 - 8:3⟩}"]),
        ("phrases:\n  - bars: 1-8\n    inside:\n    - {bars: 1, |", ["name: ", "inside: ", "arch: ", *SHARED]),
        ("phrases:\n  - {bars: 1-8, arch: {pace: 6%, |", ["pace peak: ", "level: ", "level peak: "]),
        ("phrases:\n  - {bars: 1-8, arch: |", ["6%", "yes", "{⟨⟩}"]),
        ("tone:\n  - {at: 3, tone: |", [
            "naturale", "ordinario", "tasto", "sul tasto", "ponticello", "sul ponticello", "dark", "plain", "bright",
            "5 cm"]),
        ("dynamics:\n  - {at: 3, mark: |", ["ppp", "pp", "p", "mp", "mf", "f", "ff", "fff"]),
        ("voices:\n  melody: 0 dB\n  |", ["bass: ", "inner: ", "voice 2: ", "staff 1: ", "part 1: "]),
        ("voices:\n  melody: {|", ["level: ", "lead: ", "is: "]),
        ("voices:\n  melody: |", ["-3 dB", "{⟨⟩}"]),
        ("glissandi:\n  - {arrive: |", ["plucked", "slurred"]),
        ("sounds: |", ["an octave lower", "as written", "an octave higher"]),
        ("sounds: {Guitar 1: |", ["an octave lower", "as written", "an octave higher"]),
        ("slowing:\n  - {rallentando: 7-8}|", []),
        ("slowing:\n  - {rallentando: 7-8}  # but |", []),
        ("# |", []),
        ("title: x | y", []),
        ("unheard of:\n  - {|", []),
        ("unheard of:\n  |", []),
    ],
)  # fmt: skip
def test_what_can_stand_at_a_place(at, text, offered):
    assert at(text) == offered


def test_sections_that_are_there_are_not_offered_again(at):
    found = at("title: x\n|\ntempo: 63\nslowing:\n  - {rallentando: 1}\n")
    assert "score: " in found and "phrases: " in found
    assert not {"title: ", "tempo: ", "slowing: "} & set(found)


def test_a_line_of_a_section_begins_an_entry(at):
    assert at("slowing:\n  |")[:2] == ["- {rallentando: ⟨7:2 - 8:3⟩}", "- {ritardando: ⟨7:2 - 8:3⟩}"]
    assert at("tempo:\n  - 63\n  |") == ["- {at: ⟨7:2⟩}"]


def test_instruments_and_cautions_are_offered_by_their_names(at):
    assert {"classical guitar", "violin", "piano"} <= set(at("instrument: |"))
    assert "slowing-mid-phrase" in at("accept:\n  - {code: |")


def test_the_rest_of_a_key_is_written_over(call):
    text = "slowing:\n  - {rall: 7-8, to: 80%}"
    found = call("completing.js", "choices", "VOCABULARY", text, text.index("l: "))
    assert (text[found["from"] : found["to"]], found["word"]) == ("rall: ", "ral")


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("slowing:\n  - {rall|entando: 7-8, to: 80%}", "rallentando"),
        ("slowing:\n  - {rallentando: 7|-8, to: 80%}", "rallentando"),
        ("slowing:\n  - {rallentando: 7-8, to: 8|0%}", "to"),
        ("second ti|me:\n  - {bars: 1-8}", "second time"),
        ("voices:\n  melody: {le|ad: 15 ms}", "lead"),
        ("phrases:\n  - bars: 1-8\n    ar|ch: yes", "arch"),
        ("# a rem|ark", None),
    ],
)
def test_what_a_setting_does_is_known_at_its_place(call, text, key):
    told = call("completing.js", "told", "VOCABULARY", text.replace("|", ""), text.index("|"))
    assert (told and told["key"]) == key
    assert told is None or len(told["help"]) > 10


TEXT = st.text(st.sampled_from("ab7:-,{}[]'\"#%\n\n    "), max_size=80)


@example("\n", 1).via("once an endless search")
@example("\n\n# the bridge", 2).via("once an endless search")
@given(st.one_of(TEXT, st.sampled_from([path.read_text(encoding="utf-8") for path in DEMOS])), st.integers(0))
def test_any_text_has_something_or_nothing_to_offer_anywhere(call, text, place):
    place %= len(text) + 1
    found = call("completing.js", "choices", "VOCABULARY", text, place)
    if found:
        assert found["from"] <= place <= found["to"] <= len(text)
        assert "\n" not in text[found["from"] : found["to"]]
    call("completing.js", "told", "VOCABULARY", text, place)


# -- from text to text

LINE = st.sampled_from(["a\n", "b\n", "c\n", "slow: 1\n", "slow: 2\n", "\n", "end"])
LINES = st.lists(LINE, max_size=12).map("".join)


@given(LINES, LINES)
def test_edits_make_the_one_text_of_the_other(call, before, after):
    edits = call("edits.js", "edits", before, after)
    assert call("edits.js", "applied", before, edits) == after
    assert all(one["to"] <= other["from"] for one, other in pairwise(edits))
    assert (before == after) == (not edits)


def test_two_lines_that_change_are_two_edits(call):
    before = "a: 1\nb: [1-4, 5-8]\nc: 3\nd: 4\n"
    edits = call("edits.js", "edits", before, "a: 2\nb: [1-4, 5-8]\nc: 3\nd: 40\n")
    assert edits == [{"from": 3, "to": 4, "insert": "2"}, {"from": 28, "to": 28, "insert": "0"}]


@given(LINES, LINES)
def test_who_changed_nothing_gets_what_the_other_wrote(call, base, other):
    assert call("edits.js", "merged", base, base, other) == other
    assert call("edits.js", "merged", base, other, base) == other
    assert call("edits.js", "merged", base, other, other) == other


def test_changes_at_different_places_both_stay_and_at_one_place_ours(call):
    base = "a: 1\nb: 2\nc: 3\n"
    assert call("edits.js", "merged", base, "a: 10\nb: 2\nc: 3\n", "a: 1\nb: 2\nc: 30\n") == "a: 10\nb: 2\nc: 30\n"
    assert call("edits.js", "merged", base, "a: 5\nb: 2\nc: 3\n", "a: 7\nb: 2\nc: 30\n") == "a: 5\nb: 2\nc: 30\n"


@given(LINES, LINES, st.data())
def test_places_keep_their_order_and_what_stays_keeps_its_place(call, before, after, data):
    edits = call("edits.js", "edits", before, after)
    places = sorted(data.draw(st.lists(st.integers(0, len(before)), min_size=2, max_size=4)))
    moved = [call("edits.js", "moved", place, edits) for place in places]
    assert moved == sorted(moved) and all(0 <= place <= len(after) for place in moved)
    for place, there in zip(places, moved, strict=True):
        if all(not each["from"] <= place <= each["to"] for each in edits):
            assert before[place : place + 1] == after[there : there + 1] or place == len(before)
