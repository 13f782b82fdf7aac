"""What a listener may stumble over in a reading. Every rule is one small function with its own code.

To add one, write a function that takes a Reading and yields remarks, and decorate it with `rule(code, why)`. The
evidence is what players do, so a rule says "unusual", never "wrong".
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from timing.reading import Reading
from timing.phrases import PhraseRun, where_bars
from timing.plan import Slowing
from timing.remarks import Remark, Severity
from timing.slowing import SlowingRun
from timing.where import Where

ADVICE, CAUTION = Severity.ADVICE, Severity.CAUTION


@dataclass(frozen=True)
class Rule:
    """A rule: its stable code, why it matters to a listener (one sentence), and the function that finds its cases."""

    code: str
    why: str
    find: Callable[[Reading], Iterator[Remark]]


RULES: list[Rule] = []


def rule(code: str, why: str):
    """Register a function as the rule `code`."""

    def register(find: Callable[[Reading], Iterator[Remark]]) -> Callable[[Reading], Iterator[Remark]]:
        RULES.append(Rule(code, why, find))
        return find

    return register


def check(reading: Reading) -> list[Remark]:
    """Everything there is to say about a reading: what performing it met, then the rules, gravest first."""
    found = [*reading.remarks, *(remark for each in RULES for remark in each.find(reading))]
    weight = {Severity.ERROR: 0, Severity.CAUTION: 1, Severity.ADVICE: 2}
    unique = dict.fromkeys(found)
    return sorted(unique, key=lambda r: (weight[r.severity], (r.place.line or 0) if r.place else 0, r.bar or 0, r.beat or 0))


# -- the slowdown in the middle of a phrase

# Share of slowdowns deeper than 10 % whose slowest point lies in the last half of its four-bar phrase, or within a beat
# after it: 94 %; in the last third: 88 % (random points: 60 and 42 %). 88 performances of the Vienna 4x22 corpus
# (W. Goebl 1999) and some 200 of the ASAP dataset (F. Foscarin et al., ISMIR 2020), as measured for this project.
LAST_HALF, LAST_THIRD = 1 / 2, 2 / 3
DEEP = 0.90

SHORT_PHRASE, LONG_PHRASE, FOUR_BARS = 2.75, 6.25, 4.0  # bars; players do not slow at the end of two


@rule(
    "slowing-mid-phrase",
    "Listeners take the slowest point for the end of a phrase; in the middle of one it cuts the line in two.",
)
def slowing_mid_phrase(reading: Reading) -> Iterator[Remark]:
    seen = set()
    for slow in reading.pace.slowings:
        if slow.entry.kind in Slowing.HURRYING or slow.to >= 1:
            continue
        severity, phrase, share = judge(slow, reading)
        spot = reading.where.beat_before(slow.run.end)
        if severity is None or (id(slow.entry), spot[:2]) in seen:
            continue
        seen.add((id(slow.entry), spot[:2]))
        bar, beat, pass_ = spot
        nearest = _nearest_end(slow, reading)
        suggestion = None
        message = (
            f"the {slow.entry.kind} {slow.entry.where} is slowest at {bar}:{beat:g}, {share:.0%} of the way through the phrase "
            f"{phrase.phrase.bars}: unusual, for a slowdown there sounds like an ending and cuts the phrase in two"
        )
        if nearest is not None:
            shifted = reading.where.range_text(max(nearest - slow.run.length, 0.0), nearest)
            suggestion = _rewritten(slow.entry, shifted)
            message += f"; the nearest phrase end is the end of bar {reading.where.beat_before(nearest)[0]}"
        yield Remark(
            severity, "slowing-mid-phrase", message, slow.entry.place(slow.entry.kind), bar, beat, pass_, suggestion
        )


def judge(slow: SlowingRun, reading: Reading) -> tuple[Severity | None, PhraseRun | None, float]:
    """How unusual the place of a slowdown is, in which phrase, and how far through it (0 to 1).

    It is judged by where it ends, against the innermost phrase of about four bars; a long phrase that is not divided
    by its last four bars.
    """
    end, where = slow.run.end, reading.where
    beat = where.felt_beat(end)
    around = [p for p in reading.phrases if p.start + 1e-6 < end <= p.end + beat + 1e-6]
    if not around:
        return None, None, 0.0
    measured = [(where_bars(p.run, where), p) for p in around]
    grown = [pair for pair in measured if pair[0] >= SHORT_PHRASE] or [max(measured, key=lambda pair: pair[0])]
    if any(abs(p.end - end) <= beat + 1e-6 for _, p in grown):
        return None, None, 1.0
    bars, phrase = min(grown, key=lambda pair: pair[0])
    judged = phrase.end - (phrase.end - phrase.start) * min(1.0, FOUR_BARS / bars if bars > LONG_PHRASE else 1.0)
    late = (end - judged) / (phrase.end - judged)
    share = (end - phrase.start) / (phrase.end - phrase.start)
    deep = slow.to <= DEEP + 1e-9
    if late < LAST_HALF - 1e-9:
        return (CAUTION if deep else ADVICE), phrase, share
    if late < LAST_THIRD - 1e-9:
        return (ADVICE if deep else None), phrase, share
    return None, phrase, share


def _nearest_end(slow: SlowingRun, reading: Reading) -> float | None:
    """The quarter at which the nearest phrase of about four bars or more ends."""
    ends = [p.end for p in reading.phrases if where_bars(p.run, reading.where) >= SHORT_PHRASE] or [
        p.end for p in reading.phrases
    ]
    return min(ends, key=lambda end: (abs(end - slow.run.end), end), default=None)


def _rewritten(entry: Slowing, bars: str) -> str:
    """The entry as the plan would write it, over other bars."""
    source = entry._source if isinstance(entry._source, dict) else {}
    others = [f"{key}: {value}" for key, value in source.items() if key not in (entry.kind, "why")]
    return "{" + ", ".join([f"{entry.kind}: {bars}", *others]) + "}"


@rule("no-phrases", "Without phrases there is nothing to judge a slowdown by.")
def no_phrases(reading: Reading) -> Iterator[Remark]:
    if reading.pace.slowings and not reading.plan.phrases:
        entry = reading.pace.slowings[0].entry
        message = "the plan has slowdowns but no phrases, so where they fall cannot be judged"
        yield Remark(ADVICE, "no-phrases", message, entry.place(), suggestion="phrases: [{bars: 1-8, inside: [1-4, 5-8]}]")


@rule("no-return", "A pace that is never taken back sounds like a new tempo, not like the end of a phrase.")
def no_return(reading: Reading) -> Iterator[Remark]:
    slowings, where = reading.pace.slowings, reading.where
    seen = set()
    for slow, following in zip(slowings, [*(s.run.start for s in slowings[1:]), where.length], strict=False):
        last_bar = float(where.bars["start"][-1])
        if slow.entry.then is not None or slow.run.end > last_bar or id(slow.entry) in seen:
            continue
        if any(slow.run.end - 1e-6 <= at <= following + 1e-6 for at in reading.pace.releases):
            continue
        seen.add(id(slow.entry))
        bar, beat, pass_ = where.beat_before(slow.run.end)
        message = f"after the {slow.entry.kind} {slow.entry.where} nothing brings the tempo back: the new pace stays"
        place = slow.entry.place(slow.entry.kind)
        yield Remark(ADVICE, "no-return", message, place, bar, beat, pass_, suggestion="then: a tempo")


@rule("phrases-overlap", "Two phrases that overlap pull the pace both ways at once.")
def phrases_overlap(reading: Reading) -> Iterator[Remark]:
    open_: dict[int, PhraseRun] = {}
    seen = set()
    for phrase in reading.phrases:
        older, outer = open_.get(phrase.depth), open_.get(phrase.depth - 1)
        bar, beat, pass_ = reading.where.beat(phrase.start)
        place = phrase.phrase.place("bars")
        if older is not None and older.end > phrase.start + 1e-6 and (older.number, phrase.number) not in seen:
            seen.add((older.number, phrase.number))
            message = f"the phrase {phrase.phrase.bars} begins before the phrase {older.phrase.bars} is over"
            yield Remark(CAUTION, "phrases-overlap", message, place, bar, beat, pass_, "let one end where the other begins")
        if phrase.depth and (outer is None or phrase.end > outer.end + 1e-6) and (phrase.number,) not in seen:
            seen.add((phrase.number,))
            message = f"the phrase {phrase.phrase.bars} does not lie inside the one it is listed in"
            yield Remark(CAUTION, "phrases-overlap", message, place, bar, beat, pass_, "keep it within the bars of the outer phrase")
        open_[phrase.depth] = phrase


@rule("second-time-same", "A repeat that says exactly the same twice is a chance left unused.")
def second_time_same(reading: Reading) -> Iterator[Remark]:
    bars, notes, time = reading.performance.bars, reading.performance.notes, reading.performance.time
    edges = time.seconds(np.append(bars["start"], reading.where.length))
    values = [np.diff(edges)]
    for column in (notes["level"], notes["tone"].astype(float), np.nan_to_num(notes["pluck"]), notes["onset"] - edges[notes["ordinal"]]):
        values.append(np.bincount(notes["ordinal"], column, len(bars)))
    values = np.round(np.stack(values), 6)
    earlier: dict[int, int] = {}
    same = np.zeros(len(bars), bool)
    for ordinal, row in enumerate(bars["row"]):
        before = earlier.get(int(row))
        same[ordinal] = before is not None and bool(np.all(values[:, before] == values[:, ordinal]))
        earlier[int(row)] = ordinal
    again = np.isin(np.arange(len(bars)), np.flatnonzero(bars["pass"] > 1))
    for stretch in np.split(np.arange(len(bars)), np.flatnonzero(~reading.where.neighbours) + 1):
        heard = stretch[again[stretch]]
        if len(heard) and same[heard].all():
            first, last = (reading.score.bar_name(int(bars["row"][k])) for k in (heard[0], heard[-1]))
            span = first if first == last else f"{first}-{last}"
            message = f"bars {span} are heard again (pass {bars['pass'][heard[0]]}) exactly as before"
            suggestion = f"second time: [{{bars: {span}, softer: 3 dB}}]"
            yield Remark(ADVICE, "second-time-same", message, None, int(bars["number"][heard[0]]), 1.0, int(bars["pass"][heard[0]]), suggestion)


@rule("level-out-of-range", "What an instrument cannot give is lost, and the difference that was planned with it.")
def level_out_of_range(reading: Reading) -> Iterator[Remark]:
    notes = reading.performance.notes
    softest = 40 * np.log10(1 / 127)
    for rows, word, how_far in (
        (np.flatnonzero(notes["level"] > 1e-6), "louder", notes["level"]),
        (np.flatnonzero(notes["level"] < softest - 1e-6), "softer", softest - notes["level"]),
    ):
        if len(rows):
            worst = rows[np.argmax(how_far[rows])]
            note = notes[worst]
            message = (
                f"{len(rows)} note{'s are' * (len(rows) > 1) or ' is'} {word} than a note can be, by up to "
                f"{how_far[worst]:.1f} dB at {note['bar']}:{note['beat']:g}: they will sound at the limit"
            )
            suggestion = f"take the dynamics {how_far[worst]:.1f} dB {'down' if word == 'louder' else 'up'}"
            yield Remark(CAUTION, "level-out-of-range", message, None, int(note["bar"]), float(note["beat"]), int(note["pass"]), suggestion)


@rule("bare-tempo", "In a compound metre most people feel dotted beats, so a bare number is easily misread.")
def bare_tempo(reading: Reading) -> Iterator[Remark]:
    bars = reading.score.bars
    compound = Where.is_compound(bars[0])
    for mark in reading.plan.tempo:
        source = mark._source if isinstance(mark._source, dict) else {}
        if compound and isinstance(source.get("tempo"), int | float):
            message = f"the bare tempo {source['tempo']} counts quarters, though this metre is felt in dotted ones"
            suggestion = f"tempo: dotted quarter = {source['tempo'] / 1.5:g}"
            yield Remark(ADVICE, "bare-tempo", message, mark.place("tempo"), suggestion=suggestion)
            return
