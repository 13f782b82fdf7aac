"""A first plan from the score alone: phrases, roles, slowings, repeats, the score's own marks, each with its reason.

It is for a person to change: nothing in it is more than a sensible beginning.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from timing.cautions.rules import Sound
from timing.drafting.again import second_time_items
from timing.drafting.checked import without_disputes
from timing.drafting.form import closes, form_lines, sections_of
from timing.drafting.harmony import WrittenNotes
from timing.drafting.items import DraftItem
from timing.drafting.printed import marks_of, tempi_of
from timing.drafting.shape import kept, movement_items, phrase_items, voice_items
from timing.drafting.slowing import slowing_items
from timing.drafting.strings import string_settings
from timing.drafting.writing import plan_text
from timing.finding.phrases import FoundPhrase, find_phrases
from timing.plan import Plan
from timing.reading import Reading, perform
from timing.score import Score

_NO_PHRASES = "No melody was found of which phrases could be told."


@dataclass(frozen=True)
class DraftedPlan:
    """A drafted plan: its text, and the phrases that were found."""

    text: str
    phrases: tuple[FoundPhrase, ...]


def draft(score: Score, file: str | Path, phrases_only: bool = False, sound: Sound | None = None) -> DraftedPlan:
    """A plan for a score, as if it were to stand in `file` (nothing is written); `phrases_only`: with nothing but the
    phrases; `sound` is what the cautions know of how strings sound."""
    file = Path(file)
    reading = perform(score, Plan(score=str(score.path)))
    score = reading.score
    heard = reading.lines.score  # in the octave in which it sounds
    phrases = kept(find_phrases(heard))
    sounds = WrittenNotes(heard)
    sections = sections_of(phrases, sounds)
    about = _about(reading, phrases, form_lines(reading, sections, sounds))
    head = [("title", DraftItem(reading.performance.title, "")), ("score", DraftItem(_beside(score.path, file), ""))]
    ends = closes(sections, sounds)
    head += [] if phrases_only else string_settings(reading)
    entries: dict[str, Sequence[DraftItem]] = {"phrases": phrase_items(score, phrases, not phrases_only, ends)}
    if not phrases_only:
        tempi = tempi_of(reading)
        if len(tempi) == 1:
            head.append(("tempo", tempi[0]))
        shape = _shape(reading, phrases)
        entries = {"tempo": tempi[1:] and tempi, "voices": voice_items(reading), **entries, **shape}
        entries = without_disputes(about, head, entries, file, sound)
    return DraftedPlan(plan_text(about, head, entries), phrases)


def _shape(reading: Reading, phrases: tuple[FoundPhrase, ...]) -> dict[str, list[DraftItem]]:
    marks = marks_of(reading)
    marks["slowing"] = marks["slowing"] + slowing_items(reading, phrases)
    marks = {"slowing": marks.pop("slowing"), "rubato": movement_items(reading)} | marks
    if not marks["dynamics"] and len(reading.performance.notes):
        first = reading.score.bar_name(int(reading.performance.bars["row"][0]))
        marks["dynamics"] = [DraftItem({"at": first, "mark": "mf"}, "the score says no dynamics: begin in the middle")]
    return marks | {"second time": second_time_items(reading), "glissandi": _slides(reading)}


def _slides(reading: Reading) -> list[DraftItem]:
    if not len(reading.score.marks_of("glissando")):
        return []
    why = "every slide of the score leaves late and swells into its goal"
    return [DraftItem({"glide": "30%", "swell": "3 dB"}, why)]


def _about(reading: Reading, phrases: tuple[FoundPhrase, ...], form: list[str]) -> list[str]:
    lines = [
        "A first reading, drafted from the score alone. Every line can be changed or deleted.",
        f"Order of the bars: {reading.order}.",
        *form,
    ]
    return lines if phrases else [*lines, _NO_PHRASES]


def _beside(score: Path, file: Path) -> str:
    """How a plan names its score: from its own folder, if there is a way."""
    try:
        return Path(os.path.relpath(score.resolve(), file.resolve().parent)).as_posix()
    except ValueError:  # on another drive
        return str(score.resolve())
