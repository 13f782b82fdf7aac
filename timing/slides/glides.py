"""Glissandi: from the plan's entries to slides between performed notes."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from timing.columns import NEAR
from timing.notes.ornaments import whole_notes
from timing.notes.playing import Played
from timing.performance import CARRIED
from timing.plan import Plan
from timing.plan.sound import Glissando
from timing.remarks import Remark, Severity
from timing.where import Where
from timing.where.hearings import Hearings

SHORTEST = 0.005  # seconds; no slide is shorter
LATE = 0.5  # a slide over frets moves in this last part of its note at most (common practice)
QUICK = 0.4  # seconds in which it is over at most (common practice)


@dataclass(frozen=True)
class Slide:
    """A slide between two performed notes (rows in the notes) and the entry that shapes it."""

    entry: Glissando
    number: int  # of the entry in the plan
    note: int
    goal: int
    swell: float  # dB

    @property
    def carries(self) -> bool:
        """Whether the sound goes on into the goal instead of its being plucked."""
        return self.entry.arrive == "slurred"


def find_slides(plan: Plan, notes: Played, where: Where, amount: float = 1.0) -> tuple[list[Slide], tuple[Remark, ...]]:
    """The slides of the plan, and what there is to say of them; of several from one note, or into one, the latest entry
    counts. `amount` scales their swells."""
    hearings, played, lines = Hearings(where), notes.table, notes.lines
    first, last, owner = whole_notes(played)
    opening, closing = first[owner], last[owner]
    drawn = _drawn(played, closing, where)
    found: dict[int, Slide] = {}  # by note
    into: dict[int, int] = {}  # by goal, the note
    onset, moment = played["onset"], np.ascontiguousarray(played["score_onset"])
    for number, entry in enumerate(plan.glissandi):
        chosen = lines.select(entry.for_, entry.place("for"), hearings)
        if entry.to is None:
            pairs: Iterable[tuple[int, int]] = _on_lines(drawn, entry, played, opening, chosen, hearings)
        else:
            pairs = _between_places(entry, played, moment, chosen, hearings)
        for begun, goal in pairs:
            note = int(closing[begun])  # a slide leaves from the last note of an ornament, and goes to the first
            if played["pitch"][note] == played["pitch"][goal]:
                bar, beat, _ = where.beat(float(played["score_onset"][note]))
                message = f"the slide from {bar}:{beat:g} ends on the pitch that it comes from: it has nowhere to go"
                hearings.remark(Severity.ERROR, "slide-same-pitch", message, entry.place("to"))
                continue
            if onset[goal] - onset[note] < SHORTEST:
                bar, beat, _ = where.beat(float(moment[note]))
                message = f"the slide from {bar}:{beat:g} has no time: its goal sounds before it could move"
                hearings.remark(Severity.CAUTION, "slide-no-time", message, entry.place(), bar_name=bar, beat=beat)
                continue
            if note in found:
                into.pop(found[note].goal, None)
            found.pop(into.get(goal, -1), None)
            found[note], into[goal] = Slide(entry, number, note, goal, amount * entry.swell), note
    return [found[note] for note in sorted(found)], tuple(hearings.remarks)


def chains(slides: list[Slide]) -> list[list[Slide]]:
    """The slides that one sound makes: a carried goal may slide on."""
    onward = {slide.note: slide for slide in slides}
    reached = {slide.goal for slide in slides if slide.carries}
    made = []
    for slide in slides:
        if slide.note not in reached:
            chain = [slide]
            while chain[-1].carries and chain[-1].goal in onward:
                chain.append(onward[chain[-1].goal])
            made.append(chain)
    return made


def notes_of(chain: list[Slide]) -> list[int]:
    """The notes of one sound: the first is struck, it carries the others."""
    return [slide.note for slide in chain] + [chain[-1].goal] * chain[-1].carries


def carry_tone(slides: list[Slide], played: np.ndarray, hearings: Hearings) -> None:
    """In `played` give carried notes the tone of the sound that carries them; advice where the plan has another."""
    for chain in chains(slides):
        first, *carried = notes_of(chain)
        for note in carried:
            other = played["tone"][note] != played["tone"][first] or not np.array_equal(
                played["pluck"][note], played["pluck"][first], equal_nan=True
            )
            if other:
                bar, beat, pass_ = hearings.where.beat(float(played["score_onset"][note]))
                message = "the goal that a slide is slurred into keeps the tone of the slide: nothing is plucked there"
                hearings.remark(Severity.ADVICE, "tone-carried", message, None, bar_name=bar, beat=beat, pass_=pass_)
            played["tone"][note], played["pluck"][note] = played["tone"][first], played["pluck"][first]


def mark_slides(slides: list[Slide], played: np.ndarray) -> None:
    """In `played` let the sliding notes sound until their goals, and mark the goals that are carried."""
    for slide in slides:
        played["end"][slide.note] = played["onset"][slide.goal]
        if slide.carries:
            played["attack"][slide.goal] = CARRIED


# -- between two places of the plan


def _between_places(
    entry: Glissando, played: np.ndarray, moment: np.ndarray, chosen: np.ndarray, hearings: Hearings
) -> Iterator[tuple[int, int]]:
    """(note, goal) at each hearing of the two places: the goal is the next time its place is reached."""
    starts, goals = hearings.moments_of(entry, "from"), hearings.moments_of(entry, "to")
    following = np.append(goals, np.inf)[np.searchsorted(goals, starts, side="right")]
    heard = [
        (float(start), float(goal))
        for start, goal in zip(starts, following, strict=True)
        if goal <= hearings.where.line_ends[hearings.where.ordinal(start)]
    ]
    if len(starts) and len(goals) and not heard:
        message = f"the slide ends at {entry.to}, which does not follow {entry.from_} in this order"
        hearings.remark(Severity.ERROR, "plan-position", message, entry.place("to"))
    for start, goal in heard:
        pair = _notes(entry, played, moment, chosen, start, goal, hearings)
        if pair is not None:
            yield pair


def _notes(
    entry: Glissando,
    played: np.ndarray,
    moment: np.ndarray,
    chosen: np.ndarray,
    start: float,
    goal: float,
    hearings: Hearings,
) -> tuple[int, int] | None:
    """The rows of the sliding note and of its goal: in one voice, the highest that both have."""
    here, there = (_highest(played, moment, chosen, quarters) for quarters in (start, goal))
    for found, position, key in ((here, entry.from_, "from"), (there, entry.to, "to")):
        if not found:
            hearings.remark(Severity.ERROR, "plan-position", f"no note begins at {position}", entry.place(key))
            return None
    voices = here.keys() & there.keys()
    if not voices:
        message = f"no voice has both a note at {entry.from_} and one at {entry.to}: name the voice with `for`"
        hearings.remark(Severity.ERROR, "plan-position", message, entry.place())
        return None
    best = max(voices, key=lambda voice: (played["pitch"][here[voice]], played["pitch"][there[voice]], voice))
    return here[best], there[best]


def _highest(played: np.ndarray, moment: np.ndarray, chosen: np.ndarray, quarters: float) -> dict[tuple, int]:
    """For each voice that begins a note at this moment, the row of the highest."""
    first, last = np.searchsorted(moment, (quarters - NEAR, quarters + NEAR))
    rows = np.arange(first, last)[chosen[first:last] & (played["score_length"][first:last] > 0)]
    rows = rows[np.argsort(played["pitch"][rows], kind="stable")]
    return {played[["part", "staff", "voice"]][row].item(): int(row) for row in rows}


# -- on the slide lines of the score


def _drawn(played: np.ndarray, closing: np.ndarray, where: Where) -> list[tuple[int, int]]:
    """(note, goal) of every slide line of the score, each time that it is heard."""
    marks = where.score.marks_of("glissando")
    marks = marks[(marks["note"] >= 0) & (marks["goal"] >= 0)]
    by_id = np.argsort(played["id"], kind="stable")
    by_id = by_id[played["step"][by_id] == 0]
    ids = played["id"][by_id]
    pairs = []
    for mark in marks:
        notes, goals = (
            np.sort(by_id[slice(*np.searchsorted(ids, (mark[end], mark[end] + 1)))]) for end in ("note", "goal")
        )
        following = np.searchsorted(goals, notes, side="right")
        for note, goal in zip(notes, following, strict=True):
            if goal < len(goals) and played["score_onset"][goals[goal]] <= where.line_ends[played["ordinal"][note]]:
                pairs.append((int(closing[note]), int(goals[goal])))
    return sorted(pairs)


def _on_lines(
    drawn: list[tuple[int, int]],
    entry: Glissando,
    played: np.ndarray,
    opening: np.ndarray,
    chosen: np.ndarray,
    hearings: Hearings,
) -> list[tuple[int, int]]:
    """The slide lines that an entry without a goal means: all, or those that begin at `from`."""
    here = hearings.where.on_pass(entry.passes)
    begun = np.ascontiguousarray(played["score_onset"])[opening]
    pairs = [pair for pair in drawn if chosen[pair[0]] and here[played["ordinal"][pair[0]]]]
    left_out = np.array(entry._left_out)
    pairs = [pair for pair in pairs if not np.any(np.abs(left_out - begun[pair[0]]) < NEAR)]
    if entry.from_ is not None:
        starts = hearings.moments_of(entry, "from")
        pairs = [pair for pair in pairs if np.any(np.abs(starts - begun[pair[0]]) < NEAR)]
        if len(starts) and not pairs:
            message = f"no slide line of the score begins at {entry.from_}: say where the slide goes 'to'"
            hearings.remark(Severity.ERROR, "plan-position", message, entry.place("from"))
    elif not pairs:
        message = "the score has no slide lines for this entry to shape: it does nothing"
        hearings.remark(Severity.ADVICE, "never-heard", message, entry.place())
    return [(note, goal) for note, goal in pairs if played["pitch"][note] != played["pitch"][goal]]
