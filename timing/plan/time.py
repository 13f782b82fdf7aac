"""What a plan says of time: tempo, phrases and their arches, slowing down, holds.

Numbers that a plan may leave out have their defaults here, each with its source; they act only where the entry stands.
"""

from __future__ import annotations

from typing import Annotated, Any, ClassVar, Self

from pydantic import BeforeValidator, Field, PrivateAttr

from timing.plan import kinds, words
from timing.plan.entry import Entry, Faults, KeyFault, Words, exactly_one, kind_of, misplaced, not_both
from timing.plan.kinds import Act

MAX_ENTRIES = 5000  # in one list of a plan


class TempoMark(Entry):
    """A basic tempo: at once from `at` on, or reached gradually `over` a range."""

    NEED_END: ClassVar = ("over",)

    at: words.Position | None = None
    over: words.Range | None = None
    tempo: words.NewTempo
    # 2 changes the tempo by equal amounts in equal times, as a metronome turned evenly would.
    curvature: words.Curvature = 2.0
    _said: str = PrivateAttr(default="printed")

    @property
    def said(self) -> str:
        """How much of it stands on the page, if it is the score's."""
        return self._said

    @classmethod
    def faults(cls, given: dict[str, Any], made: Self | None) -> Faults:
        yield from super().faults(given, made)
        yield from not_both(given, "at", "over")
        if "over" not in given:
            yield from misplaced(given, ("curvature",), "only a tempo that is reached 'over' a range has a curvature")


def _tempo_alone(value: Any) -> Any:
    """A tempo that holds from the beginning may be given alone."""
    return words.settings("tempo", value)


# A tempo, or its number alone.
AnyTempo = Annotated[TempoMark, BeforeValidator(_tempo_alone), words.also(words.NewTempo)]


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


PhraseName = Annotated[str, *words.text(60, "what the phrase is called, as in the MIDI file's markers")]


class Phrase(Entry):
    """A phrase: its bars, the phrases inside it, its rise and fall."""

    bars: words.Range
    name: PhraseName | None = None
    inside: tuple[AnyPhrase, ...] = Field((), max_length=MAX_ENTRIES)
    arch: Annotated[Arch | None, BeforeValidator(_arch), words.also(words.ArchPace)] = None


# A phrase, or its bars alone.
AnyPhrase = Annotated[Phrase, BeforeValidator(_bars_alone), words.also(words.Range)]


class Slowing(Entry):
    """A change of pace that comes back: `to` is the pace against the basic tempo as the range ends."""

    DOES: ClassVar = kinds.SLOWINGS
    KINDS: ClassVar = tuple(DOES)
    NEED_END: ClassVar = KINDS[:-1]
    model_config = exactly_one(KINDS)

    rallentando: words.Range | None = None
    ritardando: words.Range | None = None
    ritenuto: words.Range | None = None
    allargando: words.Range | None = None
    accelerando: words.Range | None = None
    stringendo: words.Range | None = None
    a_tempo: words.Range | None = Field(None, alias="a tempo")
    to: words.EndPace | None = None
    then: words.Then | None = None
    louder: words.LevelChange | None = None
    # Friberg and Sundberg, JASA 105 (1999): listeners rated q = 2 and q = 3 highest; left out it is 3.
    curvature: words.Curvature | None = None

    @classmethod
    def faults(cls, given: dict[str, Any], made: Self | None) -> Faults:
        yield from super().faults(given, made)
        kind = kind_of(cls, given)
        act = cls.DOES[kind].act if kind is not None else None
        if act is Act.RETURNS:
            yield from misplaced(
                given,
                ("to", "then", "louder", "curvature"),
                "'a tempo' goes back to the basic tempo: this has no sense here",
            )
        elif kind is not None:
            if made is not None and made.to is not None and made.to >= 1 and cls.DOES[kind].act is Act.SLOWS:
                yield ("to",), ValueError(f"the {kind} slows down: 'to' must be below 100% (got {made.to:.0%})")
            if cls.DOES[kind].grows is None:
                yield from misplaced(
                    given, ("louder",), f"only an allargando grows 'louder': with the {kind} write a crescendo"
                )


