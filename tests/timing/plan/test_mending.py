"""Changes put into the text of a plan: what they change, and what stays to the letter."""

from __future__ import annotations

from pathlib import Path

import pytest

from timing.plan.mending import mend
from timing.remarks import CannotDo, Edit, Place

NEW = "{fermata: 9:1, length: 150%}"


def at(text: str, what: str) -> Place:
    """The place where these words stand in a text."""
    lines = text[: text.index(what)].replace("\r\n", "\n").replace("\r", "\n").split("\n")
    return Place(Path("plan.yaml"), len(lines), len(lines[-1]) + 1)


def added(text: str, entry: str = NEW, section: str = "holds") -> str:
    return mend(text, [Edit(section, entry)])


def replaced(text: str, what: str, entry: str | None, section: str = "holds") -> str:
    return mend(text, [Edit(section, entry, at(text, what))])


# -- adding


@pytest.mark.parametrize(
    ("before", "after"),
    [
        # a list with dashes, however it is indented
        ("a: b\nholds:\n  - {breath: 3}\n",
         f"a: b\nholds:\n  - {{breath: 3}}\n  - {NEW}\n"),
        ("holds:\n- {breath: 3}\nlast: x\n",
         f"holds:\n- {{breath: 3}}\n- {NEW}\nlast: x\n"),
        ("holds:\n    -   {breath: 3}\n",
         f"holds:\n    -   {{breath: 3}}\n    -   {NEW}\n"),
        # its comments and blank lines stay where they are
        ("holds: # h\n  - {breath: 3} # b\n  # lower\n\nlast: x\n",
         f"holds: # h\n  - {{breath: 3}} # b\n  - {NEW}\n  # lower\n\nlast: x\n"),
        # entries on several lines
        ("holds:\n  - breath: 3\n    why: |\n      a\n\n      b\n\nlast: x\n",
         f"holds:\n  - breath: 3\n    why: |\n      a\n\n      b\n  - {NEW}\n\nlast: x\n"),
        ("holds:\n  - {breath: 3,  # b\n     why: x}\n",
         f"holds:\n  - {{breath: 3,  # b\n     why: x}}\n  - {NEW}\n"),
        ("holds:\n  -\n    breath: 3\n",
         f"holds:\n  -\n    breath: 3\n  - {NEW}\n"),
        # a list in brackets
        ("holds: [{breath: 3}]  # h\n",
         f"holds: [{{breath: 3}}, {NEW}]  # h\n"),
        ("holds: [ {breath: 3}, ]\n",
         f"holds: [ {{breath: 3}}, {NEW}, ]\n"),
        ("holds: []\n",
         f"holds: [{NEW}]\n"),
        ("holds: [\n  {breath: 3},\n  {breath: 4}  # b\n]\n",
         f"holds: [\n  {{breath: 3}},\n  {{breath: 4}},  # b\n  {NEW}\n]\n"),
        ("holds: [\n  {breath: 3},  # b, c\n]\n",
         f"holds: [\n  {{breath: 3}},  # b, c\n  {NEW},\n]\n"),
        ("holds: [{breath: 3},\n        {breath: 4}]\n",
         f"holds: [{{breath: 3}},\n        {{breath: 4}}, {NEW}]\n"),
        # an empty section
        ("holds:\nlast: x\n",
         f"holds:\n  - {NEW}\nlast: x\n"),
        ("holds:  # none yet\n  # - {breath: 3}\nlast: x\n",
         f"holds:  # none yet\n  - {NEW}\n  # - {{breath: 3}}\nlast: x\n"),
        ("accents:\n- {at: 1}\nholds:\n",
         f"accents:\n- {{at: 1}}\nholds:\n- {NEW}\n"),
        ("holds: null  # none\n",
         f"holds: [{NEW}]  # none\n"),
        ("holds:",
         f"holds:\n  - {NEW}"),
        # no section
        ("a: b\n",
         f"a: b\n\nholds:\n  - {NEW}\n"),
        ("a: b  # c\n\n",
         f"a: b  # c\n\nholds:\n  - {NEW}\n"),
        ("a: b\n# the end\n",
         f"a: b\n# the end\n\nholds:\n  - {NEW}\n"),
        ("---\na: b\n...\n",
         f"---\na: b\n\nholds:\n  - {NEW}\n...\n"),
        ("accents:\n- {at: 1}\n",
         f"accents:\n- {{at: 1}}\n\nholds:\n- {NEW}\n"),
        ("  a: b\n  accents:\n    - {at: 1}\n",
         f"  a: b\n  accents:\n    - {{at: 1}}\n\n  holds:\n    - {NEW}\n"),
        ("{a: b}\n",
         f"{{a: b, holds: [{NEW}]}}\n"),
        ("{a: b, holds: }\n",
         f"{{a: b, holds: [{NEW}] }}\n"),
        # line ends
        ("a: b\r\nholds:\r\n  - {breath: 3}\r\nlast: x\r\n",
         f"a: b\r\nholds:\r\n  - {{breath: 3}}\r\n  - {NEW}\r\nlast: x\r\n"),
        ("a: b\r\n",
         f"a: b\r\n\r\nholds:\r\n  - {NEW}\r\n"),
        ("a: b\rholds:\r  - {breath: 3}\r",
         f"a: b\rholds:\r  - {{breath: 3}}\r  - {NEW}\r"),
        ("a: b",
         f"a: b\n\nholds:\n  - {NEW}"),
        ("a: b\n  ",
         f"a: b\n  \nholds:\n  - {NEW}"),
        ("holds:\n  - {breath: 3}",
         f"holds:\n  - {{breath: 3}}\n  - {NEW}"),
        # tabs and letters of all kinds
        ("t: Prélude №1 🎼  # ♩ = 60\nholds: [{breath: 3}] # h\there\n",
         f"t: Prélude №1 🎼  # ♩ = 60\nholds: [{{breath: 3}}, {NEW}] # h\there\n"),
    ],
)  # fmt: skip
def test_an_entry_is_added_in_the_style_of_its_section(before, after):
    assert added(before) == after


