"""What the score itself says of where phrases end: its signs, before any weights.

Double bars, repeat signs, the last ending, Fine, D.C., D.S. and the Coda are walls: a phrase begins there, or with an
upbeat to it. So are words for a new tone, which players change between phrases (common
practice). The other signs are added to the score of an end (log odds, the house's own values: a sign that says "here"
is stronger than all weights together; a slur rather says where no phrase ends).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from timing.columns import NEAR
from timing.finding.leading import Leading
from timing.marks.words import clauses
from timing.score import Score

FERMATA = 12.0
BREATH = 12.0  # and caesura
SLUR_END = 1.5  # of a slur longer than a bar
UNDER_SLUR = -6.0
ALL_REST = 2.0  # nothing sounds, for a quarter of a bar or longer
AT_WALL = 1.5  # on the sign itself rather than with an upbeat to it
UPBEAT = 0.5  # bars: the longest upbeat
SHORTEST = 2.0  # bars of a section: of signs nearer to each other the last counts, as after a first ending

_LARGE = {"double bar", "fine", "da capo", "dal segno", "coda"}  # repeat signs and endings part small sections
_TONES = {"tone", "guitar tone", "sweet tone"}
_AFTER_ITS_BAR = {"fine", "da capo", "dal segno"}


@dataclass(frozen=True)
class EndSigns:
    """What is told of each note's end, and the walls: between which notes a phrase has to end."""

    told: np.ndarray  # (n,) added to the score of an end after each note
    walls: np.ndarray  # (walls, 2) a phrase ends after one of the notes from the first to the last
    outer: np.ndarray  # (walls,) whether it parts large sections; repeat signs part small ones


def read_signs(score: Score, line: Leading) -> EndSigns:
    """The signs of a score along its leading voice, which has two notes or more."""
    told = np.zeros(len(line.rows))
    marks = score.marks_of("fermata", "breath", "caesura")
    for mark in marks[~line.skipped[marks["bar"]]]:
        at = line.at(mark["bar"], mark["offset"])
        fermata = mark["kind"] == "fermata"  # it stands where its note begins, a breath where its note is over
        note = np.searchsorted(line.quarter, at + NEAR if fermata else at - NEAR) - 1
        if note >= 0:
            told[note] = max(told[note], FERMATA if fermata else BREATH)
    told += _by_slurs(score, line) + ALL_REST * _all_rest(score, line)
    walls = _apart(_walls(score, line), line)
    for at, _ in walls:
        told[:-1][np.abs(line.quarter[1:] - at) < NEAR] += AT_WALL
    spans = [(span, outer) for at, outer in walls if (span := _notes_before(line, at))]
    between = np.array([span for span, _ in spans], np.int64).reshape(-1, 2)
    return EndSigns(told, between, np.array([outer for _, outer in spans], bool))


def _by_slurs(score: Score, line: Leading) -> np.ndarray:
    """(n,) what slurs over the melody say that are longer than a bar. Shorter ones are a matter of touch."""
    told = np.zeros(len(line.rows))
    staves = {(int(note["part"]), int(note["staff"])) for note in np.unique(score.notes[line.rows][["part", "staff"]])}
    for mark in score.marks_of("slur"):
        if (int(mark["part"]), int(mark["staff"])) not in staves:
            continue
        ends = [line.at(mark["bar"], mark["offset"]), line.at(mark["end_bar"], mark["end_offset"])]
        first, last = np.searchsorted(line.quarter, np.array(ends) + NEAR) - 1
        first = max(first, 0)
        if last <= first or line.melody.steps[first : last + 1].sum() <= 1 + NEAR:
            continue
        told[first:last] += UNDER_SLUR
        told[last] += SLUR_END
    return np.clip(told, UNDER_SLUR, SLUR_END)


def _all_rest(score: Score, line: Leading) -> np.ndarray:
    """(n,) whether nothing sounds just before the next note of the melody, for a quarter of a bar or longer."""
    notes = score.notes
    heard = np.flatnonzero((notes["length"] > 0) & ~line.skipped[notes["bar"]])
    begin = line.bar_quarter[notes["bar"][heard]] + notes["offset"][heard]
    order = np.argsort(begin, kind="stable")
    begin, end = begin[order], np.maximum.accumulate((begin + notes["length"][heard])[order])
    before = np.searchsorted(begin, line.quarter[1:] - NEAR) - 1  # the last note of all voices that begins earlier
    silence = line.quarter[1:] - end[before]
    full = np.diff(line.quarter) / np.maximum(np.diff(line.melody.onset), 1e-9)  # quarters a bar
    return np.append(silence >= 0.25 * full - NEAR, False)


def _walls(score: Score, line: Leading) -> list[tuple[float, bool]]:
    """The quarters at which sections part, in order, and whether large ones do."""
    found: dict[float, bool] = {}
    marks = score.marks_of(*_LARGE, "repeat start", "repeat end")
    for mark in marks[~line.skipped[marks["bar"]]]:
        bar, kind = int(mark["bar"]), str(mark["kind"])
        at = line.bar_quarter[bar + 1] if kind in _AFTER_ITS_BAR else line.at(bar, mark["offset"])
        at = round(float(at), 6)
        found[at] = found.get(at, False) or kind in _LARGE
    for mark in score.marks_of("words"):
        if not line.skipped[mark["bar"]] and _is_tone(str(mark["text"])):
            found.setdefault(round(float(line.at(mark["bar"], mark["offset"])), 6), False)
    endings = score.marks_of("ending")
    for ending in endings[~line.skipped[endings["bar"]]]:
        found.setdefault(round(float(line.bar_quarter[ending["end_bar"] + 1]), 6), False)
    return sorted(found.items())


def _is_tone(text: str) -> bool:
    """Whether words say how a stretch is to sound: sul tasto, dolce, naturale."""
    return any(meaning.kind in _TONES for _, meanings in clauses(text) for meaning in meanings)


def _apart(walls: list[tuple[float, bool]], line: Leading) -> list[tuple[float, bool]]:
    """The walls without those that the next one follows too soon, which then parts what either does."""
    kept: list[tuple[float, bool]] = []
    for at, outer in walls:
        if kept and line.in_bars(at) - line.in_bars(kept[-1][0]) < SHORTEST - NEAR:
            outer |= kept.pop()[1]
        kept.append((at, outer))
    return kept


def _notes_before(line: Leading, at: float) -> tuple[int, int] | None:
    """The first and last note after which a phrase may end that has to be over by a quarter: the next one begins just
    there or with an upbeat to it; where nothing begins there, it may be the first that comes later. None where no
    phrase needs to end: before and at the beginning of the melody, and after its last note has begun."""
    onset, wall = line.melody.onset, line.in_bars(at)
    first, last = np.searchsorted(onset, [wall - UPBEAT - NEAR, wall - NEAR])
    return (int(first) - 1, int(last) - 1) if first > 0 and last < len(onset) else None
