"""The law of changes put into the text of a plan: a change of one entry is that change and nothing else."""

from __future__ import annotations

import re
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st
from laws import MANY
from layouts import ENTRIES, SECTIONS, VALUES, Page, plans
from ruamel.yaml import YAML

from timing.plan.mending import mend
from timing.remarks import CannotDo, Edit, Place


def data(text: str) -> dict:
    """What a plan's text holds, by a reader of its own; an empty section is an empty list."""
    return {key: value or [] for key, value in YAML(typ="safe", pure=True).load(text).items()}


def expected(sections: dict, changes: dict | None = None) -> dict:
    """The same from the entries as they were written."""
    sections = sections | (changes or {})
    lists = [f"{name}: [{', '.join(map(one_line, entries))}]\n" for name, entries in sections.items()]
    return data("score: x\n" + "".join(lists))


def one_line(entry: dict[str, str]) -> str:
    return "{" + ", ".join(f"{key}: {value}" for key, value in entry.items()) + "}"


def kept_lines(page: Page, made: str) -> None:
    """Line ends and the end of the file are as they were (of what is taken out, a blank line above may be the last)."""
    assert set(re.findall("\r\n|\r|\n", made)) <= {page.newline}
    assert made.endswith(page.newline) == page.text.endswith(page.newline) or len(made) < len(page.text)
    assert made.endswith(page.newline) or not page.text.endswith(page.newline)


@MANY
@given(plans(), st.data())
def test_an_entry_that_is_added_is_all_that_comes(plan, drawn):
    page, sections = plan
    section, entry = drawn.draw(st.sampled_from(SECTIONS)), drawn.draw(ENTRIES)
    made = mend(page.text, [Edit(section, one_line(entry))])
    assert data(made) == expected(sections, {section: [*sections.get(section, []), entry]})
    assert all(made.count(comment) == 1 for comment in page.comments)
    kept_lines(page, made)
    at_ = next((n for n, (a, b) in enumerate(zip(page.text, made, strict=False)) if a != b), len(page.text))
    assert is_subsequence(page.text[at_:], made[at_:])


@MANY
@given(plans(), st.data())
def test_an_entry_that_is_changed_keeps_every_comment(plan, drawn):
    page, sections = plan
    section, row, line, column = drawn.draw(st.sampled_from(page.places))
    old = sections[section][row]
    entry = {key: drawn.draw(VALUES) for key in old} | drawn.draw(ENTRIES)
    made = mend(page.text, [Edit(section, one_line(entry), Place(Path(), line, column))])
    assert data(made) == expected(sections, {section: put(sections[section], row, [entry])})
    assert all(made.count(comment) == 1 for comment in page.comments)
    kept_lines(page, made)


@MANY
@given(plans(), st.data())
def test_an_entry_that_is_taken_out_leaves_the_others_and_their_comments(plan, drawn):
    page, sections = plan
    number = drawn.draw(st.integers(0, len(page.places) - 1))
    section, row, line, column = page.places[number]
    try:
        made = mend(page.text, [Edit(section, None, Place(Path(), line, column))])
    except CannotDo as refused:
        assert "a comment stands in between" in str(refused)
        return
    assert data(made) == expected(sections, {section: put(sections[section], row, [])})
    assert all(made.count(comment) == 1 for comment, entry in page.comments.items() if entry != number)
    kept_lines(page, made)


@MANY
@given(plans(), st.data())
def test_settings_may_go_and_come(plan, drawn):
    page, sections = plan
    section, row, line, column = drawn.draw(st.sampled_from(page.places))
    entry = drawn.draw(ENTRIES)
    number = page.places.index((section, row, line, column))
    try:
        made = mend(page.text, [Edit(section, one_line(entry), Place(Path(), line, column))])
    except CannotDo as refused:
        assert "comment stands" in str(refused) or "lose its beginning" in str(refused)
        return
    assert data(made) == expected(sections, {section: put(sections[section], row, [entry])})
    assert all(made.count(comment) == 1 for comment, owner in page.comments.items() if owner != number)
    kept_lines(page, made)


def put(entries: list, row: int, new: list) -> list:
    return [*entries[:row], *new, *entries[row + 1 :]]


def is_subsequence(part: str, whole: str) -> bool:
    letters = iter(whole)
    return all(letter in letters for letter in part)
