"""The plan: what a musician writes, as validated models. The language itself is described in plans/README.md.

Nothing here knows the score: whether bar 40 exists is seen when plan and score are brought together (`timing.where`).
Numbers that a plan may leave out have their defaults here, each with its source; they act only where the entry stands.
"""

from __future__ import annotations

from typing import Annotated, Any, ClassVar, Self

from pydantic import BeforeValidator, Field, WithJsonSchema

from timing import words
from timing.entry import Entry, Faults, KeyFault, Words, exactly_one, kind_of, misplaced, not_both
from timing.plan_strings import Capo, Name, StringChoice, Tuning
from timing.position import Position, Range

MAX_ENTRIES = 5000  # in one section of a plan


class TempoMark(Entry):
    """A basic tempo: at once from `at` on, or reached gradually `over` a range."""

    NEED_END: ClassVar = ("over",)

    at: words.Position | None = None
    over: words.Range | None = None
    tempo: words.NewTempo
    # 2 changes the tempo by equal amounts in equal times, as a metronome turned evenly would.
    curvature: words.Curvature = 2.0

    @classmethod
    def faults(cls, given: dict, made: Self | None) -> Faults:
        yield from super().faults(given, made)
        yield from not_both(given, "at", "over")
        if "over" not in given:
            yield from misplaced(given, ("curvature",), "only a tempo that is reached 'over' a range has a curvature")


class Voice(Words):
    """How one voice stands out: its level, how far it leads, and (for a role) which voice of the score it is."""

    level: words.Level = 0.0
    lead: words.Lead | None = None
    is_: words.Voices | None = Field(None, alias="is")


class Arch(Words):
    """The rise and fall of pace and level over a phrase. `true` stands for the usual amount."""

    pace: words.ArchPace | None = None
    pace_peak: words.Peak = Field(0.40, alias="pace peak")
    level: words.ArchLevel | None = None
    level_peak: words.Peak = Field(0.55, alias="level peak")


def _arch(value: Any) -> Any:
    answer = words.yes_or_no(value, None)
    return {"pace": True, "level": True} if answer else None if answer is False else words.settings("pace", value)


def _bars_alone(value: Any) -> Any:
    """A phrase may be given by its bars alone."""
    return words.settings("bars", value)


# A phrase, or its bars alone.
AnyPhrase = Annotated["Phrase", BeforeValidator(_bars_alone), words.also(words.Range)]


class Phrase(Entry):
    """A phrase: its bars, the phrases inside it, its rise and fall."""

    bars: words.Range
    name: words.text(60, "what the phrase is called, as in the MIDI file's markers") | None = None
    inside: tuple[AnyPhrase, ...] = Field((), max_length=MAX_ENTRIES)
    arch: Annotated[Arch | None, BeforeValidator(_arch), words.also(words.ArchPace)] = None


class Slowing(Entry):
    """A change of pace that comes back: `to` is the pace against the basic tempo as the range ends."""

    KINDS: ClassVar = (
        "rallentando", "ritardando", "ritenuto", "allargando", "accelerando", "stringendo", "a tempo",
    )  # fmt: skip
    NEED_END: ClassVar = KINDS[:-1]
    HURRYING: ClassVar = ("accelerando", "stringendo")
    model_config = exactly_one(KINDS)

    rallentando: words.Range | None = None
    ritardando: words.Range | None = None
    ritenuto: words.Range | None = None
    allargando: words.Range | None = None
    accelerando: words.Range | None = None
    stringendo: words.Range | None = None
    a_tempo: words.Range | None = Field(None, alias="a tempo")
    to: words.Pace | None = None
    then: words.Then | None = None
    louder: words.Change | None = None
    # Friberg and Sundberg, JASA 105 (1999): listeners rated q = 2 and q = 3 highest; left out it is 3.
    curvature: words.Curvature | None = None

    @classmethod
    def faults(cls, given: dict, made: Self | None) -> Faults:
        yield from super().faults(given, made)
        kind = kind_of(cls, given)
        if kind == "a tempo":
            yield from misplaced(
                given,
                ("to", "then", "louder", "curvature"),
                "'a tempo' goes back to the basic tempo: this has no sense here",
            )
        elif kind is not None:
            if made is not None and made.to is not None and made.to >= 1 and kind not in cls.HURRYING:
                yield ("to",), ValueError(f"the {kind} slows down: 'to' must be below 100% (got {made.to:.0%})")
            if kind != "allargando":
                yield from misplaced(
                    given, ("louder",), f"only an allargando grows 'louder': with the {kind} write a crescendo"
                )