@pytest.mark.parametrize(
    ("before", "section", "entry", "after"),
    [
        ("a: b\n", "tempo", "quarter = 72",
         "a: b\n\ntempo: quarter = 72\n"),
        ("tempo: 63  # slow\n", "tempo", "{at: 9, tempo: 90%}",
         "tempo: [63, {at: 9, tempo: 90%}]  # slow\n"),
        ("tempo:\n  - 63\n", "tempo", "{at: 9, tempo: 90%}",
         "tempo:\n  - 63\n  - {at: 9, tempo: 90%}\n"),
        ("capo: 0  # none\n", "capo", "2",
         "capo: 2  # none\n"),
        ("a: b\n", "instrument", "{Drum: woodblock}",
         "a: b\n\ninstrument: {Drum: woodblock}\n"),
        ("instrument: {Violin: violin}\n", "instrument", "{Drum: woodblock}",
         "instrument: {Violin: violin, Drum: woodblock}\n"),
        ("instrument:\n  Violin: violin  # v\nlast: x\n", "instrument", "{Drum: woodblock}",
         "instrument:\n  Violin: violin  # v\n  Drum: woodblock\nlast: x\n"),
        ("voices: {bass: -3 dB}\n", "voices", "{bass: -1 dB}",
         "voices: {bass: -1 dB}\n"),
        ("voices:\nlast: x\n", "voices", "{bass: -1 dB}",
         "voices: {bass: -1 dB}\nlast: x\n"),
    ],
)  # fmt: skip
def test_a_section_that_is_one_value_has_the_new_one(before, section, entry, after):
    assert added(before, entry, section) == after


def test_several_entries_are_added_together_in_their_order():
    edits = [Edit("holds", "{breath: 1}"), Edit("tempo", "60"), Edit("holds", "{breath: 2}")]
    assert mend("a: b\n", edits) == "a: b\n\nholds:\n  - {breath: 1}\n  - {breath: 2}\n\ntempo: 60\n"
    assert mend("holds: [{breath: 0}]\n", edits) == "holds: [{breath: 0}, {breath: 1}, {breath: 2}]\n\ntempo: 60\n"
    later = [Edit("tempo", "{at: 2, tempo: 2}"), Edit("tempo", "{at: 3, tempo: 3}")]
    assert mend("tempo: 1\n", later) == "tempo: [1, {at: 2, tempo: 2}, {at: 3, tempo: 3}]\n"


# -- replacing


