"""What is written over and under the music, and where: on the page, each at the place of its entry in the plan."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType

import numpy as np

from timing.columns import NEAR, WITHIN
from timing.comparing import is_held, last_beats
from timing.plan.entry import Entry
from timing.plan.kinds import Act
from timing.reading import Reading
from timing.remarks import Place, Remark
from timing.where import Fault
from timing.where.beats import felt_beat
from timing.where.naming import BarPlace

# A beat of so many quarters, and the dynamics, as the music font has them (SMuFL 1.4).
NOTES = {4.0: "\ueca2", 2.0: "\ueca3", 1.0: "\ueca5", 0.5: "\ueca7", 0.25: "\ueca9"}
DOT = "\ue1e7"
MARKS = {
    "ppp": "\ue52a", "pp": "\ue52b", "p": "\ue520", "mp": "\ue52c", "mf": "\ue52d", "f": "\ue522", "ff": "\ue52f",
    "fff": "\ue530",
}  # fmt: skip
_INSTANT = 1e-3  # quarters that a label has of a place without a length
_TONES = {"sul ponticello": "sul pont.", "naturale": "naturale"}


@dataclass(frozen=True)
class Label:
    """Something that is written from one place of the page to another. `kind` is one of: phrase, slowing, hold, tempo,
    rubato, dynamic, hairpin, second time, tone, slide, note (nothing but the number of a comment)."""

    kind: str
    text: str
    start: BarPlace
    end: BarPlace
    times: str = ""  # on which it is heard, as "pass 2"; empty: each time
    depth: int = 0  # of a phrase; 0 is the outermost
    printed: bool = False  # in the score as well, so that the engraver has drawn it
    heads: tuple[int, int] = (-1, -1)  # of a slide, rows in Score.heads
    rises: bool = True  # of a slide
    heard: str = ""  # of a slowdown, the pace of its last beat, if it is another than the one it comes to
    why: str = ""
    comment: int = 0  # the number of the comment that says why; 0 for none
    entry: str = ""  # the name of its entry, as `named` has it


@dataclass(frozen=True)
class Comment:
    """A `why:` note of the plan, or a caution: what stands as a number at its place and as text under the system."""

    number: int
    text: str
    caution: bool
    start: BarPlace


def tempo_text(tempo: float, beat: float) -> str:
    """A tempo of so many beats a minute, a beat being so many quarters; the note as the music font has it."""
    note = NOTES.get(beat) or (NOTES[beat / 1.5] + DOT if beat / 1.5 in NOTES else "")
    if not note:
        tempo, note = tempo * beat, NOTES[1.0]
    return f"{note} = {round(tempo, 1):g}"


def labels_of(reading: Reading) -> tuple[Label, ...]:
    """All that is written of a reading, by place; what is said alike of several hearings once."""
    made = [*_phrases(reading), *_slowings(reading), *_tempi(reading), *_holds(reading), *_rubato(reading)]
    made += [*_dynamics(reading), *_second_time(reading), *_tones(reading), *_slides(reading), *_others(reading)]
    return tuple(sorted(made, key=lambda label: (label.start, label.depth, (-label.end[0], -label.end[1]))))


def entry_name(place: Place | None, main: Path | None) -> str:
    """How an entry of a plan is named in a drawing: the line and the column at which it begins, and its file where that
    is not the `main` one: 12:5, 12:5@base.yaml. Empty for what stands in no file."""
    if place is None or place.line is None:
        return ""
    return f"{place.line}:{place.column}" + ("" if place.file == main else f"@{place.file.name}")


def _name(entry: Entry, reading: Reading) -> str:
    plan = reading.plan.place()
    return entry_name(entry.place(), plan.file if plan else None)


# -- kind by kind


def _phrases(reading: Reading) -> Iterator[Label]:
    for each in {run.number: run for run in reading.phrases}.values():
        yield from _on_page("phrase", each.phrase, each.phrase.name or "", reading, each.depth)


def _slowings(reading: Reading) -> Iterator[Label]:
    found, heard = [], {}
    for slow, (last, freely) in zip(reading.pace.slowings, last_beats(reading), strict=True):
        whole = slow.until == slow.run.end
        text = slow.entry.does.label + (f" {_percent(slow.to)}" if whole else "")
        found.append((slow.entry, text, slow.run.start, slow.until))
        if whole and _percent(last) != _percent(slow.to):
            held = " with its hold" if is_held(last, freely) else ""
            heard[text, slow.run.start] = f"last beat {_percent(last)}{held}"
    for entry in reading.plan.slowing:
        if entry.act is Act.RETURNS:
            found += [(entry, entry.does.label, start, end) for start, end in _hearings(entry, reading)]
    yield from _merged("slowing", found, reading, heard)


def _percent(share: float) -> str:
    return f"{share:.0%}".replace("%", "\u00a0%")


def _tempi(reading: Reading) -> Iterator[Label]:
    """Tempo marks after the beginning."""
    time, where, found = reading.performance.time, reading.where, []
    for entry in reading.plan.tempo:
        if entry.at is None and entry.over is None:
            if entry.why:
                found.append((entry, "", 0.0, _INSTANT))
            continue
        for start, end in _hearings(entry, reading):
            at = start if entry.at is not None else min(end, where.length - NEAR)
            beat = float(felt_beat(where.bars[where.ordinal(at)]))
            found.append((entry, tempo_text(float(time.basic(at)) / beat, beat), start, end))
    yield from _merged("tempo", found, reading)


def _holds(reading: Reading) -> Iterator[Label]:
    found = []
    for entry in reading.plan.holds:
        by = f" {_percent(entry.length)}" if entry.length else ""
        by += f" {entry.seconds:g}\u00a0s" if entry.seconds else ""
        by += f" {1000 * entry.by:.0f}\u00a0ms" if entry.by else ""
        text = entry.does.label + by + _of(entry)
        found += [(entry, text.strip(), start, end) for start, end in _hearings(entry, reading)]
    yield from _merged("hold", found, reading)


def _rubato(reading: Reading) -> Iterator[Label]:
    found = []
    for entry in reading.plan.rubato:
        value = entry.value(entry.kind)
        text = entry.does.label
        if entry.act in (Act.SWAYS, Act.FLOWS):
            text = f"{text} {_percent(value)}"
        elif entry.act is Act.DISPLACES:
            text = f"{entry.for_ or ''} {text} {1000 * value:.0f}\u00a0ms".strip()
        heard: Iterable[tuple[float, float]] = _hearings(entry, reading)
        if entry.act is Act.FLOWS:  # it shows in the curve: said once, where it begins
            begins = reading.where.moments(entry.bars.start, entry.passes)
            heard = [(float(start), float(start) + _INSTANT) for start in begins]
        found += [(entry, text, start, end) for start, end in heard]
    yield from _merged("rubato", found, reading)


def _dynamics(reading: Reading) -> Iterator[Label]:
    marks, hairpins = [], []
    for entry in reading.plan.dynamics:
        hearings = list(_hearings(entry, reading))
        if entry.act is Act.STANDS:
            said = [MARKS[entry.mark]] if entry.mark is not None else []
            said += [f"{way} {by:g}\u00a0dB" for way in ("softer", "louder") if (by := getattr(entry, way))]
            marks += [(entry, ", ".join(said) + _of(entry), start, start + _INSTANT) for start, _ in hearings]
            continue
        by = f" {entry.by:g}\u00a0dB" if entry.by is not None else ""
        goal = " \u00a0" + MARKS[entry.to_mark] if entry.to_mark is not None else ""
        hairpins += [(entry, entry.does.label + by + goal + _of(entry), start, end) for start, end in hearings]
    yield from _merged("dynamic", marks, reading)
    yield from _merged("hairpin", hairpins, reading)


def _second_time(reading: Reading) -> Iterator[Label]:
    for entry in reading.plan.second_time:
        said = [f"softer {entry.softer:g}\u00a0dB"] if entry.softer else []
        said += [f"louder {entry.louder:g}\u00a0dB"] if entry.louder else []
        said += [MARKS[entry.dynamics]] if entry.dynamics else []
        said += [_tone(entry.tone)] if entry.tone is not None else []
        yield from _on_page("second time", entry.at_its_pass(), ", ".join(said), reading)


def _tones(reading: Reading) -> Iterator[Label]:
    found = []
    for entry in reading.plan.tone:
        text = _tone(entry.tone) + _of(entry)
        if entry.bars is not None:
            yield from _on_page("tone", entry, text, reading)
        else:
            found += [(entry, text, start, end) for start, end in _hearings(entry, reading)]
    yield from _merged("tone", found, reading)


def _slides(reading: Reading) -> Iterator[Label]:
    performance, score, bars = reading.performance, reading.score, reading.where.bars
    notes, seen = performance.notes, {}
    for glide in performance.glides:
        note, goal = notes[glide["note"]], notes[glide["goal"]]
        entry = reading.plan.glissandi[glide["entry"]]
        heads = int(score.notes["head"][note["id"]]), int(score.notes["head"][goal["id"]])
        start, end = (
            (int(bars["row"][each["ordinal"]]), float(each["score_onset"] - bars["start"][each["ordinal"]]))
            for each in (note, goal)
        )
        key = (int(note["id"]), int(goal["id"]))
        if key not in seen and end >= start:
            rises = bool(goal["pitch"] > note["pitch"])
            seen[key] = Label(
                "slide", "gliss.", start, end, printed=entry.printed, heads=heads, rises=rises, why=entry.why or "",
                entry=_name(entry, reading),
            )  # fmt: skip
    yield from seen.values()


def _others(reading: Reading) -> Iterator[Label]:
    """Entries of which nothing is drawn but their reason."""
    plan = reading.plan
    fingering = plan.fingering or next((entry.name for entry in plan.strings if entry.name), None)
    chosen = [entry for entry in plan.strings if entry.name in (None, fingering)]
    found = []
    for entry in (*plan.accents, *chosen):
        if entry.why:
            found += [(entry, "", start, start + _INSTANT) for start, _ in _hearings(entry, reading)]
    yield from _merged("note", found, reading)


def _of(entry: Entry) -> str:
    """Whose it is, where it is not everyone's."""
    voice = entry.value("for")
    return f" {voice}" if voice else ""


