"""The shape that a first reading gives to phrases and voices: arches, beats that go with the movement, who leads.

Where nothing else is said the values are measured means of human performances (W. Goebl's Vienna 4x22 corpus, 1999, and
F. Foscarin et al., ASAP, ISMIR 2020).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from timing.drafting.items import DraftItem, decibels, percent, sureness
from timing.drafting.slowing import equal_voices, evenness, in_bars
from timing.finding.phrases import FoundPhrase, range_of
from timing.performance import BASS, INNER, MELODY
from timing.reading import Reading
from timing.score import Score
from timing.where.naming import bars_at

ABOUT_FOUR = (2.75, 6.0)  # bars of a phrase that counts as one of about four
_LEAST_PARTED = 8.5  # bars; what is longer keeps the phrases inside it, though one of them be short
EIGHT = 12.0  # bars up to which a phrase counts as one of about eight
LEAST_ARCH = 0.02  # of pace: less is not heard
# How much longer a beat is in which half as many notes begin, by 53 pieces of the ASAP dataset: from 4 to 8 % drafts
# agree with players equally well, whichever composer is left out (tests/bench/draft_timing.py).
STILL, STEADY = "5%", "2%"  # the second where equal voices keep time
VARIED = 0.95  # of the beats that move alike, above which no beat is still
TOGETHER = 0.8  # of the notes under a melody that begin with one of it: then the texture is chordal (own choice)


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
    """Rise and fall of a phrase by its length, the less of pace the less sure its end is, with the usual peaks; half as
    much of pace as phrases have whose ends are known, since with more drafts agree less with players. Sections that
    hold sections have none, nor have phrases of one or two bars."""
    least, most = ABOUT_FOUR
    if phrase.bars < least or phrase.bars > EIGHT or any(inner.section for inner in phrase.inside):
        return None
    pace = (0.04 if phrase.bars <= most else 0.03) * phrase.sure**2
    return ({"pace": percent(round(pace, 2))} if pace >= LEAST_ARCH else {}) | {"level": "2 dB"}


def phrase_items(score: Score, phrases: Sequence[FoundPhrase], shaped: bool, said: dict) -> tuple[DraftItem, ...]:
    """The phrases as entries, with arches where they are to be `shaped`; `said` has what there is to say of their ends
    besides, by their end."""
    items = []
    for phrase in phrases:
        entry: dict = {"bars": str(range_of(score, phrase))}
        if shaped and (arch := arch_of(phrase)):
            entry["arch"] = arch
        kind = "section" if phrase.section and phrase.bars > ABOUT_FOUR[1] else "phrase"
        why = f"a {kind} of {in_bars(phrase.bars)}; its end is {sureness(phrase.sure)}"
        if not phrase.inside and phrase.end in said:
            why += f"; {said[phrase.end]}"
        items.append(DraftItem(entry, why, phrase_items(score, phrase.inside, shaped, said)))
    return tuple(items)


# -- beats


def movement_items(reading: Reading) -> list[DraftItem]:
    """Beats with few notes a little longer, throughout the piece; none where all beats move alike."""
    if evenness(reading) > VARIED:
        return []
    why = "beats with half as many notes are so much longer, as pianists play them; the whole keeps its length"
    entry = {"bars": bars_at(reading.score, 0, len(reading.score.bars) - 1)}
    return [DraftItem(entry | {"still beats": STEADY if equal_voices(reading) else STILL}, why)]


# -- voices


def voice_items(reading: Reading) -> list[DraftItem]:
    """How loud each role is and whether the melody leads, by the texture; none for a single line."""
    notes = reading.performance.notes
    if len(np.unique(notes["role"])) < 2 or not np.any(notes["role"] == MELODY):
        return []
    under = notes[notes["role"] != MELODY]
    together = np.isin(np.round(under["score_onset"], 6), np.round(notes["score_onset"][notes["role"] == MELODY], 6))
    chordal = bool(len(under)) and together.mean() >= TOGETHER
    lead, inner, bass = (5, -3.0, -2.0) if chordal else (20, -6.0, -4.0)
    texture = "chords" if chordal else "a melody with its accompaniment"
    items = [DraftItem({"melody": {"level": "0 dB", "lead": f"{lead} ms"}}, f"it leads: {texture}")]
    for role, name, level in ((BASS, "bass", bass), (INNER, "inner", inner)):
        if np.any(notes["role"] == role):
            items.append(DraftItem({name: decibels(level)}, "softer than the melody"))
    return items
