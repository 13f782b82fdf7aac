"""What a draft says about the form, as comments: sections and their repeats, keys, closes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from timing.drafting.harmony import Sounds, Tonality, close_at, tonality
from timing.finding.phrases import FoundPhrase, range_of
from timing.reading import Reading

LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"


@dataclass(frozen=True)
class Section:
    """A section of a piece: its name in the form, where it is, and its key, where that is clear."""

    name: str
    phrase: FoundPhrase
    key: Tonality | None


def sections_of(phrases: Sequence[FoundPhrase], sounds: Sounds) -> list[Section]:
    """The outermost phrases with their letters: the same music has the same letter, and one that only begins alike has
    it with a prime."""
    made: list[Section] = []
    contents: list[tuple] = []
    letters = iter(LETTERS)
    for phrase in phrases:
        content = _content(sounds, phrase)
        name = next((made[n].name for n, other in enumerate(contents) if other == content), "")
        if not name:
            alike = next((made[n].name for n, other in enumerate(contents) if _begin_alike(other, content)), "")
            name = f"{alike.rstrip('′')}′" if alike else next(letters, "?")
        contents.append(content)
        made.append(Section(name, phrase, tonality(sounds, sounds.at(*phrase.start), sounds.at(*phrase.end))))
    return made


def _content(sounds: Sounds, phrase: FoundPhrase) -> tuple:
    """Its notes: when each begins after it, and its pitch."""
    start, end = sounds.at(*phrase.start), sounds.at(*phrase.end)
    low, high = np.searchsorted(sounds.start, [start - 1e-9, end - 1e-9])
    onsets = np.round(sounds.start[low:high] - start, 4)
    return tuple(zip(onsets.tolist(), sounds.pitch[low:high].tolist(), strict=True))


def _begin_alike(one: tuple, other: tuple) -> bool:
    """Whether two sections have the same first notes, a quarter of the shorter one and eight at least."""
    count = max(min(len(one), len(other)) // 4, 8)
    return len(one) >= count and len(other) >= count and one[:count] == other[:count]


def form_lines(reading: Reading, sections: Sequence[Section], sounds: Sounds) -> list[str]:
    """Sentences on the form and the keys."""
    lines = []
    if len(sections) > 1:
        lines.append(f"Form: {_form(reading, sections)}.")
    home = tonality(sounds, 0.0, float(sounds.bar_starts[-1]))
    if home is not None:
        lines.append(f"Key: {home} (correlation {home.fit:.2f} with its profile).")
    for section in sections:
        if home is not None and section.key is not None and len(sections) > 1:
            seen = section.key.seen_from(home)
            if seen != "the same key":
                where = range_of(reading.score, section.phrase)
                lines.append(f"{section.name} ({where}) is in {section.key}{', ' + seen if seen else ''}.")
    return lines


def _form(reading: Reading, sections: Sequence[Section]) -> str:
    """The sections as they are played: A (1-8, repeated), B (9-16), A (1-8)."""
    bars = reading.score.bars
    firsts = [row + (offset > bars["length"][row] / 2) for row, offset in (s.phrase.start for s in sections)]
    rows = reading.performance.bars["row"]
    numbers = np.maximum(np.searchsorted(firsts, rows, side="right") - 1, 0)
    again = np.append(True, np.diff(rows) <= 0)  # the order goes back, to the same section or another
    other = np.append(True, np.diff(numbers) != 0)
    played = [(int(run[0]), int(back.sum()) + (not back[0])) for run, back in _runs(numbers, again, other)]
    told, said = [], set()
    for number, times in played:
        section = sections[number]
        often = {1: "", 2: "repeated"}.get(times, f"{times} times")
        where = "" if number in said else str(range_of(reading.score, section.phrase))
        inner = ", ".join(filter(None, (where, often)))
        told.append(f"{section.name} ({inner})" if inner else section.name)
        said.add(number)
    return ", ".join(told)


def _runs(numbers: np.ndarray, again: np.ndarray, other: np.ndarray):
    """The stretches in which the same section is played, and where in them the order goes back."""
    cuts = np.flatnonzero(other)[1:]
    return zip(np.split(numbers, cuts), np.split(again, cuts), strict=True)


def closes(sections: Sequence[Section], sounds: Sounds) -> dict[tuple, str]:
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


def _leaves(phrases: Sequence[FoundPhrase]):
    for phrase in phrases:
        yield from _leaves(phrase.inside) if phrase.inside else (phrase,)
