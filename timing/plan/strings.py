"""What a plan says about strings: how they are tuned, which of them a note lies on, and how the hands sound it."""

from __future__ import annotations

import re
from collections.abc import Callable
from itertools import pairwise
from typing import Annotated, Any, ClassVar, Self

from pydantic import BeforeValidator, Field, WithJsonSchema

from timing.plan import notation, words
from timing.plan.entry import Entry, Faults, exactly_one, kind_of, misplaced, not_both
from timing.plan.notation import FormKind
from timing.plan.position import shown

# Sounding MIDI pitches of the open strings, string 1 first (common practice).
TUNINGS = {
    "standard": (64, 59, 55, 50, 45, 40),
    "dropped D": (64, 59, 55, 50, 45, 38),
    "double dropped D": (62, 59, 55, 50, 45, 38),
    "lute": (64, 59, 54, 50, 45, 40),  # the third string a semitone lower
}
_PITCH = re.compile(r"([A-Ga-g])([#♯b♭]?)(-?[0-9])", re.ASCII)
_STEPS = {"c": 0, "d": 2, "e": 4, "f": 5, "g": 7, "a": 9, "b": 11}
_MOST_STRINGS = 12


def _pitch(name: object) -> int:
    found = _PITCH.fullmatch(name.strip().replace("♯", "#").replace("♭", "b")) if isinstance(name, str) else None
    if found is None:
        raise ValueError(f"{shown(name)} is not a pitch: write it with its octave, as E4 or F#3")
    step, sign, octave = found[1].lower(), found[2], int(found[3])
    pitch = 12 * (octave + 1) + _STEPS[step] + {"": 0, "#": 1, "b": -1}[sign]
    if not 21 <= pitch <= 88:
        raise ValueError(f"{shown(name)} is beyond any string (A0 to E6)")
    return pitch


def _tuning(value: Any) -> tuple[int, ...]:
    """Pitches of the open strings, string 1 first; a list may begin at either end."""
    if isinstance(value, str):
        named = {name.lower(): pitches for name, pitches in TUNINGS.items()}
        key = " ".join(value.lower().replace("drop d", "dropped d").split())
        if key in named:
            return named[key]
        if not any(letter.isdigit() for letter in value):
            known = ", ".join(TUNINGS)
            message = f"{shown(value)} is not a tuning: {known}, or a list such as [E4, B3, G3, D3, A2, D2]"
            raise words.UnknownWord(message, value, TUNINGS)
        value = re.split(r"[\s,]+", value.strip())[: _MOST_STRINGS + 1]
    if not isinstance(value, list | tuple) or not 1 <= len(value) <= _MOST_STRINGS:
        example = "[E4, B3, G3, D3, A2, D2]"
        raise ValueError(f"a tuning has one pitch for each string, {_MOST_STRINGS} at most, as in {example}")
    pitches = tuple(_pitch(each) for each in value)
    return pitches[::-1] if all(a < b for a, b in pairwise(pitches)) else pitches


def _for_each(read: Callable[[Any], Any]) -> Callable[[Any], Any]:
    """A reader of one value for all parts, or of one for each by its name."""

    def one_or_each(value: Any) -> Any:
        if not isinstance(value, dict):
            return read(value)
        made = {}
        for name, each in value.items():
            try:
                made[str(name)] = read(each)
            except ValueError as fault:
                raise ValueError(f"{name}: {fault}") from None
        return made

    return one_or_each


def _or_each(one: dict[str, Any], description: str) -> WithJsonSchema:
    each = {"type": "object", "additionalProperties": one}
    return WithJsonSchema({"anyOf": [*one.get("anyOf", [one]), each], "description": description})


# In which octave a part sounds, against the pitches that the score gives it: semitones.
OCTAVES = {"an octave lower": -12, "as written": 0, "an octave higher": 12}


def _octave(value: Any) -> str:
    word = " ".join(value.split()).lower() if isinstance(value, str) else ""
    if word not in OCTAVES:
        message = f"{shown(value)} is not an octave to sound in: {', '.join(OCTAVES)}"
        raise words.UnknownWord(message, value, OCTAVES)
    return word


_MOST_CAPO = 12
Sounds = Annotated[
    str | dict[str, str],
    BeforeValidator(_for_each(_octave)),
    _or_each({"enum": list(OCTAVES)}, "in which octave the notes sound; one for all, or one per part"),
    FormKind("choice", choices=tuple(OCTAVES)),
]
Tuning = Annotated[
    tuple[int, ...] | dict[str, tuple[int, ...]],
    BeforeValidator(_for_each(_tuning)),
    _or_each(
        {
            "anyOf": [
                {"type": "string", "examples": list(TUNINGS)},
                {"type": "array", "items": {"type": "string"}, "minItems": 1, "maxItems": _MOST_STRINGS},
            ]
        },
        "how the strings are tuned: standard, dropped D, or their pitches; one for all, or one per part",
    ),
    FormKind("choice", choices=tuple(TUNINGS), open=True),
]
Capo = Annotated[
    int | dict[str, int],
    BeforeValidator(_for_each(notation.whole_number(0, _MOST_CAPO))),
    _or_each(
        {"type": "integer", "minimum": 0, "maximum": _MOST_CAPO},
        "the fret at which the capo lies: all sounds higher by as many semitones, or by what it lies above the score's "
        "own; one for all, or one per part",
    ),
    FormKind("whole number", 0, _MOST_CAPO),
]
Name = Annotated[str, *words.text(60, "a name for one of several ways to play a passage")]
StringNumber = Annotated[int, *notation.whole(1, _MOST_STRINGS, "the string, 1 is the highest")]
Fret = Annotated[int, *notation.whole(0, 36, "the fret, 0 is the open string")]
HandPosition = Annotated[int, *notation.whole(1, 24, "the fret at which the first finger lies")]


class StringChoice(Entry):
    """Where a note or a passage lies on the strings, and how the hands sound it. Entries with a `name` are one of
    several ways to play the passage, and hold only where that fingering is chosen."""

    KINDS: ClassVar = ("at", "bars")
    model_config = exactly_one(KINDS)

    at: words.Position | None = None
    bars: words.Range | None = None
    for_: words.Voices | None = Field(None, alias="for")
    name: Name | None = None
    string: StringNumber | None = None
    fret: Fret | None = None
    position: HandPosition | None = None
    campanella: words.YesNo = Field(False, description="across the strings, each left ringing")
    let_ring: words.YesNo = Field(False, alias="let ring", description="until the string is needed")
    ligado: words.YesNo = Field(False, description="sounded by the left hand, not plucked")
    harmonic: words.YesNo = Field(False, description="as a natural harmonic")
    pizzicato: words.YesNo = Field(False, description="damped at the bridge by the side of the hand")
    rasgueado: words.YesNo = Field(False, description="chords rolled quickly by the nails")

    @classmethod
    def faults(cls, given: dict[str, Any], made: Self | None) -> Faults:
        yield from super().faults(given, made)
        yield from not_both(given, "harmonic", "pizzicato")
        yield from not_both(given, "harmonic", "ligado")
        yield from not_both(given, "rasgueado", "name")
        yield from not_both(given, "campanella", "string")
        yield from not_both(given, "campanella", "position")
        if kind_of(cls, given) == "bars":
            yield from misplaced(given, ("fret",), "a passage is not played at one fret: say its 'position'")
        if given.keys() <= {"at", "bars", "for", "name", "pass", "why", "omit"}:
            what = "string, fret, position, campanella, let ring, ligado, harmonic, pizzicato or rasgueado"
            yield (), ValueError(f"this entry does not say how the notes are played: {what}")