class Hold(Entry):
    """A moment at which the time waits: a fermata, a breath, a caesura, an agogic accent."""

    KINDS: ClassVar = ("fermata", "breath", "caesura", "agogic")
    model_config = exactly_one(KINDS)

    fermata: words.Range | None = None
    breath: words.After | None = None
    caesura: words.After | None = None
    agogic: words.Range | None = None
    length: words.Stretch | None = None
    seconds: words.Silence | None = None
    in_time: words.YesNo = Field(
        False, alias="in time", description="a breath only shortens the note before; nothing waits"
    )

    @classmethod
    def faults(cls, given: dict, made: Self | None) -> Faults:
        yield from super().faults(given, made)
        kind = kind_of(cls, given)
        if kind in ("fermata", "agogic"):
            example = "150%" if kind == "fermata" else "110%"
            yield from misplaced(
                given, ("seconds", "in time"), f"the length of a hold is a share, as in length: {example}"
            )
        elif kind is not None:
            yield from misplaced(given, ("length",), f"a {kind} is given in seconds, as in seconds: 0.2")


class Dynamic(Entry):
    """A dynamic mark at a place, or a hairpin that arrives on the end of its range."""

    KINDS: ClassVar = ("at", "crescendo", "diminuendo", "decrescendo")
    NEED_END: ClassVar = KINDS[1:]
    model_config = exactly_one(KINDS)

    at: words.Position | None = None
    crescendo: words.Range | None = None
    diminuendo: words.Range | None = None
    decrescendo: words.Range | None = None
    mark: words.Mark | None = None
    by: words.Change | None = None
    to_mark: words.Mark | None = Field(None, alias="to mark")
    for_: words.Voices | None = Field(None, alias="for")

    @classmethod
    def faults(cls, given: dict, made: Self | None) -> Faults:
        yield from super().faults(given, made)
        kind = kind_of(cls, given)
        if kind == "at":
            if "mark" not in given:
                yield (), ValueError("a dynamic 'at' a place needs a 'mark', as in {at: 9, mark: f}")
            yield from misplaced(
                given,
                ("by", "to mark"),
                "at one place stands a 'mark'; a crescendo or diminuendo gets there by degrees",
            )
        elif kind is not None:
            yield from misplaced(given, ("mark",), f"a {kind} goes 'by' some dB or 'to mark', as in to mark: f")
            yield from not_both(given, "by", "to mark")
            where = made.value(kind) if made is not None else None
            if where is not None and where.lone and where.start.beat is not None:
                yield (kind,), ValueError(f"a {kind} needs a beginning and an end, as in 5:1 - 7:1")


class Accent(Entry):
    """A note or chord that is played louder."""

    at: words.Position
    by: words.Change = 3.0  # the house's own value: enough to be heard, less than one dynamic mark
    for_: words.Voices | None = Field(None, alias="for")


class ToneChange(Entry):
    """A note, or bars, with a tone of their own."""

    KINDS: ClassVar = ("at", "bars")
    model_config = exactly_one(KINDS)

    at: words.Position | None = None
    bars: words.Range | None = None
    tone: words.Tone
    for_: words.Voices | None = Field(None, alias="for")


class SecondTime(Entry):
    """What differs from the first time through; it comes back by itself."""

    bars: words.Range
    softer: words.Change | None = None
    louder: words.Change | None = None
    dynamics: words.Mark | None = None
    tone: words.Tone | None = None

    @classmethod
    def faults(cls, given: dict, made: Self | None) -> Faults:
        yield from super().faults(given, made)
        yield from not_both(given, "softer", "louder")
        if given.keys() <= {"bars", "pass", "why"}:
            yield (), ValueError("this entry does not say what differs: softer, louder, dynamics or tone")