@pytest.mark.parametrize(
    ("before", "what", "entry", "after"),
    [
        # what is the same stays as it is written
        ("holds: [{fermata: '24:3',  length: 150%}]\n", "{fer", "{fermata: 24:3, length: 120%}",
         "holds: [{fermata: '24:3',  length: 120%}]\n"),
        ("holds:\n  - fermata: 24:3  # here\n    # deep\n    length: 150%  # long\n    why: x\n", "fer",
         "{fermata: 9:1, length: 120%, why: x}",
         "holds:\n  - fermata: 9:1  # here\n    # deep\n    length: 120%  # long\n    why: x\n"),
        # a setting that comes, one that goes, one in the place of another
        ("holds: [{breath: 3, why: x}]\n", "{br", "{breath: 3, in time: yes, why: x}",
         "holds: [{breath: 3, in time: yes, why: x}]\n"),
        ("holds:\n  - breath: 3  # b\n    why: x\n", "breath", "{breath: 3, in time: yes, why: x}",
         "holds:\n  - breath: 3  # b\n    in time: yes\n    why: x\n"),
        ("holds: [{breath: 3, seconds: 1, why: x}]\n", "{br", "{breath: 3, why: x}",
         "holds: [{breath: 3, why: x}]\n"),
        ("holds: [{breath: 3, why: x}]\n", "{br", "{breath: 3}",
         "holds: [{breath: 3}]\n"),
        ("holds: [{why: x, breath: 3}]\n", "{why", "{breath: 3}",
         "holds: [{breath: 3}]\n"),
        ("holds:\n  - breath: 3\n    seconds: 1  # s\n    why: x\n", "breath", "{breath: 3, why: x}",
         "holds:\n  - breath: 3\n    why: x\n"),
        ("holds:\n  - seconds: 1\n    breath: 3\n", "seconds", "{breath: 3}",
         "holds:\n  - breath: 3\n"),
        ("holds:\n  - breath: 3\n    why: x", "breath", "{breath: 3}",
         "holds:\n  - breath: 3"),
        ("holds: [{breath: 3, seconds: 1}]  # c\n", "{br", "{caesura: 3, seconds: 1}",
         "holds: [{caesura: 3, seconds: 1}]  # c\n"),
        ("holds:\n  - breath: 3  # b\n    seconds: 1\n", "breath", "{caesura: 3, seconds: 1}",
         "holds:\n  - caesura: 3  # b\n    seconds: 1\n"),
        ("holds: [{breath: 3}]\n", "{br", "{caesura: 4, why: x}",
         "holds: [{caesura: 4, why: x}]\n"),
        # a text over several lines; an entry among others
        ("holds:\n  - breath: 3\n    why: |\n      a\n      b\n  - {breath: 4}\n", "breath", "{breath: 3, why: c}",
         "holds:\n  - breath: 3\n    why: c\n  - {breath: 4}\n"),
        ("holds: [{breath: 3}, {breath: 4}]\n", "{breath: 4", "{breath: 5}",
         "holds: [{breath: 3}, {breath: 5}]\n"),
    ],
)  # fmt: skip
def test_an_entry_is_changed_setting_by_setting(before, what, entry, after):
    assert replaced(before, what, entry) == after


@pytest.mark.parametrize(
    ("before", "what", "entry", "after"),
    [
        ("phrases:\n  - bars: 1-8\n    inside: [1-4, 5-8]  # halves\n", "5-8", "{bars: 5-8, arch: 6%}",
         "phrases:\n  - bars: 1-8\n    inside: [1-4, {bars: 5-8, arch: 6%}]  # halves\n"),
        ("phrases: [{bars: 1-8, inside: [1-4, 5-9]}]\n", "5-9", "5-8",
         "phrases: [{bars: 1-8, inside: [1-4, 5-8]}]\n"),
        ("phrases:\n  - bars: 1-8\n    inside:\n    - 1-4  # a\n    - 5-8\n", "bars",
         "{bars: 1-7, inside: [1-4, 5-8]}",
         "phrases:\n  - bars: 1-7\n    inside:\n    - 1-4  # a\n    - 5-8\n"),
        ("phrases:\n  - bars: 1-8\n    inside:\n    - 1-4\n    - 5-9\n", "bars", "{bars: 1-8, inside: [1-4, 5-8]}",
         "phrases:\n  - bars: 1-8\n    inside: [1-4, 5-8]\n"),
        ("phrases:\n  - bars: 1-8\n    arch:\n      pace: 6%  # p\n      level: 3 dB\n", "bars",
         "{bars: 1-8, arch: {pace: 6%, level: 2 dB}}",
         "phrases:\n  - bars: 1-8\n    arch:\n      pace: 6%  # p\n      level: 2 dB\n"),
        ("phrases:\n  - bars: 1-8\n    arch:\n      pace: 6%\n", "bars", "{bars: 1-8, arch: 8%}",
         "phrases:\n  - bars: 1-8\n    arch: 8%\n"),
        ("phrases:\n  - bars: 1-8\n    arch:  # a\n      pace: 6%\n", "bars", "{bars: 1-8, arch: 8%}",
         "phrases:\n  - bars: 1-8\n    arch:  # a\n      8%\n"),
    ],
)  # fmt: skip
def test_phrases_inside_others_are_changed_where_they_stand(before, what, entry, after):
    assert replaced(before, what, entry, "phrases") == after


