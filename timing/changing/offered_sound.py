"""What could stand at a place of sound: dynamics, accents, the second time, tones, strings, slides, who leads."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from timing.changing.here import Here, Offer
from timing.changing.settings import changed_entry
from timing.columns import NEAR
from timing.instruments.tuning import FRETS, GUITARS
from timing.marks.slides import CANNOT_BEND, SLIDE_SWELL
from timing.marks.sound import BOWED
from timing.notes.ornaments import whole_notes
from timing.performance import HARMONIC, MELODY, TONES
from timing.plan.edits import added, anew
from timing.plan.kinds import DYNAMICS, Act
from timing.plan.words import LEVELS
from timing.strings.playable import frets_on

_SOFTER = "3 dB"  # less than one dynamic mark, and surely heard (the house's own value)
_ACCENT = "3 dB"
_LEAD = "20 ms"  # W. Goebl 2001, as in the handbook


def offered_sound(here: Here) -> list[Iterator[Offer]]:
    """All that changes level, tone, strings and voices."""
    kinds = (_hairpins, _marks, _accents, _second_time, _tones, _slides, _strings, _leading)
    return [offered(here) for offered in kinds]


# -- level


def _hairpins(here: Here) -> Iterator[Offer]:
    """Into the place (which it arrives on), or over the stretch."""
    if here.stretch:
        start, end, where = here.start, here.over, "over this stretch"
    else:
        found = here.before(here.over_quarter - here.quarter + here.full_bar)
        start, end, where = found or here.start, here.start, "into this"
    if here.page.quarter(end) - here.page.quarter(start) < NEAR:
        return
    bars = here.page.range_text(start, end, arriving=True)
    for kind in ("crescendo", "diminuendo"):
        taken = any(
            entry.act is not Act.STANDS and abs(here.ends(entry, entry.kind)[1] - here.page.quarter(end)) < NEAR
            for _, entry in here.entries("dynamics")
        )
        if not taken:
            entry = {kind: bars, "by": f"{DYNAMICS[kind].usual:g} dB"}
            yield here.add(kind, f"{kind} {where}", "dynamics", "level", entry)


def _marks(here: Here) -> Iterator[Offer]:
    """Dynamic marks from the place on; where one stands already, in its place."""
    standing = next(
        (
            (item, entry) for item, entry in here.entries("dynamics")
            if entry.act is Act.STANDS and entry.mark and entry.for_ is None and entry.passes == here.pass_
            and here.begins_at(entry, "at")
        ),
        None,
    )  # fmt: skip
    for mark in LEVELS:
        words = f"{mark} from here"
        if standing is None:
            yield here.add(f"mark {mark}", words, "dynamics", "level", {"at": here.at_text, "mark": mark})
        elif standing[1].mark != mark:
            edit = changed_entry(here.reading, standing[0], {"mark": mark})
            yield Offer.of(f"mark {mark}", words, "dynamics", "level", edit)


def _accents(here: Here) -> Iterator[Offer]:
    if len(here.notes) and not any(here.begins_at(entry, "at") for _, entry in here.entries("accents")):
        yield here.add("accent", "accent", "accents", "level", {"at": here.beat_text, "by": _ACCENT})


def _second_time(here: Here) -> Iterator[Offer]:
    """Softer the second time, where the bars are heard twice and nothing says yet what differs."""
    bars, lengths = here.where.bars, here.score.bars["length"].astype(float)
    free = np.isin(np.arange(len(lengths)), bars["row"][bars["pass"] == 2])
    free &= np.bincount(bars["row"], minlength=len(lengths)) > 1  # what stands under a second ending is heard once
    for _, entry in here.entries("second time"):
        if entry.passes in (None, 2):
            begins, ends = here.ends(entry, "bars")
            free &= (here.page.starts[1:] < begins + NEAR) | (here.page.starts[:-1] > ends - NEAR)
    row, last = here.start[0], here.over[0]
    if not free[row : last + 1].all():
        return
    if not here.stretch:
        taken = np.flatnonzero(~free)
        row = int(taken[taken < row].max(initial=-1)) + 1
        last = int(taken[taken > last].min(initial=len(free))) - 1
    text = here.page.range_text((row, 0.0), (last, float(lengths[last])))
    edit = added("second time", {"bars": text, "softer": _SOFTER})
    yield Offer.of("second time", f"softer the second time ({text})", "second time", "level", edit)


# -- tone, strings, slides


def _tones(here: Here) -> Iterator[Offer]:
    """On guitars and bowed strings, from the place to the end of its phrase, or over the stretch."""
    if not here.programs & {*GUITARS, *BOWED}:
        return
    over = here.over_quarter if here.stretch else _phrase_over(here)
    if over <= here.quarter + NEAR:
        return
    notes = here.reading.performance.notes
    sounding = {TONES[tone] for tone in np.unique(notes["tone"][here.notes]).tolist()} if len(here.notes) else set()
    bars = here.page.range_text(here.start, here.page.ends(over))
    for tone in ("sul tasto", "sul ponticello", "naturale"):
        if sounding != {tone} and not (tone == "naturale" and not sounding):
            words = f"{tone} {'over this stretch' if here.stretch else 'from here'}"
            yield here.add(f"tone {tone}", words, "tone", "tone", {"bars": bars, "tone": tone})


def _phrase_over(here: Here) -> float:
    """The end of the innermost phrase that holds the place, or of the piece."""
    ends = [each.end for each in here.phrases if each.start - NEAR < here.quarter < each.end - NEAR]
    return min(ends, default=float(here.page.starts[-1]))


def _slides(here: Here) -> Iterator[Offer]:
    """A slide into the place from the note before it in the same voice, as the plan would find the two."""
    notes = here.reading.performance.notes
    if not len(here.notes) or ((here.score.marks_of("glissando")["goal"] >= 0).any() and _drawn(here)):
        return
    moment = here.moments[0]
    line_start = here.where.line(moment)[0] if moment > 0 else 0.0
    goals, voices = _highest(notes, here.notes), notes[["part", "staff", "voice"]]
    found: list[tuple[int, int]] = []
    for voice, goal in goals.items():
        mine = np.flatnonzero((voices == np.array(voice, voices.dtype)) & (notes["score_length"] > 0))
        earlier = mine[notes["score_onset"][mine] < moment - NEAR]
        if not len(earlier):
            continue
        onset = float(notes["score_onset"][earlier].max())
        led = earlier[np.abs(notes["score_onset"][earlier] - onset) < NEAR]
        note = int(led[np.argmax(notes["pitch"][led])])
        reaches = onset + float(notes["score_length"][note]) > moment - NEAR
        if onset >= line_start - NEAR and reaches and int(here.where.ordinal(onset)) >= here.heard[0] - 1:
            found.append((note, goal))
    for note, goal in sorted(found, key=lambda pair: -int(notes["pitch"][pair[1]])):
        if (offer := _slide(here, note, goal)) is not None:
            yield offer
            return


def _slide(here: Here, note: int, goal: int) -> Offer | None:
    """The offer of a slide between two notes, if the plan's words for it mean these two and they can slide."""
    notes, performance = here.reading.performance.notes, here.reading.performance
    onset = float(notes["score_onset"][note])
    there = np.flatnonzero((np.abs(notes["score_onset"] - onset) < NEAR) & (notes["score_length"] > 0))
    first, last, owner = whole_notes(notes)
    ornamented = any(first[owner[row]] != last[owner[row]] for row in (note, goal))
    begun, goals = _highest(notes, there), _highest(notes, here.notes)
    shared = begun.keys() & goals.keys()
    best = max(shared, key=lambda v: (notes["pitch"][begun[v]], notes["pitch"][goals[v]], v), default=None)
    program = int(performance.lanes["program"][notes["lane"][note]])
    if best is None or (begun[best], goals[best]) != (note, goal) or ornamented or program in CANNOT_BEND:
        return None
    if notes["pitch"][note] == notes["pitch"][goal] or here.score.parts["percussion"][notes["part"][note]]:
        return None
    bar = here.where.bars[here.where.ordinal(onset)]
    place = here.page.at_text((int(bar["row"]), onset - float(bar["start"])))
    entry = {"from": place, "to": here.at_text}
    if any(abs(here.quarter - here.ends(each, "to")[1]) < NEAR for _, each in here.entries("glissandi") if each.to):
        return None
    swell = {"swell": f"{SLIDE_SWELL:g} dB"} if program in GUITARS else {}
    return here.add("slide", "slide into this note", "glissandi", "tone", entry | swell)