def _tone(tone: str | float) -> str:
    return _TONES.get(tone, tone) if isinstance(tone, str) else f"{tone:g}\u00a0cm from the bridge"


# -- where


def _hearings(entry: Entry, reading: Reading) -> Iterator[tuple[float, float]]:
    """Where an entry is heard, from and to, in quarters along the performed order."""
    where = reading.where
    keys = (entry.kind,) if entry.KINDS else ()
    act = entry.act if entry.DOES else None
    with suppress(Fault):
        for key in (*keys, "bars", "over", "at", "from_"):
            place = getattr(entry, key.replace(" ", "_"), None)
            if place is None or isinstance(place, int | float):
                continue
            if hasattr(place, "start"):
                yield from ((run.start, run.end) for run in where.runs(place, entry.passes, entry.arrives))
            elif act is Act.SILENCES:
                yield from ((float(s) - _INSTANT, float(s)) for s in where.moments(place, entry.passes, after=True))
            else:
                yield from ((float(s), float(s) + _INSTANT) for s in where.moments(place, entry.passes))
            return


def _on_page(kind: str, entry: Entry, text: str, reading: Reading, depth: int = 0) -> Iterator[Label]:
    """The label of an entry over its `bars` as they lie on the page, whatever repeats make of them; none if it is never
    heard."""
    where, bars = reading.where, entry.value("bars")
    with suppress(Fault):
        (first, start), (last, end) = where.point(bars.start), where.range_end(bars)
        rows = where.bars["row"]
        inside = np.flatnonzero((rows >= first) & (rows <= last) & where.on_pass(entry.passes))
        if len(inside):
            whole = np.flatnonzero((rows >= first) & (rows <= last))
            times = "" if len(inside) == len(whole) else times_text(where.bars["pass"][inside])
            ends, why = ((first, float(start)), (last, float(end))), entry.why or ""
            yield Label(kind, text, *ends, times, depth, entry.printed, why=why, entry=_name(entry, reading))


