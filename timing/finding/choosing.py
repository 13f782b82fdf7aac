"""Which of the ends that the melody may have are ends of phrases: chosen by the whole texture.

The melody's own model (`boundaries`) is nearly complete, and where other voices sound most of what it finds is smaller
than what people call a phrase. So its ends are weighed once more by what cadence, repetition, silence, dynamics, the
movement of the voices and the metre say of them (`facts`, weighed by `weights.CHOICE`), together with the length of the
phrase (`weights.LENGTHS`): a semi-Markov model like the first one, whose exact sums over all cuttings give the
probability of each end. Those are chosen that are probable enough for most right ends and fewest wrong ones (`chosen`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from timing.columns import NEAR
from timing.finding import weights
from timing.finding.boundaries import end_probabilities, over_a_wall
from timing.finding.cadences import cadence_facts
from timing.finding.leading import Leading
from timing.finding.melody import TICKS, ticks
from timing.finding.repetition import bar_facts, tune_facts
from timing.finding.signs import EndSigns
from timing.finding.texture import Texture
from timing.score import Score
from timing.where.beats import felt_beat

ACCOMPANIED = 0.25  # what sounds besides the melody, against the melody, from which on there is a texture to be read
LIKELY = 0.08  # probability for the melody's own model of an end that may be chosen
MOST = 64  # ends that a phrase may pass over
# How probabilities of the model, as log odds, become what they are among people: of works on which it was not fitted.
SHIFT, SLOPE = 0.36, 0.68
SUREST = 0.99  # probability of the model, of which no more is made
IDEA = 1.0  # bars of the shortest idea inside a phrase
WORTH = 0.42  # least probability of an end that is chosen: at this the F1 measure of the chosen ends is greatest


@dataclass(frozen=True)
class PossibleEnds:
    """Where phrases may end, in order; the last one is the end of the melody. Times are quarters along the axis of the
    leading voice."""

    notes: np.ndarray  # (m,) after which note of the melody
    last: np.ndarray  # (m,) when that note begins
    over: np.ndarray  # (m,) when the next note begins
    bars: np.ndarray  # (m + 1,) the beginning of the piece, and each end, in bars after the first note
    row: np.ndarray  # (m,) the row of the bar in which the next note begins
    full: np.ndarray  # (m,) quarters of a bar there by its metre
    beat: np.ndarray  # (m,) quarters of a felt beat there


@dataclass(frozen=True)
class Chosen:
    """After which notes of a melody phrases end, and ideas inside them; how probable it is that a phrase ends there."""

    phrases: np.ndarray  # (n,) bool
    ideas: np.ndarray  # (n,) bool
    sure: np.ndarray  # (n,)


def choose(
    score: Score, line: Leading, signs: EndSigns, texture: Texture, ends: np.ndarray, sure: np.ndarray
) -> Chosen:
    """The ends of phrases by the whole texture, from those of the melody: its best `ends`, and how `sure` each is. An
    idea ends where the melody's best cutting has an end that is a bar away from those of phrases, or more."""
    at = places(score, line, ends, sure)
    of_places, likely = decided(at, facts(score, line, signs, texture, at, sure), walls_among(at, signs.walls))
    phrases, known = np.zeros(len(ends), bool), np.zeros(len(ends))
    phrases[at.notes], known[at.notes] = of_places, likely
    over = np.append(line.melody.onset[1:], line.in_bars(line.bar_quarter[-1]))
    of_phrases = np.append(0.0, over[phrases])
    following = np.searchsorted(of_phrases, over - NEAR)
    after, before = over - of_phrases[following - 1], of_phrases[np.minimum(following, len(of_phrases) - 1)] - over
    return Chosen(phrases, ends & (np.minimum(after, before) >= IDEA - NEAR), known)