def _drawn(here: Here) -> bool:
    """Whether a slide line of the score leads to the place."""
    marks, notes = here.score.marks_of("glissando"), here.score.notes
    goals = notes[marks["goal"][marks["goal"] >= 0]]
    return bool(np.any((goals["bar"] == here.start[0]) & (np.abs(goals["offset"] - here.start[1]) < NEAR)))


def _highest(notes: np.ndarray, rows: np.ndarray) -> dict[tuple[int, int, int], int]:
    """The highest of these notes in each voice."""
    rows = rows[np.argsort(notes["pitch"][rows], kind="stable")]
    return {notes[["part", "staff", "voice"]][row].item(): int(row) for row in rows}


def _strings(here: Here) -> Iterator[Offer]:
    """The strings on which the highest note that begins there can lie, but the one that it lies on."""
    performance = here.reading.performance
    rows = here.notes[performance.notes["string"][here.notes] > 0]
    if not len(rows):
        return
    note = performance.notes[rows[np.argmax(performance.notes["pitch"][rows])]]
    part, harmonic = int(note["part"]), bool(note["technique"] == HARMONIC)
    frets = FRETS - int(here.reading.capos[part])
    found = frets_on(int(note["pitch"]), performance.tunings[part], frets, harmonic)
    standing = next(
        (
            (item, entry) for item, entry in here.entries("strings")
            if entry.at is not None and entry.string is not None and entry.for_ is None and entry.name is None
            and entry.passes == here.pass_ and here.begins_at(entry, "at")
        ),
        None,
    )  # fmt: skip
    for string, fret in sorted(found.items()):
        if string == int(note["string"]):
            continue
        words = f"on string {string} ({'open' if fret == 0 else f'fret {fret}'})"
        if standing is None:
            entry = {"at": here.beat_text, "string": string}
            yield here.add(f"string {string}", words, "strings", "strings", entry)
        else:
            edit = changed_entry(here.reading, standing[0], {"string": string, "fret": None})
            yield Offer.of(f"string {string}", words, "strings", "strings", edit)


# -- voices


def _leading(here: Here) -> Iterator[Offer]:
    """The melody a little before the other voices: for the whole piece."""
    reading = here.reading
    melody = next((each for each in here.items if each.section == "voices" and each.name == "melody"), None)
    roles = reading.performance.notes["role"]
    if not (roles == MELODY).any() or (roles == MELODY).all():
        return
    if melody is None:
        edit = added("voices", {"melody": {"lead": _LEAD}})
    elif melody.entry is not None and "lead" not in (melody.entry.source or {}):
        edit = anew("voices", melody.entry, {"lead": _LEAD})
    else:
        return
    yield Offer.of("lead", "the melody leads (in the whole piece)", "voices", "voices", edit)