def _merged(
    kind: str,
    found: Iterable[tuple[Entry, str, float, float]],
    reading: Reading,
    heard_as: Mapping[tuple[str, float], str] = MappingProxyType({}),
) -> Iterator[Label]:
    """A label for each place of the page at which the same is said, with the passes on which it is. `found` are
    entries, what is written of them, and where they are heard; `heard_as` what more there is to say, by text and
    beginning."""
    where, bars = reading.where, reading.where.bars
    places: dict[tuple, tuple[set[int], bool, set[str]]] = {}
    names: dict[tuple, str] = {}
    for entry, text, start, end in found:
        first, last = where.ordinal(start), where.ordinal(end - WITHIN)
        begin = (int(bars["row"][first]), round(max(start - float(bars["start"][first]), 0.0), 6))
        stop = (int(bars["row"][last]), round(max(end - float(bars["start"][last]), 0.0), 6))
        if stop >= begin:
            key = (begin, stop, text, entry.why or "")
            passes, printed, more = places.get(key, (set(), True, set()))
            names.setdefault(key, _name(entry, reading))
            places[key] = passes | {first}, printed and entry.printed, more | {heard_as.get((text, start), "")}
    for (begin, stop, text, why), (passes, printed, more) in places.items():
        name = names[begin, stop, text, why]
        heard = more.pop() if len(more) == 1 else ""  # what differs from time to time is not said
        times = _times(passes, begin[0], reading)
        yield Label(kind, text, begin, stop, times, printed=printed, heard=heard, why=why, entry=name)


