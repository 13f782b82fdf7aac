"""What a draft says about the form, as comments: sections and their repeats, keys, closes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from timing.columns import ROUNDING
from timing.drafting.harmony import WrittenNotes, close_at, tonality
from timing.drafting.keys import Tonality
from timing.finding.phrases import FoundPhrase, range_of
from timing.reading import Reading
from timing.where.naming import bars_at

LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"


@dataclass(frozen=True)
class FormSection:
    """A section of a piece: its name in the form, where it is, and its key, where that is clear."""

    name: str
    phrase: FoundPhrase
    key: Tonality | None


def sections_of(phrases: Sequence[FoundPhrase], sounds: WrittenNotes) -> list[FormSection]:
    """The outermost phrases with their letters: the same music has the same letter, and one that only begins alike has
    it with a prime."""
    made: list[FormSection] = []
    contents: list[tuple] = []
    letters = iter(LETTERS)
    for phrase in phrases:
        content = _content(sounds, phrase)
        name = next((made[n].name for n, other in enumerate(contents) if other == content), "")
        if not name:
            alike = next((made[n].name for n, other in enumerate(contents) if _begin_alike(other, content)), "")
            name = f"{alike.rstrip('′')}′" if alike else next(letters, "?")
        contents.append(content)
        key = tonality(sounds, sounds.at(*phrase.start), sounds.at(*phrase.end), _ends([phrase], sounds))
        made.append(FormSection(name, phrase, key))
    return made


def _ends(phrases: Sequence[FoundPhrase], sounds: WrittenNotes) -> list[float]:
    """The quarters at which phrases end, and those inside them."""
    return [end for phrase in phrases for end in (sounds.at(*phrase.end), *_ends(phrase.inside, sounds))]


def _content(sounds: WrittenNotes, phrase: FoundPhrase) -> tuple:
    """Its notes: when each begins after it, and its pitch."""
    start, end = sounds.at(*phrase.start), sounds.at(*phrase.end)
    low, high = np.searchsorted(sounds.start, [start - ROUNDING, end - ROUNDING])
    onsets = np.round(sounds.start[low:high] - start, 4)
    return tuple(zip(onsets.tolist(), sounds.pitch[low:high].tolist(), strict=True))


def _begin_alike(one: tuple, other: tuple) -> bool:
    """Whether two sections have the same first notes, a quarter of the shorter one and eight at least."""
    count = max(min(len(one), len(other)) // 4, 8)
    return len(one) >= count and len(other) >= count and one[:count] == other[:count]


def form_lines(reading: Reading, sections: Sequence[FormSection], sounds: WrittenNotes) -> list[str]:
    """Sentences on the form and the keys."""
    lines = []
    if len(sections) > 1:
        lines.append(f"Form: {_form(reading, sections)}.")
    ends = _ends([section.phrase for section in sections], sounds)
    home = tonality(sounds, 0.0, float(sounds.bar_starts[-1]), ends, whole=True)
    if home is None:
        return lines
    lines.append(f"Key: {home}.")
    for section in sections if len(sections) > 1 else ():
        if section.key is not None and (seen := section.key.seen_from(home)) != "the same key":
            where = range_of(reading.score, section.phrase)
            leads = f"leads from {home} to" if _opens_in(home, section, sounds) else "is in"
            lines.append(f"{section.name} ({where}) {leads} {section.key}{', ' + seen if seen else ''}.")
    return lines


def _opens_in(home: Tonality, section: FormSection, sounds: WrittenNotes) -> bool:
    """Whether the first quarter of a section is in the key of the piece."""
    start, end = sounds.at(*section.phrase.start), sounds.at(*section.phrase.end)
    key = tonality(sounds, start, start + (end - start) / 4)
    return key is not None and key.seen_from(home) == "the same key"


def _form(reading: Reading, sections: Sequence[FormSection]) -> str:
    """The sections as they are played: A (1-8, repeated), B (9-16; 9-12 twice), A (1-8)."""
    bars = reading.score.bars
    firsts = [row + (offset > bars["length"][row] / 2) for row, offset in (s.phrase.start for s in sections)]
    rows = reading.performance.bars["row"]
    numbers = np.maximum(np.searchsorted(firsts, rows, side="right") - 1, 0)
    edges = np.flatnonzero(np.append(True, np.diff(numbers) != 0))
    last = np.append(firsts[1:], len(bars)) - 1
    told, said = [], set()
    for number, played in zip(numbers[edges].tolist(), np.split(rows, edges[1:]), strict=True):
        section = sections[number]
        stretch = str(range_of(reading.score, section.phrase)) if number not in said else ""
        again = _again(reading, played, (firsts[number], int(last[number])))
        joint = "; " if again[:1].isdigit() else ", "
        inner = joint.join(filter(None, (stretch, again)))
        told.append(f"{section.name} ({inner})" if inner else section.name)
        said.add(number)
    return ", ".join(told)


_TIMES = {2: "twice"}


def _again(reading: Reading, played: np.ndarray, whole: tuple[int, int]) -> str:
    """In words what is played more than once in a stretch of performed bars: all of a section ("repeated"), or which
    bars of it ("10-17 twice"). Endings, of which each time has its own, make no difference."""
    score = reading.score
    ending = np.zeros(len(score.bars), bool)
    for mark in score.marks_of("ending"):
        ending[mark["bar"] : mark["end_bar"] + 1] = True
    rows, times = np.unique(played, return_counts=True)
    common = ~ending[rows]
    rows, times = rows[common], times[common]
    if not len(rows) or times.max() < 2:
        return ""
    of_section = np.flatnonzero(~ending[whole[0] : whole[1] + 1]) + whole[0]
    if times.min() == times.max() and np.array_equal(rows, of_section):
        return "repeated" if times[0] == 2 else f"{times[0]} times"
    told = []
    for part in np.split(np.arange(len(rows)), np.flatnonzero((np.diff(rows) > 1) | (np.diff(times) != 0)) + 1):
        if (often := int(times[part[0]])) > 1:
            bars = bars_at(score, int(rows[part[0]]), int(rows[part[-1]]))
            told.append(f"{bars} {_TIMES.get(often, f'{often} times')}")
    return ", ".join(told)


def closes(sections: Sequence[FormSection], sounds: WrittenNotes) -> dict[tuple, str]:
    """In words how the innermost phrases close, by their end; only where the chord is plain and the key is clear."""
    made = {}
    for section in sections:
        if section.key is None:
            continue
        for phrase in _leaves([section.phrase]):
            close = close_at(sounds, sounds.at(*phrase.start), sounds.at(*phrase.end), section.key)
            if close is not None:
                made[phrase.end] = f"{close} in {section.key}"
    return made


def _leaves(phrases: Sequence[FoundPhrase]) -> Iterator[FoundPhrase]:
    for phrase in phrases:
        yield from _leaves(phrase.inside) if phrase.inside else (phrase,)