def test_one_value_is_put_in_the_place_of_another():
    assert replaced("tempo: 63 # t\n", "63", "quarter = 72", "tempo") == "tempo: quarter = 72 # t\n"
    assert replaced("tempo: [63, 70]\n", "70", "{at: 9, tempo: 70}", "tempo") == "tempo: [63, {at: 9, tempo: 70}]\n"
    assert replaced("tempo:\n  63\n", "63", "64", "tempo") == "tempo:\n  64\n"


# -- taking out


@pytest.mark.parametrize(
    ("before", "what", "after"),
    [
        ("holds:\n  # a\n  - {breath: 3}  # own\n  # b\n  - {breath: 4}\n", "{breath: 3",
         "holds:\n  # a\n  # b\n  - {breath: 4}\n"),
        ("holds:\n  - breath: 3\n    # within\n    why: x\n\n  - {breath: 4}\nlast: x\n", "breath: 3",
         "holds:\n\n  - {breath: 4}\nlast: x\n"),
        ("holds:\n  - {breath: 3}\n  - {breath: 4}", "{breath: 4",
         "holds:\n  - {breath: 3}"),
        ("holds:\r\n  - {breath: 3}\r\n  - {breath: 4}", "{breath: 4",
         "holds:\r\n  - {breath: 3}"),
        ("holds:\n  - {breath: 3}  # own\nlast: x\n", "{breath: 3",
         "holds:\nlast: x\n"),
        ("holds: [{breath: 3}, {breath: 4}]  # h\n", "{breath: 3",
         "holds: [{breath: 4}]  # h\n"),
        ("holds: [{breath: 3}, {breath: 4}]  # h\n", "{breath: 4",
         "holds: [{breath: 3}]  # h\n"),
        ("holds: [{breath: 3}]  # h\n", "{breath: 3",
         "holds: []  # h\n"),
        ("holds: [{breath: 3}, {breath: 4}, ]\n", "{breath: 4",
         "holds: [{breath: 3}, ]\n"),
        ("holds: [\n  {breath: 3},  # a\n  {breath: 4}  # own\n]\n", "{breath: 4",
         "holds: [\n  {breath: 3},  # a\n]\n"),
        ("holds: [\n  {breath: 3},  # own\n  {breath: 4}  # b\n]\n", "{breath: 3",
         "holds: [\n  {breath: 4}  # b\n]\n"),
        ("holds: [{breath: 3}, # a\n  {breath: 4}]\n", "{breath: 4",
         "holds: [{breath: 3} # a\n  ]\n"),
        ("holds: [{breath: 3}, # a\n  {breath: 4}]\n", "{breath: 3",
         "holds: [ # a\n  {breath: 4}]\n"),
    ],
)  # fmt: skip
def test_an_entry_is_taken_out_with_its_line_or_its_comma(before, what, after):
    assert replaced(before, what, None) == after


def test_a_section_that_is_one_value_is_taken_out_with_its_line():
    assert replaced("score: x\ncapo: 2  # own\nholds: []\n", "2", None, "capo") == "score: x\nholds: []\n"


def test_several_changes_of_one_list():
    text = "holds: [{breath: 1}, {breath: 2}, {breath: 3}, {breath: 4}]\n"
    places = {n: at(text, f"{{breath: {n}") for n in range(1, 5)}
    out, more = [Edit("holds", None, places[n]) for n in (1, 3, 4)], Edit("holds", "{breath: 5}")
    assert mend(text, out) == "holds: [{breath: 2}]\n"
    assert mend(text, [*out, Edit("holds", None, places[2]), more]) == "holds: [{breath: 5}]\n"
    changed = [Edit("holds", None, places[4]), more, Edit("holds", "{breath: 0}", places[1])]
    assert mend(text, changed) == "holds: [{breath: 0}, {breath: 2}, {breath: 3}, {breath: 5}]\n"


@pytest.mark.parametrize("end", ["\n", ""])
def test_all_entries_of_a_list_are_taken_out_and_one_is_added(end):
    text = "holds:\n  - {breath: 1}\n  - {breath: 2}" + end
    out = [Edit("holds", None, at(text, f"{{breath: {n}")) for n in (1, 2)]
    assert mend(text, out) == "holds:" + end
    assert mend(text, [*out, Edit("holds", "{breath: 5}")]) == "holds:\n  - {breath: 5}" + end


