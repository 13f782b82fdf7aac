"""The title of a score that only its first page names."""

from __future__ import annotations

from xml.etree.ElementTree import fromstring

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support import reading
from written import FOUR_FOUR, bar, musicxml, note

from timing.reader import _parse, guard, tabulate
from timing.reader.credits import credited_title


def read(credits: str, head: str = ""):
    text = musicxml([bar(note("C4", 4), 1, FOUR_FOUR)])
    text = text.replace("<score-partwise>", f"<score-partwise>{head}").replace("<part-list>", f"{credits}<part-list>")
    return tabulate(_parse(guard.Raw(None, "xml", text.encode())))


def credit(text: str, kind: str = "", page: int = 1, size: object = 12, y: object = 1500, justify="center") -> str:
    typed = f"<credit-type>{kind}</credit-type>" if kind else ""
    words = f'<credit-words font-size="{size}" default-y="{y}" justify="{justify}">{text}</credit-words>'
    return f'<credit page="{page}">{typed}{words}</credit>'


PAGE = "<defaults><page-layout><page-height>1600</page-height><page-width>1200</page-width></page-layout></defaults>"


def test_what_is_credited_as_the_title_is_the_title():
    credits = credit("A. Miller", "composer", size=30) + credit("The Tide\n  Mill", "title") + credit("Study", size=40)
    assert read(credits).title == "The Tide Mill"


def test_what_the_file_says_goes_before_its_page():
    assert read(credit("Page", "title"), "<work><work-title>Work</work-title></work>").title == "Work"
    assert read(credit("Page", "title"), "<movement-title>Movement</movement-title>").title == "Movement"


def test_else_it_is_the_largest_in_the_middle_and_of_those_the_topmost():
    left, small = credit("Left", size=40, justify="left"), credit("A subtitle", size=14)
    low, high = credit("Lower", size=24, y=1450), credit("Upper", size=24, y=1500)
    assert read(credit("Large", size="large") + credit("Largest", size="xx-large", y=1400)).title == "Largest"
    assert read(left + small + low + high + credit("Second page", page=2, size=50)).title == "Upper"
    assert read(credit("At the foot", size=30, y=60) + small, PAGE).title == "A subtitle"


@pytest.mark.parametrize("kind", ["composer", "lyricist", "arranger", "rights", "subtitle", "part name", "page number"])
def test_no_other_credit_is_a_title(kind):
    assert read(credit("Anything", kind, size=40)).title == ""


@pytest.mark.parametrize("name", ["A. Miller", "Music by A. Miller", "by A. Miller", "arr. A. Miller", "© The Mill"])
def test_who_wrote_it_is_no_title(name):
    creators = '<identification><creator type="composer">A. Miller</creator><rights>Free</rights></identification>'
    assert read(credit(name, size=40) + credit("Free", size=40), creators).title == ""
    assert read(credit(name, size=40) + credit("Mill Song"), creators).title == "Mill Song"


def test_without_credits_there_is_none_and_with_them_the_performance_has_it():
    assert read("").title == ""
    assert reading({}, read(credit("Mill Song"))).performance.title == "Mill Song"


@given(st.sampled_from(["", "x", "-1", "1e9", "1" * 400, "nan"]), st.sampled_from(["", "y", "9" * 40, "inf"]))
def test_numbers_that_are_none_do_no_harm(size, y):
    assert credited_title(fromstring(f'<score-partwise>{credit("Mill Song", size=size, y=y)}</score-partwise>'))
