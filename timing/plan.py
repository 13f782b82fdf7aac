"""The plan: what a musician writes, as validated models. The language itself is described in plans/README.md.

Nothing here knows the score: whether bar 40 exists is seen when plan and score are brought together (`timing.where`).
Numbers that a plan may leave out have their defaults here, each with its source; they act only where the entry stands.
"""

from __future__ import annotations

from keyword import iskeyword
from typing import Annotated, Any, ClassVar, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, PrivateAttr, WithJsonSchema, model_validator

from timing import words
from timing.position import Position, Range, parse_range
from timing.remarks import Place

MAX_ENTRIES = 5000  # in one section of a plan


class Words(BaseModel):
    """A mapping of the plan, which remembers where it and its keys stand in the file."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, arbitrary_types_allowed=True)
    _source: Any = PrivateAttr(default=None)

    @model_validator(mode="wrap")
    @classmethod
    def _remember(cls, data: Any, handler: Any) -> Words:
        made = handler(data)
        made._source = data
        return made

    def place(self, key: str | None = None) -> Place | None:
        """Where this entry (or the value of one of its keys) stands; None for plans made in Python."""
        places = getattr(self._source, "places", {})
        return places.get(key) or getattr(self._source, "place", None)


def _exactly_one(kinds: tuple[str, ...]) -> ConfigDict:
    return ConfigDict(json_schema_extra={"oneOf": [{"required": [kind]} for kind in kinds]})


class KeyFault(ValueError):
    """A fault of an entry as a whole that is best shown at one of its keys."""

    def __init__(self, key: str, message: str):
        super().__init__(message)
        self.key = key


class Entry(Words):
    """What every entry may carry. Where `KINDS` names keys, an entry has exactly one of them: its kind."""

    KINDS: ClassVar[tuple[str, ...]] = ()

    passes: words.Pass | None = Field(None, alias="pass")
    why: str | None = Field(None, max_length=2000, description="the reason, printed on the sheet")
    omit: Literal[True] | None = Field(None, description="in a plan based on another: leave this entry of it out")

    @model_validator(mode="after")
    def _one_kind(self) -> Entry:
        found = [kind for kind in self.KINDS if self.value(kind) is not None]
        if self.KINDS and len(found) != 1:
            several = f"not {' and '.join(found)} at once" if found else "none is here"
            raise ValueError(f"an entry needs one of {', '.join(self.KINDS)}: {several}")
        if self.omit:  # those that are found in the older plan are taken out before validation
            raise KeyFault("omit", "there is no such entry to leave out in a plan that this one is based on")
        return self

    def value(self, key: str) -> Any:
        """The value of a key as it is written in the plan."""
        return getattr(self, key.replace(" ", "_") + "_" * iskeyword(key))

    @property
    def kind(self) -> str:
        return next(kind for kind in self.KINDS if self.value(kind) is not None)

    @property
    def where(self) -> Any:
        """The position or range that stands beside the kind."""
        return self.value(self.kind)


class TempoMark(Entry):
    """A basic tempo: at once from `at` on, or reached gradually `over` a range."""

    at: words.Position | None = None
    over: words.Range | None = None
    tempo: words.NewTempo
    # 2 changes the tempo by equal amounts in equal times, as a metronome turned evenly would.
    curvature: float = Field(2.0, ge=1, le=10)

    @model_validator(mode="after")
    def _one_place(self) -> TempoMark:
        if self.at is not None and self.over is not None:
            raise ValueError("a tempo stands either `at` a place or is reached `over` a range, not both")
        return self


class Voice(Words):
    """How one voice stands out: its level, how far it leads, and (for a role) which voice of the score it is."""

    level: words.Level = 0.0
    lead: words.Lead | None = None
    is_: str | None = Field(None, alias="is", max_length=200)


class Arch(Words):
    """The rise and fall of pace and level over a phrase. `true` stands for the usual amount."""

    pace: words.ArchPace | None = None
    pace_peak: words.Peak = Field(0.40, alias="pace peak")
    level: words.ArchLevel | None = None
    level_peak: words.Peak = Field(0.55, alias="level peak")


def _inner_phrase(value: Any) -> Any:
    """A phrase given by its bars alone."""
    return value if isinstance(value, dict) else words.located({"bars": value}, value)


def _arch(value: Any) -> Any:
    if value is True:
        return {"pace": True, "level": True}
    return value if isinstance(value, dict) else words.located({"pace": value}, value)


class Phrase(Entry):
    bars: words.Range
    name: str | None = Field(None, max_length=60)
    inside: tuple[Annotated[Phrase, BeforeValidator(_inner_phrase), words.also("string", "integer")], ...] = Field(
        (), max_length=MAX_ENTRIES
    )
    arch: Annotated[Arch | None, BeforeValidator(_arch), words.also("string", "boolean")] = None


class Slowing(Entry):
    """A change of pace that comes back: `to` is the pace against the basic tempo as the range ends."""

    KINDS: ClassVar = (
        "rallentando", "ritardando", "ritenuto", "allargando", "accelerando", "stringendo", "a tempo",
    )  # fmt: skip
    HURRYING: ClassVar = ("accelerando", "stringendo")
    model_config = _exactly_one(KINDS)

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
    # Friberg and Sundberg, JASA 105 (1999): listeners rated q = 2 and q = 3 highest.
    curvature: float | None = Field(None, ge=1, le=10)

    @model_validator(mode="after")
    def _makes_sense(self) -> Slowing:
        if self.kind == "a tempo":
            if self.to is not None or self.then is not None or self.louder is not None:
                raise ValueError("`a tempo` returns to the basic tempo: it takes no `to`, `then` or `louder`")
        elif self.kind not in self.HURRYING and self.to is not None and self.to >= 1:
            raise KeyFault("to", f"a {self.kind} slows: `to` must be below 100% (got {self.to:.0%})")
        if self.louder is not None and self.kind != "allargando":
            raise KeyFault("louder", f"only an allargando grows `louder`; beside a {self.kind} write a crescendo")
        return self


class Hold(Entry):
    KINDS: ClassVar = ("fermata", "breath", "caesura", "agogic")
    model_config = _exactly_one(KINDS)

    fermata: words.Range | None = None
    breath: words.After | None = None
    caesura: words.After | None = None
    agogic: words.Range | None = None
    length: words.Stretch | None = None
    seconds: words.Silence | None = None
    in_time: bool = Field(False, alias="in time", description="a breath only shortens the note before; nothing waits")

    @model_validator(mode="after")
    def _makes_sense(self) -> Hold:
        stretches = self.kind in ("fermata", "agogic")
        if stretches and (self.seconds is not None or self.in_time):
            raise ValueError(f"a {self.kind} is given by its `length`, as in length: 150%")
        if not stretches and self.length is not None:
            raise ValueError(f"a {self.kind} is given in `seconds`")
        return self


class Dynamic(Entry):
    KINDS: ClassVar = ("at", "crescendo", "diminuendo", "decrescendo")
    model_config = _exactly_one(KINDS)

    at: words.Position | None = None
    crescendo: words.Range | None = None
    diminuendo: words.Range | None = None
    decrescendo: words.Range | None = None
    mark: words.Mark | None = None
    by: words.Change | None = None
    to_mark: words.Mark | None = Field(None, alias="to mark")
    for_: str | None = Field(None, alias="for", max_length=200)

    @model_validator(mode="after")
    def _makes_sense(self) -> Dynamic:
        if self.kind == "at":
            if self.mark is None or self.by is not None or self.to_mark is not None:
                raise ValueError("a dynamic `at` a place takes a `mark`, as in {at: 9, mark: f}")
        elif self.mark is not None:
            raise ValueError(f"a {self.kind} goes `by` some dB or `to mark`, as in to mark: f")
        elif self.by is not None and self.to_mark is not None:
            raise ValueError("either `by` or `to mark`, not both")
        return self


class Accent(Entry):
    at: words.Position
    by: words.Change = 3.0  # the house's own value: enough to be heard, less than one dynamic mark
    for_: str | None = Field(None, alias="for", max_length=200)


class ToneChange(Entry):
    bars: words.Range
    tone: words.Tone
    for_: str | None = Field(None, alias="for", max_length=200)


class SecondTime(Entry):
    """What differs from the first time through; it comes back by itself."""

    bars: words.Range
    softer: words.Change | None = None
    louder: words.Change | None = None
    dynamics: words.Mark | None = None
    tone: words.Tone | None = None

    @model_validator(mode="after")
    def _makes_sense(self) -> SecondTime:
        if self.softer is not None and self.louder is not None:
            raise ValueError("either `softer` or `louder`, not both")
        if self.softer is self.louder is self.dynamics is self.tone is None:
            raise ValueError("say what differs: softer, louder, dynamics or tone")
        return self


class Glissando(Entry):
    from_: words.Position = Field(alias="from")
    to: words.Position
    glide: words.Glide = 0.3  # the last part of the note, in which the slide moves; common practice: late and quick
    swell: words.Change = 0.0
    arrive: Literal["plucked", "slurred"] = "plucked"
    for_: str | None = Field(None, alias="for", max_length=200)


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
    # an appoggiatura takes half of its main note, two parts of three if that is dotted (C. P. E. Bach 1753, from memory)
    appoggiatura: words.Share = 0.5
    grace: words.Short = 0.07  # each small note before the beat (common practice)
    roll: words.Short = 0.035  # from one note of a rolled chord to the next (common practice)
    roll_ends: bool = Field(False, alias="roll ends on the beat", description="the last note, not the first, is on the beat")


def _tempo_list(value: Any) -> Any:
    return value if isinstance(value, list | tuple) else (words.located({"tempo": value}, value),)


def _voice(value: Any) -> Any:
    return value if isinstance(value, dict) else words.located({"level": value}, value)


def _order(value: Any) -> tuple[Range, ...]:
    """`[1-8, 1-8, 9-24]`, or the same as one line of text."""
    items = value.split(",") if isinstance(value, str) else value
    if not isinstance(items, list | tuple) or not 0 < len(items) <= MAX_ENTRIES:
        raise ValueError("the order is a list of bars, as in [1-8, 1-8, 9-24, 1-8]")
    ranges = tuple(parse_range(item) for item in items)
    if any(end.beat is not None for r in ranges for end in (r.start, r.end)):
        raise ValueError("the order names whole bars, as in [1-8, 1-8, 9-24, 1-8]")
    return ranges


Order = Annotated[
    tuple[Range, ...],
    BeforeValidator(_order),
    WithJsonSchema({"type": ["array", "string"], "items": {"type": ["string", "integer"]}, "examples": [["1-8", "1-8"]]}),
]

SECTIONS = ("phrases", "slowing", "holds", "dynamics", "accents", "tone", "second time", "glissandi")


def _section() -> Any:
    return Field((), max_length=MAX_ENTRIES)


class Plan(Words):
    """One reading of one score. An empty plan plays the notes in strict time at an even level."""

    title: str | None = Field(None, max_length=200)
    based_on: str | None = Field(None, alias="based on", max_length=1000, description="the plan this one starts from")
    without: tuple[Literal[SECTIONS], ...] = Field((), description="sections of that plan which this one leaves out")
    score: str | None = Field(None, max_length=1000, description="the score's file, seen from the plan's folder")
    instrument: str | dict[str, str] | None = Field(None, description="one for all, or one per part")
    tempo: Annotated[tuple[TempoMark, ...], BeforeValidator(_tempo_list), words.also("number", "string")] = _section()
    order: Order | None = None
    repeats_after_da_capo: bool = Field(False, alias="repeats after da capo")
    voices: dict[str, Annotated[Voice, BeforeValidator(_voice), words.also("string")]] = Field({}, max_length=200)
    articulation: Articulation = Articulation()
    phrases: tuple[Phrase, ...] = _section()
    slowing: tuple[Slowing, ...] = _section()
    holds: tuple[Hold, ...] = _section()
    dynamics: tuple[Dynamic, ...] = _section()
    accents: tuple[Accent, ...] = _section()
    tone: tuple[ToneChange, ...] = _section()
    second_time: tuple[SecondTime, ...] = Field((), alias="second time", max_length=MAX_ENTRIES)
    glissandi: tuple[Glissando, ...] = _section()


__all__ = [
    "Accent", "Arch", "Articulation", "Dynamic", "Entry", "Glissando", "Hold", "Phrase", "Plan", "Position", "Range",
    "SecondTime", "Slowing", "TempoMark", "ToneChange", "Voice",
]  # fmt: skip
