"""How values of a plan are written: the reader of each kind, what editors are told of it, how a form asks for it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from pydantic import BeforeValidator, WithJsonSchema

from timing.plan import units
from timing.plan.position import shown


@dataclass(frozen=True)
class FormKind:
    """How a form asks for a value. `kind` is percent, dB, ms, seconds, number, whole number, tempo, choice, text,
    place, range or yes-no; `least` and `most` are in the unit of the kind (of a text: letters). Where it is `open`,
    other values than the `choices` may be written too."""

    kind: str
    least: float | None = None
    most: float | None = None
    choices: tuple[str, ...] = ()
    open: bool = False


# How a value is written, beside its type in an annotation: its reader, what editors are told of it, and its form.
Notation = tuple[BeforeValidator, WithJsonSchema, FormKind]


def schema_of(
    kind: str | list[str], description: str, *examples: object, pattern: str | None = None, **more: object
) -> WithJsonSchema:
    schema = {"type": kind, "description": description, "examples": list(examples), "pattern": pattern, **more}
    return WithJsonSchema({key: value for key, value in schema.items() if value not in (None, [])})


_AMOUNT = r"^\s*[-+−]?(\d+\.?\d*|\.\d+)\s*{}\s*$"


def percent(low: float, high: float, description: str, example: str) -> Notation:
    """A share such as 80%, as a factor (0.8)."""
    read = units.amount("%", low, high, example, 100)
    schema = schema_of("string", description, example, pattern=_AMOUNT.format("%"))
    return BeforeValidator(read), schema, FormKind("percent", low, high)


def decibels(low: float, high: float, description: str, example: str) -> Notation:
    """A difference in level, in dB."""
    read, pattern = units.amount("dB", low, high, example), _AMOUNT.format("[dD][bB]")
    return BeforeValidator(read), schema_of("string", description, example, pattern=pattern), FormKind("dB", low, high)


def milliseconds(low: float, high: float, description: str, example: str) -> Notation:
    """A short time, in seconds."""
    read, pattern = units.amount("ms", low, high, example, 1000), _AMOUNT.format("[mM][sS]")
    return BeforeValidator(read), schema_of("string", description, example, pattern=pattern), FormKind("ms", low, high)


def number(low: float, high: float, what: str, description: str, kind: str = "number") -> Notation:
    """A bare number; `what` completes "a number ..."."""
    schema = schema_of("number", description, minimum=low, maximum=high)
    return BeforeValidator(units.number(low, high, what)), schema, FormKind(kind, low, high)


def whole_number(low: int, high: int) -> Callable[[object], int]:
    """A reader of whole numbers."""
    read = units.number(low, high, f"from {low} to {high}")

    def whole(value: object) -> int:
        number = read(value)
        if number != int(number):
            raise ValueError(f"{shown(value)} is not a whole number from {low} to {high}")
        return int(number)

    return whole


def whole(low: int, high: int, description: str) -> Notation:
    """A whole number."""
    schema = schema_of("integer", description, minimum=low, maximum=high)
    return BeforeValidator(whole_number(low, high)), schema, FormKind("whole number", low, high)
