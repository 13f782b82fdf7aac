"""Gestures on a plan as a page makes them, at random, and what there is to say of a plan to compare it by."""

from __future__ import annotations

from collections import Counter
from difflib import SequenceMatcher
from pathlib import Path
from random import Random
from typing import Any

from timing.changing import changed, edits_for
from timing.changing.asked import read_change, read_spot
from timing.changing.entries import ListedEntry, entries
from timing.changing.fields import FormField
from timing.changing.offers import offers
from timing.changing.standing import PlanItem, standing
from timing.loading import load
from timing.plan.edits import written
from timing.plan.planfile import read_plan
from timing.plan.yamltext import read_text
from timing.reading import Reading, perform
from timing.remarks import CannotDo


class Sitting:
    """A plan that is changed again and again: its text, its reading, and the texts before."""

    def __init__(self, path: Path):
        self.path, self.texts = path, [read_text(path)]
        self.reading = load(path)

    @property
    def text(self) -> str:
        return self.texts[-1]

    def make(self, asked: dict[str, Any]) -> Reading:
        """Make a change; the reading before it. CannotDo leaves all as it is."""
        before, made = self.reading, changed(self.reading, [], self.text, read_change(asked))
        self.reading = perform(before.source, read_plan(self.path, made))
        self.texts.append(made)
        return before

    def edits(self, asked: dict[str, Any]):
        return edits_for(self.reading, [], read_change(asked))

    def entry(self, section: str, words: str) -> ListedEntry:
        """The entry of a section whose words begin so."""
        found = [each for each in entries(self.reading) if each.section == section and each.words.startswith(words)]
        assert found, [each.words for each in entries(self.reading) if each.section == section]
        return found[0]


def sitting(folder: Path, text: str, name: str = "plan.yaml") -> Sitting:
    path = folder / name
    path.write_bytes(text.encode())
    return Sitting(path)


def at(entry: ListedEntry) -> dict[str, Any]:
    """How a page names an entry."""
    return {"section": entry.section, "line": entry.line, "column": entry.column, "file": entry.file}


# -- at random


def spot(rng: Random, reading: Reading) -> dict[str, Any]:
    """A place on a beat of the page; now and then off the beat, and on one hearing."""
    row = rng.randrange(len(reading.score.bars))
    bar = reading.score.bars[row]
    beat, length = 4 / int(bar["unit"]), float(bar["length"])
    offset = min(rng.randrange(round(length / beat) + 1) * beat, length)
    if rng.random() < 0.1:
        offset = rng.random() * length
    heard = sorted({int(p) for p in reading.where.bars["pass"][reading.where.hearings(row)]})
    return {"row": row, "offset": offset, "pass": rng.choice([None, None, *heard])}


def _value(rng: Random, field: FormField) -> Any:
    """A value that a form would let through."""
    least, most = field.least or 0, field.most or 1
    number = rng.uniform(least, min(most, 10 * max(least, 1) + 90))
    return {
        "percent": f"{number:.0f}%", "dB": f"{number / 10:.1f} dB", "ms": f"{number:.0f} ms",
        "seconds": round(rng.uniform(0.05, 2), 2), "number": round(number, 1), "tempo": rng.randint(40, 160),
        "whole number": rng.randint(int(least), int(most)), "yes-no": rng.choice([True, False]),
        "text": rng.choice(["the bass, still walking", "no: 7", "#1"]), "place": str(rng.randint(1, 16)),
        "range": f"{rng.randint(1, 8)}:1 - {rng.randint(9, 16)}",
        "choice": rng.choice(field.choices or ("yes",)),
    }[field.kind]  # fmt: skip


def _settings(rng: Random, entry: ListedEntry, reading: Reading) -> dict[str, Any] | None:
    if not entry.fields:
        return None
    field = rng.choice(entry.fields)
    value = None if rng.random() < 0.25 else _value(rng, field)
    return {"what": "settings", **at(entry), "keys": {field.key: value}}


def _move(rng: Random, entry: ListedEntry, reading: Reading) -> dict[str, Any] | None:
    ends = [each for each in entry.handles if each in ("start", "end", "whole")]
    return {"what": "move", **at(entry), "end": rng.choice(ends), "to": spot(rng, reading)} if ends else None


def _depth(rng: Random, entry: ListedEntry, reading: Reading) -> dict[str, Any] | None:
    to = rng.choice([rng.uniform(0.4, 0.98), rng.uniform(1, 1.3)])
    return {"what": "depth", **at(entry), "to": to} if "depth" in entry.handles else None


def _amount(rng: Random, entry: ListedEntry, reading: Reading) -> dict[str, Any] | None:
    return {"what": "amount", **at(entry), "to": rng.uniform(0.5, 2)} if "amount" in entry.handles else None


def _hairpin(rng: Random, entry: ListedEntry, reading: Reading) -> dict[str, Any] | None:
    start, until = sorted((spot(rng, reading), spot(rng, reading)), key=lambda each: (each["row"], each["offset"]))
    return {"what": "hairpin", "from": start, "until": until, "to": rng.uniform(-6, 6)}


def _offer(rng: Random, entry: ListedEntry, reading: Reading) -> dict[str, Any] | None:
    here, until = spot(rng, reading), spot(rng, reading) if rng.random() < 0.3 else None
    found = offers(reading, read_spot(here), None if until is None else read_spot(until))
    return {"what": "offer", "id": rng.choice(found).id, "at": here, "until": until} if found else None


def _remove(rng: Random, entry: ListedEntry, reading: Reading) -> dict[str, Any] | None:
    return {"what": "remove", **at(entry)} if rng.random() < 0.4 else None


GESTURES = {
    "settings": _settings, "move": _move, "depth": _depth, "amount": _amount, "hairpin": _hairpin, "offer": _offer,
    "remove": _remove,
}  # fmt: skip


def gesture(rng: Random, reading: Reading) -> dict[str, Any]:
    """A gesture of any kind on a random entry or place."""
    listed = entries(reading)
    while True:
        made = rng.choice([*GESTURES.values(), _offer])(rng, rng.choice(listed), reading)
        if made is not None:
            return made


# -- to compare by


def said(reading: Reading) -> Counter:
    """All that a plan says, one thing by one."""
    return Counter(map(said_of, standing(reading.plan)))


def said_of(each: PlanItem) -> tuple[str, str | None, str]:
    """What one thing in a plan says: a phrase without those inside it."""
    source = each.source
    if isinstance(source, dict):
        source = {key: source[key] for key in sorted(source) if key != "inside"}
    return each.section, each.name, written(source)


def lines_changed(before: str, after: str) -> tuple[set[int], list[str]]:
    """The lines (from 1) of the text before that are changed or gone, and the lines that are new."""
    old, new = before.splitlines(keepends=True), after.splitlines(keepends=True)
    gone, come = set(), []
    for tag, a, b, c, d in SequenceMatcher(None, old, new, autojunk=False).get_opcodes():
        if tag != "equal":
            gone |= set(range(a + 1, b + 1))
            come += new[c:d]
    return gone, come


def refused(given: Any, reading: Reading, text: str) -> str:
    """What is said of a change that cannot be made; empty where it can."""
    try:
        changed(reading, [], text, read_change(given))
    except CannotDo as refusal:
        return str(refusal)
    return ""
