"""A first plan from the score alone: phrases, roles, slowings, repeats, the score's own marks, each with its reason.

It is for a person to change: nothing in it is more than a sensible beginning.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from timing.cautions import check
from timing.cautions.rules import Sound
from timing.drafting.form import closes, form_lines, sections_of
from timing.drafting.harmony import Sounds
from timing.drafting.items import Item
from timing.drafting.printed import marks_of, tempi_of
from timing.drafting.shape import kept, phrase_items, slowing_items, voice_items
from timing.drafting.strings import string_settings
from timing.drafting.writing import plan_text
from timing.finding.phrases import FoundPhrase, find_phrases
from timing.loading import load
from timing.naming import bars_at
from timing.plan import Plan
from timing.plan.edits import written
from timing.plan.position import beat_name
from timing.reading import Reading, perform
from timing.remarks import Remark
from timing.score import Score

_MOST_ROUNDS = 8  # of taking out entries that work against others
SOFTER = "3 dB"  # the second time (common practice; the amount is the house's own)
_TONES_OF_STRINGS = range(40, 44)  # General MIDI programs of bowed strings, which have a tone over the fingerboard
_OF_LEVEL = {"inner-over-melody", "level-out-of-range"}
_LEVELS = ("voices", "dynamics", "accents")
# What comes of the notes and marks of the score and of the instrument, and not of the draft.
_THE_SCORES_OWN = {
    "inner-over-melody": "the score's own dynamics have it so",
    "level-out-of-range": "the score's own dynamics ask for it",
    "open-string-out": "it is the easiest way to play the notes",
    "phrase-cuts-tie": "the melody's phrase ends here, though a note is held over",
}
_NO_PHRASES = "No melody was found of which phrases could be told."


@dataclass(frozen=True)
class Draft:
    """A drafted plan: its text, and the phrases that were found."""

    text: str
    phrases: tuple[FoundPhrase, ...]


def draft(score: Score, file: Path, phrases_only: bool = False, sound: Sound | None = None) -> Draft:
    """A plan for a score, as if it were to stand in `file`; `phrases_only`: with nothing but the phrases; `sound` is
    what the cautions know of how strings sound."""
    reading = perform(score, Plan(score=str(score.path)))
    score = reading.score
    heard = reading.lines.score  # in the octave in which it sounds
    phrases = kept(find_phrases(heard))
    sounds = Sounds(heard)
    sections = sections_of(phrases, sounds)
    about = _about(reading, phrases, form_lines(reading, sections, sounds))
    head = [("title", Item(reading.performance.title, "")), ("score", Item(_beside(score.path, file), ""))]
    ends = closes(sections, sounds)
    head += [] if phrases_only else string_settings(reading)
    entries = {"phrases": phrase_items(score, phrases, not phrases_only, ends)}
    if not phrases_only:
        tempi = tempi_of(reading)
        if len(tempi) == 1:
            head.append(("tempo", tempi[0]))
        entries = {"tempo": tempi[1:] and tempi, "voices": voice_items(reading)} | entries | _shape(reading, phrases)
        entries = _without_cautions(about, head, entries, file, sound)
    return Draft(plan_text(about, head, entries), phrases)


def _shape(reading: Reading, phrases: tuple[FoundPhrase, ...]) -> dict[str, list[Item]]:
    marks = marks_of(reading)
    marks["slowing"] = marks["slowing"] + slowing_items(reading, phrases)
    if not marks["dynamics"] and len(reading.performance.notes):
        first = reading.score.bar_name(int(reading.performance.bars["row"][0]))
        marks["dynamics"] = [Item({"at": first, "mark": "mf"}, "the score says no dynamics: begin in the middle")]
    return marks | {"second time": _second_time(reading), "glissandi": _slides(reading)}


def _second_time(reading: Reading) -> list[Item]:
    """Repeated passages softer and, on strings, in another tone: common practice."""
    bars, score = reading.performance.bars, reading.score
    again = bars[(bars["pass"] == 2) & ~bars["returned"]]
    programs = reading.performance.lanes["program"]
    strung = reading.performance.tunings.any() or (len(programs) > 0 and np.isin(programs, _TONES_OF_STRINGS).all())
    items = []
    for rows in np.split(again["row"], np.flatnonzero(np.diff(again["row"]) != 1) + 1) if len(again) else []:
        entry = {"bars": bars_at(score, int(rows[0]), int(rows[-1])), "softer": SOFTER}
        if strung:
            entry["tone"] = "sul tasto"
        items.append(Item(entry, "a repeat is played differently, then everything comes back (common practice)"))
    return items


def _slides(reading: Reading) -> list[Item]:
    if not len(reading.score.marks_of("glissando")):
        return []
    return [Item({"glide": "30%", "swell": "3 dB"}, "every slide of the score leaves late and swells into its goal")]


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


def _without_cautions(
    about: list[str], head: list, entries: dict[str, list[Item]], file: Path, sound: Sound | None
) -> dict[str, list[Item]]:
    """The entries without those of which `check` has a caution to say: a draft is no place for a dispute. Where the
    score's own dynamics put other voices over the melody, they are left to the score; what still comes of its notes and
    marks is accepted."""
    for _ in range(_MOST_ROUNDS):
        text = plan_text(about, head, entries)
        stands = [remark for remark in check(load(file, text=text), sound) if remark.stands]
        if any(remark.code in _OF_LEVEL for remark in stands) and any(entries[key] for key in _LEVELS):
            entries = entries | {key: [] for key in _LEVELS}
            continue
        lines = {remark.place.line for remark in stands if remark.place is not None and remark.place.file == file}
        blamed = [text.splitlines()[line - 1].strip() for line in lines if line]
        left = {key: [item for item in items if not _in(item, blamed)] for key, items in entries.items()}
        if left == entries:
            return entries | {"accept": _accepted(stands)}
        entries = left
    return entries


def _accepted(remarks: list[Remark]) -> list[Item]:
    items = []
    for remark in remarks:
        if remark.code in _THE_SCORES_OWN:
            at = {} if remark.bar_name is None else {"at": f"{remark.bar_name}:{beat_name(remark.beat or 1)}"}
            again = {"pass": remark.pass_} if at and remark.pass_ else {}
            items.append(Item({"code": remark.code} | at | again | {"because": _THE_SCORES_OWN[remark.code]}, ""))
    return items


def _in(item: Item, blamed: list[str]) -> bool:
    return not item.inside and any(written(item.entry) in line for line in blamed)
