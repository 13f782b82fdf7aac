"""What a listener may stumble over in a reading: all remarks on it, and the rules for time, level and form.

`timing.rules` says what a rule is; what the hands of a guitarist meet is in `timing.hand_cautions`.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from timing import hand_cautions, met_codes, open_strings, slide_cautions  # noqa: F401 (loading registers rules)
from timing.accepting import with_acceptances
from timing.pace import STANDARD_TEMPO
from timing.phrases import PhraseRun
from timing.plan_time import Slowing
from timing.position import parse_range
from timing.reading import Reading
from timing.remarks import Remark, Severity
from timing.rules import ADVICE, CAUTION, RULES, Sound, remark_at, rule, said, spot_of, written
from timing.slowing import SlowingRun
from timing.where import Fault, Where


def check(reading: Reading, sound: Sound | None = None) -> list[Remark]:
    """Everything there is to say about a reading: what performing it met, then the rules, gravest first; at the end
    what the plan accepts.

    `sound` is what is known of how the strings sound; without it they are judged by the planned levels alone.
    """
    told = (each.find(reading, sound) if each.listens else each.find(reading) for each in RULES if each.find)
    found = dict.fromkeys([*reading.remarks, *(remark for remarks in told for remark in remarks)])
    weight = {Severity.ERROR: 0, CAUTION: 1, ADVICE: 2}

    def gravest_first(r: Remark) -> tuple:
        line = r.place.line if r.place is not None else None
        return r.accepted is not None, weight[r.severity], line or 0, r.bar or 0, r.beat or 0

    return sorted(with_acceptances(found, reading), key=gravest_first)


# -- the slowdown in the middle of a phrase

# Share of slowdowns deeper than 10 % whose slowest point lies in the last half of its four-bar phrase, or within a beat
# after it: 94 %; in the last third: 88 % (random points: 60 and 42 %). 88 performances of the Vienna 4x22 corpus
# (W. Goebl 1999) and some 200 of the ASAP dataset (F. Foscarin et al., ISMIR 2020), as measured for this project.
LAST_HALF, LAST_THIRD = 1 / 2, 2 / 3
DEEP = 0.90

SHORT_PHRASE, LONG_PHRASE, FOUR_BARS = 2.75, 6.25, 4.0  # bars; players do not slow at the end of two
_MOST_TRIED = 50  # phrase ends, for a suggestion


@rule(
    "slowing-mid-phrase",
    "Listeners take the slowest point for the end of a phrase; in the middle of one it cuts the line in two.",
)
def slowing_mid_phrase(reading: Reading) -> Iterator[Remark]:
    where, seen = reading.where, set()
    for slow in reading.pace.slowings:
        entry, spot = slow.entry, where.beat_before(slow.until)
        if entry.kind in Slowing.HURRYING or (id(entry), spot[:2]) in seen:
            continue
        severity, phrase, share = judge(slow.until, slow.to, reading)
        if severity is None:
            continue
        seen.add((id(entry), spot[:2]))
        message = (
            f"the {entry.kind} {entry.where} is slowest at {said(spot)}, {share:.0%} of the way through the phrase "
            f"{phrase.phrase.bars}, which is unusual: listeners hear the slowest point as an ending, so it cuts the "
            "phrase in two"
        )
        end, suggestion = _moved(slow, reading)
        if end is not None:
            message += f"; the nearest phrase end is at {said(where.beat_before(end))}"
        if phrase.bars > LONG_PHRASE:
            message += f" (if a smaller phrase ends at {said(spot)}, say so with 'inside')"
        yield remark_at(severity, "slowing-mid-phrase", message, spot, entry.place(entry.kind), suggestion)


def judge(end: float, to: float, reading: Reading) -> tuple[Severity | None, PhraseRun | None, float]:
    """How unusual it is to be slowest (at the pace `to`) at the quarter `end`; in which phrase, how far through (0-1).

    The place is judged against the innermost phrase of about four bars; in a long phrase that is not divided, against
    its last four bars.
    """
    beat = reading.where.felt_beat(end)
    starts, ends, bars = reading.phrase_spans
    around = np.flatnonzero((starts + 1e-6 < end) & (end <= ends + beat + 1e-6))
    if not len(around):
        return None, None, 0.0
    grown = around[bars[around] >= min(SHORT_PHRASE, bars[around].max())]
    if np.any(np.abs(ends[grown] - end) <= beat + 1e-6):
        return None, None, 1.0
    row = grown[np.argmin(bars[grown])]
    length = ends[row] - starts[row]
    judged = length * FOUR_BARS / bars[row] if bars[row] > LONG_PHRASE else length
    late = 1 - (ends[row] - end) / judged
    deep = to <= DEEP + 1e-9
    if late < LAST_HALF - 1e-9:
        severity = CAUTION if deep else ADVICE
    else:
        severity = ADVICE if deep and late < LAST_THIRD - 1e-9 else None
    return severity, reading.phrases[row], 1 - float((ends[row] - end) / length)


def _moved(slow: SlowingRun, reading: Reading) -> tuple[float | None, str | None]:
    """The nearest phrase end where the slowdown is not unusual, in quarters, and the entry as it is written there."""
    where, passes = reading.where, slow.entry.passes
    _, ends, bars = reading.phrase_spans
    ends = np.unique(ends[bars >= min(SHORT_PHRASE, bars.max())])
    nearest = ends[np.lexsort((-ends, np.abs(ends - slow.until)))]
    for end in nearest[:_MOST_TRIED].tolist():
        start = max(end - slow.run.length, _line_start(end, where))
        text = where.range_text(start, end)
        try:
            runs = [run for run in where.runs(parse_range(text), passes) if run.complete]
        except (Fault, ValueError):
            continue
        if runs and all(judge(run.end, slow.to, reading)[0] is None for run in runs):
            return end, _rewritten(slow.entry, text)
    return None, None


def _line_start(quarters: float, where: Where) -> float:
    """The quarter at which the line of neighbouring bars that is over here, or goes on, begins."""
    ordinal = where.ordinal(quarters - 1e-4)
    breaks = np.flatnonzero(~where.neighbours[:ordinal])
    return float(where.bars["start"][breaks[-1] + 1 if len(breaks) else 0])


def _rewritten(entry: Slowing, bars: str) -> str:
    """The entry as the plan would write it, over other bars."""
    source = entry._source if isinstance(entry._source, dict) else {}
    others = {key: value for key, value in source.items() if key not in (entry.kind, "why")}
    if entry.then is not None:
        others["then"] = "a tempo"  # the place by which it came back belongs to the old bars
    return written({entry.kind: bars, **others})


@rule("no-phrases", "Without phrases there is nothing to judge a slowdown by.")
def no_phrases(reading: Reading) -> Iterator[Remark]:
    slow = next((s for s in reading.pace.slowings if s.entry.kind not in Slowing.HURRYING), None)
    if slow is not None and not reading.plan.phrases:
        message = "the plan has slowdowns but no phrases, so where they fall cannot be judged"
        first, last = (reading.score.bar_name(row) for row in (0, len(reading.score.bars) - 1))
        place = slow.entry.place(slow.entry.kind)
        yield Remark(ADVICE, "no-phrases", message, place, suggestion=f"phrases: [{{bars: {first}-{last}}}]")


@rule("no-return", "A pace that is never taken back sounds like a new tempo, not like the end of a phrase.")
def no_return(reading: Reading) -> Iterator[Remark]:
    slowings, where = reading.pace.slowings, reading.where
    last_bar, releases = float(where.bars["start"][-1]), np.array(reading.pace.releases)
    seen = set()
    for slow, following in zip(slowings, [*(s.run.start for s in slowings[1:]), where.length], strict=False):
        entry, end = slow.entry, slow.until
        chained = following < where.length and following <= end + where.felt_beat(end)  # the next one goes on from it
        if entry.then is not None or end >= last_bar - 1e-6 or chained or id(entry) in seen:
            continue
        if np.any((releases >= end - 1e-6) & (releases <= following + 1e-6)):
            continue
        seen.add(id(entry))
        message = f"after the {entry.kind} {entry.where} nothing brings the tempo back: the new pace stays"
        spot = where.beat_before(end)
        yield remark_at(ADVICE, "no-return", message, spot, entry.place(entry.kind), "then: a tempo")


# -- phrases


@rule("phrases-overlap", "Two phrases that overlap pull the pace both ways at once.")
def phrases_overlap(reading: Reading) -> Iterator[Remark]:
    latest: dict[int, PhraseRun] = {}  # by depth, the phrase that is over last
    seen = set()
    for phrase in reading.phrases:
        older = latest.get(phrase.depth)
        if older is not None and older.end > phrase.start + 1e-6 and (older.number, phrase.number) not in seen:
            seen.add((older.number, phrase.number))
            message = f"the phrase {phrase.phrase.bars} begins before the phrase {older.phrase.bars} is over"
            spot, place = reading.where.beat(phrase.start), phrase.phrase.place("bars")
            yield remark_at(CAUTION, "phrases-overlap", message, spot, place, "let one end where the other begins")
        if older is None or phrase.end > older.end:
            latest[phrase.depth] = phrase


@rule("phrase-outside", "A smaller phrase that reaches out of the larger one leaves no single ending to breathe at.")
def phrase_outside(reading: Reading) -> Iterator[Remark]:
    current: dict[int, PhraseRun] = {}  # by number, the hearing that began last
    seen = set()
    for phrase in reading.phrases:
        current[phrase.number] = phrase
        outer = current.get(phrase.outer)
        out = phrase.outer is not None and (outer is None or phrase.end > outer.end + 1e-6)
        if out and phrase.number not in seen:
            seen.add(phrase.number)
            message = f"the phrase {phrase.phrase.bars} does not lie inside the one it is listed in"
            spot, place = reading.where.beat(phrase.start), phrase.phrase.place("bars")
            yield remark_at(
                CAUTION, "phrase-outside", message, spot, place, "keep it within the bars of the outer phrase"
            )


# -- the second time


@rule("second-time-same", "A repeat that says exactly the same twice is a chance left unused.")
def second_time_same(reading: Reading) -> Iterator[Remark]:
    bars, score = reading.performance.bars, reading.score
    before = _heard_before(bars["row"])
    again = before >= 0
    features = _features(reading)
    same = again & np.isclose(features, features[:, before], rtol=0, atol=1e-6).all(axis=0)
    for line in np.split(np.arange(len(bars)), np.flatnonzero(~reading.where.neighbours) + 1):
        heard = line[again[line]]
        if len(heard) and same[heard].all():
            first, last = bars[heard[0]], bars[heard[-1]]
            names = [score.bar_name(int(bar["row"])) for bar in (first, last)]
            span = "-".join(dict.fromkeys(names))
            message = (
                f"bar{'s' * (len(heard) > 1)} {span} {'are' if len(heard) > 1 else 'is'} heard again "
                f"(pass {first['pass']}) exactly as before"
            )
            pass_ = "" if first["pass"] == 2 else f", pass: {first['pass']}"
            spot = reading.where.beat(float(first["start"]))
            suggestion = f"second time: [{{bars: {span}, softer: 3 dB{pass_}}}]"
            yield remark_at(ADVICE, "second-time-same", message, spot, None, suggestion)


def _heard_before(rows: np.ndarray) -> np.ndarray:
    """(n,) the performed bar that was the hearing before this one of the same bar; -1 the first time."""
    order = np.argsort(rows, kind="stable")
    before = np.full(len(rows), -1)
    repeated = rows[order][1:] == rows[order][:-1]
    before[order[1:][repeated]] = order[:-1][repeated]
    return before


def _features(reading: Reading) -> np.ndarray:
    """(k, bars) what a listener can tell two hearings of a bar by: how long it is, and when, how long, how loud, in
    which tone, on which string and how its notes sound and slide, added up."""
    bars, notes, slides = reading.performance.bars, reading.performance.notes, reading.performance.glides
    edges = reading.performance.time.seconds(np.append(bars["start"], reading.where.length))
    sounding = np.minimum(notes["end"], edges[notes["ordinal"] + 1]) - notes["onset"]
    columns = [notes[name] for name in ("level", "tone", "string", "technique", "attack")]
    columns.append(np.nan_to_num(notes["pluck"]))
    columns += [notes["onset"] - edges[notes["ordinal"]], sounding]
    sums = [np.bincount(notes["ordinal"], column.astype(float), len(bars)) for column in columns]
    slid = notes["ordinal"][slides["note"]]
    sums += [np.bincount(slid, moved, len(bars)) for moved in (slides["swell"], slides["arrive"] - slides["leave"])]
    return np.stack([np.diff(edges), *sums])


# -- level and tempo

SOFTEST = 40 * np.log10(1 / 127)  # dB: velocity 1, by the law of SoundFont 2.04 and General MIDI 2
MOST_SWELL = 6.0  # dB by which a sounding note can grow: CC11 has 5.98 above its rest, within half a step of it


@rule("level-out-of-range", "What an instrument cannot give is lost, and the difference that was planned with it.")
def level_out_of_range(reading: Reading) -> Iterator[Remark]:
    performance = reading.performance
    notes, curves, glides = performance.notes, performance.curves, performance.glides
    for word, excess in (("louder", notes["level"]), ("softer", SOFTEST - notes["level"])):
        change = f"take the dynamics {{}} {'down' if word == 'louder' else 'up'}"
        yield from _beyond(notes, excess, f"{word} than a note can be", change)
    rows = np.concatenate([curves["note"], glides["note"]])
    swells = np.full(len(notes), -np.inf)
    np.maximum.at(swells, rows, np.concatenate([curves["level"], glides["swell"]]) - MOST_SWELL)
    alone = performance.lanes["sliding"][notes["lane"]]  # such a note is struck harder and held back before it swells
    what = f"to swell further than the {MOST_SWELL:g} dB that a sounding note can"
    yield from _beyond(notes, np.where(alone, -np.inf, swells), what, "let it swell {} less")
    room = np.maximum(-notes["level"], 0)
    what = f"to swell to more than {MOST_SWELL:g} dB above the loudest note"
    yield from _beyond(notes, np.where(alone, swells - room, -np.inf), what, "let it swell {} less")


def _beyond(notes: np.ndarray, excess: np.ndarray, what: str, suggestion: str) -> Iterator[Remark]:
    """A caution at the worst of the notes that go beyond a limit by `excess` dB."""
    rows = np.flatnonzero(excess > 1e-6)
    if not len(rows):
        return
    note, most = notes[rows[np.argmax(excess[rows])]], f"{excess[rows].max():.1f} dB"
    many = "1 note is" if len(rows) == 1 else f"{len(rows)} notes are"
    spot = spot_of(note)
    message = f"{many} {what}, by up to {most} at {said(spot)}: the limit is what will sound"
    yield remark_at(CAUTION, "level-out-of-range", message, spot, None, suggestion.format(most))


@rule("no-tempo", "A tempo that nobody chose is seldom the one that is meant.")
def no_tempo(reading: Reading) -> Iterator[Remark]:
    if not reading.plan.tempo and not np.isfinite(reading.score.marks_of("tempo")["value"]).any():
        message = f"neither plan nor score says a tempo: {STANDARD_TEMPO:g} quarters a minute are played"
        yield Remark(ADVICE, "no-tempo", message, suggestion="tempo: quarter = 72")


@rule("percussion-pitched", "A drum that sounds like a tune is not what the score means.")
def percussion_pitched(reading: Reading) -> Iterator[Remark]:
    for part in reading.score.parts[reading.score.parts["percussion"]]:
        message = f"the part {part['name']} is percussion: it is played with pitches, by one sound"
        yield Remark(ADVICE, "percussion-pitched", message, suggestion=f"instrument: {{{part['name']}: woodblock}}")


@rule("bare-tempo", "In a compound metre most people feel dotted beats, so a bare number is easily misread.")
def bare_tempo(reading: Reading) -> Iterator[Remark]:
    opening = reading.score.bars[0]
    beat = {8: "dotted quarter", 16: "dotted eighth", 32: "dotted sixteenth"}.get(int(opening["unit"]))
    if beat is None or not Where.is_compound(opening):
        return
    for mark in reading.plan.tempo:
        bare = (mark._source or {}).get("tempo")
        if str(bare).replace(".", "", 1).isdecimal():
            message = f"the bare tempo {bare} counts quarters, though this metre is felt in {beat}s"
            suggestion = f"tempo: {beat} = {float(bare) * int(opening['unit']) / 12:.4g}"
            yield Remark(ADVICE, "bare-tempo", message, mark.place("tempo"), suggestion=suggestion)
            return