def _times(heard: set[int], row: int, reading: Reading) -> str:
    """On which hearings of a bar, in words; nothing if on each."""
    if len(heard) >= len(reading.where.hearings(row)):
        return ""
    return times_text(reading.where.bars["pass"][sorted(heard)])


def times_text(passes: np.ndarray) -> str:
    """Pass 2; pass 1, 3."""
    numbers = sorted({int(each) for each in passes})
    return f"pass {', '.join(map(str, numbers))}" if numbers else ""


# -- comments


def numbered(
    labels: tuple[Label, ...], remarks: Iterable[Remark], reading: Reading
) -> tuple[tuple[Label, ...], tuple[Comment, ...]]:
    """The comments by their place, and the labels with their numbers. Of the remarks the cautions that stand count."""
    places: dict[tuple[str, int], BarPlace] = {}  # by what is said, and the bar
    for label in labels:
        if label.why:
            places.setdefault((label.why, label.start[0]), label.start)
    said = [(place, False, text) for (text, _), place in places.items()]
    said += [(_place_of(remark, reading), True, remark.message) for remark in remarks if remark.stands]
    comments: list[Comment] = []
    numbers: dict[tuple[str, int], int] = {}
    for place, caution, text in sorted(said, key=lambda each: each[:2]):
        comments.append(Comment(len(comments) + 1, text, caution, place))
        if not caution:
            numbers[text, place[0]] = len(comments)
    return tuple(replace(each, comment=numbers.get((each.why, each.start[0]), 0)) for each in labels), tuple(comments)


def _place_of(remark: Remark, reading: Reading) -> BarPlace:
    """Where a remark stands on the page; what is of the piece as a whole at its beginning."""
    bars = reading.score.bars
    rows = reading.where.rows_called(remark.bar_name) if remark.bar_name is not None else []
    for row in rows:
        offset = ((remark.beat or 1) - 1) * 4 / max(int(bars["unit"][row]), 1) - float(bars["shift"][row])
        if offset < bars["length"][row] or row == rows[-1]:
            return int(row), max(offset, 0.0)
    return 0, 0.0
