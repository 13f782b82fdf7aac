"""The kinds of value that a plan may hold, each with its reader and its description for editors (JSON Schema)."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import replace
from difflib import get_close_matches
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, WithJsonSchema

from timing.plan import position, units
from timing.plan.notation import FormKind, Notation, decibels, milliseconds, number, percent, schema_of
from timing.plan.position import shown
from timing.plan.yamltext import Map

# Dynamics in dB below the loudest note (velocity 127): 4 dB a mark, the house's own table; no standard fixes one.
LEVELS = {"ppp": -28.0, "pp": -24.0, "p": -20.0, "mp": -16.0, "mf": -12.0, "f": -8.0, "ff": -4.0, "fff": 0.0}

TONE_WORDS = {
    "naturale": "naturale", "ordinario": "naturale", "tasto": "sul tasto", "sul tasto": "sul tasto",
    "ponticello": "sul ponticello", "sul ponticello": "sul ponticello",
    "dark": "dark", "plain": "plain", "bright": "bright",
}  # fmt: skip

USUAL_LONG_SHORT = 1.6  # of the long note against the short one in 6/8, as measured for this project (Vienna 4x22)

LONGEST_NAME = 255  # bytes; no common file system allows a longer file name

_CONTROL = re.compile(r"[\x00-\x1f\x7f-\x9f]")


# -- help for messages


def nearest(word: object, known: Iterable[str]) -> str | None:
    """The known word that is most like what was written, if any is."""
    known = list(known)
    text = str(word)[:60] if isinstance(word, str | int | float) else ""
    near = get_close_matches(text.strip().lower(), known, 1, 0.6)
    return near[0] if near else None


class UnknownWord(ValueError):  # noqa: N818 (it says what happened)
    """A word that is not known where it stands; `near` is the right word that was probably meant, if there is one."""

    def __init__(self, message: str, word: object, known: Iterable[str]):
        self.near = nearest(word, known)
        super().__init__(message + (f"; did you mean '{self.near}'?" if self.near else ""))


_POSITION_PATTERN = r"\d+[a-zA-Z]{0,8}(\s*:\s*\d+(\.\d+|\+\d+/\d+)?)?"
_RANGE_PATTERN = rf"^\s*{_POSITION_PATTERN}(\s*[-–—]\s*{_POSITION_PATTERN})?\s*$"
_TEMPO_PATTERN = r"\s*\d+(\.\d+)?\s*|[A-Za-z -]+\s*=\s*\d+(\.\d+)?\s*"


# -- amounts


def or_usual(amount: Notation) -> Notation:
    """`true` (the usual amount), `false` (none), or this amount."""
    reader, told, form = amount
    read: Callable[[object], float] = reader.func  # type: ignore[assignment]
    about = told.json_schema or {}

    def either(value: object) -> float | bool:
        answer = yes_or_no(value, None)
        return read(value) if answer is None else answer

    also = {"type": ["string", "boolean"], "examples": [*about["examples"], True]}
    schema = {**about, **also, "pattern": f"{about['pattern']}|^(yes|no)$"}
    return BeforeValidator(either), WithJsonSchema(schema), replace(form, choices=("yes", "no"))


# -- words


def yes_or_no(value: object, otherwise: Any = ValueError) -> Any:
    """True or False from true, yes, false or no; `otherwise` stands for anything else (ValueError is raised)."""
    answer = {"yes": True, "no": False}.get(value.strip().lower()) if isinstance(value, str) else value
    if isinstance(answer, bool):
        return answer
    if otherwise is ValueError:
        raise ValueError(f"{shown(value)} is neither yes nor no")
    return otherwise


def word_reader(known: tuple[str, ...], what: str) -> Callable[[object], str]:
    """A reader of one word of a list, named `what` in messages."""

    def read(value: object) -> str:
        word = value.strip() if isinstance(value, str) else ""
        if word not in known:
            raise UnknownWord(f"{shown(value)} is not {what}: {', '.join(known)}", value, known)
        return word

    return read


def one_of(known: tuple[str, ...], what: str) -> Notation:
    """One word of a list, named `what` in messages."""
    form = FormKind("choice", choices=known)
    return BeforeValidator(word_reader(known, what)), WithJsonSchema({"enum": list(known)}), form


def text_reader(longest: int) -> Callable[[object], str]:
    """A reader of text for people or of names; a number written there is text too."""

    def read(value: object) -> str:
        if isinstance(value, bool) or not isinstance(value, str | int | float):
            raise ValueError(f"this must be a text{' in quotes' * isinstance(value, bool)} (got {shown(value)})")
        words = str(value).strip()
        if not words:
            raise ValueError("this text is empty")
        if len(words) > longest:
            raise ValueError(f"this text has {len(words)} letters: the most is {longest}")
        return words

    return read


def text(longest: int, description: str, *examples: str) -> Notation:
    """Text of at most so many letters."""
    schema = schema_of(["string", "number"], description, *examples, maxLength=longest, minLength=1)
    return BeforeValidator(text_reader(longest)), schema, FormKind("text", 1, longest)


def file_name(value: object) -> str:
    """A file's name, perhaps with folders before it. ValueError if no file can have it."""
    name = str(value) if isinstance(value, str | int | float) and not isinstance(value, bool) else ""
    parts = name.replace("\\", "/").split("/")
    if not name.strip() or _CONTROL.search(name):
        raise ValueError(f"{shown(value)} is not the name of a file")
    if max(len(part.encode(errors="replace")) for part in parts) > LONGEST_NAME or len(name) > 1000:
        raise ValueError("this name is longer than a file's name can be")
    return name