class Glissando(Entry):
    """A slide from one note into another. Where it does not say which, it shapes the slide lines of the score: all of
    them, or the one that begins at `from`."""

    from_: words.Position | None = Field(None, alias="from")
    to: words.Position | None = None
    glide: words.Glide = 0.3  # the last part of the note, in which the slide moves; common practice: late and quick
    swell: words.Change = 0.0
    arrive: words.one_of(("plucked", "slurred"), "a way to arrive") = "plucked"
    for_: words.Voices | None = Field(None, alias="for")

    @classmethod
    def faults(cls, given: dict, made: Self | None) -> Faults:
        yield from super().faults(given, made)
        if given.get("to") is not None and given.get("from") is None:
            yield ("to",), KeyFault("a slide that ends 'to' a place needs the place that it comes 'from'")


class Articulation(Words):
    """How written signs are played. Lengths are shares of the written note."""

    # Staccato halves the note, staccatissimo quarters it, portato keeps three quarters (C. P. E. Bach 1753 and later
    # tutors, from memory; common practice).
    staccato: words.Share = 0.5
    staccatissimo: words.Share = 0.25
    portato: words.Share = 0.75
    tenuto: words.Share = 1.0
    plain: words.Share = 1.0
    slur_overlap: words.Short = Field(0.02, alias="slur overlap")  # notes under a slur reach into the next one
    slur_end: words.Share = Field(0.9, alias="slur end")  # the last note under a slur is lifted (common practice)
    # An appoggiatura takes half of its main note, two parts of three if that is dotted (C. P. E. Bach 1753, from
    # memory).
    appoggiatura: words.Share = 0.5
    grace: words.Short = 0.07  # each small note before the beat (common practice)
    roll: words.Short = 0.035  # from one note of a rolled chord to the next (common practice)
    roll_ends: words.YesNo = Field(
        False, alias="roll ends on the beat", description="the last note, not the first, is on the beat"
    )


def _tempo_list(value: Any) -> Any:
    return value if isinstance(value, list | tuple) else (value,)


def _tempo_alone(value: Any) -> Any:
    """A tempo that holds from the beginning may be given alone."""
    return words.settings("tempo", value)


def _level_alone(value: Any) -> Any:
    """A voice may be given by its level alone."""
    return words.settings("level", value)


def _order_list(value: Any) -> Any:
    """`[1-8, 1-8, 9-24]`, or the same as one line of text."""
    if isinstance(value, str | int):
        value = value.split(",", MAX_ENTRIES + 1) if isinstance(value, str) else [value]
    if not isinstance(value, list | tuple) or not value:
        raise ValueError("the order is a list of bars, as in [1-8, 1-8, 9-24, 1-8]")
    return value


_instrument = words.text_reader(100)


def _instruments(value: Any) -> Any:
    """One instrument for all parts, or one for each part by its name (judged in `Plan.faults`, each at its place)."""
    return {name: str(each) for name, each in value.items()} if isinstance(value, dict) else _instrument(value)


def _nothing(empty: Any) -> BeforeValidator:
    """A section whose entries are all taken out is empty."""
    return BeforeValidator(lambda value: empty if value is None else value)


def _one_or_more(value: Any) -> Any:
    return [value] if isinstance(value, str) else value


Order = Annotated[
    tuple[words.WholeBars, ...],
    Field(max_length=MAX_ENTRIES),
    BeforeValidator(_order_list),
    words.also("string", "integer"),
]
Instruments = Annotated[
    str | dict[str, str],
    BeforeValidator(_instruments),
    WithJsonSchema(
        {"type": ["string", "object"], "additionalProperties": {"type": "string"}, "examples": ["classical guitar"]}
    ),
]

