"""Mending a plan by the changes that remarks offer: one remark at a time, each change tried out before it is kept."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from time import monotonic

from timing.cautions import check
from timing.cautions.rules import Sound
from timing.loading import load
from timing.plan import Plan
from timing.plan.mending import mend
from timing.plan.older import ways
from timing.plan.planfile import read_plan
from timing.reading import Reading, perform
from timing.remarks import CannotDo, Remark, Severity
from timing.where import near

MOST_TRIED = 100  # changes that are tried in one go: each is a whole performance and a whole check
MOST_SECONDS = 20  # after which no other one is begun: a long piece with many entries takes its time


@dataclass(frozen=True)
class Mended:
    """A plan's text after mending, its reading and what is left to say; the remarks that are gone; and those whose
    change was not kept, each with the reason."""

    text: str
    reading: Reading
    remarks: list[Remark]
    fixed: list[Remark]
    refused: list[tuple[Remark, str]]


def cautions(remark: Remark) -> bool:
    return remark.severity is not Severity.ADVICE


def everything(remark: Remark) -> bool:
    return True


def fix(path: Path, text: str, sound: Sound | None = None, wanted: Callable[[Remark], bool] = cautions) -> Mended:
    """Mend the plan at `path` that has this text; nothing is written.

    Of the remarks those are mended that are `wanted`: advice is the musician's to take.

    A change is kept if the plan can be read and played with it, its remark is gone, and nothing as grave has come that
    was not there before (advice may come in place of a caution). What the plan accepts stays. CannotDo if the plan
    cannot be read as it is.
    """
    reading = load(path, text=text)
    state, tried = _State(path, text, reading, check(reading, sound), wanted), 0
    until = monotonic() + MOST_SECONDS
    fixed: list[Remark] = []
    refused: dict[tuple, tuple[Remark, str]] = {}
    waiting = state.mendable
    while waiting and tried < MOST_TRIED and (not tried or monotonic() < until):
        remark, tried = waiting.pop(0), tried + 1
        better = _mended(state, remark, sound)
        if isinstance(better, str):
            refused[_key(remark)] = remark, better
            continue
        fixed += state.without(better)
        state = better
        mendable = state.mendable
        waiting = [each for each in mendable if _key(each) not in refused]
        waiting += [each for each in mendable if _key(each) in refused]  # those may go now
        refused = {}
    refused |= {_key(remark): (remark, f"only {tried} tried at a time: mend again") for remark in waiting}
    return Mended(state.text, state.reading, state.remarks, fixed, list(refused.values()))


# -- one change


@dataclass(frozen=True)
class _State:
    """A plan on the way to be mended."""

    path: Path
    text: str
    reading: Reading
    remarks: list[Remark]
    wanted: Callable[[Remark], bool]

    @property
    def plan(self) -> Plan:
        return self.reading.plan

    @cached_property
    def standing(self) -> list[Remark]:
        """What is told and not accepted, place by place."""
        return [remark for remark in self.remarks if remark.accepted is None and not remark.more]

    @property
    def mendable(self) -> list[Remark]:
        return [remark for remark in self.standing if remark.fix and self.wanted(remark)]

    @property
    def places(self) -> Counter:
        return Counter(map(_key, self.standing))

    @property
    def kinds(self) -> Counter:
        """In how many places each kind of remark is told or counted."""
        told = Counter(_kind(remark) for remark in self.standing)
        return told + Counter({_kind(remark): remark.more for remark in self.remarks if remark.more})

    def without(self, other: _State) -> list[Remark]:
        """The remarks that the other state does not have any more."""
        there, gone = other.places, []
        for remark in self.standing:
            there[_key(remark)] -= 1
            if there[_key(remark)] < 0:
                gone.append(remark)
        return gone


def _kind(remark: Remark) -> tuple:
    return remark.severity, remark.code


def _key(remark: Remark) -> tuple:
    """What makes two remarks the same one, whatever numbers they name."""
    return *_kind(remark), remark.bar_name, near(remark.beat), remark.pass_


def _mended(state: _State, remark: Remark, sound: Sound | None) -> _State | str:
    """The plan with the change that a remark offers, or why that is not kept."""
    why = ""
    for edits in ways(state.plan, remark.fix):
        try:
            text = mend(state.text, edits())
            reading = perform(state.reading.source, read_plan(state.path, text))
            after = replace(state, text=text, reading=reading, remarks=check(reading, sound))
        except CannotDo as refusal:
            why = why or refusal.remarks[0].message
            continue
        objection = _objection(state, after, remark)
        if objection is None:
            return after
        why = objection
    return why


def _objection(before: _State, after: _State, remark: Remark) -> str | None:
    """What speaks against a change that should mend a remark."""
    came = {key: n for key, n in (after.places - before.places).items() if _as_grave(key, remark)}
    counted = {_kind(each) for each in before.remarks if each.more}
    for key in came:
        if not (key[:2] in counted and after.kinds[key[:2]] < before.kinds[key[:2]]):  # else it was only counted before
            return f"the change would bring {_named(key)}"
    if more := [kind for kind in after.kinds - before.kinds if _as_grave(kind, remark)]:
        return f"the change would bring more of {more[0][1]}"
    if after.places[_key(remark)] >= before.places[_key(remark)]:
        return "the change would not be enough"
    return None


def _as_grave(kind: tuple, remark: Remark) -> bool:
    return kind[0] is not Severity.ADVICE or remark.severity is Severity.ADVICE


def _named(key: tuple) -> str:
    _, code, bar, *_ = key
    return code if bar is None else f"{code} in bar {bar}"