def read_pass(value: object) -> int | str:
    """A time through the music: a number, `last` or `da capo`."""
    text = str(value).strip() if isinstance(value, str | int) and not isinstance(value, bool) else ""
    if re.fullmatch(r"[1-9]\d?", text, re.ASCII):
        return int(text)
    if text in ("last", "da capo"):
        return text
    ordinals = {"first": "1", "second": "2", "third": "3", "both": "", "all": ""}
    instead = ordinals.get(text.lower())
    hint = "" if instead is None else f"; write {instead}" if instead else "; for every time leave 'pass' out"
    message = f"{shown(value)} is not a time through the music: 1, 2, 3, last or da capo{hint}"
    raise UnknownWord(message, value, ["last", "da capo"])


def _tone(value: object) -> str | float:
    """A tone by its word, or the plucking point in cm from the bridge."""
    words = " ".join(value.lower().split()) if isinstance(value, str) and len(value) <= 60 else ""
    if words in TONE_WORDS:
        return TONE_WORDS[words]
    words = words.removesuffix("from the bridge").strip()
    if words.endswith("cm"):
        return units.amount("cm", 1, 40, "5 cm")(words)
    known = ", ".join(dict.fromkeys(TONE_WORDS.values()))
    message = f"{shown(value)} is not a tone: {known}, or a distance from the bridge such as 5 cm"
    raise UnknownWord(message, value, TONE_WORDS)


# -- places and tempi


def _after(value: object) -> position.Position:
    """`after 16:3` or plain `16:3`."""
    return position.parse_position(value.strip().removeprefix("after ") if isinstance(value, str) else value)


def _then(value: object) -> position.Position | Literal[True]:
    """`a tempo`, or `a tempo by 9:3`."""
    words = " ".join(value.split()) if isinstance(value, str) else ""
    if words == "a tempo":
        return True
    if not words.startswith("a tempo by "):
        raise ValueError(f"{shown(value)} is not a return: write 'a tempo', or 'a tempo by 9:3' for a gradual one")
    return position.parse_position(words.removeprefix("a tempo by "))


def _tempo(value: object) -> float | str:
    """Quarters a minute; a share of the tempo before (kept as text); tempo primo."""
    words = " ".join(value.lower().split()) if isinstance(value, str) else ""
    if words == "tempo primo":
        return words
    if words.endswith("%"):
        units.amount("%", 20, 500, "90%")(words)
        return words
    if re.search(r"[a-z]", words) and "=" not in words:
        known = "63 (quarters a minute), dotted quarter = 54, 90% (of the one before) or tempo primo"
        raise ValueError(f"{shown(value)} is not a tempo: write {known}")
    return units.tempo(value)


def _long_short(value: object) -> float:
    """The ratio of a long note to a short one: a number, or the usual one; `no` is as written."""
    answer = yes_or_no(value, None)
    if answer is None:
        return units.number(1, 4, "of the long note against the short one, as in 1.6")(value)
    return USUAL_LONG_SHORT if answer else 2.0


# -- short forms


def _told_editors(kind: Any) -> dict[str, Any] | None:
    return next(about.json_schema for about in kind.__metadata__ if isinstance(about, WithJsonSchema))


def also(*kinds: Any) -> Any:
    """Tell editors that a list or group of settings may be written in short, as a value of one of these kinds."""
    shorts = [{"type": kind} if isinstance(kind, str) else _told_editors(kind) for kind in kinds]

    class Short:
        def __get_pydantic_json_schema__(self, core: Any, handler: Any) -> dict[str, Any]:
            return {"anyOf": [handler(core), *shorts]}

    return Short()


class OrNothing:
    """Tell editors that a section may be empty."""

    def __get_pydantic_json_schema__(self, core: Any, handler: Any) -> dict[str, Any]:
        schema = handler(core)
        return (
            {**schema, "type": [schema["type"], "null"]} if "type" in schema else {"anyOf": [schema, {"type": "null"}]}
        )


def settings(key: str, value: object) -> dict[str, Any] | BaseModel:
    """`{key: value}` for a value that is written alone; it stands where the value stands."""
    if isinstance(value, dict | BaseModel):
        return value
    place = getattr(value, "place", None)
    if place is None:
        return {key: value}
    made = Map(place, getattr(value, "last_line", None))
    made.put(key, value, place, place)
    return made


