"""The kinds of value that a plan may hold, each with its reader and its description for editors (JSON Schema)."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BeforeValidator, WithJsonSchema

from timing import position, units

# Dynamics in dB below the loudest note (velocity 127): 4 dB a mark, the house's own table; no standard fixes one.
DYNAMICS = {"ppp": -28.0, "pp": -24.0, "p": -20.0, "mp": -16.0, "mf": -12.0, "f": -8.0, "ff": -4.0, "fff": 0.0}

Mark = Literal["ppp", "pp", "p", "mp", "mf", "f", "ff", "fff"]

TONE_WORDS = {
    "naturale": "naturale", "ordinario": "naturale", "tasto": "sul tasto", "sul tasto": "sul tasto",
    "ponticello": "sul ponticello", "sul ponticello": "sul ponticello",
    "dark": "dark", "plain": "plain", "bright": "bright",
}  # fmt: skip


def _text(description: str, *examples: str) -> WithJsonSchema:
    return WithJsonSchema({"type": "string", "description": description, "examples": list(examples)})


def _number_or_text(description: str, *examples: str | int) -> WithJsonSchema:
    return WithJsonSchema({"type": ["number", "string"], "description": description, "examples": list(examples)})


def _place(description: str, *examples: str | int) -> WithJsonSchema:
    return WithJsonSchema({"type": ["integer", "string"], "description": description, "examples": list(examples)})


def percent(low: float, high: float, description: str, example: str):
    """A share such as 80%, as a factor (0.8)."""
    return Annotated[float, BeforeValidator(units.amount("%", low, high, example, 0.01)), _text(description, example)]


def decibels(low: float, high: float, description: str, example: str):
    """A difference in level, in dB."""
    return Annotated[float, BeforeValidator(units.amount("dB", low, high, example)), _text(description, example)]


def milliseconds(low: float, high: float, description: str, example: str):
    """A short time, in seconds."""
    return Annotated[float, BeforeValidator(units.amount("ms", low, high, example, 0.001)), _text(description, example)]


def seconds(low: float, high: float, description: str):
    return Annotated[
        float,
        BeforeValidator(units.number(low, high, "seconds")),
        WithJsonSchema({"type": "number", "minimum": low, "maximum": high, "description": description}),
    ]


def _after(value: object) -> position.Position:
    """`after 16:3` or plain `16:3`."""
    return position.parse_position(value.strip().removeprefix("after ") if isinstance(value, str) else value)


def _then(value: object) -> position.Position | Literal[True]:
    """`a tempo`, or `a tempo by 9:3`."""
    words = value.strip() if isinstance(value, str) else ""
    if words == "a tempo":
        return True
    if not words.startswith("a tempo by "):
        raise ValueError(f"after a slowdown comes 'a tempo', or 'a tempo by 9:3' for a gradual return (got {value!r})")
    return position.parse_position(words.removeprefix("a tempo by "))


def _pass(value: object) -> int | str:
    if isinstance(value, int) and not isinstance(value, bool) and 1 <= value <= 99:
        return value
    if value in ("last", "da capo"):
        return value
    raise ValueError(f"a pass is 1, 2, ..., 'last' or 'da capo' (got {value!r})")


def _tone(value: object) -> str | float:
    """A tone by its word, or the plucking point in cm from the bridge."""
    if isinstance(value, str) and value.strip().lower() in TONE_WORDS:
        return TONE_WORDS[value.strip().lower()]
    if isinstance(value, str) and value.strip().endswith("cm"):
        return units.amount("cm", 1, 40, "5 cm")(value)
    from difflib import get_close_matches

    near = get_close_matches(str(value), TONE_WORDS, 1)
    meant = f"; did you mean {near[0]!r}?" if near else ""
    raise ValueError(f"{value!r} is not a tone: {', '.join(sorted(set(TONE_WORDS.values())))}, or 5 cm from the bridge{meant}")


def _tempo(value: object) -> float | str:
    """Quarters a minute; `90%` of the tempo before (as a negative factor has no meaning, kept as text); tempo primo."""
    if isinstance(value, str) and value.strip() == "tempo primo":
        return "tempo primo"
    if isinstance(value, str) and value.strip().endswith("%"):
        units.amount("%", 20, 500, "90%")(value)
        return value.strip()
    return units.tempo(value)


def _or_usual(read, description: str, example: str):
    """`true` (the usual amount), or an amount read by `read`."""
    return Annotated[
        float | bool,
        BeforeValidator(lambda value: value if value is True else read(value)),
        WithJsonSchema({"type": ["string", "boolean"], "description": description, "examples": [example, True]}),
    ]


def also(*types: str):
    """Tell editors that a mapping may be written in short, as a bare value."""

    class Short:
        def __get_pydantic_json_schema__(self, core, handler):
            return {"anyOf": [handler(core), {"type": list(types)}]}

    return Short()


def located(made: dict, value: object) -> dict:
    """A mapping made from a bare value, standing where that value stands."""
    if place := getattr(value, "place", None):
        made = type("Placed", (dict,), {"place": place, "places": {}})(made)
    return made


Position = Annotated[position.Position, BeforeValidator(position.parse_position), _place("bar:beat, or a bar alone", "7:2", 7)]
After = Annotated[position.Position, BeforeValidator(_after), _place("after this beat or bar", "after 16:3")]
Range = Annotated[position.Range, BeforeValidator(position.parse_range), _place("both ends counted in", "7:2 - 8:3", "7-8")]
Then = Annotated[object, BeforeValidator(_then), _text("what comes after a slowdown", "a tempo", "a tempo by 9:3")]
Pass = Annotated[
    int | str,
    BeforeValidator(_pass),
    WithJsonSchema({"enum": [1, 2, 3, 4, "last", "da capo"], "description": "which time through the music"}),
]
Tone = Annotated[str | float, BeforeValidator(_tone), _text("a tone, or the plucking point from the bridge", "sul tasto", "5 cm")]
BasicTempo = Annotated[float, BeforeValidator(units.tempo), _number_or_text("quarters a minute", 63, "dotted quarter = 54")]
NewTempo = Annotated[
    float | str, BeforeValidator(_tempo), _number_or_text("a tempo, 90% of the one before, or tempo primo", 72, "90%", "tempo primo")
]
Pace = percent(10, 300, "the pace against the basic tempo as the range ends", "80%")
Stretch = percent(50, 1000, "its length against the written one", "150%")
Share = percent(5, 120, "how much of the written note sounds", "50%")
Short = milliseconds(0, 500, "a short time", "30 ms")
Silence = seconds(0.01, 10, "how long")
Glide = percent(1, 100, "the last part of the note, in which the slide moves", "30%")
Peak = percent(5, 95, "where the arch is highest, counted from the start of the phrase", "40%")
Level = decibels(-60, 20, "a level against the others", "-3 dB")
Change = decibels(0, 40, "how much louder or softer", "4 dB")
Lead = _or_usual(units.amount("ms", 0, 200, "20 ms", 0.001), "how much earlier this voice plays", "20 ms")
ArchPace = _or_usual(units.amount("%", 0, 50, "6%", 0.01), "how much faster the peak is than the ends", "6%")
ArchLevel = _or_usual(units.amount("dB", 0, 20, "3 dB"), "how much louder the peak is than the ends", "3 dB")
