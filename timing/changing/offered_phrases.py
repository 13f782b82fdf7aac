"""What could stand at a place of phrases: one that ends or begins there, at its own level or inside another, or the
nearest end moved there."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from timing.changing.boundaries import Bracket, moved
from timing.changing.here import Here, Offer
from timing.changing.standing import passes_of
from timing.plan.edits import added, replaced, written
from timing.remarks import CannotDo, Edit

_SAME = 1e-5  # quarters
_NEAR_BARS = 2  # an end so near can be moved here


def offered_phrases(here: Here) -> list[Iterator[Offer]]:
    """Phrases that end after the place, and that begin at it; over a stretch one that is as long."""
    if here.stretch:
        return [_whole(here)]
    return [_at(here, "end", "ends here", here.over_quarter), _at(here, "begin", "begins here", here.quarter)]


def _at(here: Here, id_: str, words: str, quarter: float) -> Iterator[Offer]:
    """The ways to have a boundary of phrases at this quarter of the page."""
    edges = {edge for each in here.phrases for edge in ((each.end,) if id_ == "end" else (each.start,))}
    if any(abs(edge - quarter) < _SAME for edge in edges):
        return
    inside = [each for each in here.phrases if each.start + _SAME < quarter < each.end - _SAME]
    innermost = next((each for each in reversed(inside) if not _inner(here, each)), None)
    if innermost is not None:
        first, second = _halves(here, innermost, quarter)
        split, parted = _split(innermost, first, second), replaced(innermost.phrase, {"inside": [first, second]})
        entry = f"{first}, {second}"
        yield Offer.of(f"phrase {id_}", f"a phrase {words}", "phrases", "phrases", *split, entry=entry)
        words_inside, entry = f"a smaller phrase {words}", f"inside: [{entry}]"
        yield Offer.of(f"inner phrase {id_}", words_inside, "phrases", "phrases", parted, entry=entry)
    else:
        yield from _new(here, id_, words, quarter, inside)
    yield from _nearest_moved(here, id_, words, quarter)


def _inner(here: Here, outer: Bracket) -> list[Bracket]:
    return [each for each in here.phrases if each.outer is outer]


def _bars(here: Here, start: float, end: float, like: Bracket | None = None) -> str:
    old = like.phrase.bars if like is not None else None
    return here.page.range_text(here.page.begins(start), here.page.ends(end), like=old)


def _halves(here: Here, phrase: Bracket, quarter: float) -> tuple[str, str]:
    return _bars(here, phrase.start, quarter, phrase), _bars(here, quarter, phrase.end, phrase)


def _split(phrase: Bracket, first: str, second: str) -> tuple[Edit, Edit]:
    """A phrase in two; the name and the reason stay with the first."""
    source = phrase.phrase.source or {}
    rest: dict[str, Any] = {key: source[key] for key in ("arch", "pass") if key in source}
    entry = written({"bars": second, **rest} if rest else second)
    return replaced(phrase.phrase, {"bars": first}), Edit("phrases", entry, phrase.each.place, after=True)


def _new(here: Here, id_: str, words: str, quarter: float, inside: list[Bracket]) -> Iterator[Offer]:
    """A phrase where there is none: as far as the ones before and after leave room for it."""
    outer = inside[-1] if inside else None
    others = _inner(here, outer) if outer is not None else [each for each in here.phrases if each.outer is None]
    low, high = (outer.start, outer.end) if outer is not None else (0.0, float(here.page.starts[-1]))
    start = max((each.end for each in others if each.end < quarter + _SAME), default=low)
    end = min((each.start for each in others if each.start > quarter - _SAME), default=high)
    start, end = (start, quarter) if id_ == "end" else (quarter, end)
    if end - start < _SAME:
        return
    bars = _bars(here, start, end)
    if outer is None:
        edit = added("phrases", bars)
    else:
        edit = Edit("phrases", written(bars), others[-1].each.place, after=True)
    yield Offer.of(f"phrase {id_}", f"a phrase {words}", "phrases", "phrases", edit)


def _whole(here: Here) -> Iterator[Offer]:
    """A phrase as long as the stretch, inside the one that holds it, if it meets no other."""
    start, end = here.quarter, here.over_quarter
    around = [each for each in here.phrases if each.start < start + _SAME and end - _SAME < each.end]
    same = any(abs(each.start - start) < _SAME and abs(each.end - end) < _SAME for each in here.phrases)
    outer = around[-1] if around else None
    others = _inner(here, outer) if outer is not None else [each for each in here.phrases if each.outer is None]
    if same or any(each.start < end - _SAME and start + _SAME < each.end for each in others):
        return
    bars = _bars(here, start, end)
    if outer is None:
        edit = added("phrases", bars)
    elif others:
        edit = Edit("phrases", written(bars), others[-1].each.place, after=True)
    else:
        edit = replaced(outer.phrase, {"inside": [bars]})
    yield Offer.of("phrase", "a phrase over this stretch", "phrases", "phrases", edit)


def _nearest_moved(here: Here, id_: str, words: str, quarter: float) -> Iterator[Offer]:
    """The nearest end (or beginning) of a phrase moved here, if it is near."""
    edges = [(each.end if id_ == "end" else each.start, each) for each in here.phrases]
    near = [(edge, each) for edge, each in edges if abs(edge - quarter) < _NEAR_BARS * here.full_bar + _SAME]
    if not near:
        return
    edge, phrase = min(near, key=lambda pair: abs(pair[0] - quarter))
    try:
        edits = moved(here.page, here.phrases, [(edge, quarter)], passes_of(phrase.each))
    except CannotDo:
        return
    words = f"the phrase {phrase.name} {words} instead"
    start, end = (phrase.start, quarter) if id_ == "end" else (quarter, phrase.end)
    entry = _bars(here, start, end, phrase)
    yield Offer.of(f"move phrase {id_}", words, "phrases", "phrases", *edits, entry=entry)