Position = Annotated[
    position.Position,
    BeforeValidator(position.parse_position),
    schema_of(["integer", "string"], "bar:beat, or a bar alone", "7:2", 7, pattern=rf"^\s*{_POSITION_PATTERN}\s*$"),
    FormKind("place"),
]
After = Annotated[
    position.Position,
    BeforeValidator(_after),
    schema_of(
        ["integer", "string"],
        "after this beat or bar",
        "after 16:3",
        pattern=rf"^\s*(after\s+)?{_POSITION_PATTERN}\s*$",
    ),
    FormKind("place"),
]
Range = Annotated[
    position.Range,
    BeforeValidator(position.parse_range),
    schema_of(["integer", "string"], "both ends counted in", "7:2 - 8:3", "7-8", pattern=_RANGE_PATTERN),
    FormKind("range"),
]
Then = Annotated[
    position.Position | Literal[True],
    BeforeValidator(_then),
    schema_of(
        "string",
        "what comes after a slowdown",
        "a tempo",
        "a tempo by 9:3",
        pattern=rf"^\s*a tempo( by {_POSITION_PATTERN})?\s*$",
    ),
    FormKind("choice", choices=("a tempo",), open=True),
]
Pass = Annotated[
    int | str | tuple[int, ...],  # for marks of the score the performed bars in which they act
    BeforeValidator(read_pass),
    WithJsonSchema(
        {
            "anyOf": [{"type": "integer", "minimum": 1, "maximum": 99}, {"enum": ["last", "da capo"]}],
            "description": "which time through the music",
        }
    ),
    FormKind("choice", choices=("1", "2", "last", "da capo"), open=True),
]
YesNo = Annotated[
    bool, BeforeValidator(yes_or_no), WithJsonSchema({"enum": [True, False, "yes", "no"]}), FormKind("yes-no")
]
Mark = Annotated[str, *one_of(tuple(LEVELS), "a dynamic mark")]
Tone = Annotated[
    str | float,
    BeforeValidator(_tone),
    schema_of("string", "a tone, or the plucking point from the bridge", *TONE_WORDS, "5 cm"),
    FormKind("choice", choices=tuple(dict.fromkeys(TONE_WORDS.values())), open=True),
]
NewTempo = Annotated[
    float | str,
    BeforeValidator(_tempo),
    schema_of(
        ["number", "string"], "quarters a minute, a note value = a number, 90% of the one before, or tempo primo",
        72, "dotted quarter = 54", "90%", "tempo primo",
        pattern=rf"^({_TEMPO_PATTERN}|\s*\d+(\.\d+)?\s*%\s*|\s*tempo primo\s*)$",
    ),
    FormKind("tempo", units.SLOWEST, units.FASTEST),
]  # fmt: skip
FileName = Annotated[
    str, BeforeValidator(file_name), schema_of(["string", "number"], "a file, seen from the plan's folder"),
    FormKind("text", 1, 1000),
]
Voices = Annotated[
    str,
    *text(
        200,
        "a role (melody, bass, inner), voice 2, staff 1, part 1, a part's name, or several with commas",
        *("melody", "bass", "inner", "voice 2", "staff 1", "part 1"),
    )[:2],
    FormKind("choice", choices=("melody", "bass", "inner"), open=True),
]
EndPace = Annotated[float, *percent(10, 300, "the pace against the basic tempo as the range ends", "80%")]
Stretch = Annotated[float, *percent(50, 1000, "its length against the written one", "150%")]
Share = Annotated[float, *percent(5, 120, "how much of the written note sounds", "50%")]
Short = Annotated[float, *milliseconds(0, 500, "a short time", "30 ms")]
Silence = Annotated[float, *number(0.01, 10, "of seconds, as in 0.2", "how long, in seconds", "seconds")]
Sway = Annotated[float, *percent(0, 30, "how much faster or slower the time goes where it is furthest from even", "8%")]
Stillness = Annotated[float, *percent(0, 30, "how much longer a beat is in which half as many notes begin", "5%")]
LongShort = Annotated[
    float,
    BeforeValidator(_long_short),
    schema_of(
        ["number", "string", "boolean"], "the long note of a pair against the short one; `yes` is 1.6", 1.6, True,
        pattern="^(yes|no)$",
    ),
    FormKind("number", 1, 4, ("yes", "no")),
]  # fmt: skip
Curvature = Annotated[
    float, *number(1, 10, "from 1 to 10", "1 is even; 2 and 3 are like a runner's stop; more gives way later")
]
Glide = Annotated[float, *percent(1, 100, "the last part of the note, in which the slide moves", "30%")]
Peak = Annotated[float, *percent(5, 95, "where the arch is highest, counted from the start of the phrase", "40%")]
Balance = Annotated[float, *decibels(-60, 20, "a level against the others", "-3 dB")]
LevelChange = Annotated[float, *decibels(0, 40, "how much louder or softer", "4 dB")]
Lead = Annotated[
    float | bool,
    *or_usual(milliseconds(0, 200, "how much earlier this voice plays", "20 ms")),
]
ArchPace = Annotated[
    float | bool,
    *or_usual(percent(0, 50, "how much faster the peak is than the ends", "6%")),
]
ArchLevel = Annotated[
    float | bool,
    *or_usual(decibels(0, 20, "how much louder the peak is than the ends", "3 dB")),
]
