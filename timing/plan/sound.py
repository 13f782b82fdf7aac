"""What a plan says of sound: voices, dynamics, accents, tone, the second time, glissandi, how signs are played.

Numbers that a plan may leave out have their defaults here, each with its source; they act only where the entry stands.
"""

from __future__ import annotations

from math import inf
from typing import Annotated, Any, ClassVar, Self

from pydantic import BeforeValidator, Field, PrivateAttr

from timing.plan import kinds, notation, words
from timing.plan.entry import Entry, Faults, KeyFault, Words, exactly_one, kind_of, misplaced, not_both
from timing.plan.kinds import Act


class Voice(Words):
    """How one voice stands out: its level, how far it leads, and (for a role) which voice of the score it is."""

    level: words.Balance = 0.0
    lead: words.Lead | None = None
    is_: words.Voices | None = Field(None, alias="is")


def _level_alone(value: Any) -> Any:
    """A voice may be given by its level alone."""
    return words.settings("level", value)


# A voice, or its level alone.
AnyVoice = Annotated[Voice, BeforeValidator(_level_alone), words.also(words.Balance)]


class Dynamic(Entry):
    """A dynamic mark at a place, or a little softer or louder from there on; or a hairpin that arrives on the end of
    its range."""

    DOES: ClassVar = kinds.DYNAMICS
    KINDS: ClassVar = tuple(DOES)
    NEED_END: ClassVar = KINDS[1:]
    model_config = exactly_one(KINDS)

    at: words.Position | None = None
    crescendo: words.Range | None = None
    diminuendo: words.Range | None = None
    decrescendo: words.Range | None = None
    mark: words.Mark | None = None
    softer: words.LevelChange | None = None
    louder: words.LevelChange | None = None
    by: words.LevelChange | None = None
    to_mark: words.Mark | None = Field(None, alias="to mark")
    for_: words.Voices | None = Field(None, alias="for")

    @classmethod
    def faults(cls, given: dict[str, Any], made: Self | None) -> Faults:
        yield from super().faults(given, made)
        kind = kind_of(cls, given)
        act = cls.DOES[kind].act if kind is not None else None
        if act is Act.STANDS:
            if not {"mark", "softer", "louder"} & given.keys():
                yield (), ValueError("a dynamic 'at' a place needs a 'mark', as in {at: 9, mark: f}")
            yield from not_both(given, "softer", "louder")
            yield from misplaced(
                given,
                ("by", "to mark"),
                "at one place stands a 'mark'; a crescendo or diminuendo gets there by degrees",
            )
        elif kind is not None:
            how = f"a {kind} goes 'by' some dB or 'to mark', as in to mark: f"
            yield from misplaced(given, ("mark", "softer", "louder"), how)
            yield from not_both(given, "by", "to mark")
            where = made.value(kind) if made is not None else None
            if where is not None and where.lone and where.start.beat is not None:
                yield (kind,), ValueError(f"a {kind} needs a beginning and an end, as in 5:1 - 7:1")


class Accent(Entry):
    """A note or chord that is played louder."""

    at: words.Position
    by: words.LevelChange = 3.0  # the house's own value: enough to be heard, less than one dynamic mark
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
    softer: words.LevelChange | None = None
    louder: words.LevelChange | None = None
    dynamics: words.Mark | None = None
    tone: words.Tone | None = None

    @classmethod
    def faults(cls, given: dict[str, Any], made: Self | None) -> Faults:
        yield from super().faults(given, made)
        yield from not_both(given, "softer", "louder")
        if given.keys() <= {"bars", "pass", "why"}:
            yield (), ValueError("this entry does not say what differs: softer, louder, dynamics or tone")

    def at_its_pass(self) -> Self:
        """What differs the second time differs on pass 2, unless the entry names another."""
        return self if self.passes else self.model_copy(update={"passes": 2})


Arrival = Annotated[str, *words.one_of(("plucked", "slurred"), "a way to arrive")]


class Glissando(Entry):
    """A slide from one note into another. Where it does not say which, it shapes the slide lines of the score: all of
    them, or the one that begins at `from`."""

    from_: words.Position | None = Field(None, alias="from")
    to: words.Position | None = None
    glide: words.Glide = 0.3  # the last part of the note, in which the slide moves; common practice: late and quick
    swell: words.LevelChange = 0.0  # as it is heard, from leaving to arriving
    sung: words.YesNo = Field(
        False, description="the note before the slide dies away more slowly, so that the slide is heard"
    )
    arrive: Arrival = "plucked"
    for_: words.Voices | None = Field(None, alias="for")
    _at_most: float = PrivateAttr(default=inf)  # seconds in which it moves: of a line in the score, which says no glide
    _left_out: tuple[float, ...] = PrivateAttr(default=())  # moments of slide lines that the plan leaves out

    @classmethod
    def faults(cls, given: dict[str, Any], made: Self | None) -> Faults:
        yield from super().faults(given, made)
        if given.get("to") is not None and given.get("from") is None:
            yield ("to",), KeyFault("a slide that ends 'to' a place needs the place that it comes 'from'")


TRILLS = ("from the main note", "from above")

TrillStart = Annotated[str, *words.one_of(TRILLS, "a way to begin a trill")]
TrillSpeed = Annotated[float, *notation.number(4, 16, "from 4 to 16 (notes a second)", "notes a second, at most")]


class Articulation(Words):
    """How written signs are played. Lengths are shares of the written note."""

    # Staccato halves the note, staccatissimo quarters it, portato keeps three quarters (C. P. E. Bach 1753 and later
    # tutors, from memory; common practice).
    staccato: words.Share = 0.5
    staccatissimo: words.Share = 0.25
    portato: words.Share = 0.75
    tenuto: words.Share = 1.0
    plain: words.Share = 1.0
    # How much louder than their surroundings: the house's own values, in steps of most of a dynamic mark.
    accent: words.LevelChange = 3.0  # also rf and rfz
    strong_accent: words.LevelChange = Field(5.0, alias="strong accent")
    sforzato: words.LevelChange = 6.0  # sf, sfz, fz
    slur_overlap: words.Short = Field(0.02, alias="slur overlap")  # notes under a slur reach into the next one
    slur_end: words.Share = Field(0.9, alias="slur end")  # the last note under a slur is lifted (common practice)
    # An appoggiatura takes half of its main note, two parts of three if that is dotted (C. P. E. Bach 1753, from
    # memory).
    appoggiatura: words.Share = 0.5
    grace: words.Short = 0.07  # each small note before the beat (common practice)
    # Trills begin on the main note since J. N. Hummel (1828), from above before (C. P. E. Bach 1753; both from memory).
    trill: TrillStart = TRILLS[0]
    trill_speed: TrillSpeed = Field(
        12.0, alias="trill speed"  # pianists reach some 13 (G. P. Moore, Music Perception 9, 1992, from memory)
    )
    roll: words.Short = 0.035  # from one note of a rolled chord to the next (common practice)
    rasgueado: words.Short = 0.012  # from one string to the next under one stroke of the nails (the house's own value)
    roll_ends: words.YesNo = Field(
        False, alias="roll ends on the beat", description="the last note, not the first, is on the beat"
    )