def _one_or_more(value: Any) -> Any:
    return value if isinstance(value, list | tuple) else (value,)


Kept = Annotated[str, *words.one_of(("bar line", "end"), "what a rubato can keep")]


class Rubato(Entry):
    """Time that is stolen and given back: by all voices, by one against the others, by the short note of a pair, or by
    beats that run from those in which little moves."""

    DOES: ClassVar = kinds.RUBATI
    KINDS: ClassVar = tuple(DOES)
    model_config = exactly_one(KINDS)

    bars: words.Range
    hurry: words.Sway | None = None
    linger: words.Sway | None = None
    keeps: Kept = "bar line"
    late: words.Short | None = None
    early: words.Short | None = None
    for_: words.Voices | None = Field(None, alias="for")
    meets: Annotated[
        tuple[words.Position, ...],
        Field(max_length=16),
        BeforeValidator(_one_or_more),
        words.also(words.Position),
    ] = Field((), description="where a displaced voice is together with the others again")
    long_short: words.LongShort | None = Field(None, alias="long short")
    still_beats: words.Stillness | None = Field(None, alias="still beats")

    @classmethod
    def faults(cls, given: dict[str, Any], made: Self | None) -> Faults:
        yield from super().faults(given, made)
        kind = kind_of(cls, given)
        act = cls.DOES[kind].act if kind is not None else None
        if act is Act.SWAYS:
            message = f"where all {kind} no voice is displaced: for that write 'late' or 'early'"
            yield from misplaced(given, ("for", "meets"), message)
        elif act is Act.DISPLACES:
            if "for" not in given:
                yield (str(kind),), KeyFault(f"say which voice comes {kind}, as in for: melody")
            yield from misplaced(given, ("keeps",), "the other voices keep the time: say where the voice 'meets' them")
        elif act is Act.FLOWS:
            message = "all voices have the same beats, and the bars together keep their length: this has no sense here"
            yield from misplaced(given, ("keeps", "for", "meets"), message)
        elif act is Act.PAIRS:
            message = "every beat stays as long as it is, and all voices play it together: this has no sense here"
            yield from misplaced(given, ("keeps", "for", "meets"), message)


class Hold(Entry):
    """A moment at which the time waits, or a note: a fermata, a breath, a caesura, an agogic accent, a delay."""

    DOES: ClassVar = kinds.HOLDS
    KINDS: ClassVar = tuple(DOES)
    model_config = exactly_one(KINDS)

    fermata: words.Range | None = None
    breath: words.After | None = None
    caesura: words.After | None = None
    agogic: words.Range | None = None
    delay: words.Position | None = None
    length: words.Stretch | None = None
    seconds: words.Silence | None = None
    in_time: words.YesNo = Field(
        False, alias="in time", description="a breath only shortens the note before; nothing waits"
    )
    by: words.Short | None = None
    for_: words.Voices | None = Field(None, alias="for")

    @property
    def amount(self) -> float:
        """How much longer as a factor, how many seconds of silence, or by how many seconds a note is late."""
        given = {Act.STRETCHES: self.length, Act.SILENCES: self.seconds, Act.DISPLACES: self.by}[self.act]
        return self.does.usual if given is None else given

    @classmethod
    def faults(cls, given: dict[str, Any], made: Self | None) -> Faults:
        yield from super().faults(given, made)
        kind = kind_of(cls, given)
        act = cls.DOES[kind].act if kind is not None else None
        if act is Act.STRETCHES:
            message = f"the length of a hold is a share, as in length: {cls.DOES[str(kind)].usual:.0%}"
            yield from misplaced(given, ("seconds", "in time"), message)
        elif act is Act.DISPLACES:
            message = "a delay is given in milliseconds, as in by: 40 ms"
            yield from misplaced(given, ("length", "seconds", "in time"), message)
        elif act is Act.SILENCES:
            yield from misplaced(given, ("length",), f"a {kind} is given in seconds, as in seconds: 0.2")
        if kind is not None and act is not Act.DISPLACES:
            yield from misplaced(given, ("by", "for"), f"all voices wait for the {kind}: only a delay has this")
