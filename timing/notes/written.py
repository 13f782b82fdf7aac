"""The notes of the performed order as they are written, and what plays them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from timing.columns import NEAR, ROUNDING, spread
from timing.instruments.parts import of_parts
from timing.instruments.programs import guess_program, program_of
from timing.instruments.sounding import Octaves, octaves_of, sounding
from timing.instruments.tuning import Tuned, tune
from timing.notes.lines import Lines
from timing.performance import MOST_PLAYED, PLAYED
from timing.plan import Plan
from timing.remarks import CannotDo, Remark, Severity
from timing.score import Score, Sign
from timing.where import Where
from timing.where.hearings import Hearings


@dataclass(frozen=True, eq=False)
class Written:
    """The performed notes before anything shapes them."""

    score: Score  # with the pitches that sound
    table: np.ndarray  # PLAYED, sorted by score onset, with the score's own columns filled
    lines: Lines
    programs: np.ndarray  # (parts,) General MIDI
    tuned: Tuned
    octaves: Octaves  # from the score's pitches to those that sound, capos aside
    remarks: tuple[Remark, ...]

    @property
    def fretted(self) -> np.ndarray:
        """(parts,) which have strings and frets."""
        return np.any(self.tuned.tunings, axis=1)


def written_out(plan: Plan, where: Where) -> Written:
    """All notes along the performed order, as the instruments of the plan or the score sound them."""
    hearings, score = Hearings(where), where.score
    programs = _programs(score, plan, hearings)
    tuned = tune(score, plan, programs, hearings)
    octaves = octaves_of(score, plan, programs, tuned, hearings)
    heard = sounding(score, octaves.semitones + tuned.raised)
    table = _performed(heard, where)
    lines = Lines(heard, table["id"], plan.voices, hearings)
    return Written(heard, table, lines, programs, tuned, octaves, tuple(hearings.remarks))


def _programs(score: Score, plan: Plan, hearings: Hearings) -> np.ndarray:
    """(parts,) General MIDI programs: the plan's instrument, the score's program, or a guess by the part's name."""
    parts = score.parts
    guessed = [guess_program(f"{part['instrument']} {part['name']}") for part in parts]
    programs = np.where(parts["program"] >= 0, parts["program"], guessed)
    for part, (instrument, place) in enumerate(of_parts(score, plan, "instrument", hearings)):
        if instrument is not None:
            try:
                programs[part] = program_of(instrument)
            except ValueError as fault:
                hearings.remark(Severity.ERROR, "plan-instrument", str(fault), place)
    return programs


def _performed(score: Score, where: Where) -> np.ndarray:
    """PLAYED rows of all notes along the performed order, sorted by score onset, with the score's own columns filled.

    A note tied over a bar line ends where the order leaves the page: its continuation is not played there. What is
    written in a bar after that is over, by a slip, belongs to the bar that is heard then.
    """
    notes, bars = score.notes, where.bars
    first, last = np.searchsorted(notes["bar"], bars["row"]), np.searchsorted(notes["bar"], bars["row"], side="right")
    counts = last - first
    if counts.sum() > MOST_PLAYED:
        message = f"in this order of the bars there are more than {MOST_PLAYED:,} notes, the most that are played"
        raise CannotDo.because("too-much", message)
    ordinal, place = spread(counts)
    ids = first[ordinal] + place
    source = notes[ids]
    onset = bars["start"][ordinal] + source["offset"]
    late = (source["offset"] > bars["length"][ordinal] - ROUNDING) & ~source["after"]
    ordinal = np.where(late, np.searchsorted(bars["start"], onset + ROUNDING, side="right") - 1, ordinal)
    bar = bars[ordinal]
    played = np.zeros(len(ids), PLAYED)
    played["id"], played["ordinal"] = ids, ordinal
    played["bar"], played["pass"] = bar["number"], bar["pass"]
    played["beat"] = 1 + (onset - bar["start"] + bar["shift"]) * bar["unit"] / 4
    for column in ("part", "staff", "voice", "pitch", "string", "fret"):
        played[column] = source[column]
    played["score_onset"] = onset
    line_end = where.line_ends[ordinal]
    played["score_length"] = np.minimum(source["length"], np.maximum(line_end - played["score_onset"], 0))
    played["pluck"] = np.nan
    played = played[np.argsort(played["score_onset"], kind="stable")]
    return _tied_over(played, notes["signs"][played["id"]], bars)


def _tied_over(played: np.ndarray, signs: np.ndarray, bars: np.ndarray) -> np.ndarray:
    """`played` without the notes that are tied into a later ending: what sounds before goes on there, unstruck."""
    skipped = np.append(False, np.diff(bars["row"]) > 1)
    tied = np.flatnonzero((signs & Sign.TIED_IN != 0) & skipped[played["ordinal"]])
    if not len(tied):
        return played
    order = np.lexsort((played["score_onset"], played["pitch"], played["part"]))
    sound = played[["part", "pitch"]][order]
    sounding = np.full(len(played), -1)  # the note of the same pitch before each; of a tied one what it went on from
    sounding[order[1:]] = np.where(sound[1:] == sound[:-1], order[:-1], -1)
    onset, length = played["score_onset"], played["score_length"]
    kept = np.ones(len(played), bool)
    for row in tied:
        before = sounding[row] if kept[sounding[row]] else sounding[sounding[row]]
        if before >= 0 and onset[before] < onset[row] <= onset[before] + length[before] + NEAR:
            length[before] = onset[row] + length[row] - onset[before]
            sounding[row], kept[row] = before, False
    return played[kept]
