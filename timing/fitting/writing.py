"""Fitted entries put into the text of a plan, whose comments and layout stay."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from timing.fitting.model import all_phrases
from timing.fitting.results import FittedEntry
from timing.plan import Plan
from timing.plan.edits import added, replaced
from timing.plan.edits import written as as_written
from timing.plan.entry import Entry
from timing.plan.kinds import HOLDS, SLOWINGS
from timing.plan.mending import mend
from timing.plan.planfile import identity, read_plan
from timing.plan.time import Phrase
from timing.remarks import Edit


def written(text: str, entries: Iterable[FittedEntry], file: str | Path, instead_of: Sequence[Entry] = ()) -> str:
    """The text of a plan, as it stands (or would stand) in `file`, with these entries.

    `instead_of` are entries of the plan, as `Fit.standing` has them, that make room. Of two that say the same of one
    place the fitted one stands: the basic tempo takes the place of the basic tempo, an arch is put into its phrase, and
    an entry of the same kind, place and pass is changed. CannotDo where the text is no plan, or a change cannot be made
    without another one.
    """
    file = Path(file)
    plan = read_plan(file, text)
    changes = _Changes(plan, file)
    chosen = list(entries)
    for entry in chosen:
        if entry.section != "phrases":
            changes.put(entry)
    changes.phrases([entry for entry in chosen if entry.section == "phrases"])
    for old in instead_of:
        changes.take_out(old)
    return mend(text, changes.edits)


class _Changes:
    """The edits that fitted entries make, each place once."""

    def __init__(self, plan: Plan, file: Path):
        self.plan, self.file = plan, file
        self.edits: list[Edit] = []
        self.done: set[Any] = set()

    def put(self, entry: FittedEntry) -> None:
        """An entry in the place of one that says the same of the same place, or a new one."""
        old = self._same(entry)
        if old is None:
            self._bring(entry.section, entry.entry)
        else:
            self.done.add(old.place())
            gone = {key: None for key in (old.source or {}) if key not in entry.entry and key not in ("why", "louder")}
            self.edits.append(replaced(old, gone | entry.entry))

    def _bring(self, section: str, entry: dict[str, Any]) -> None:
        alone = section == "tempo" and entry.keys() == {"tempo"} and not self.plan.tempo
        self.edits.append(added(section, entry["tempo"] if alone else entry))

    def _same(self, entry: FittedEntry) -> Entry | None:
        entries: Sequence[Entry] = getattr(self.plan, entry.section)
        for old in entries:
            if self._mine(old) and old.place() not in self.done and _identity(old) == _key(entry.entry):
                return old
        return None

    def _mine(self, old: Entry) -> bool:
        place = old.place()
        return place is not None and place.file == self.file

    def take_out(self, old: Entry) -> None:
        """An entry of the plan leaves; one of the plan that it is based on is left out."""
        here = next((each for each in self._all() if each.place() == old.place()), None)
        if here is None or here.place() in self.done:
            return
        self.done.add(here.place())
        section = _section(self.plan, here)
        if self._mine(here):
            self.edits.append(Edit(section, None, here.place()))
        elif section != "tempo":
            self.edits.append(Edit(section, as_written(identity(here.source, section) | {"omit": True})))

    def _all(self) -> list[Entry]:
        plan = self.plan
        return [*plan.tempo, *plan.slowing, *plan.holds, *plan.rubato]

    def phrases(self, entries: list[FittedEntry]) -> None:
        """Arches, each in its phrase; those of phrases that the plan does not have come with them, the inner in the
        outer."""
        known = {(str(phrase.bars), phrase.passes): phrase for _, phrase in all_phrases(self.plan.phrases)}
        new: list[FittedEntry] = []
        for entry in entries:
            old = known.get((str(entry.entry["bars"]), entry.entry.get("pass")))
            if old is None or not self._mine(old):
                new.append(entry)
            else:
                self.edits.append(replaced(old, {"bars": str(old.bars), "arch": _arch(old, entry.entry["arch"])}))
        for nest in _nested(sorted(new, key=lambda entry: (entry.start, -entry.end))):
            self._bring("phrases", nest)


def _arch(phrase: Phrase, pace: dict[str, Any]) -> dict[str, Any]:
    """The new arch of pace beside what the phrase says of the level."""
    old = phrase.arch
    if old is None or not old.level:
        return pace
    level = "yes" if old.level is True else f"{old.level:g} dB"
    return pace | {"level": level, "level peak": f"{100 * old.level_peak:g}%"}


def _nested(entries: list[FittedEntry]) -> list[dict[str, Any]]:
    made: list[tuple[float, dict[str, Any]]] = []
    for entry in entries:
        mine = dict(entry.entry)
        if made and entry.end <= made[-1][0] + 1e-6:
            made[-1][1].setdefault("inside", []).append(mine)
        else:
            made.append((entry.end, mine))
    return [entry for _, entry in made]


def _identity(entry: Entry) -> tuple:
    return _key(dict(entry.source or {}))


def _key(entry: dict[str, Any]) -> tuple:
    """Kind and place of an entry, and its pass."""
    places = ("at", "over", *SLOWINGS, *HOLDS, "pass")
    return tuple((key, str(entry[key]).replace(" ", "")) for key in places if key in entry)


def _section(plan: Plan, entry: Entry) -> str:
    for section in ("tempo", "slowing", "holds", "rubato"):
        if any(each is entry for each in getattr(plan, section)):
            return section
    raise AssertionError("an entry of no section of time")
