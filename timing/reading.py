"""Score and plan become a performance."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np

from timing.instruments.parts import of_parts
from timing.instruments.programs import guess_program, program_of, sustains
from timing.instruments.sounding import Octaves, octaves_of, sounding
from timing.instruments.tuning import tune
from timing.level.curves import build_curves
from timing.level.dynamics import Level, at_second_time, build_level
from timing.marks import Instruments, with_marks
from timing.marks.sound import sign_accents
from timing.marks.uses import MarkUse
from timing.notes.cues import with_cues
from timing.notes.displacement import delay, displacement
from timing.notes.lanes import build_lanes, with_sliding
from timing.notes.lines import Lines
from timing.notes.ornaments import realise
from timing.notes.touch import QUICK, onsets_and_ends, until_struck_again
from timing.order import in_words, unfold
from timing.order.splitting import rows_of, split_bars
from timing.performance import MOST_PLAYED, PLAYED, POINTS, TONES, Performance
from timing.plan import Plan
from timing.plan.edits import replaced
from timing.remarks import CannotDo, Remark, Severity, in_order
from timing.score import Score, Sign
from timing.slides.bends import add_swells, build_bends, glide_table
from timing.slides.glides import carry_tone, chains, find_slides, mark_slides, notes_of
from timing.strings import choose_strings
from timing.time.pace import Pace, build_pace
from timing.time.phrases import PhraseRun, phrase_runs, phrase_table
from timing.time.scale import AS_PLANNED, Scale
from timing.where import Fault, Where

LEAD = 0.020  # seconds where a voice leads without a number: W. Goebl, JASA 110 (2001), melody lead with accompaniment


@dataclass(frozen=True)
class Reading:
    """One reading of a piece: score, plan (with the score's own marks as entries before the plan's), performance, and
    how they lie along the performed order."""

    source: Score  # as it was read: with the cues that are not heard, and before the plan's order turns within bars
    score: Score
    plan: Plan
    performance: Performance
    where: Where
    phrases: list[PhraseRun]
    pace: Pace
    level: Level
    lines: Lines
    capos: np.ndarray  # (parts,) the frets at which they lie
    octaves: Octaves  # from the score's pitches to those that sound, capos aside
    marks: tuple[MarkUse, ...]  # what became of the score's own marks
    remarks: tuple[Remark, ...]  # what reading and performing have to say; `timing.cautions` adds its own

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
    source = score
    score, cue_remarks = with_cues(score, plan.marks.cues)
    score, order = _own_order(score, plan)
    bars, order_remarks = unfold(score, order=order, repeats_after_return=plan.repeats_after_da_capo)
    where = Where(score, bars)
    programs = _programs(score, plan, where)
    tuned = tune(score, plan, programs, where)
    octaves = octaves_of(score, plan, programs, tuned, where)
    heard = sounding(score, octaves.semitones + tuned.raised)
    played = _written_out(heard, where)
    lines = Lines(heard, played["id"], plan.voices, where)
    tunings, fretted = tuned.tunings, tuned.tunings.any(axis=1)
    plan, notes, marks = with_marks(plan, played, lines, Instruments(programs, fretted), where)
    phrases = phrase_runs(plan.phrases, where)
    pace = build_pace(plan, phrases, where, scale)
    written = played
    _strum(notes, played, plan, lines, where)
    if "ornaments" not in plan.marks.ignore:
        played, notes = realise(played, notes, plan.articulation, pace.time, bars, fretted)
        lines = lines.among(played["id"])
    played["role"] = lines.role
    accented = sign_accents(notes["signs"], plan)
    level = build_level(plan, played["score_onset"], lines, phrases, pace.louder, where, scale.amount, accented)
    played["level"] = level.own + level.moving(np.arange(len(played)), played["score_onset"])
    lead = scale.amount * _leads(plan, lines, where)
    displaced = displacement(plan.rubato, written, lines, pace.time, where, scale.amount)
    played["onset"], played["end"] = onsets_and_ends(
        notes, played, plan.articulation, pace.time, lead, pace.breaths, displaced
    )
    delay(plan.holds, notes, played, lines, where, scale.amount)
    slides = find_slides(plan, played, lines, where, scale.amount)
    tied = [(slide.note, slide.goal) for slide in slides]
    hands = choose_strings(played, notes, tuned, plan, lines, where, tied)
    lanes = build_lanes(played, score, programs, tunings)
    played["end"] = until_struck_again(played)
    played["end"] = hands.until_string_needed(played)
    mark_slides(slides, played)
    lanes = with_sliding(lanes, played, [notes_of(chain) for chain in chains(slides)], score)
    _set_tone(played, plan, fretted, lines, where)
    carry_tone(slides, played, where)
    order = np.lexsort((played["pitch"], played["lane"], played["onset"]))
    sustained = np.array([sustains(int(program)) for program in lanes["program"]], bool)[played["lane"]]
    curves = build_curves(played, sustained, level, pace.time, order, displaced)
    finished = np.argsort(order)
    curves = add_swells(slides, played, finished, curves)
    glides, bends = glide_table(slides, played, finished), build_bends(slides, played, finished, fretted)
    _refuse_faults(where, plan)
    title = plan.title or score.title or score.path.stem
    tables = (curves, glides, bends, phrase_table(phrases))
    performance = Performance(title, played[order], lanes, tunings, bars, pace.time, *tables)
    remarks = (*score.remarks, *cue_remarks, *order_remarks, *where.remarks)
    shaped = (phrases, pace, level, lines, tuned.capos, octaves, marks, remarks)
    return Reading(source, score, plan, performance, where, *shaped)


def _refuse_faults(where: Where, plan: Plan) -> None:
    """All faults of the plan against the score, at once."""
    errors = [remark for remark in where.remarks if remark.severity is Severity.ERROR]
    if errors:
        raise CannotDo(in_order(errors, getattr(plan.place(), "file", None)))


def _own_order(score: Score, plan: Plan) -> tuple[Score, list[tuple[int, int, bool]] | None]:
    """The score with its bars split where the plan's order turns within them, and that order as (first row, last row,
    after a return). A return to before the passage just played is the da capo; starting the same passage again is a
    repeat."""
    if plan.order is None:
        return score, None
    where = Where(score, unfold(score, order=[(0, len(score.bars) - 1, False)])[0])
    stretches = []
    for number, bars in enumerate(plan.order):
        try:
            stretches.append(where.both_ends(bars))
        except Fault as fault:
            where.remark(Severity.ERROR, "plan-position", str(fault), plan.place("order", number))
    _refuse_faults(where, plan)
    split = split_bars(score, [place for stretch in stretches for place in stretch])
    made: list[tuple[int, int, bool]] = []
    for begin, end in rows_of(score, split, np.array(stretches).reshape(-1, 2, 2)).tolist():
        before, _, returned = made[-1] if made else (begin, end, False)
        made.append((begin, end, returned or begin < before))
    return split, made


def _written_out(score: Score, where: Where) -> np.ndarray:
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
    ordinal = np.repeat(np.arange(len(bars)), counts)
    ids = np.arange(len(ordinal)) - np.repeat(np.cumsum(counts) - counts, counts) + np.repeat(first, counts)
    source = notes[ids]
    onset = bars["start"][ordinal] + source["offset"]
    late = (source["offset"] > bars["length"][ordinal] - 1e-9) & ~source["after"]
    ordinal = np.where(late, np.searchsorted(bars["start"], onset + 1e-9, side="right") - 1, ordinal)
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
        if before >= 0 and onset[before] < onset[row] <= onset[before] + length[before] + 1e-6:
            length[before] = onset[row] + length[row] - onset[before]
            sounding[row], kept[row] = before, False
    return played[kept]


def _programs(score: Score, plan: Plan, where: Where) -> np.ndarray:
    """(parts,) General MIDI programs: the plan's instrument, the score's program, or a guess by the part's name."""
    parts = score.parts
    guessed = [guess_program(f"{part['instrument']} {part['name']}") for part in parts]
    programs = np.where(parts["program"] >= 0, parts["program"], guessed)
    for part, (instrument, place) in enumerate(of_parts(score, plan, "instrument", where)):
        if instrument is not None:
            try:
                programs[part] = program_of(instrument)
            except ValueError as fault:
                where.remark(Severity.ERROR, "plan-instrument", str(fault), place)
    return programs


