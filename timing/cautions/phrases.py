"""The rules for phrases: whether they fit together, and whether the notes let them."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from timing.cautions.rules import (
    ADVICE,
    CAUTION,
    COMMON_PRACTICE,
    place_of,
    remark_at,
    rule,
    said,
)  # fmt: skip
from timing.columns import NEAR, WITHIN
from timing.performance import MELODY
from timing.plan.edits import added, replaced
from timing.plan.position import Range
from timing.reading import Reading
from timing.remarks import Edit, Remark
from timing.time.phrases import PhraseRun
from timing.where.naming import end_of_range, position_at, position_over, start_of_range

UPBEAT = 1.0  # bars: a gap that is no longer is taken for the upbeat of the phrase that follows


@rule(
    "phrases-overlap",
    "Two phrases that overlap pull the pace both ways at once.",
    example="""\
score: umbrella-stand.musicxml
tempo: 126
phrases: [1-5, 5-8]
""",
    threshold="a phrase begins before the one before it, of the same level, is over",
    source="our own value: a moment belongs to one phrase of each level",
    mends="ends the earlier phrase where the later one begins, unless that lies inside it",
)
def phrases_overlap(reading: Reading) -> Iterator[Remark]:
    latest: dict[int, PhraseRun] = {}  # by depth, the phrase that is over last
    seen = set()
    for phrase in reading.phrases:
        older = latest.get(phrase.depth)
        if older is not None and older.end > phrase.start + NEAR and (older.number, phrase.number) not in seen:
            seen.add((older.number, phrase.number))
            message = f"the phrase {phrase.phrase.bars} begins before the phrase {older.phrase.bars} is over"
            spot, place = reading.where.beat(phrase.start), phrase.phrase.place("bars")
            fix = _shortened(older, phrase, reading)
            words = None if fix else "let one end where the other begins, or list it 'inside' the other"
            yield remark_at(CAUTION, "phrases-overlap", message, spot, place, words, fix)
        if older is None or phrase.end > older.end:
            latest[phrase.depth] = phrase


def _shortened(older: PhraseRun, newer: PhraseRun, reading: Reading) -> tuple[Edit, ...]:
    """The older phrase, ending where the newer one begins; nothing where the newer lies in it or it holds others."""
    if older.phrase.inside or newer.end <= older.end + NEAR or newer.start <= older.start + NEAR:
        return ()
    return (replaced(older.phrase, {"bars": bars_until(older, newer.start, reading)}),)


def bars_until(phrase: PhraseRun, end: float, reading: Reading) -> str:
    """The bars of a phrase if it ended at this quarter."""
    where, start = reading.where, phrase.phrase.bars.start
    last = where.bars[where.ordinal(end - WITHIN)]
    write = end_of_range if start.beat is None else position_over
    return str(Range(start, write(reading.score, int(last["row"]), end - float(last["start"]), start)))


def bars_from(phrase: PhraseRun, start: float, reading: Reading) -> str:
    """The bars of a phrase if it began at this quarter."""
    where, end = reading.where, phrase.phrase.bars.end
    first = where.bars[where.ordinal(start)]
    write = start_of_range if end.beat is None else position_at
    return str(Range(write(reading.score, int(first["row"]), start - float(first["start"])), end))


@rule(
    "phrase-outside",
    "A smaller phrase that reaches out of the larger one leaves no single ending to breathe at.",
    example="""\
score: umbrella-stand.musicxml
tempo: 126
phrases: [{bars: 1-8, inside: [1-4, 5-9]}]
""",
    threshold="a phrase that is listed `inside` another begins before it or ends after it",
    source="our own value: what is inside ends no later than what it is in",
    mends="keeps of the smaller phrase what lies in the larger one",
)
def phrase_outside(reading: Reading) -> Iterator[Remark]:
    current: dict[int | None, PhraseRun] = {}  # by number, the hearing that began last
    seen = set()
    for phrase in reading.phrases:
        current[phrase.number] = phrase
        outer = current.get(phrase.outer)
        out = phrase.outer is not None and (outer is None or phrase.end > outer.end + NEAR)
        if out and phrase.number not in seen:
            seen.add(phrase.number)
            message = f"the phrase {phrase.phrase.bars} does not lie inside the one it is listed in"
            spot, place = reading.where.beat(phrase.start), phrase.phrase.place("bars")
            fix = _trimmed(phrase, reading)
            words = None if fix else "keep it within the bars of the outer phrase"
            yield remark_at(CAUTION, "phrase-outside", message, spot, place, words, fix)


def _trimmed(phrase: PhraseRun, reading: Reading) -> tuple[Edit, ...]:
    """What of a phrase lies in a hearing of its outer one; nothing where that is nothing, or where it holds others."""
    starts, ends, _ = reading.phrase_spans
    numbers = np.array([each.number for each in reading.phrases])
    meets = (numbers == phrase.outer) & (starts < phrase.end - NEAR) & (ends > phrase.start + NEAR)
    if phrase.phrase.inside or not meets.any():
        return ()
    row = int(np.argmax(meets))
    start, end = max(phrase.start, starts[row]), min(phrase.end, ends[row])
    return (replaced(phrase.phrase, {"bars": reading.where.range_text(float(start), float(end))}),)


@rule(
    "phrases-gap",
    "Notes between two phrases belong to neither, so nothing shapes them and nothing is judged there.",
    example="""\
