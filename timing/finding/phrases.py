"""The phrases of a score, nested, as they are written: a first reading of its form.

The smallest come from the melody and the score's own signs (`boundaries`, `signs`): phrases of a song, and in music of
several voices the ideas of which phrases are made. Which of those are phrases the whole texture says (`choosing`). In
a melody alone, larger ones are made of neighbours by their lengths, as near as can be to four, eight and sixteen bars,
and by parallel openings: a larger phrase likes to begin as another one did (common practice: 2 + 2 + 4, 4 + 4, 8 + 8).
Sections lie between the walls of the score.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace

import numpy as np

from timing.columns import ROUNDING
from timing.finding.boundaries import best_ends, end_probabilities, phrase_scores
from timing.finding.choosing import ACCOMPANIED, choose
from timing.finding.leading import Leading, leading_voice
from timing.finding.melody import TICKS, Melody, ticks
from timing.finding.signs import read_signs
from timing.finding.texture import Texture
from timing.plan.position import Range
from timing.score import Score
from timing.where.naming import range_at

SIZES = (4, 8, 16)  # bars of larger phrases
OFF_SIZE = 2.0  # against a group twice, or half, as long as its size
PARALLEL = (1.0, 0.7)  # for a group whose rhythm opens like another one's, and for its intervals
WEIGHT_OF_ENDS = 0.2  # of the log odds that a phrase ends there
OPENING = 4  # notes after the first
LARGEST = 32.0  # bars of a section that is made of sections
LIKELY = 0.38  # probability of an end that parts a phrase, though it is not that of one
LONGEST_PART = 16.0  # bars of a part that is not parted again, into such of about PARTED
PARTED = 8
LARGEST_OF_IDEAS = 8.5  # bars of a part that is made of ideas
MOST_INSIDE = 8  # phrases of one larger phrase


@dataclass(frozen=True)
class FoundPhrase:
    """A phrase of the written score: it begins and is over at places given as bar row and quarters after the bar line.

    A phrase that ends with a bar is over at that bar's length. Endings belong to the phrase that leads into the last
    one. `sure` is how probable it is that a phrase ends there, from 0 to 1, and `bars` its length. A `section` is what
    the score's double bars and repeat signs enclose.
    """

    start: tuple[int, float]
    end: tuple[int, float]
    sure: float
    bars: float
    inside: tuple[FoundPhrase, ...] = ()
    section: bool = False


def find_phrases(score: Score) -> list[FoundPhrase]:
    """The outermost phrases of a score in their order, each with those inside it. None where it has no melody of two
    notes: nothing but percussion, or rests."""
    line = leading_voice(score)
    if len(line.rows) < 2:
        return []
    signs = read_signs(score, line)
    scores = phrase_scores(line.melody, signs.told, signs.walls)
    ends, sure = best_ends(scores), end_probabilities(scores)
    texture, openings = Texture(score, line), Openings(line.melody)
    if _has_texture(texture):
        chosen = choose(score, line, signs, texture, ends, sure)
        units = _smallest(score, line, chosen.ideas | chosen.phrases, chosen.sure)
        phrases = _phrases(units, chosen.phrases, openings)
        sections = [_joined(inside) for inside in _parted(phrases, signs.walls)]
    else:
        sections = _sections_of_melody(_smallest(score, line, ends, sure), signs.walls, openings)
    if len(sections) > 1:
        sections = [replace(unit, phrase=replace(unit.phrase, section=True)) for unit in sections]
    parts = _parted(sections, signs.walls[signs.outer])
    if len(parts) > 1:
        sections = [unit for inside in parts for unit in _large_section(inside)]
    return [unit.phrase for unit in sections]


def is_accompanied(score: Score) -> bool:
    """Whether more than a melody alone says where the phrases of a score end."""
    line = leading_voice(score)
    return len(line.rows) >= 2 and _has_texture(Texture(score, line))


def _has_texture(texture: Texture) -> bool:
    return texture.accompanied >= ACCOMPANIED


def _phrases(units: list[Unit], ends: np.ndarray, openings: Openings) -> list[Unit]:
    """The ideas between one end of a phrase and the next as one, in parts where an end inside is LIKELY as well; `ends`
    (n,) says with which notes phrases end. What is longer than phrases are is parted by its lengths and openings."""
    phrases = []
    for ideas in _split(units, [unit.last < 0 or bool(ends[unit.last]) for unit in units]):
        parts = []
        for inside in _split(ideas, [unit.phrase.sure >= LIKELY for unit in ideas]):
            long = inside[-1].over - inside[0].begin > LONGEST_PART
            parts += grouped(inside, PARTED, openings) if long else [_joined(inside)]
        phrases.append(_joined([_alone(part) for part in parts]))
    return phrases


def _alone(part: Unit) -> Unit:
    """A part without its ideas where it is longer than what is made of ideas alone."""
    return part if part.phrase.bars <= LARGEST_OF_IDEAS else replace(part, phrase=replace(part.phrase, inside=()))


def _split(units: list[Unit], ends: list[bool]) -> list[list[Unit]]:
    """The units up to each that ends something, and those after the last of these."""
    cuts = [0, *(number for number, end in enumerate(ends, 1) if end)]
    cuts += [len(units)] * (cuts[-1] < len(units))
    return [units[a:b] for a, b in itertools.pairwise(cuts)]


def _sections_of_melody(units: list[Unit], walls: np.ndarray, openings: Openings) -> list[Unit]:
    """The sections of a melody alone, its phrases grouped in each."""
    sections = []
    for inside in _parted(units, walls):
        for size in SIZES:
            inside = grouped(inside, size, openings)
        sections.append(_joined(inside))
    return sections


def _large_section(units: list[Unit]) -> list[Unit]:
    """Sections between two double bars as one, unless it were longer than anyone hears as a whole."""
    return [_joined(units, section=True)] if units[-1].over - units[0].begin <= LARGEST else units


def range_of(score: Score, phrase: FoundPhrase) -> Range:
    """Where a phrase lies, as a plan writes it: 2:6 - 12:5, or 9-16."""
    return range_at(score, phrase.start, phrase.end)


@dataclass(frozen=True)
class Unit:
    """A phrase while larger ones are made: the first and last notes of the melody in it, and its ends in bars."""

    phrase: FoundPhrase
    first: int
    last: int
    begin: float
    over: float


def _smallest(score: Score, line: Leading, ends: np.ndarray, sure: np.ndarray) -> list[Unit]:
    """The phrases between the ends that were found; they begin and end with the score. What comes before the melody is
    one of them where it is a bar or longer."""
    lasts = np.flatnonzero(ends)
    firsts = np.append(0, lasts[:-1] + 1)
    notes = score.notes[line.rows]
    final = (len(score.bars) - 1, float(score.bars["length"][-1]))
    at = [(int(notes["bar"][note]), float(notes["offset"][note])) for note in firsts]
    begins = [float(line.melody.onset[note]) for note in firsts]
    before = line.in_bars(0.0)
    introduced = bool(before <= -1.0) and notes_before(score, at[0])
    if not introduced:
        at[0], begins[0] = (0, 0.0), before
    overs = [*begins[1:], line.in_bars(line.bar_quarter[-1])]
    stops = [*(_before(score, place) for place in at[1:]), final]
    made = [
        Unit(FoundPhrase(start, stop, float(sure[last]), over - begin), int(first), int(last), begin, over)
        for first, last, start, stop, begin, over in zip(firsts, lasts, at, stops, begins, overs, strict=True)
    ]
    if introduced:
        opening = FoundPhrase((0, 0.0), _before(score, at[0]), 1.0, -before)
        made.insert(0, Unit(opening, 0, -1, before, 0.0))
    return made


def notes_before(score: Score, place: tuple[int, float]) -> bool:
    """Whether anything sounds before a place."""
    first = score.notes[:1]
    return bool(len(first)) and (int(first["bar"][0]), float(first["offset"][0])) < place


def _before(score: Score, place: tuple[int, float]) -> tuple[int, float]:
    """The same place as an end: the beginning of a bar is the end of the one before."""
    row, offset = place
    return (row - 1, float(score.bars["length"][row - 1])) if offset < ROUNDING and row > 0 else place


def _parted(units: list[Unit], walls: np.ndarray) -> list[list[Unit]]:
    """The units between the walls. A wall stands after the surest of the units that end within it."""
    lasts = np.array([unit.last for unit in units])
    sure = np.array([unit.phrase.sure for unit in units])
    cuts = set()
    for first, last in walls:
        within = np.flatnonzero((lasts >= first) & (lasts <= last))
        if len(within):
            cuts.add(int(within[sure[within].argmax()]) + 1)
    edges = [0, *sorted(cuts - {len(units)}), len(units)]
    return [units[a:b] for a, b in itertools.pairwise(edges)]


def _joined(units: list[Unit], section: bool = False) -> Unit:
    """One unit of several; of one alone, itself."""
    head, tail = units[0], units[-1]
    if len(units) == 1:
        return replace(head, phrase=replace(head.phrase, section=section or head.phrase.section))
    inside = tuple(unit.phrase for unit in units)
    bars = tail.over - head.begin
    phrase = FoundPhrase(head.phrase.start, tail.phrase.end, tail.phrase.sure, bars, inside, section)
    return Unit(phrase, head.first, tail.last, head.begin, tail.over)


class Openings:
    """How alike phrases begin."""

    def __init__(self, melody: Melody):
        self._steps, self._places, self._intervals = ticks(melody.steps), ticks(melody.place) % TICKS, melody.intervals

    def alike(self, one: int, other: int) -> float:
        """How much the phrases that begin with two notes open in parallel: 0, or what that weighs."""
        if one == other or self._places[one] != self._places[other]:
            return 0.0
        same = (
            np.array_equal(values[one : one + OPENING], values[other : other + OPENING])
            for values in (self._steps, self._intervals)
        )
        return sum(weight for weight, holds in zip(PARALLEL, same, strict=True) if holds)


def grouped(units: list[Unit], size: int, openings: Openings) -> list[Unit]:
    """Neighbours joined to groups of about `size` bars, by dynamic programming over the best of all groupings."""
    gain = [openings.alike(units[0].first, unit.first) for unit in units]
    best, taken = [0.0], [0]
    for stop in range(1, len(units) + 1):
        over, chance = units[stop - 1].over, min(max(units[stop - 1].phrase.sure, 0.01), 0.99)
        end = WEIGHT_OF_ENDS * math.log(chance / (1 - chance)) if stop < len(units) else 0.0
        ways = []
        for start in range(stop - 1, max(stop - 1 - MOST_INSIDE, -1), -1):
            off = abs(math.log2(max(over - units[start].begin, 0.1) / size))
            ways.append((best[start] + gain[start] + end - OFF_SIZE * off, start))
        score, start = max(ways)
        best.append(score)
        taken.append(start)
    groups, stop = [], len(units)
    while stop:
        groups.append(_joined(units[taken[stop] : stop]))
        stop = taken[stop]
    return groups[::-1]
