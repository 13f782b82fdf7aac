"""Where places lie on the page, as its scripts reckon: from places to x and back, on the demo pieces."""

from __future__ import annotations

import pytest
from house import PLANS
from rehearsed import opened, rehearsed

PIECES = ["low-water-flowing", "umbrella-stand-dancing"]


@pytest.fixture(scope="module", params=PIECES)
def page(browser, request):
    with rehearsed(PLANS / f"{request.param}.yaml") as address, opened(browser, address) as page:
        page.evaluate(
            """async () => {
                const { shown } = await import("./files/music.js");
                window.paper = shown.paper;
                const { bars } = window.paper;
                window.places = bars.name.flatMap((_, row) =>
                    window.paper.grid(row).map((offset) => ({ row, offset, last: offset === bars.length[row] })));
            }"""
        )
        yield page


def test_every_place_is_found_again_at_its_x(page):
    off = page.evaluate(
        """() => window.places.filter(({ row, offset, last }) => {
            const { system, x } = window.paper.spot({ row, offset });
            const found = window.paper.placeAt(system, last ? x - 1e-6 : x);
            return found.row !== row || Math.abs(found.offset - offset) > 0.02;
        }).length"""
    )
    assert off == 0
    assert page.evaluate("window.places.length") > 100


def test_a_beat_snaps_to_itself_as_a_beginning_and_as_an_end(page):
    off = page.evaluate(
        """() => window.places.filter(({ row, offset, last }) => {
            const { system, x } = window.paper.spot({ row, offset });
            const end = window.paper.snapped(system, x, { end: true });
            const begin = window.paper.snapped(system, x);
            const is = (place) => place.row === row && Math.abs(place.offset - offset) < 1e-6;
            return (!last && !is(begin)) || (offset > 0 && !is(end));
        })"""
    )
    assert off == []


def test_x_rises_from_place_to_place_in_a_system(page):
    assert page.evaluate(
        """() => window.places.every((place, number) => {
            const next = window.places[number + 1];
            if (!next || window.paper.systemOf.get(next.row) !== window.paper.systemOf.get(place.row)) return true;
            return window.paper.spot(next).x >= window.paper.spot(place).x;
        })"""
    )


@pytest.mark.parametrize("end", [False, True])
@pytest.mark.parametrize("bars", [False, True])
def test_a_step_on_and_a_step_back_end_where_they_began(page, end, bars):
    off = page.evaluate(
        """([end, bars]) => {
            const { rows, bars: { length } } = window.paper;
            return window.places.filter(({ row, offset, last }) => {
                if (end ? offset === 0 : last) return false; // it is said as the place before, or after
                if (bars && (row >= rows - 1 || length[row + 1] !== length[row])) return false;
                const there = window.paper.moved({ row, offset }, 1, { end, bars });
                const back = window.paper.moved(there, -1, { end, bars });
                const stays = there.row === row && there.offset === offset;
                return !stays && (back.row !== row || Math.abs(back.offset - offset) > 1e-6);
            });
        }""",
        [end, bars],
    )
    assert off == []


def test_free_of_the_beats_there_are_places_between_them(page):
    beats, places = (page.evaluate("(free) => window.paper.grid(4, free).length - 1", free) for free in (False, True))
    assert places == 12 * beats > 0


def test_heights_read_back(page):
    assert page.evaluate(
        """() => [0.5, 0.7, 0.84, 1, 1.2].every((pace) =>
            Math.abs(window.paper.paceAt(window.paper.yOfPace(pace)) - pace) < 0.005)"""
    )
    assert page.evaluate("() => window.paper.yOfPace(0.84)") > 32 / 3  # a third of a staff