score: umbrella-stand.musicxml
tempo: 126
phrases: ["1:1 - 4:2", 5-8]
""",
    threshold=(
        "between the end of a phrase and the beginning of the next one of the same level (inside the same larger one) "
        "a note begins, and the music goes on there as on the page"
    ),
    source=f"our own value; that a few notes before a phrase are its upbeat is {COMMON_PRACTICE}",
    mends="lets the later phrase begin with the notes between them, if they fill a bar at most; else makes a phrase of "
    "them",
)
def phrases_gap(reading: Reading) -> Iterator[Remark]:
    where, onsets = reading.where, np.sort(reading.performance.notes["score_onset"])
    latest: dict[int | None, PhraseRun] = {}  # by the number of the larger phrase, the one in it that is over last
    begun: dict[int | None, float] = {}  # by number, where the larger phrase began
    seen = set()
    for phrase in reading.phrases:
        begun[phrase.number] = phrase.start
        older = latest.get(phrase.outer)
        if older is None or phrase.end > older.end:
            latest[phrase.outer] = phrase
        if older is None or (older.number, phrase.number) in seen or older.end > phrase.start:
            continue
        # not where the order goes elsewhere, or in another hearing of the larger phrase
        line_end = where.line_ends[where.ordinal(older.end - WITHIN)]
        if phrase.start > line_end - NEAR or older.start < begun.get(phrase.outer, 0.0) - NEAR:
            continue
        first, last = np.searchsorted(onsets, (older.end - NEAR, phrase.start - NEAR))
        if last > first:
            seen.add((older.number, phrase.number))
            yield _gap(older, phrase, reading)


def _gap(older: PhraseRun, newer: PhraseRun, reading: Reading) -> Remark:
    where = reading.where
    gap = where.range_text(older.end, newer.start)
    message = (
        f"the notes of {gap} belong to no phrase: they come after the phrase {older.phrase.bars} and before the phrase "
        f"{newer.phrase.bars}"
    )
    fix: tuple[Edit, ...] = ()
    if newer.start - older.end <= UPBEAT * where.full_bar(older.end) + NEAR and newer.run.begun:
        fix = (replaced(newer.phrase, {"bars": bars_from(newer, older.end, reading)}),)
    elif newer.depth == 0:
        fix = (added("phrases", {"bars": gap}),)
    words = None if fix else f"list {gap} as a phrase of its own"
    place = newer.phrase.place("bars")
    return remark_at(ADVICE, "phrases-gap", message, where.beat(older.end), place, words, fix)


@rule(
    "phrase-cuts-tie",
    "A phrase cannot end while its last note is still sounding: the ending is not heard where the plan has it.",
    example="""\
score: umbrella-stand.musicxml
tempo: 126
phrases: ["1:1 - 8:1", "8:2 - 16"]
""",
    threshold="a phrase ends while a note of the melody that began before goes on (tied or held) in written time",
    source=COMMON_PRACTICE,
    mends="ends the phrase with the note, and lets the next one begin there, unless phrases of several levels meet",
)
def phrase_cuts_tie(reading: Reading) -> Iterator[Remark]:
    notes = reading.performance.notes
    melody = notes[notes["role"] == MELODY]
    melody = melody[np.argsort(melody["score_onset"], kind="stable")]
    over = np.maximum.accumulate(melody["score_onset"] + melody["score_length"]) if len(melody) else np.zeros(0)
    seen = set()
    for phrase in reading.phrases:
        begun = int(np.searchsorted(melody["score_onset"], phrase.end - NEAR))
        if phrase.end >= reading.where.length - NEAR or not begun or over[begun - 1] <= phrase.end + NEAR:
            continue
        spot = reading.where.beat_before(phrase.end)
        if spot[:2] in seen:
            continue
        seen.add(spot[:2])
        note = melody[np.argmax(over[:begun] > phrase.end + NEAR)]
        message = (
            f"the phrase {phrase.phrase.bars} ends at {said(spot)} while the melody's note from "
            f"{place_of(note, reading)} still sounds"
        )
        fix = _after_the_note(phrase, float(over[begun - 1]), reading)
        words = None if fix else "end the phrase with the note, and begin the next one after it"
        yield remark_at(CAUTION, "phrase-cuts-tie", message, spot, phrase.phrase.place("bars"), words, fix)


def _after_the_note(phrase: PhraseRun, end: float, reading: Reading) -> tuple[Edit, ...]:
    """The phrase ending at a later quarter, and the next one beginning there; nothing where larger or smaller phrases
    have the same boundary, or the music goes elsewhere."""
    starts, ends, _ = reading.phrase_spans
    here = phrase.end
    ending = [reading.phrases[row] for row in np.flatnonzero(np.abs(ends - here) < NEAR)]
    beginning = [reading.phrases[row] for row in np.flatnonzero(np.abs(starts - here) < NEAR)]
    if len(ending) != 1 or len(beginning) > 1 or any(each.end <= end + NEAR for each in beginning):
        return ()
    if end > reading.where.line_ends[reading.where.ordinal(here - WITHIN)] + NEAR:
        return ()
    edits = [replaced(phrase.phrase, {"bars": bars_until(phrase, end, reading)})]
    edits += [replaced(each.phrase, {"bars": bars_from(each, end, reading)}) for each in beginning]
    return tuple(edits)