def places(score: Score, line: Leading, ends: np.ndarray, sure: np.ndarray) -> PossibleEnds:
    """The ends that the melody has in its own best cutting, and all that are likely enough."""
    may = ends | (sure >= LIKELY)
    may[-1] = True
    notes = np.flatnonzero(may)
    following = np.minimum(notes + 1, len(line.rows) - 1)
    over = np.where(notes < len(line.rows) - 1, line.quarter[following], line.bar_quarter[-1])
    bars = np.interp(np.append(0.0, over), line.bar_quarter, line.bar_count)
    row = score.notes["bar"][line.rows][following]
    table = score.bars[row]
    first = np.interp(line.quarter[0], line.bar_quarter, line.bar_count)
    return PossibleEnds(
        notes, line.quarter[notes], over, bars - first, row, table["beats"] * 4 / table["unit"], felt_beat(table)
    )


def facts(score: Score, line: Leading, signs: EndSigns, texture: Texture, at: PossibleEnds, sure: np.ndarray) -> dict:
    """(m,) each: what speaks for or against a phrase end at each place, by the names of `weights.CHOICE`.

    Nothing here changes when the score is transposed, or is written in other note values with its metre.
    """
    melody = line.melody
    following = np.minimum(at.notes + 1, len(melody) - 1)
    chance = np.clip(sure[at.notes], 1e-3, 1 - 1e-3)
    place = melody.place[following]
    upbeat = place >= 0.5
    pitches = melody.pitch[np.stack([at.notes, following])]
    full = score.bars["beats"] * 4 / score.bars["unit"]
    return (
        {"every end": np.ones(len(at.notes)), "by the melody": np.log(chance / (1 - chance))}
        | cadence_facts(texture, at.last, at.over, pitches, at.full, at.beat)
        | {name: values[following] for name, values in tune_facts(melody).items()}
        | bar_facts(texture, line, at.row + upbeat, full)
        | _breaks(score, line, texture, at)
        | _metre(line, signs, at, place)
    )


def _breaks(score: Score, line: Leading, texture: Texture, at: PossibleEnds) -> dict[str, np.ndarray]:
    """Silence, dynamics, and how the movement of the voices changes."""
    over = at.over
    before, earlier = texture.attacks(over - at.full, over), texture.attacks(over - 2 * at.full, over - at.full)
    under = texture.attacks_under(over - at.full, over) > 0
    return {
        "all silent": texture.silence_before(over) > NEAR,
        "bars to next": np.minimum(line.melody.steps[at.notes], 2.0),
        "new dynamic": _marked(score, line, at),
        "thinner": np.clip((earlier - before) / 2, 0.0, 3.0),
        "accompaniment stops": under & (texture.attacks_under(over - at.beat, over) == 0),
        "all stop": texture.attacks(over - at.beat, over) <= 1,
    }


def _marked(score: Score, line: Leading, at: PossibleEnds) -> np.ndarray:
    """(m,) whether a dynamic is printed within three quarters of a beat of the next beginning."""
    marks = score.marks_of("dynamic")
    marks = marks[~line.skipped[marks["bar"]]]
    printed = np.sort(line.bar_quarter[marks["bar"]] + marks["offset"])
    within = 0.75 * at.beat + NEAR
    return np.searchsorted(printed, at.over + within) > np.searchsorted(printed, at.over - within)


def _metre(line: Leading, signs: EndSigns, at: PossibleEnds, place: np.ndarray) -> dict[str, np.ndarray]:
    """Where in the bar the next phrase begins, and how many bars of the section are over then."""
    onset = line.melody.onset
    begins = np.append(0, signs.walls[:, 1] + 1).astype(int)  # notes with which the sections begin
    section = begins[np.maximum(np.searchsorted(begins, at.notes, side="right") - 1, 0)]
    whole = np.rint(_downbeat(at.bars[1:], place) - _downbeat(onset[section], line.melody.place[section]))
    inner = {f"{count} bars of the section": whole % count == 0 for count in (2, 4, 8)}
    return inner | {"next on downbeat": ticks(place) % TICKS == 0}


