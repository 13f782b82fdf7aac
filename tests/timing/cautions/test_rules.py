"""How rules write changes of a plan: entries as a plan has them, that read back as what they were."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from planfiles import plan_of

from timing.plan.edits import added, replaced, shown, shown_edit, written
from timing.plan.yamltext import parse
from timing.remarks import Edit

TEXTS = st.one_of(
    st.text("ab:,#-{}[]'\"%@`&*!|>? .\\~1e+\n", max_size=8),
    st.sampled_from(["true", "No", "null", "010", "1.50", "7:1 - 8:3", "80%", "-3 dB", "softly, as if far: away"]),
)


@given(st.dictionaries(st.sampled_from(["why", "name", "bars"]), TEXTS | st.lists(TEXTS, max_size=3), min_size=1))
def test_what_is_written_reads_back(keys):
    value, faults = parse(Path("plan.yaml"), f"entry: {written(keys)}")
    assert faults == []
    read = {key: [str(each) for each in it] if isinstance(it, list) else str(it) for key, it in value["entry"].items()}
    assert read == keys


@pytest.mark.parametrize(
    ("section", "changes", "entry"),
    [
        ("- {rallentando: 7, to: 80%, pass: 1}", {"to": "90%"}, "{rallentando: 7, to: 90%, pass: 1}"),
        ("- {rallentando: 7, to: 80%, pass: 1}", {"to": None}, "{rallentando: 7, pass: 1}"),
        ("- {rallentando: 7, why: 'a sigh, once'}", {"rallentando": "8"}, '{rallentando: 8, why: "a sigh, once"}'),
        ("- {rallentando: 7, why: a sigh}", {"then": "a tempo"}, "{rallentando: 7, then: a tempo, why: a sigh}"),
    ],
)
def test_an_entry_is_replaced_with_all_that_stays(tmp_path, section, changes, entry):
    (slow,) = plan_of(tmp_path, f"slowing:\n  {section}\n").slowing
    edit = replaced(slow, changes)
    assert (edit.section, edit.entry) == ("slowing", entry)
    assert (edit.place.line, edit.place.column) == (3, 5)
    assert shown_edit(edit) == entry


def test_a_phrase_written_as_its_bars_alone_stays_so(tmp_path):
    (phrase,) = plan_of(tmp_path, "phrases: [{bars: 1-8, inside: [1-4, 5-8]}]\n").phrases
    inner = phrase.inside[0]
    assert replaced(inner, {"bars": "1-3"}) == Edit("phrases", "1-3", inner.place())
    assert replaced(inner, {"name": "a"}).entry == "{bars: 1-4, name: a}"
    assert replaced(phrase, {"bars": "1-9"}).entry == "{bars: 1-9, inside: [1-4, 5-8]}"


def test_what_is_added_is_shown_with_its_section():
    edit = added("second time", {"bars": "1-8", "softer": "3 dB"})
    assert edit == Edit("second time", "{bars: 1-8, softer: 3 dB}")
    assert shown_edit(edit) == "second time: [{bars: 1-8, softer: 3 dB}]"
    assert shown_edit(added("tempo", "quarter = 72")) == "tempo: quarter = 72"


def test_what_is_added_to_one_section_is_shown_as_one_list():
    first, second = (added("strings", {"at": at, "string": 2}) for at in ("1:3", "2:1"))
    assert shown((first, second)) == "strings: [{at: 1:3, string: 2}, {at: 2:1, string: 2}]"
    assert shown((first, added("capo", "2"))) == "capo: 2, strings: [{at: 1:3, string: 2}]"