def _leads(plan: Plan, lines: Lines, where: Where) -> np.ndarray:
    """(n,) seconds by which each note comes early."""
    lead = np.zeros(lines.count)
    for name, voice in plan.voices.items():
        if voice.lead:
            lead[lines.select(name, plan.key_place("voices", name), where)] = LEAD if voice.lead is True else voice.lead
    return lead


def _strum(notes: np.ndarray, played: np.ndarray, plan: Plan, lines: Lines, where: Where) -> None:
    """Write the rasgueados of the plan into `notes`, the NOTE rows of `played`."""
    moment = np.ascontiguousarray(played["score_onset"])
    for entry in plan.strings:
        if entry.rasgueado:
            chosen = lines.select(entry.for_, entry.place("for"), where)
            for start, end in where.spans_of(entry):
                rows = np.arange(*np.searchsorted(moment, (start - 1e-9, end - 1e-9)))
                notes["roll"][rows[chosen[rows]]] = QUICK


def _set_tone(played: np.ndarray, plan: Plan, fretted: np.ndarray, lines: Lines, where: Where) -> None:
    """Write the tones of the plan; a tone on a repeat goes over one that holds for every pass."""
    moment = np.ascontiguousarray(played["score_onset"])
    changes = [(t, lines.select(t.for_, t.place("for"), where)) for t in plan.tone]
    changes += [(at_second_time(s), lines.select(None, None, where)) for s in plan.second_time if s.tone is not None]
    for entry, chosen in changes:
        named = isinstance(entry.tone, str)
        for start, end in where.spans_of(entry):
            inside = slice(*np.searchsorted(moment, (start - 1e-9, end - 1e-9)))
            mine = chosen[inside]
            if not named and not fretted[played["part"][inside][mine]].all():
                message = "a distance from the bridge has a sense on guitars only: elsewhere a tone is dark or bright"
                colour = min(TONES[3:], key=lambda tone: abs(POINTS[tone] - entry.tone))
                fretted_too = fretted[played["part"][inside][mine]].any()  # there the distance has a sense
                fix = () if fretted_too else (replaced(entry, {"tone": colour}),)
                more = {"suggestion": f"tone: {colour}", "fix": fix}
                where.remark(Severity.CAUTION, "no-strings", message, entry.place("tone"), **more)
            played["tone"][inside][mine] = TONES.index(entry.tone if named else "naturale")
            played["pluck"][inside][mine] = np.nan if named else entry.tone
