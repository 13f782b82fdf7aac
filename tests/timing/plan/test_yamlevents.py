"""The events of a text read in pieces are those of the text read as a whole."""

from __future__ import annotations

import pytest
from house import DEMOS
from hypothesis import given
from hypothesis import strategies as st
from laws import MANY
from layouts import plans
from ruamel.yaml.error import YAMLError

from timing.plan import yamlevents
from timing.plan.yamlevents import events
from timing.plan.yamltext import read_text

LINES = st.sampled_from(
    ["a: b", "b: [1,", "2]", "- x", "  - y", "c:", "d: |", "  text", "", "# c", "e: 'x", "y'", "f: {g: 1}", "g: &x 1",
     "h: *x", "---", "...", "? i", ": j", "  k: l", "\tm: n", '"o": p', "q: r # s", "t: >-", " u", "a", "%YAML 1.1"]
)  # fmt: skip


def told(read, text):
    """What is read of a text, and the fault at which it ends."""
    found = []
    try:
        for each in read(text):
            found += [each]
    except (YAMLError, ValueError) as fault:
        return found, type(fault)
    return found, None


def within(found):
    """All but the marks around the document, which a text in pieces has where it begins and ends."""
    kept = [each for each in found if each.kind not in ("document", "end of document")]
    return [kept[0]._replace(end=0, end_line=0, end_column=0), *kept[1:-1]] if kept else []


@pytest.mark.parametrize("demo", DEMOS, ids=lambda demo: demo.stem)
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_the_demo_s_plans_are_read_in_pieces_as_they_are_as_a_whole(demo, end):
    text = read_text(demo).replace("\n", end)
    assert yamlevents._pieces(text) is not None and len(yamlevents._pieces(text)) >= 3
    assert within(told(events, text)[0]) == within(told(yamlevents._as_a_whole, text)[0])


@MANY
@given(plans())
def test_plans_in_every_layout_are_read_alike(written):
    page, _ = written
    assert within(told(events, page.text)[0]) == within(told(yamlevents._as_a_whole, page.text)[0])


@MANY
@given(st.lists(LINES, max_size=7), st.sampled_from(["\n", "\r\n", "\r", "\u2028"]), st.booleans())
def test_any_lines_are_read_alike_or_refused_alike(lines, end, last):
    text = end.join(lines) + end * last
    (found, fault), (expected, why) = told(events, text), told(yamlevents._as_a_whole, text)
    assert fault == why
    if fault is None:
        assert within(found) == within(expected)
    else:
        assert found == expected


def test_a_change_of_one_section_reads_that_section_alone(monkeypatch):
    text = read_text(DEMOS[0])
    list(events(text))
    read, real = [], yamlevents._as_a_whole
    monkeypatch.setattr(yamlevents, "_as_a_whole", lambda piece: read.append(piece) or real(piece))
    list(events(text.replace("to: 88%", "to: 87%", 1)))
    assert len(read) == 1 and read[0].startswith("slowing:")
    list(events(text))
    assert len(read) == 1
