"""The pages of the codes: in the terminal, and in the handbook."""

from __future__ import annotations

import re

import doubling
import pytest
from house import PLANS
from typer.testing import CliRunner

from render.commands.app import app
from render.telling.explain import BEGIN, END, find, page, pages, renew
from timing.cautions import RULES
from timing.cautions.rules import Rule
from timing.remarks import CannotDo

HANDBOOK = PLANS / "README.md"


def printed(*words: str) -> str:
    result = CliRunner().invoke(app, ["explain", *words], env={"COLUMNS": "100"})
    assert result.exit_code == 0
    return result.output


def explained(code: str) -> str:
    return " ".join(printed(code).split())


def in_one_line(text: str) -> str:
    """The words of a text without what Markdown marks them with."""
    return " ".join(re.sub("[`*]", "", text).split())


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.code)
def test_a_page_says_all_there_is_to_say(rule):
    shown = explained(rule.code)
    for text in (rule.why, rule.threshold, rule.source, rule.example, rule.mends):
        assert in_one_line(text) in shown


def test_a_page_says_what_check_fix_does_or_that_it_takes_a_musician():
    mends = "lentando check --fix-code slowing-mid-phrase moves the slowdown to the nearest phrase end"
    assert f"{mends} that does not slow yet." in explained("slowing-mid-phrase")
    assert "It takes a musician to decide" in explained("inner-over-melody")


def test_a_page_in_markdown():
    rule = Rule("a-code", "It matters.", "score: a.musicxml\ntempo: 60\n", "once", "common practice", "mends it")
    assert page(rule) == (
        "### a-code\n\nIt matters.\n\n"
        "- *Told when:* once.\n- *From:* common practice.\n- `lentando check --fix-code a-code` mends it.\n\n"
        "This plan is told so:\n\n```yaml\nscore: a.musicxml\ntempo: 60\n```\n"
    )
    in_words = Rule("a-code", "It matters.", "A score of <rest/>.", "once", "common practice (from memory)")
    assert page(in_words).endswith(
        "- *From:* common practice (from memory)\n- It takes a musician to decide what mends it.\n\n"
        "*Example:* A score of \\<rest/>.\n"
    )


def test_without_a_code_all_are_listed():
    first_lines = [line.split(maxsplit=1) for line in printed().splitlines() if not line.startswith(" ")]
    assert [code for code, _ in first_lines] == sorted(rule.code for rule in RULES)
    assert all(find(code).why.startswith(why.strip()) for code, why in first_lines)


@pytest.mark.parametrize("written", ["[slowing-mid-phrase]", " Slowing-Mid-Phrase "])
def test_a_code_as_it_stands_in_a_remark(written):
    assert find(written).code == "slowing-mid-phrase"


@pytest.mark.parametrize(
    ("code", "hint"),
    [("slowing-mid-phrases", "did you mean slowing-mid-phrase?"), ("xyzzy", "'lentando explain' lists them all")],
)
def test_an_unknown_code(code, hint, tmp_path):
    with pytest.raises(CannotDo, match=re.escape(hint)):
        find(code)
    done = doubling.run("explain", code, folder=tmp_path)
    assert (done.returncode, done.stdout) == (2, "") and hint in " ".join(done.stderr.split())


# -- the handbook


def test_the_pages_in_the_handbook_are_those_of_the_rules():
    """If not: python -c "from render.telling.explain import renew; renew('plans/README.md')"."""
    section = HANDBOOK.read_text(encoding="utf-8").partition(BEGIN)[2].partition(END)[0]
    assert section.strip() == pages().strip()


def test_renewing_touches_nothing_but_the_pages(tmp_path):
    handbook = tmp_path / "README.md"
    handbook.write_text(f"# Before\n\n{BEGIN}\n\nold\n\n{END}\n\nafter\n", encoding="utf-8")
    renew(handbook)
    assert handbook.read_text(encoding="utf-8") == f"# Before\n\n{BEGIN}\n\n{pages()}\n{END}\n\nafter\n"