SECTIONS = (
    "phrases", "slowing", "holds", "dynamics", "accents", "tone", "second time", "glissandi", "strings",
)  # fmt: skip  # these add up; with the groups, what is said later counts
_GROUPS = ("instrument", "tuning", "capo", "tempo", "order", "fingering", "voices", "articulation")


def _section(entry: type[Entry]) -> Any:
    return Annotated[tuple[entry, ...], Field(max_length=MAX_ENTRIES), _nothing(()), words.OrNothing()]


class Plan(Words):
    """One reading of one score. An empty plan plays the notes in strict time at an even level."""

    title: words.text(200, "the title of this reading") | None = None
    based_on: words.FileName | None = Field(None, alias="based on", description="the plan this one starts from")
    without: Annotated[
        tuple[words.one_of((*SECTIONS, *_GROUPS), "a section of a plan"), ...],
        BeforeValidator(_one_or_more),
        words.also("string"),
    ] = Field((), description="sections of that plan which this one leaves out")
    score: words.FileName | None = None
    instrument: Instruments | None = Field(None, description="one for all, or one per part")
    tuning: Tuning | None = Field(None, description="how the strings are tuned, if not as the score says")
    capo: Capo = 0
    tempo: Annotated[
        tuple[Annotated[TempoMark, BeforeValidator(_tempo_alone), words.also(words.NewTempo)], ...],
        Field(max_length=MAX_ENTRIES),
        BeforeValidator(_tempo_list),
        words.also(words.NewTempo),
    ] = Field((), description="one tempo, or a list of tempi and where each begins")
    order: Order | None = Field(None, description="the bars in the order in which they are played")
    repeats_after_da_capo: words.YesNo = Field(False, alias="repeats after da capo")
    fingering: Name | None = Field(None, description="which of the named ways to play in `strings` is taken")
    voices: Annotated[
        dict[str, Annotated[Voice, BeforeValidator(_level_alone), words.also(words.Level)]],
        Field(max_length=200),
        _nothing({}),
        words.OrNothing(),
    ] = Field({}, description="how loud each voice is, and which leads")
    articulation: Annotated[Articulation, _nothing({}), words.OrNothing()] = Articulation()
    phrases: _section(AnyPhrase) = Field((), description="where each phrase begins and ends")
    slowing: _section(Slowing) = Field((), description="where the time gives way and comes back")
    holds: _section(Hold) = Field((), description="where the time waits")
    dynamics: _section(Dynamic) = Field((), description="marks and hairpins")
    accents: _section(Accent) = Field((), description="notes that are played louder")
    tone: _section(ToneChange) = Field((), description="where the tone changes")
    second_time: _section(SecondTime) = Field((), alias="second time", description="what differs from the first time")
    glissandi: _section(Glissando) = Field((), description="slides from one note into another")

    strings: _section(StringChoice) = Field((), description="on which strings the notes lie, and how they are sounded")

    @classmethod
    def faults(cls, given: dict, made: Self | None) -> Faults:
        emptied = {*SECTIONS, "voices", "articulation"}
        yield from super().faults({key: value for key, value in given.items() if key not in emptied}, made)
        if "without" in given and "based on" not in given:
            yield ("without",), KeyFault("'without' leaves out parts of another plan: name that plan with 'based on'")
        tempi = [n for n, mark in enumerate(made.tempo) if mark.at is mark.over is None] if made is not None else []
        for again in tempi[1:]:
            message = (
                "a tempo without a place holds from the beginning: one is enough, so say 'at' which bar this one begins"
            )
            yield ("tempo", again), ValueError(message)
        if isinstance(instruments := given.get("instrument"), dict):
            for name, instrument in instruments.items():
                try:
                    _instrument(instrument)
                except ValueError as fault:
                    yield ("instrument", name), fault


__all__ = [
    "Accent", "Arch", "Articulation", "Dynamic", "Entry", "Glissando", "Hold", "Phrase", "Plan", "Position", "Range",
    "SecondTime", "Slowing", "StringChoice", "TempoMark", "ToneChange", "Voice",
]  # fmt: skip
