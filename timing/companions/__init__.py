"""Companions of a reading: the same plan in strict time, exaggerated, or with its slowdowns in the wrong places.

They let one hear what the shaping of a plan does, by taking it away, by doubling it, or by making a mistake on purpose.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeVar

from timing.companions.misplacing import misplaced
from timing.plan import Plan
from timing.plan.entry import Words
from timing.plan.time import Arch, Phrase, Slowing
from timing.plan.words import nearest
from timing.reading import Reading, perform
from timing.remarks import CannotDo
from timing.score import Score
from timing.time.scale import AS_PLANNED, Scale

PLAIN, EXAGGERATED, MISPLACED = "plain", "exaggerated", "misplaced"


@dataclass(frozen=True)
class Kind:
    """A kind of companion: what its title adds to that of the plan, and what one hears, in one sentence."""

    title: str
    heard: str


KINDS = {
    PLAIN: Kind("in strict time", "the same voices, levels and tones in strict time: nothing slows, hurries or waits"),
    EXAGGERATED: Kind("exaggerated", "all shaping of time and level doubled"),
    MISPLACED: Kind("misplaced", "the same slowdowns, in the middle of their phrases"),
}


@dataclass(frozen=True)
class Companion:
    """A companion's reading and what listeners are told of it. Its plan accepts nothing."""

    kind: str  # one of KINDS
    reading: Reading
    told: str


def companion(kind: str, plan: Plan, score: Score) -> Companion:
    """Make a companion of a plan (as it was read, without the score's marks).

    plain: no shaping of time by slowdowns, holds, rubato, arches or leading voices; the basic tempi stay, also those
    that are reached by degrees, and so do level, tone, touch and strings.
    exaggerated: all shaping twice as large (`Scale`).
    misplaced: the slowdowns that end phrases end in the middle of them (`timing.companions.misplacing`).

    CannotDo for another kind, for what the score does not have, and where there is nothing to misplace.
    """
    if kind not in KINDS:
        near = nearest(kind, KINDS)
        hint = f": did you mean {near}?" if near else ""
        raise CannotDo.because("no-companion", f"{kind[:40]!r} is none of {', '.join(KINDS)}{hint}")
    told = KINDS[kind].heard
    if kind == EXAGGERATED:
        return Companion(kind, _performed(kind, plan, score, {}, scale=Scale(amount=2.0)), told)
    original = perform(score, plan)
    if kind == PLAIN:
        return Companion(kind, _performed(kind, plan, score, _strict(plan, original), ("slowing", "holds")), told)
    entries, moved, others = misplaced(original)
    count = f"{moved} of {moved + others}" if others else moved
    made = _performed(kind, plan, score, {"slowing": entries}, ("slowing",))
    return Companion(kind, made, f"{told} ({count} moved)")


def _performed(
    kind: str, plan: Plan, score: Score, changes: dict, written: Sequence[str] = (), scale: Scale = AS_PLANNED
) -> Reading:
    """The reading of a plan with these changes. Of the sections `written` they already hold what the score prints."""
    title = f"{plan.title or score.title or score.path.stem}, {KINDS[kind].title}"
    ignore = tuple(dict.fromkeys((*plan.marks.ignore, *written)))
    marks = plan.marks.model_copy(update={"ignore": ignore})
    changes = {"title": title, "accept": (), "marks": marks} | changes
    made = perform(score, plan.model_copy(update=changes), scale)
    return replace(made, plan=made.plan.model_copy(update={"marks": plan.marks}))


# -- in strict time


def _strict(plan: Plan, original: Reading) -> dict:
    """The sections of a plan that shape time, without that. What an allargando adds in level stays."""
    broad = any(entry.kind == "allargando" for entry in original.plan.slowing)
    return {
        "slowing": tuple(_broad(entry) for entry in original.plan.slowing if entry.kind in ("allargando", "a tempo"))
        if broad
        else (),
        "rubato": (),
        "holds": tuple(hold for hold in original.plan.holds if hold.in_time),
        "phrases": tuple(map(_unarched, plan.phrases)),
        "voices": {name: _with(voice, {"lead": None}) for name, voice in plan.voices.items()},
    }


def _broad(entry: Slowing) -> Slowing:
    return entry if entry.kind == "a tempo" else _with(entry, {"to": 1.0}, {"to": "100%"})


def _unarched(phrase: Phrase) -> Phrase:
    """A phrase, and all inside it, without arches of pace."""
    arch = phrase.arch
    if arch is not None:
        arch = None if arch.level is None else _with(arch, {"pace": None, "pace_peak": Arch().pace_peak})
    return _with(phrase, {"arch": arch, "inside": tuple(map(_unarched, phrase.inside))})


AnyWords = TypeVar("AnyWords", bound=Words)


def _with(words: AnyWords, changes: dict[str, Any], said: dict[str, Any] | None = None) -> AnyWords:
    """A group of settings with some of them changed; `said` is how a plan would write them (None: it would not)."""
    made = words.model_copy(update=changes)
    if words.source is not None:
        kept = {key: value for key, value in words.source.items() if key.replace(" ", "_") not in changes}
        made._source = kept | (said or {})
    return made
