"""The shape that a first reading gives to time and level: arches over phrases, slowdowns at their ends, voices.

The values are measured means of human performances (W. Goebl's Vienna 4x22 corpus, 1999, and F. Foscarin et al., ASAP,
ISMIR 2020) where nothing else is said: how deep phrase ends of four and of eight bars and the end of a piece are
slowed, and over how many bars; none at ends of two bars.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from timing.drafting.items import Item, decibels, percent, sureness
from timing.finding.phrases import FoundPhrase, range_of
from timing.performance import BASS, INNER, MELODY
from timing.reading import Reading
from timing.score import Score
from timing.where import felt_beat

ABOUT_FOUR = (2.75, 6.0)  # bars of a phrase that counts as one of about four
_LEAST_PARTED = 8.5  # bars; what is longer keeps the phrases inside it, though one of them be short
EIGHT = 12.0  # bars up to which a phrase counts as one of about eight
LEAST_SURE = 0.4  # of a phrase end that is slowed: over it three in five are written (tests/bench/phrase_scores.py)
TOGETHER = 0.8  # of the notes under a melody that begin with one of it: then the texture is chordal (own choice)


@dataclass(frozen=True)
class Ending:
    """How an end is slowed: to which pace, over how many bars; and what it is the end of."""

    pace: float
    bars: float
    of: str


SMALL = Ending(0.84, 1.25, "a phrase of about four bars")
LARGE = Ending(0.77, 1.5, "a phrase of about eight bars")
SECTION = Ending(0.72, 1.5, "a section")  # own choice, between its neighbours
FINAL = Ending(0.50, 1.75, "the piece")


# -- phrases


def kept(phrases: Sequence[FoundPhrase]) -> tuple[FoundPhrase, ...]:
    """The phrases that a plan names: none shorter than about four bars inside one of up to eight."""
    return tuple(replace(phrase, inside=_inside(phrase)) for phrase in phrases)


def _inside(phrase: FoundPhrase) -> tuple[FoundPhrase, ...]:
    least, _ = ABOUT_FOUR
    short = any(inner.bars < least and not inner.section for inner in phrase.inside)
    if short and phrase.bars <= _LEAST_PARTED and not any(inner.section for inner in phrase.inside):
        return ()
    return kept(phrase.inside)


def arch_of(phrase: FoundPhrase) -> dict[str, str] | None:
    """Rise and fall of a phrase by its length, with the usual peaks. Sections that hold sections have none, nor have
    phrases of one or two bars."""
    least, most = ABOUT_FOUR
    if phrase.bars < least or phrase.bars > EIGHT or any(inner.section for inner in phrase.inside):
        return None
    return {"pace": "8%" if phrase.bars <= most else "6%", "level": "2 dB"}


def phrase_items(score: Score, phrases: Sequence[FoundPhrase], shaped: bool, said: dict) -> tuple[Item, ...]:
    """The phrases as entries, with arches where they are to be `shaped`; `said` has what there is to say of their ends
    besides, by their end."""
    items = []
    for phrase in phrases:
        entry: dict = {"bars": str(range_of(score, phrase))}
        if shaped and (arch := arch_of(phrase)):
            entry["arch"] = arch
        kind = "section" if phrase.section and phrase.bars > ABOUT_FOUR[1] else "phrase"
        why = f"a {kind} of {_length(phrase.bars)}; its end is {sureness(phrase.sure)}"
        if not phrase.inside and phrase.end in said:
            why += f"; {said[phrase.end]}"
        items.append(Item(entry, why, phrase_items(score, phrase.inside, shaped, said)))
    return tuple(items)


def _length(bars: float) -> str:
    whole = round(bars)
    if abs(bars - whole) < 0.01:
        return f"{whole} bar{'s' * (whole != 1)}"
    return f"{bars:.1f} bars"


# -- slowing


def slowing_items(reading: Reading, phrases: Sequence[FoundPhrase]) -> list[Item]:
    """A slowdown at every phrase end that is sure enough, as deep as what ends there is large, the end of the piece
    deepest; none where the score prints a change of pace itself."""
    score, bars = reading.score, reading.performance.bars
    last_row = int(bars["row"][-1])
    final = (last_row, float(score.bars["length"][last_row]))
    ends = _ends(phrases)
    if not ends:
        return []
    ends[final] = (FINAL, 1.0)  # whatever the melody does, the order of the bars is over here
    printed, starts = _printed_rows(reading), np.concatenate([[0.0], np.cumsum(score.bars["length"])])
    items = []
    for end, (ending, sure) in sorted(ends.items()):
        start = _start(score, starts, end, ending.bars, phrases)
        if sure < LEAST_SURE or start is None or printed & set(range(start[0], end[0] + 1)):
            continue
        where = str(range_of(score, FoundPhrase(start, end, 1.0, ending.bars)))
        items += _at_end(reading, where, end, final, ending, sure)
    return items


def _at_end(reading: Reading, where: str, end: tuple, final: tuple, ending: Ending, sure: float) -> Iterator[Item]:
    why = f"the end of {ending.of} ({sureness(sure)})"
    if end != final:
        yield Item({"rallentando": where, "to": percent(ending.pace), "then": "a tempo"}, why)
        return
    bars = reading.performance.bars
    heard = sorted({int(number) for number in bars["pass"][bars["row"] == end[0]]})
    for number in heard[:-1]:  # the same place before it is the end
        keys = {"rallentando": where, "to": percent(SECTION.pace), "then": "a tempo", "pass": number}
        yield Item(keys, f"the end of {SECTION.of}, which is not yet that of the piece")
    keys = {"rallentando": where, "to": percent(FINAL.pace)} | ({"pass": "last"} if heard[1:] else {})
    yield Item(keys, f"the end of {FINAL.of}: the slowest place")


def _ends(phrases: Sequence[FoundPhrase], outermost: bool = True) -> dict[tuple[int, float], tuple[Ending, float]]:
    """What ends at each place, the largest of all that do, and how sure it is. What is outermost is a section."""
    made: dict[tuple[int, float], tuple[Ending, float]] = {}
    for phrase in phrases:
        made |= _ends(phrase.inside, outermost=False)
        if (outermost and phrase.section) or phrase.bars > EIGHT:
            ending = SECTION
        elif phrase.bars > ABOUT_FOUR[1]:
            ending = LARGE
        else:
            ending = SMALL
        if phrase.bars >= ABOUT_FOUR[0]:
            made[phrase.end] = (ending, phrase.sure)
    return made


def _start(
    score: Score, starts: np.ndarray, end: tuple[int, float], bars: float, phrases: Sequence[FoundPhrase]
) -> tuple[int, float] | None:
    """Where a slowdown of so many bars begins, on a felt beat; None where its phrase is too short for it. `starts` are
    the quarters at which the bars begin."""
    row, offset = end
    beat = float(felt_beat(score.bars[row]))
    full = float(score.bars["beats"][row] * 4 / score.bars["unit"][row])
    over = starts[row] + offset
    begin = over - max(round(bars * full / beat), 1) * beat
    phrase = _innermost(phrases, end)
    if phrase is not None:
        earliest = starts[phrase.start[0]] + phrase.start[1]
        begin = max(begin, over - np.floor((over - earliest) / 2 / beat + 1e-9) * beat)
    if begin < 0 or begin >= over - beat / 2:
        return None
    row = int(np.searchsorted(starts, begin + 1e-6, side="right")) - 1
    return row, float(begin - starts[row])


def _innermost(phrases: Sequence[FoundPhrase], end: tuple[int, float]) -> FoundPhrase | None:
    for phrase in phrases:
        if phrase.start < end <= phrase.end:
            return _innermost(phrase.inside, end) or phrase
    return None


def _printed_rows(reading: Reading) -> set[int]:
    """The bars in which the score says itself how the pace changes."""
    rows: set[int] = set()
    for entry in reading.plan.slowing:
        bars = entry.value(entry.kind)
        rows |= set(range(bars.start.row or 0, (bars.end.row or 0) + 1))
    return rows


# -- voices


def voice_items(reading: Reading) -> list[Item]:
    """How loud each role is and whether the melody leads, by the texture; none for a single line."""
    roles, notes = reading.lines.role, reading.performance.notes
    if len(set(roles.tolist())) < 2 or not np.any(notes["role"] == MELODY):
        return []
    under = notes[notes["role"] != MELODY]
    together = np.isin(np.round(under["score_onset"], 6), np.round(notes["score_onset"][notes["role"] == MELODY], 6))
    chordal = bool(len(under)) and together.mean() >= TOGETHER
    lead, inner, bass = (5, -3.0, -2.0) if chordal else (20, -6.0, -4.0)
    texture = "chords" if chordal else "a melody with its accompaniment"
    items = [Item({"melody": {"level": "0 dB", "lead": f"{lead} ms"}}, f"it leads: {texture}")]
    for role, name, level in ((BASS, "bass", bass), (INNER, "inner", inner)):
        if np.any(notes["role"] == role):
            items.append(Item({name: decibels(level)}, "softer than the melody"))
    return items
