"""The plan: what a musician writes, as validated models. The language itself is described in plans/README.md.

Nothing here knows the score: whether bar 40 exists is seen when plan and score are brought together (`timing.where`).
What the entries of each section hold is in `time`, `sound`, `strings` and `accept`.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any, ClassVar, Self

from pydantic import BeforeValidator, Field, PrivateAttr, WithJsonSchema, WrapValidator

from timing.plan import words
from timing.plan.accept import Acceptance
from timing.plan.entry import AnyEntry, Entry, Faults, KeyFault, Words, exactly_one
from timing.plan.notation import FormKind
from timing.plan.position import shown
from timing.plan.sound import Accent, AnyVoice, Articulation, Dynamic, Glissando, SecondTime, ToneChange
from timing.plan.strings import Capo, Name, Sounds, StringChoice, Tuning
from timing.plan.time import MAX_ENTRIES, AnyPhrase, AnyTempo, Hold, Rubato, Slowing


def _tempo_list(value: Any) -> Any:
    return value if isinstance(value, list | tuple) else (value,)


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
    return [value] if isinstance(value, str | dict) else value


Order = Annotated[
    tuple[words.Range, ...],
    Field(max_length=MAX_ENTRIES),
    BeforeValidator(_order_list),
    words.also("string", "integer"),
    FormKind("text"),
]
Instruments = Annotated[
    str | dict[str, str],
    BeforeValidator(_instruments),
    WithJsonSchema(
        {"type": ["string", "object"], "additionalProperties": {"type": "string"}, "examples": ["classical guitar"]}
    ),
    FormKind("text", 1, 100),
]

SECTIONS = (
    "phrases", "slowing", "rubato", "holds", "dynamics", "accents", "tone", "second time", "glissandi", "strings",
    "accept",
)  # fmt: skip  # these add up; with the groups, what is said later counts
_GROUPS = (
    "instrument", "sounds", "room", "tuning", "capo", "tempo", "order", "marks", "fingering", "voices", "articulation",
)  # fmt: skip

DRY = "dry"
ROOMS = (DRY, "small", "hall")  # in which a plan can be heard

# The score's own marks, by the section of a plan that says the same; its ornaments.
MARKS = ("tempo", "slowing", "holds", "dynamics", "accents", "tone", "glissandi", "strings", "tuning", "ornaments")


PrintedMark = Annotated[
    str, *words.text(80, "as it is printed (rit., mf), or its kind (fermata, slur, staccato, trill, dynamics)")
]


class MarkLeftOut(Entry):
    """A mark of the score that is not played: at a place, or wherever it stands in some bars."""

    KINDS: ClassVar = ("at", "bars")
    model_config = exactly_one(KINDS)

    at: words.Position | None = None
    bars: words.Range | None = None
    mark: PrintedMark


MarkKind = Annotated[str, *words.one_of(MARKS, "a kind of mark")]
_mark_kind = words.word_reader(MARKS, "a kind of mark")


def _kind_or_mark(value: Any, entry: Callable[[Any], MarkLeftOut]) -> MarkLeftOut | str:
    return entry(value) if isinstance(value, dict | MarkLeftOut) else _mark_kind(value)


Cues = Annotated[str, *words.one_of(("play", "silent"), "what becomes of cues")]


class Marks(Words):
    """Which of the score's own marks are not played, and what becomes of notes in cue size."""

    ignore: Annotated[
        tuple[Annotated[MarkLeftOut, WrapValidator(_kind_or_mark), words.also(MarkKind)], ...],
        Field(max_length=MAX_ENTRIES),
        BeforeValidator(_one_or_more),
        words.also("string"),
    ] = Field((), description="kinds of marks, by the section of a plan that says the same, or single marks")
    cues: Cues | None = Field(
        None, description="notes in cue size; unless it is said, those of the voice are played, cues of others are not"
    )


