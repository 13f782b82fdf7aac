"""Whether a slowdown may be heard as an ending that no phrase has: the facts about its slowest point, and what they
come to.

The rule was found in piano playing. 2,743 slowings to 80 % or below in 23 sonata movements of Mozart and Beethoven
(competition performances of the ASAP dataset, F. Foscarin et al. 2020; phrase ends of the DCML annotations of those
sonatas) were held against what the score has there. Players slow in the middle of a phrase as well: where its end slows
as much, and where the movement of the notes stops or begins. What is left when those are taken out is rare.
`tests/bench/warning.py` prints how rare.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from timing.cautions.slowdowns import EndsThatGiveWay, waits
from timing.columns import NEAR, ROUNDING, WITHIN
from timing.finding.phrases import find_phrases, is_accompanied
from timing.marks.uses import Fate
from timing.performance import MELODY
from timing.plan.position import parse_position
from timing.plan.time import Slowing, TempoMark
from timing.reading import Reading
from timing.remarks import Severity
from timing.time.phrases import PhraseRun
from timing.where import Fault

FAR = 2.0  # felt beats
# The least difference of tempo that is surely heard: C. Drake and M.-C. Botte, Perception & Psychophysics 54 (1993),
# found 3 to 6 % (from memory).
HEARD = 0.05
TURNS = 2.0  # times as many attacks in one bar as in the next: the movement of the notes stops, or begins
# Probability of an end that is found in the music, from which on it counts: by the whole texture, or, where there is a
# melody alone, by it, whose ends are those of smaller things.
SURE, SURE_ALONE = 0.5, 0.95
DEEP, SLOWER = 0.80, 0.90  # paces: to which a slowdown is one that earns a caution, or advice


@dataclass(frozen=True)
class Facts:
    """What there is about the slowest point of a slowdown.

    `to` is the pace there; `away` how many felt beats it lies from the nearest ending of a phrase, of whatever
    level (0 within one); `own_end` the pace to which the phrase that it lies in slows at its end, or to which a
    fermata, a breath or a caesura brings the beat there, 1 where nothing does; `attacks` the moments at which notes
    begin in the bar before and in the bar after; `asked` whether the score asks for time there: by a fermata, a
    breath, a double bar, a repeat sign or a new tempo within a beat, or by a word such as rit. anywhere in the
    slowdown.
    """

    to: float
    away: float
    own_end: float
    attacks: tuple[int, int]
    asked: bool


def like_an_ending(facts: Facts) -> Severity | None:
    """How grave it is to be slowest there: a slowdown may be heard as an ending if all of this holds."""
    far_from_every_end = facts.away > FAR + NEAR
    slower_than_the_own_end = facts.to * (1 + HEARD) <= facts.own_end + ROUNDING
    movement_goes_on = max(facts.attacks) < TURNS * min(facts.attacks)
    not_asked_for = not facts.asked
    if not (far_from_every_end and slower_than_the_own_end and movement_goes_on and not_asked_for):
        return None
    if facts.to <= DEEP + ROUNDING:
        return Severity.CAUTION
    return Severity.ADVICE if facts.to <= SLOWER + ROUNDING else None


class Endings:
    """Where the phrases of a reading end, and what there is about the places between."""

    def __init__(self, reading: Reading):
        self._reading, self._where = reading, reading.where
        self._starts, self._ends, self._bars = reading.phrase_spans
        self._lasts = np.array([self.last_note(*span) for span in zip(self._starts, self._ends, strict=True)])
        self._give_way = EndsThatGiveWay(reading)
        bars, notes = reading.performance.bars, reading.performance.notes
        # as written: the strokes of an ornament are no movement
        written = bars["start"][notes["ordinal"]] + reading.score.notes["offset"][notes["id"]]
        self._attacks = np.unique(np.round(written, 6))
        self._signs, self._words = _signs(reading), _printed(reading, "slowing")

    def judge(self, end: float, to: float, entry: Slowing | TempoMark, start: float) -> Severity | None:
        """How grave it is if a slowdown of this entry, which begins at the quarter `start`, is slowest at the quarter
        `end`, with the pace `to`."""
        facts = self.facts(end, to, entry, start)
        return None if facts is None else like_an_ending(facts)

    def facts(self, end: float, to: float, entry: Slowing | TempoMark, start: float) -> Facts | None:
        """What there is about its slowest point; None where no phrase is."""
        phrase = self.phrase_at(end)
        if phrase is None:
            return None
        bar = self._where.full_bar(end - WITHIN)
        edges = np.searchsorted(self._attacks, np.array([end - bar, end, end + bar]) - NEAR)
        before, after = np.diff(edges).tolist()
        slowest = self._give_way.slowest(phrase.end, but=entry)
        own_end = min(slowest.to if slowest is not None else 1.0, self._give_way.held_to(phrase.end))
        return Facts(to, self.beats_from_an_end(end), own_end, (before, after), self._asked(start, end))

    def phrase_at(self, end: float) -> PhraseRun | None:
        """The innermost phrase that what is over at this quarter belongs to."""
        around = np.flatnonzero((self._starts + NEAR < end) & (end <= self._ends + NEAR))
        return self._reading.phrases[around[np.argmin(self._bars[around])]] if len(around) else None

    def beats_from_an_end(self, end: float) -> float:
        """Felt beats to the nearest ending: from the last note of a phrase until it is over, or the next one begins."""
        within = np.maximum(np.maximum(self._lasts - end, end - self._ends), 0.0)
        away = min(within.min(initial=np.inf), np.abs(self._starts - end).min(initial=np.inf))
        return float(away) / self._where.felt_beat(end)

    def last_note(self, start: float, end: float) -> float:
        """The quarter at which the last note of the melody begins that sounds on into the last bar of a phrase; the
        end itself where there is none."""
        onset, over = self._melody
        row = int(np.searchsorted(onset, end - NEAR)) - 1
        last_bar = end - self._where.full_bar(end - WITHIN)
        sounds_on = row >= 0 and onset[row] > start - NEAR and over[row] > last_bar + NEAR
        return float(onset[row]) if sounds_on else end

    @cached_property
    def _melody(self) -> tuple[np.ndarray, np.ndarray]:
        """(2, n) the quarters at which the notes of the melody begin, sorted, and are over."""
        notes = self._reading.performance.notes
        notes = notes[notes["role"] == MELODY]
        notes = notes[np.argsort(notes["score_onset"], kind="stable")]
        return notes["score_onset"], notes["score_onset"] + notes["score_length"]

    def _asked(self, start: float, end: float) -> bool:
        beat = self._where.felt_beat(end) + NEAR
        return _any_in(self._signs, end - beat, end + beat) or _any_in(self._words, start - beat, end + beat)


class MusicalEnds:
    """Where the music itself seems to end something, whatever the plan says: found when it is first asked for."""

    def __init__(self, reading: Reading):
        self._reading = reading

    def end_at(self, quarters: float) -> float | None:
        """The quarter at which a phrase that was found is over, if it surely ends here, within half a beat."""
        near = self._ends[np.abs(self._ends - quarters) <= self._reading.where.felt_beat(quarters) / 2 + NEAR]
        return float(near[np.argmin(np.abs(near - quarters))]) if len(near) else None

    @cached_property
    def _ends(self) -> np.ndarray:
        """(n,) quarters at which the smallest of the phrases that are found surely are over."""
        where, score, made = self._reading.where, self._reading.score, [np.zeros(0)]
        waiting, sure = find_phrases(score), SURE if is_accompanied(score) else SURE_ALONE
        while waiting:
            phrase = waiting.pop()
            waiting += phrase.inside
            if not phrase.inside and phrase.sure >= sure:
                row, offset = phrase.end
                made.append(where.bars["start"][where.hearings(row)] + offset)
        return np.concatenate(made)


def _any_in(moments: np.ndarray, first: float, last: float) -> bool:
    """Whether one of these (n,) sorted moments lies between two quarters, or on one of them."""
    return bool(np.searchsorted(moments, last, side="right") > np.searchsorted(moments, first))


def _signs(reading: Reading) -> np.ndarray:
    """(n,) quarters, sorted, at which the score asks for time: at holds, double bars, repeat signs and tempi."""
    where, lines = reading.where, reading.score.marks_of("double bar", "repeat start", "repeat end")
    made = [where.bars["start"][where.hearings(int(line["bar"]))] + float(line["offset"]) for line in lines]
    made += [_printed(reading, "tempo"), _printed(reading, "holds")]
    return np.sort(np.concatenate([waits(reading, printed=True)[0], *made]))


def _printed(reading: Reading, section: str) -> np.ndarray:
    """(n,) quarters, sorted, at which the score has a mark that would stand in a section of the plan, whatever came of
    it."""
    made = [np.zeros(0)]
    for use in reading.marks:
        if use.section == section and use.fate is not Fate.WITHOUT_EFFECT:
            with suppress(Fault):  # at the end of a bar there is no beat to name
                made.append(reading.where.moments(parse_position(use.place)))
    return np.sort(np.concatenate(made))
