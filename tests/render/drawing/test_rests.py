"""Rests keep off the notes of other voices."""

from __future__ import annotations

from pathlib import Path
from xml.etree.ElementTree import Element, fromstring

import pytest
from house import PLANS
from written import FOUR_FOUR, back, bar, musicxml, note

from render.drawing.engraver import Engraver, engrave
from render.drawing.rests import part_rests
from timing.reader import read_score

GUITAR = "<clef><sign>G</sign><line>2</line><clef-octave-change>-1</clef-octave-change></clef>"


def systems_of(file: Path) -> list[Element]:
    pages = [fromstring(page) for page in Engraver(read_score(file, cache=False))._pages(1000)]
    return [system for page in pages for system in page.iter("g") if system.get("class") == "system"]


def three_voices(folder: Path, upper: str, first: float, more: str = "", upper_more: str = "") -> Path:
    """A bar whose middle voice begins with a rest of so many quarters, under a note and over another."""
    content = note(upper, 3, upper_more) + note(upper, 1) + back(4) + note("rest", first, more, voice=2)
    content += note("D4", 4 - first, voice=2) + back(4) + note("A3", 4, voice=3)
    path = folder / "three.musicxml"
    path.write_text(musicxml([bar(content, 1, FOUR_FOUR + GUITAR)], names=("Guitar",)), encoding="utf-8")
    return path


def box_of(group: Element) -> tuple[float, ...] | None:
    for child in group:
        if child.get("class", "").split()[1:2] == ["bounding-box"] and (rect := child.find("rect")) is not None:
            x, y, width, height = (float(rect.get(side)) for side in ("x", "y", "width", "height"))
            return x, y, x + width, y + height
    return None


def overlaps(system: Element, solid: tuple[str, ...] = ("note", "rest", "dots", "accid")) -> int:
    """How many rests lie over a notehead, a dot, an accidental or another rest (or something else that is solid)."""
    found = [(each.get("class"), box) for each in system.iter() if each.get("class") in solid and (box := box_of(each))]
    return sum(
        one[0] < two[2] and two[0] < one[2] and one[1] < two[3] and two[1] < one[3]
        for number, (kind, one) in enumerate(found)
        if kind == "rest"
        for other, (_, two) in enumerate(found)
        if other != number and two[2] > two[0] and two[3] > two[1]
    )


@pytest.mark.parametrize("upper", ["E4", "G4", "B4", "C5", "E5", "G5"])
@pytest.mark.parametrize("first", [0.25, 0.5, 0.75, 1, 1.5, 2])
def test_the_rests_of_a_middle_voice_keep_off_the_notes_of_the_others(upper, first, tmp_path):
    (system,) = systems_of(three_voices(tmp_path, upper, first))
    part_rests(system)
    assert overlaps(system) == 0


@pytest.mark.parametrize("upper", ["F3", "G3", "A3", "B3"])
def test_they_keep_off_words_over_the_staff(upper, tmp_path):
    up, natural = "<stem>up</stem>", "<accidental>natural</accidental>"
    words = '<direction placement="above"><direction-type><words>Da Capo al fine</words></direction-type></direction>'
    content = words + note(upper, 4, up) + back(4) + note("rest", 1, voice=2) + note("D3", 1, natural + up, voice=2)
    content += note("B2", 2, up, voice=2) + back(4) + note("E2", 4, voice=3)
    path = tmp_path / "words.musicxml"
    path.write_text(musicxml([bar(content, 1, FOUR_FOUR + GUITAR)], names=("Guitar",)), encoding="utf-8")
    (system,) = systems_of(path)
    part_rests(system)
    assert overlaps(system, ("rest", "text")) == 0


def test_some_of_them_would_have_lain_over_notes(tmp_path):
    assert overlaps(systems_of(three_voices(tmp_path, "B4", 1))[0]) > 0


def test_a_moved_rest_is_drawn_where_its_box_is_and_within_its_system(tmp_path):
    path = three_voices(tmp_path, "B4", 1)
    (raw,) = systems_of(path)
    rest = next(group for group in raw.iter("g") if group.get("class") == "rest")
    before = box_of(rest)
    part_rests(raw)
    right, down = (float(number) for number in rest.get("transform")[len("translate(") : -1].split(","))
    assert box_of(rest) == pytest.approx((before[0] + right, before[1] + down, before[2] + right, before[3] + down))
    (system,) = engrave(read_score(path, cache=False), 1000).systems
    assert f'class="rest" transform="translate({right:g}, {down:g})"' in system.svg


@pytest.mark.parametrize("name", ["low-water", "umbrella-stand"])
def test_rests_that_have_room_stay(name):
    for system in systems_of(PLANS / f"{name}.musicxml"):
        part_rests(system)
        assert not [group for group in system.iter("g") if group.get("class") == "rest" and group.get("transform")]
