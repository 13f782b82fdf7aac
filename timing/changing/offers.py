"""What could stand at a place of the music, in the trade's words, with sensible values; and what could go."""

from __future__ import annotations

from collections.abc import Iterator

from timing.changing.checks import check_left_out
from timing.changing.entries import AFTER, in_words, place_key
from timing.changing.here import Here, Offer
from timing.changing.offered_phrases import offered_phrases
from timing.changing.offered_sound import offered_sound
from timing.changing.offered_time import offered_time
from timing.changing.spots import PageSpot, cannot
from timing.changing.standing import PlanItem
from timing.columns import NEAR
from timing.plan.entry import Entry
from timing.plan.time import Phrase
from timing.reading import Reading
from timing.remarks import CannotDo, Edit
from timing.where import Fault

_NEVER_HEARD = "this bar is never heard in this order of the bars"


def offers(reading: Reading, at: PageSpot, until: PageSpot | None = None) -> list[Offer]:
    """What could stand at a place on the page, or over the stretch until another, each a change that can be made:
    phrases, time, level, tone and strings, voices; last what stands there and could be left out. CannotDo where the
    score has no such place."""
    here = Here(reading, at, until)
    if not here.heard:
        raise cannot(_NEVER_HEARD)
    made: list[Offer] = []
    for found in (*offered_phrases(here), *offered_time(here), *offered_sound(here), _removals(here)):
        made += _possible(found)
    return made


def offer(reading: Reading, id_: str, at: PageSpot, until: PageSpot | None = None) -> Offer:
    """The offer that is called so at a place. CannotDo where there is none."""
    found = next((each for each in offers(reading, at, until) if each.id == id_), None)
    if found is None:
        raise cannot("this is not possible here: the plan has changed since, or what is asked stands there already")
    return found


def _possible(found: Iterator[Offer]) -> Iterator[Offer]:
    """The offers until one has no place that a plan could name."""
    try:
        yield from found
    except CannotDo:
        return


def _removals(here: Here) -> Iterator[Offer]:
    """What begins, ends or acts at the place and could be left out."""
    for each in here.items:
        entry, key = each.entry, None
        if isinstance(entry, Entry):
            key = place_key(entry)
        if key is None or not isinstance(entry, Entry) or each.section == "accept":
            continue
        try:
            start, end = here.ends(entry, key)
        except Fault:
            continue
        first, last = here.quarter - NEAR, here.over_quarter + NEAR
        if isinstance(entry, Phrase):
            touches = first <= start < last - 2 * NEAR or first + 2 * NEAR < end <= last
        else:
            touches = (start < last - 2 * NEAR and end > first + 2 * NEAR) or first <= start < last - 2 * NEAR
        if key in AFTER:
            touches = first + 2 * NEAR < start <= last
        if touches and _can_go(here, each):
            place, inside = each.place, " with those inside it" * bool(getattr(entry, "inside", ()))
            file = "" if each.own else f" {place.file.name}"
            id_ = f"remove {each.section} {place.line} {place.column}{file}"
            words = f"take out: {in_words(each)}{inside}"
            yield Offer.of(id_, words, each.section, "out", Edit(each.section, None, place), entry="")


def _can_go(here: Here, each: PlanItem) -> bool:
    try:
        check_left_out(here.reading, each)
    except CannotDo:
        return False
    return True
