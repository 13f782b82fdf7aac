"""Companions of a reading: the same plan in strict time, exaggerated, or with its slowdowns in the wrong places.

They let one hear what the shaping of a plan does, by taking it away, by doubling it, or by making a mistake on purpose.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeVar

from timing.companions.misplacing import misplaced
from timing.plan import Plan
from timing.plan.entry import Entry, Words
from timing.plan.kinds import Act
from timing.plan.time import Arch, Phrase, Slowing
from timing.plan.words import nearest
from timing.reading import Reading, perform
from timing.remarks import CannotDo
from timing.time.scale import AS_PLANNED, Scale

Given = TypeVar("Given", bound=Words)
PLAIN, EXAGGERATED, MISPLACED = "plain", "exaggerated", "misplaced"


@dataclass(frozen=True)
class Beside:
    """A kind of companion: what its title adds to that of the plan, and what one hears, in one sentence."""

    title: str
    heard: str


KINDS = {
    PLAIN: Beside(
        "in strict time", "the same voices, levels and tones in strict time: nothing slows, hurries or waits"
    ),
    EXAGGERATED: Beside("exaggerated", "all shaping of time and level doubled"),
    MISPLACED: Beside("misplaced", "the same slowdowns, in the middle of their phrases"),
}


@dataclass(frozen=True)
class Companion:
    """A companion's reading and what listeners are told of it. Its plan accepts nothing."""

    kind: str  # one of KINDS
    reading: Reading
    told: str


def companion(kind: str, original: Reading) -> Companion:
    """Make a companion of the plan of a reading, which has been performed as planned.

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
        return Companion(kind, _performed(kind, original, {}, scale=Scale(amount=2.0)), told)
    if kind == PLAIN:
        return Companion(kind, _performed(kind, original, _strict(original.plan), ("slowing", "holds")), told)
    entries, moved, others = misplaced(original)
    count = f"{moved} of {moved + others}" if others else moved
    made = _performed(kind, original, {"slowing": entries}, ("slowing",))
    return Companion(kind, made, f"{told} ({count} moved)")


def _performed(
    kind: str, original: Reading, changes: dict[str, Any], written: Sequence[str] = (), scale: Scale = AS_PLANNED
) -> Reading:
    """The reading of the same plan with these changes. Of the sections `written` they already hold what the score
    prints; of all others it is read again."""
    plan, score = original.plan, original.source
    title = f"{plan.title or score.title or score.path.stem}, {KINDS[kind].title}"
    ignore = tuple(dict.fromkeys((*plan.marks.ignore, *written)))
    marks = plan.marks.model_copy(update={"ignore": ignore})
    changes = _unprinted(plan) | {"title": title, "accept": (), "marks": marks} | changes
    made = perform(score, plan.model_copy(update=changes), scale)
    return replace(made, plan=made.plan.model_copy(update={"marks": plan.marks}))


def _unprinted(plan: Plan) -> dict[str, tuple[Entry, ...]]:
    """The sections of a plan as they are in its file, without the entries that stand for marks of the score."""
    sections = {name: value for name, value in plan if isinstance(value, tuple)}
    return {
        name: tuple(entry for entry in entries if not entry.printed)
        for name, entries in sections.items()
        if any(isinstance(entry, Entry) and entry.printed for entry in entries)
    }


# -- in strict time


def _strict(plan: Plan) -> dict[str, Any]:
    """The sections of a plan that shape time, without that. What an allargando adds in level stays."""
    broad = any(entry.does.grows is not None for entry in plan.slowing)
    return {
        "slowing": tuple(
            _broad(entry) for entry in plan.slowing if entry.does.grows is not None or entry.act is Act.RETURNS
        )
        if broad
        else (),
        "rubato": (),
        "holds": tuple(hold for hold in plan.holds if hold.in_time),
        "phrases": tuple(map(_unarched, plan.phrases)),
        "voices": {name: _with(voice, {"lead": None}) for name, voice in plan.voices.items()},
    }


def _broad(entry: Slowing) -> Slowing:
    return entry if entry.act is Act.RETURNS else _with(entry, {"to": 1.0}, {"to": "100%"})


def _unarched(phrase: Phrase) -> Phrase:
    """A phrase, and all inside it, without arches of pace."""
    arch = phrase.arch
    if arch is not None:
        arch = None if arch.level is None else _with(arch, {"pace": None, "pace_peak": Arch().pace_peak})
    return _with(phrase, {"arch": arch, "inside": tuple(map(_unarched, phrase.inside))})


def _with(words: Given, changes: dict[str, Any], said: dict[str, str] | None = None) -> Given:
    """A group of settings with some of them changed; `said` is how a plan would write them (None: it would not)."""
    made = words.model_copy(update=changes)
    if not words.printed:
        given = words.source or {}
        kept = {key: value for key, value in given.items() if key.replace(" ", "_") not in changes}
        made._source = kept | (said or {})
    return made