def _downbeat(onset: np.ndarray, place: np.ndarray) -> np.ndarray:
    """The nearest downbeat, in bars: the next one for an upbeat."""
    return onset - place + (place >= 0.5)


def decided(
    at: PossibleEnds,
    found: dict[str, np.ndarray],
    walls: np.ndarray,
    by_end: Mapping[str, float] = weights.CHOICE,
    by_length: Sequence[float] = weights.LENGTHS,
) -> tuple[np.ndarray, np.ndarray]:
    """(m,) at which places phrases end, and how probable it is that one ends at each, or within a felt beat of it. Of
    `walls` (w, 2) each says that a phrase ends at one of the places from its first to its last."""
    sure = end_probabilities(phrase_table(found, length_classes(at), walls, by_end, by_length))
    near = calibrated(about(at, sure))
    near[-1] = 1.0
    return chosen(at, sure, near, walls, found["by the melody"]), near


def calibrated(sure: np.ndarray) -> np.ndarray:
    """(m,) how often people have an end where the model is so sure of one."""
    chance = np.clip(sure, 1 - SUREST, SUREST)
    return 1 / (1 + np.exp(-SHIFT - SLOPE * np.log(chance / (1 - chance))))


def length_classes(at: PossibleEnds) -> np.ndarray:
    """(m, MOST) the entry of `weights.LENGTHS` of the phrase that ends at each place and passes over MOST - 1, ..., 1,
    0 others; -1 where there is none."""
    first = np.arange(1, len(at.notes) + 1)[:, None] - np.arange(MOST, 0, -1)
    classes = np.searchsorted(weights.LENGTH_EDGES, at.bars[1:, None] - at.bars[np.maximum(first, 0)] - NEAR)
    return np.where(first < 0, -1, classes)


def phrase_table(
    found: dict[str, np.ndarray],
    classes: np.ndarray,
    walls: np.ndarray,
    by_end: Mapping[str, float],
    by_length: Sequence[float],
) -> np.ndarray:
    """(m, MOST) the score of each phrase, as for `boundaries.best_ends`; -inf where there is none."""
    ends = sum((weight * found[name] for name, weight in by_end.items()), np.zeros(len(classes)))
    ends[-1] = 0.0
    scores = ends[:, None] + np.append(by_length, -np.inf)[classes]
    scores[over_a_wall(scores.shape, walls)] = -np.inf
    return scores


def walls_among(at: PossibleEnds, walls: np.ndarray) -> np.ndarray:
    """The walls, given by notes, as the first and the last place within each; those with none left out."""
    first, last = np.searchsorted(at.notes, walls[:, 0]), np.searchsorted(at.notes, walls[:, 1], side="right") - 1
    return np.column_stack([first, last])[first <= last]


def about(at: PossibleEnds, sure: np.ndarray) -> np.ndarray:
    """(m,) how probable it is that a phrase ends at each place or within a felt beat of it."""
    total = np.append(0.0, np.cumsum(sure))
    first = np.searchsorted(at.over, at.over - at.beat - NEAR)
    last = np.searchsorted(at.over, at.over + at.beat + NEAR)
    return np.clip(total[last] - total[first], 0.0, 1.0)


def chosen(at: PossibleEnds, sure: np.ndarray, near: np.ndarray, walls: np.ndarray, melody: np.ndarray) -> np.ndarray:
    """(m,) at which places phrases end: where it is more probable, by the model's own sums `sure`, than anywhere within
    a beat, and by `near` probable enough; and once within each wall, where the `melody` makes it likeliest."""
    ends = near >= WORTH
    first = np.searchsorted(at.over, at.over - at.beat - NEAR)
    last = np.searchsorted(at.over, at.over + at.beat + NEAR)
    for place in np.flatnonzero(ends).tolist():
        ends[place] = sure[first[place] : last[place]].argmax() == place - first[place]
    ends[-1] = True
    for begin, end in walls:
        ends[begin : end + 1] = False
        ends[begin + melody[begin : end + 1].argmax()] = True
    return ends