# -- what could not stay as it is


@pytest.mark.parametrize(
    ("before", "entry", "after"),
    [
        ("tempo: 63  # slow\n", "quarter = 72", "tempo: quarter = 72  # slow\n"),
        ("tempo:\n  - 63  # t\n  - {at: 9, tempo: 90%}\n", "72", "tempo:\n  - 72  # t\n  - {at: 9, tempo: 90%}\n"),
        ("tempo: [{at: 9, tempo: 90%}, {tempo: 63, why: x}]\n", "{tempo: 72}",
         "tempo: [{at: 9, tempo: 90%}, {tempo: 72}]\n"),
        ("tempo: [{at: 9, tempo: 90%}]\n", "72", "tempo: [{at: 9, tempo: 90%}, 72]\n"),
        ("tempo: 63\n", "{at: 9, tempo: 90%}", "tempo: [63, {at: 9, tempo: 90%}]\n"),
    ],
)  # fmt: skip
def test_a_tempo_without_a_place_takes_the_place_of_the_one_that_stands(before, entry, after):
    assert added(before, entry, "tempo") == after


@pytest.mark.parametrize(
    ("before", "section", "what", "after"),
    [
        ("a: b\ntempo:\n  - 63  # t\nc: d\n", "tempo", "63", "a: b\nc: d\n"),
        ("tempo: [63]\nc: d\n", "tempo", "63", "c: d\n"),
        ("voices:\n  bass:\n    level: 1 dB\n  inner: 2 dB\n", "voices", "1 dB", "voices:\n  inner: 2 dB\n"),
        ("voices: {bass: {level: 1 dB}}\n", "voices", "1 dB", "voices: {}\n"),
        ("phrases:\n  - bars: 1-8\n    inside:\n      - 1-4\n", "phrases", "1-4", "phrases:\n  - bars: 1-8\n"),
        ("phrases: [{bars: 1-8, arch: {pace: 6%}}]\n", "phrases", "6%", "phrases: [{bars: 1-8}]\n"),
        ("holds:\n  - {breath: 1}\na: b\n", "holds", "{breath", "holds:\na: b\n"),
    ],
)
def test_what_cannot_be_empty_goes_with_the_last_of_its_values(before, section, what, after):
    assert replaced(before, what, None, section) == after


def test_a_word_in_quotes_is_the_same_word_without_them():
    text = "holds: [{fermata: '7', why: \"8\", in time: 'yes'}]\n"
    changed = "holds: [{fermata: '7', why: \"8\", in time: 'yes', pass: 2}]\n"
    assert replaced(text, "{fer", "{fermata: 7, why: 8, in time: yes, pass: 2}") == changed


def test_an_entry_comes_after_the_one_that_is_named():
    text = "phrases:\n  - bars: 1-8  # a\n    inside: [1-4, 5-8]  # b\n  - 9-16\n"
    outer = Edit("phrases", "8:2 - 9:1", at(text, "bars: 1"), after=True)
    assert mend(text, [outer]) == text.replace("  - 9-16", "  - 8:2 - 9:1\n  - 9-16")
    inner = Edit("phrases", "{bars: 3-4}", at(text, "1-4"), after=True)
    short = Edit("phrases", "1-2", at(text, "1-4"))
    assert mend(text, [short, inner]) == text.replace("[1-4,", "[1-2, {bars: 3-4},")


# -- what cannot be done


@pytest.mark.parametrize(
    ("text", "edit", "why"),
    [
        ("holds: [{breath: 3}]\n", Edit("holds", "{breath: 4}", Place(Path(), 1, 10)), "no entry of 'holds' begins"),
        ("holds: [{breath: 3}]\n", Edit("tempo", "60", Place(Path(), 1, 9)), "no entry of 'tempo' begins"),
        ("holds: [{breath: 3}]\n", Edit("holds", "{breath: 4", Place(Path(), 1, 9)), "does not fit"),
        ("order: [1, 2]\n", Edit("order", "3, 4", Place(Path(), 1, 9)), "further than it should"),
        ("holds:\n  - seconds: 1\n    # c\n    breath: 3\n", Edit("holds", "{breath: 3}", Place(Path(), 2, 5)),
         "a comment stands"),
        ("holds:\n  - breath: 3\n    why: |+\n      x\n\n\na: b\n", Edit("holds", NEW), "further than it should"),
        ("", Edit("holds", NEW), "no plan"),
    ],
)  # fmt: skip
def test_a_change_that_would_touch_more_is_refused(text, edit, why):
    with pytest.raises(CannotDo, match=why):
        mend(text, [edit])
