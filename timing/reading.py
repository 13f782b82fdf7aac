"""Score and plan become a performance, stage by stage.

Each stage is a function from what it needs to what it gives, and changes nothing of what it is given: the order of the
bars, the notes as they are written, the score's marks as entries of the plan, the pace, ornaments, level, touch, hands,
tones, slides. Until all is known the notes are sorted as they are written; in the end everything is in the order of the
performance.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from itertools import chain
from pathlib import Path

import numpy as np

from timing.instruments.programs import sustains
from timing.instruments.sounding import Octaves
from timing.level.curves import build_curves
from timing.level.dynamics import Level, build_level
from timing.marks import with_marks
from timing.marks.sound import sign_accents
from timing.marks.uses import MarkUse
from timing.notes.cues import with_cues
from timing.notes.displacement import Displacement
from timing.notes.lanes import with_sliding
from timing.notes.lines import Lines
from timing.notes.playing import Played, with_ornaments, with_touch
from timing.notes.tone import with_tones
from timing.notes.written import written_out
from timing.order import in_words
from timing.order.performed import in_order
from timing.performance import Performance
from timing.plan import DRY, Plan
from timing.remarks import Remark, refuse_errors
from timing.score import Score
from timing.slides.bends import add_swells, build_bends, glide_table
from timing.slides.glides import Slide, carry_tone, chains, find_slides, mark_slides, notes_of
from timing.strings import on_strings
from timing.time.pace import Pace, build_pace
from timing.time.phrases import PhraseRun, phrase_table
from timing.time.scale import AS_PLANNED, Scale
from timing.where import Where
from timing.where.hearings import Hearings


@dataclass(frozen=True)
class Reading:
    """One reading of a piece: score, plan (with the score's own marks as entries before the plan's), performance, and
    how they lie along the performed order. Whatever has a row for each note has it in the performance's order."""

    source: Score  # as it was read: with the cues that are not heard, and before the plan's order turns within bars
    score: Score
    plan: Plan
    performance: Performance
    where: Where
    pace: Pace
    level: Level
    lines: Lines
    capos: np.ndarray  # (parts,) the frets at which they lie
    octaves: Octaves  # from the score's pitches to those that sound, capos aside
    marks: tuple[MarkUse, ...]  # what became of the score's own marks
    remarks: tuple[Remark, ...]  # what reading and performing have to say; `timing.cautions` adds its own

    @property
    def phrases(self) -> list[PhraseRun]:
        """All hearings of all phrases, sorted by start, outer ones first."""
        return self.pace.phrases

    @cached_property
    def phrase_spans(self) -> np.ndarray:
        """(3, phrases) where each begins and ends, in quarters, and its length in bars."""
        return np.array([(p.start, p.end, p.bars) for p in self.phrases]).reshape(-1, 3).T

    @property
    def files(self) -> tuple[Path, ...]:
        """The files that were read for it: the plan, those that it is based on, the score."""
        return *self.plan.files, self.score.path

    @property
    def order(self) -> str:
        """The performed order of the bars in words: 1-8, 1-8, 9-24."""
        return in_words(self.score, self.performance.bars)


def perform(score: Score, plan: Plan, scale: Scale = AS_PLANNED) -> Reading:
    """Bring score and plan together; `scale` draws the reading larger or smaller. CannotDo lists every fault of the
    plan against the score."""
    amount = scale.amount
    heard, cue_remarks = with_cues(score, plan.marks.cues)
    ordered = in_order(heard, plan)
    where = ordered.where
    written = written_out(plan, where)
    marked = with_marks(plan, written, where)
    acting = marked.plan
    pace = build_pace(acting, where, scale)
    ornamented = with_ornaments(acting, written, marked.rows, pace, where)
    level = build_level(acting, ornamented, pace, where, amount, sign_accents(ornamented.rows["signs"], acting))
    timed, displaced = with_touch(acting, written, ornamented, pace, where, amount)
    slides, slide_remarks = find_slides(acting, timed, where, amount)
    strung, lanes = on_strings(acting, written, timed, [(slide.note, slide.goal) for slide in slides], where)
    toned = with_tones(acting, strung, written.fretted, where)
    slid, lanes = _with_slides(toned, lanes, slides, where)
    found = [stage.remarks for stage in (written, marked, pace, ornamented, level, timed)]
    found += [slide_remarks, *(stage.remarks for stage in (strung, toned, slid))]
    told = tuple(dict.fromkeys(chain.from_iterable(found)))
    refuse_errors(told, plan.place())
    remarks = (*score.remarks, *cue_remarks, *ordered.remarks, *told)
    # from here on in the order of the performance
    order = np.lexsort((slid.table["pitch"], slid.table["lane"], slid.table["onset"]))
    notes, lines, level = slid.table[order], slid.lines.among(slid.table["id"][order]), level.ordered(order)
    slides, displaced = _renumbered(slides, order), displaced.ordered(order)
    notes, curves, glides, bends = _while_sounding(notes, lanes, slides, level, pace, displaced, written.fretted)
    title = plan.title or score.title or score.path.stem
    tunings, phrases = written.tuned.tunings, phrase_table(pace.phrases)
    moving, room = (curves, glides, bends), None if plan.room == DRY else plan.room
    performance = Performance(title, notes, lanes, tunings, where.bars, pace.time, *moving, phrases, room)
    shaped = (pace, level, lines, written.tuned.capos, written.octaves, marked.uses, remarks)
    return Reading(score, where.score, acting, performance, where, *shaped)


def _with_slides(notes: Played, lanes: np.ndarray, slides: list[Slide], where: Where) -> tuple[Played, np.ndarray]:
    """The notes that slide in lanes of their own, until their goals, which keep the tone of a sound that carries them;
    and the LANE table."""
    hearings, table = Hearings(where), notes.table.copy()
    mark_slides(slides, table)
    lanes = with_sliding(lanes, table, [notes_of(chain) for chain in chains(slides)], where.score)
    carry_tone(slides, table, hearings)
    return notes.with_table(table, hearings), lanes


def _renumbered(slides: list[Slide], order: np.ndarray) -> list[Slide]:
    """The slides between the rows of the notes in this order."""
    row = np.argsort(order)
    return [replace(slide, note=int(row[slide.note]), goal=int(row[slide.goal])) for slide in slides]


def _while_sounding(
    notes: np.ndarray,
    lanes: np.ndarray,
    slides: list[Slide],
    level: Level,
    pace: Pace,
    displaced: Displacement,
    fretted: np.ndarray,
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """The notes (PLAYED) with their levels, and what moves while they sound: CURVE, GLIDE and BEND tables."""
    notes = notes.copy()
    notes["level"] = level.own + level.moving(np.arange(len(notes)), notes["score_onset"])
    sustained = np.array([sustains(int(program)) for program in lanes["program"]], bool)[notes["lane"]]
    curves = add_swells(slides, notes, build_curves(notes, sustained, level, pace.time, displaced))
    return notes, curves, glide_table(slides, notes), build_bends(slides, notes, fretted)
