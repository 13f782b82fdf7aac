"""What is said of readings side by side, in words and figures: for the terminal and for the page."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from timing.columns import NEAR
from timing.comparing import MEASURE, Comparison
from timing.comparing.alignment import Apart
from timing.comparing.spans import ALL, SHARED, Span
from timing.plan.position import beat_name

LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
NOTHING = "-"  # a reading that has no such thing
UNPLAYED = "not played"
ORDINARY = "naturale"  # the tone that is not worth a line


def letters_of(of: Sequence[bool]) -> list[str]:
    """The letters of the readings for which this holds."""
    return [letter for letter, there in zip(LETTERS, of, strict=False) if there]


def in_a_row(letters: Sequence[str]) -> str:
    """Letters as one says them: A, A and B, A, B and C."""
    return " and ".join(filter(None, [", ".join(letters[:-1]), letters[-1]]))


def all_of(count: int) -> str:
    """All readings, by how many there are."""
    return "both" if count == 2 else "all"


def sentence(apart: Apart, count: int) -> str:
    """What some of so many scores or orders have otherwise."""
    letters, several = letters_of(apart.of), bool(set(apart.bars) & set("-,"))
    who, alone = in_a_row(letters), len(letters) == 1
    bars = f"bar{'s' * several} {apart.bars}"
    whose = f" of {who}" if len(letters) < count else ""
    return {
        "bars": f"only the score{'' if alone else 's'} of {who} {'has' if alone else 'have'} {bars}",
        "length": f"{bars} {'are' if several else 'is'} not equally long in {who}",
        "notes": f"the notes{whose} differ in {bars}",
        "played": f"only {who} play{'s' * alone} {bars} (pass {apart.pass_})",
        "order": f"what {all_of(count)} play comes in another order",
    }[apart.what]


# -- a span


def name_of(span: Span) -> str:
    """What a span is called."""
    return {ALL: "in all", SHARED: "what is shared"}.get(span.kind, span.name or span.bars)


def music_of(comparison: Comparison, span: Span, played: Sequence[bool]) -> str:
    """Which music a span is that only some readings have played, besides its name."""
    if span.kind in (ALL, SHARED):
        return ""
    repeated = any(reading.performance.bars["pass"].max() > 1 for reading in comparison.readings)
    more = [span.bars] if span.name else []
    more += [f"pass {span.pass_}"] * repeated
    more += ["in part"] * span.partly
    phrased = [bool(reading.phrases) for reading in comparison.readings]
    if any(not there and has and plays for there, has, plays in zip(span.of, phrased, played, strict=True)):
        more.append(f"only in {in_a_row(letters_of(span.of))}")
    return ", ".join(more)


def tones_of(comparison: Comparison, row: int) -> list[str]:
    """The tones of each reading in a span."""
    made = []
    for shares, one in zip(comparison.shares[row], comparison.measures[row], strict=True):
        heard = sorted(zip(shares.tolist(), comparison.tones, strict=True), reverse=True)
        parts = [(share, tone) for share, tone in heard if share >= 0.005]
        whole = ", ".join(tone if len(parts) == 1 else f"{tone} {share:.0%}" for share, tone in parts)
        made.append(whole if one["seconds"] else UNPLAYED)
    return made


# -- figures


def equal(made: np.ndarray) -> bool:
    """Whether all readings are measured alike, beyond what can be heard."""
    numbers = [name for name in MEASURE.names or () if made.dtype[name].kind == "f"]
    return all(np.allclose(made[name], made[name][0], rtol=0, atol=NEAR, equal_nan=True) for name in numbers)


def length(seconds: float) -> str:
    """How long: 12.3 s, 1:02.3."""
    minutes, rest = divmod(round(float(seconds), 1), 60)
    return f"{int(minutes)}:{rest:04.1f}" if minutes else f"{rest:.1f} s"


def signed(seconds: float) -> str:
    """How much longer or shorter, in seconds."""
    text = f"{seconds:+.1f}"
    return "0.0" if float(text) == 0 else text


def slowest(one: np.void, span: Span) -> str:
    """Where the slowest beat begins, and how slow it is; in a steady tempo no beat is slowest."""
    pace = f"{one['slowest']:4.0%}{'*' if one['held'] else ' '}"
    if not one["held"] and one["high_bpm"] - one["low_bpm"] < 0.005 * one["high_bpm"]:
        return f"steady  {pace}"
    again = f" ({one['pass']})" if span.kind in (SHARED, ALL) and one["pass"] > 1 else ""
    return f"{one['bar']}:{beat_name(one['beat'])}{again}  {pace}"


def between(low: float, high: float, word: str) -> str:
    """Two whole numbers with a word between; one, where they are the same."""
    ends = [f"{end:.0f}" for end in (low, high)]
    return word.join(dict.fromkeys("0" if end == "-0" else end for end in ends))


def level(one: np.void) -> str:
    """The softest and the loudest level in dB."""
    return NOTHING if np.isnan(one["loudest"]) else between(one["softest"], one["loudest"], " to ")


def notes_of(comparison: Comparison) -> list[str]:
    """What the figures mean."""
    held = " (* with a hold in it)" if comparison.measures["held"].any() else ""
    return [
        f"slowest beat: pace against the basic tempo, as it is heard{held}",
        "tempo: quarters a minute, holds left out; level: of the melody, in dB",
    ]