def _marks(value: Any) -> Any:
    """`ignore` stands for all kinds."""
    if isinstance(value, str):
        if value.strip() != "ignore":
            message = f"{shown(value)}: marks can be 'ignore', or some kinds, as in {{ignore: [dynamics, tempo]}}"
            raise words.UnknownWord(message, value, ["ignore"])
        return {"ignore": list(MARKS)}
    return value


ListOf = Annotated[tuple[AnyEntry, ...], Field(max_length=MAX_ENTRIES), _nothing(()), words.OrNothing()]
SectionName = Annotated[str, *words.one_of((*SECTIONS, *_GROUPS), "a section of a plan")]
Title = Annotated[str, *words.text(200, "the title of this reading")]
RoomName = Annotated[str, *words.one_of(ROOMS, "a room")]


class Plan(Words):
    """One reading of one score. An empty plan plays the notes in strict time at an even level."""

    _files: tuple[Path, ...] = PrivateAttr(default=())
    title: Title | None = None
    based_on: words.FileName | None = Field(None, alias="based on", description="the plan this one starts from")
    without: Annotated[tuple[SectionName, ...], BeforeValidator(_one_or_more), words.also("string")] = Field(
        (), description="sections of that plan which this one leaves out"
    )
    score: words.FileName | None = None
    instrument: Instruments | None = Field(None, description="one for all, or one per part")
    sounds: Sounds | None = None
    room: RoomName | None = Field(None, description="what the sound is heard in; dry unless it is said")
    tuning: Tuning | None = Field(None, description="how the strings are tuned, if not as the score says")
    capo: Capo | None = None
    tempo: Annotated[
        tuple[AnyTempo, ...],
        Field(max_length=MAX_ENTRIES),
        BeforeValidator(_tempo_list),
        words.also(words.NewTempo),
    ] = Field((), description="one tempo, or a list of tempi and where each begins")
    order: Order | None = Field(None, description="the bars in the order in which they are played")
    marks: Annotated[Marks, BeforeValidator(_marks), words.also("string")] = Field(
        Marks(), description="the score's own marks act where the plan is silent, unless they are ignored"
    )
    repeats_after_da_capo: words.YesNo = Field(False, alias="repeats after da capo")
    fingering: Name | None = Field(None, description="which of the named ways to play in `strings` is taken")
    voices: Annotated[
        dict[str, AnyVoice],
        Field(max_length=200),
        _nothing({}),
        words.OrNothing(),
    ] = Field({}, description="how loud each voice is, and which leads")
    articulation: Annotated[Articulation, _nothing({}), words.OrNothing()] = Articulation()
    phrases: ListOf[AnyPhrase] = Field((), description="where each phrase begins and ends")
    slowing: ListOf[Slowing] = Field((), description="where the time gives way and comes back")
    rubato: ListOf[Rubato] = Field((), description="where time is stolen and given back")
    holds: ListOf[Hold] = Field((), description="where the time waits")
    dynamics: ListOf[Dynamic] = Field((), description="marks and hairpins")
    accents: ListOf[Accent] = Field((), description="notes that are played louder")
    tone: ListOf[ToneChange] = Field((), description="where the tone changes")
    second_time: ListOf[SecondTime] = Field((), alias="second time", description="what differs from the first time")
    glissandi: ListOf[Glissando] = Field((), description="slides from one note into another")
    strings: ListOf[StringChoice] = Field((), description="on which strings the notes lie, and how they are sounded")
    accept: ListOf[Acceptance] = Field((), description="cautions that are meant to stand, each with its reason")

    @property
    def files(self) -> tuple[Path, ...]:
        """The files that it was read from: its own, and the plans that it is based on. None for one made in Python."""
        return self._files

    @classmethod
    def faults(cls, given: dict[str, Any], made: Self | None) -> Faults:
        emptied = {*SECTIONS, "voices", "articulation"}
        yield from super().faults({key: value for key, value in given.items() if key not in emptied}, made)
        if "without" in given and "based on" not in given:
            yield ("without",), KeyFault("'without' leaves out parts of another plan: name that plan with 'based on'")
        marks = made.tempo if made is not None else ()
        tempi = [number for number, mark in enumerate(marks) if mark.at is None and mark.over is None]
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
