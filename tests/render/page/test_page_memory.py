"""The page as a value: what is written is what is made in memory, and what is known already is not looked for again."""

from __future__ import annotations

from dataclasses import replace

import pages
import pytest

from render.page import page_html, write_page
from soundfonts import guitar
from timing.cautions import check
from timing.comparing import compare
from timing.loading import load_all
from timing.remarks import CannotDo


@pytest.fixture
def plans(tmp_path):
    return pages.written(tmp_path)


def test_the_file_holds_the_html_and_the_facts_are_the_same(plans, tmp_path):
    readings = load_all(plans)
    html, facts = page_html(readings)
    written = write_page(readings, tmp_path / "page.html")
    assert (tmp_path / "page.html").read_bytes() == html.encode()
    assert facts.path is None and written == replace(facts, path=tmp_path / "page.html")
    assert facts.size == len(html.encode())
    assert facts.seconds == pytest.approx([reading.performance.time.length for reading in readings], abs=3)


def test_a_page_goes_over_nothing_that_was_read(plans):
    for file in (plans[0], plans[0].parent / "piece.abc"):
        before = file.read_bytes()
        with pytest.raises(CannotDo, match="is what the music is read from"):
            write_page(load_all(plans), str(file))
        assert file.read_bytes() == before


def test_what_is_handed_on_makes_the_same_page(plans):
    readings = load_all(plans)
    remarks = [check(reading, sound=guitar) for reading in readings]
    handed = page_html(readings, ["outward", "inward"], comparison=compare(readings), remarks=remarks)
    assert handed == page_html(readings, ["outward", "inward"])


def test_a_reading_is_called_by_its_title_unless_it_has_another_name(plans):
    (reading,) = load_all(plans[:1])
    assert "<figcaption>outward</figcaption>" in page_html([reading], ["outward"])[0]
    own = page_html([reading])[0].split("<figcaption>")[1].partition("</figcaption>")[0]
    assert own in reading.performance.title and own != ""


def test_how_far_the_sound_is_told(plans):
    (reading,) = load_all(plans[:1])
    told = []
    page_html([reading], ["outward"], progress=lambda *values: told.append(values))
    rendered = [(done, total) for what, done, total in told if what == "outward"]
    assert rendered == sorted(rendered) and rendered[-1][0] == rendered[-1][1] > 0


@pytest.mark.parametrize("count", [0, 5])
def test_more_readings_than_there_is_room_for_are_refused(plans, count):
    (reading,) = load_all(plans[:1])
    with pytest.raises(CannotDo, match=f"one to 4 readings, not for {count}"):
        page_html([reading] * count)


def test_a_reading_without_notes_is_refused_by_the_name_of_its_plan(plans):
    (reading,) = load_all(plans[:1])
    silent = replace(reading, performance=replace(reading.performance, notes=reading.performance.notes[:0]))
    with pytest.raises(CannotDo, match=r"outward\.yaml: there is nothing to play"):
        page_html([silent])
