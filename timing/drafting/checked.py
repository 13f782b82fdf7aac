"""A draft that goes through `check` before it is written: it is no place for a dispute.

What a draft adds of its own and earns a caution is taken out. What is printed stays, for it is the composer's: a
caution that it earns as an entry of a plan, or that comes of the notes, is accepted with that reason.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from timing.cautions import check
from timing.cautions.rules import Sound
from timing.drafting.items import DraftItem
from timing.drafting.writing import plan_text
from timing.loading import load
from timing.plan.edits import written
from timing.plan.position import beat_name
from timing.remarks import Remark

Entries = dict[str, Sequence[DraftItem]]

_OF_LEVEL = {"inner-over-melody", "level-out-of-range"}
_LEVELS = ("voices", "dynamics", "accents")
# What comes of the notes and marks of the score and of the instrument, and not of the draft.
_THE_SCORES_OWN = {
    "inner-over-melody": "the score's own dynamics have it so",
    "level-out-of-range": "the score's own dynamics ask for it",
    "open-string-out": "it is the easiest way to play the notes",
    "phrase-cuts-tie": "the melody's phrase ends here, though a note is held over",
}
_PRINTED = "it is printed in the score"


def without_disputes(about: Sequence[str], head: list, entries: Entries, file: Path, sound: Sound | None) -> Entries:
    """The entries without those of the draft's own that `check` has a caution to say of, and what of the rest is
    accepted. Where the score's own dynamics put other voices over the melody, they are left to the score."""
    while True:  # each time there are fewer of the draft's own
        text = plan_text(about, head, entries)
        stands = [remark for remark in check(load(file, text=text), sound) if remark.stands]
        if any(remark.code in _OF_LEVEL for remark in stands) and any(entries[key] for key in _LEVELS):
            entries = entries | {key: [] for key in _LEVELS}
            continue
        told = [remark for remark in stands if remark.place is not None and remark.place.file == file]
        lines = text.splitlines()
        named = [remark.place.line for remark in told if remark.place is not None]
        blamed = [lines[line - 1].strip() for line in named if line]
        left: Entries = {
            key: [item for item in items or () if not _own(item, blamed)] for key, items in entries.items()
        }
        if all(len(left[key]) == len(items or ()) for key, items in entries.items()):
            return entries | {"accept": _accepted(stands, told)}
        entries = left


def _own(item: DraftItem, blamed: list[str]) -> bool:
    """Whether an entry of the draft's own stands on a line that is blamed."""
    return not item.inside and not item.printed and any(written(item.entry) in line for line in blamed)


def _accepted(stands: list[Remark], told: list[Remark]) -> list[DraftItem]:
    """Acceptances of what still stands: of what the draft's lines are told, and what the score's own notes earn."""
    made: dict[tuple, DraftItem] = {}
    for remark in stands:
        if remark.code not in _THE_SCORES_OWN and remark not in told:
            continue  # a fault of the score, told without a plan too
        at = {} if remark.bar_name is None else {"at": f"{remark.bar_name}:{beat_name(remark.beat or 1)}"}
        why = _THE_SCORES_OWN.get(remark.code, _PRINTED)
        entry = {"code": remark.code} | at
        made.setdefault(tuple(entry.items()), DraftItem(entry | {"because": why}, ""))
    return list(made.values())
