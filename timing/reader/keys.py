"""The key signatures of a score, as they sound, in fifths: one sharp is 1, two flats -2."""

from __future__ import annotations

from collections.abc import Iterator
from math import isfinite

from timing.reader.walk import Head, Parsed, of_class, pitch_of, walk_bars


def read_signatures(parsed: Parsed, heads: list[Head]) -> Iterator[tuple[int, int, float, int]]:
    """(part, bar, offset, fifths) of each signature in the first part that has notes with pitches and signatures.
    Of an instrument that transposes, it is that of the sound."""
    shifts: dict[int, int] = {}
    for head in heads:
        if head.part not in shifts and (pitch := pitch_of(head.note)) is not None:
            shifts[head.part] = round(head.pitch - pitch.ps)
    found: dict[int, list[tuple[int, float, int]]] = {}
    for part, staff, bar, measure in walk_bars(parsed):
        if staff == 1 and part in shifts:
            for key in of_class(measure, "KeySignature"):
                found.setdefault(part, []).append((bar, float(measure.elementOffset(key)), key.sharps))
    for part, staves in enumerate(parsed.staves()):
        outside = of_class(staves[0], "KeySignature")[:1] if part in shifts else []  # before the first bar
        found.setdefault(part, [])[:0] = [(0, 0.0, key.sharps) for key in outside]
    first = next((part for part in sorted(found) if found[part]), None)
    if first is None:
        return
    for bar, offset, sharps in found[first]:
        if sharps is not None and isfinite(sharps):
            fifths = int(sharps) + 7 * shifts[first]
            yield first, bar, offset, int(sharps) if shifts[first] % 12 == 0 else (fifths + 6) % 12 - 6
