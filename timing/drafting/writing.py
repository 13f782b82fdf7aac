"""The text of a drafted plan: every entry on a line of its own, with the reason beside it or above it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from timing.drafting.items import DraftItem
from timing.plan.edits import written

WIDTH = 118  # letters of a line; a reason that does not fit beside its entry stands above it
_COLUMN = 56  # at which reasons stand beside short entries

NOTES = {
    "voices": "Who leads.",
    "phrases": "Where phrases begin and end, large ones with small ones inside.",
    "slowing": "Where the time gives way and comes back.",
    "rubato": "Where the time is lent and given back.",
    "holds": "Where the time waits.",
    "dynamics": "Marks and hairpins.",
    "accents": "Notes that are played louder.",
    "tone": "Where the tone changes.",
    "second time": "What differs the second time; it comes back by itself.",
    "accept": "What check would say, and why it stands.",
    "glissandi": "How slides move into their goal.",
}


def plan_text(
    about: Sequence[str], head: Sequence[tuple[str, DraftItem]], sections: dict[str, Sequence[DraftItem]]
) -> str:
    """A plan: what there is to say about the piece, its single settings, its sections."""
    lines = [*(f"# {line}".rstrip() for line in about), ""]
    for key, item in head:
        lines += _beside(f"{key}: {written(item.entry)}", item.why, "")
    for key, items in sections.items():
        if items:
            note = NOTES.get(key)
            lines += ["", *([f"# {note}"] if note else []), f"{key}:"]
            lines += [line for item in items for line in (_voice if key == "voices" else _entry)(item, "  ")]
    return "\n".join(lines) + "\n"


def _voice(item: DraftItem, indent: str) -> Iterator[str]:
    for name, value in item.keys.items():
        yield from _beside(f"{indent}{name}: {written(value)}", item.why, indent)


def _entry(item: DraftItem, indent: str) -> Iterator[str]:
    if not item.inside:
        yield from _beside(f"{indent}- {written(item.entry)}", item.why, indent)
        return
    (first, value), *others = item.keys.items()
    yield from _beside(f"{indent}- {first}: {written(value)}", item.why, indent)
    for key, other in others:
        yield f"{indent}  {key}: {written(other)}"
    yield f"{indent}  inside:"
    for inner in item.inside:
        yield from _entry(inner, indent + "    ")


def _beside(text: str, why: str, indent: str) -> list[str]:
    if not why:
        return [text]
    beside = f"{text:<{_COLUMN}}  # {why}" if len(text) <= _COLUMN else f"{text}  # {why}"
    return [beside] if len(beside) <= WIDTH else [f"{indent}# {why}", text]
