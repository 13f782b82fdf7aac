"""What every group of settings of a plan has in common: its place in the file, and faults that are told all at once."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from keyword import iskeyword
from typing import Annotated, Any, ClassVar, Self, TypeVar

from pydantic import BaseModel, ConfigDict, Field, PrivateAttr, ValidationError, model_validator
from pydantic_core import InitErrorDetails

from timing.plan import words
from timing.plan.kinds import Act, Kind
from timing.remarks import Place

# A fault of a group of settings: where in it, and what is wrong.
Faults = Iterator[tuple[tuple[str | int, ...], ValueError]]


class KeyFault(ValueError):  # noqa: N818 (a fault is the house's word)
    """The key itself is out of place, not its value."""


class Words(BaseModel):
    """A group of settings of the plan, which remembers where it and its keys stand in the file."""

    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True)
    _source: dict[str, Any] | None = PrivateAttr(default=None)

    @model_validator(mode="wrap")
    @classmethod
    def _check(cls, data: Any, handler: Any) -> Self:
        """Validate every key and then what the keys have to do with each other, so that all faults are told at once."""
        try:
            made, errors = handler(data), []
        except ValidationError as fault:
            made, errors = None, [_again(error) for error in fault.errors(include_url=False)]
            failed = {error["loc"][0] for error in errors if error["loc"]}
            with suppress(ValidationError):  # what is sound, so that the rest can be judged too
                made = handler({key: value for key, value in data.items() if key not in failed}) if failed else None
        if isinstance(data, dict):
            empty = {(key,) for key, value in data.items() if value is None and key in cls.known()}
            errors = [error for error in errors if error["loc"] not in empty]  # `faults` has better words for them
            for loc, why in cls.faults(data, made):
                errors.append(InitErrorDetails(type="value_error", loc=loc, input=None, ctx={"error": why}))
        if errors:
            raise ValidationError.from_exception_data(cls.__name__, errors)
        if isinstance(data, dict):  # else it has been made before, and knows
            made._source = data
        return made

    @property
    def source(self) -> dict[str, Any] | None:
        """What the file has here (a `Map`, if it comes from a file), or was given in Python; None for a mark of the
        score, which no one has written into a plan."""
        return self._source

    @property
    def printed(self) -> bool:
        """Whether it stands for a mark that is printed in the score: that is the composer's, and is not judged."""
        return self._source is None

    @classmethod
    def known(cls) -> list[str]:
        """The keys that may stand here, as a plan writes them."""
        return [field.alias or name for name, field in cls.model_fields.items()]

    @classmethod
    def faults(cls, given: dict[str, Any], made: Self | None) -> Faults:
        """What is wrong with these keys together. `made` holds the values that are sound; None where too few are."""
        for key, value in given.items():
            if value is None and key in cls.known():
                yield (key,), KeyFault(f"nothing stands after '{key}': write its value, or leave it out")

    def place(self, *path: str | int) -> Place | None:
        """Where this entry stands, or what lies in it under a path of keys and list places (as much of it as the file
        really has); None for plans made in Python."""
        here: Any = self._source
        place = getattr(here, "place", None)
        for step in path:
            try:
                here, place = here[step], here.places[step]
            except (AttributeError, LookupError, TypeError):
                break
        return place

    def says(self, key: str) -> bool:
        """Whether the file has this key."""
        return self._source is not None and key in self._source

    def key_place(self, *path: str | int) -> Place | None:
        """Where the last key of this path stands itself, not its value."""
        here: Any = self._source
        try:
            for step in path[:-1]:
                here = here[step]
            return here.keys_at[path[-1]]
        except (AttributeError, LookupError, TypeError):
            return self.place(*path)


def _again(error: Any) -> InitErrorDetails:
    """An error as it was reported, to be raised once more."""
    return InitErrorDetails(type=error["type"], loc=error["loc"], input=error["input"], ctx=error.get("ctx", {}))


def exactly_one(kinds: tuple[str, ...]) -> ConfigDict:
    return ConfigDict(json_schema_extra={"oneOf": [{"required": [kind]} for kind in kinds]})


Why = Annotated[str, *words.text(2000, "the reason, for whoever reads the plan")]


class Entry(Words):
    """What every entry may carry. Where `KINDS` names keys, an entry has exactly one of them: its kind; `DOES` is what
    each of them does, where they differ in that."""

    DOES: ClassVar[dict[str, Kind]] = {}
    KINDS: ClassVar[tuple[str, ...]] = ()
    NEED_END: ClassVar[tuple[str, ...]] = ()  # keys whose range acts only where its end is heard

    passes: words.Pass | None = Field(None, alias="pass")
    why: Why | None = None
    omit: words.YesNo = Field(False, description="in a plan based on another: leave this entry of it out")

    @classmethod
    def faults(cls, given: dict[str, Any], made: Self | None) -> Faults:
        yield from super().faults(given, made)
        kinds = [key for key in given if key in cls.KINDS]
        if cls.KINDS and not kinds and given.keys() <= set(cls.known()):  # else an unknown key was meant to be it
            yield (), ValueError(f"this entry does not say what it is: it needs {any_of(cls.KINDS)}")
        for more in kinds[1:]:
            yield (more,), KeyFault(f"'{kinds[0]}' and '{more}' cannot be one entry: make two of it")
        if made is not None and made.omit:  # those that are found in the older plan are taken out before validation
            yield ("omit",), KeyFault("there is no such entry to leave out in a plan that this one is based on")

    def value(self, key: str) -> Any:
        """The value of a key as it is written in the plan."""
        return getattr(self, key.replace(" ", "_") + "_" * iskeyword(key))

    @property
    def kind(self) -> str:
        return next(kind for kind in self.KINDS if self.value(kind) is not None)

    @property
    def does(self) -> Kind:
        """What an entry of this kind does."""
        return self.DOES[self.kind]

    @property
    def act(self) -> Act:
        return self.does.act

    @property
    def arrives(self) -> bool:
        """Whether it arrives on the end of its range, instead of when that is over."""
        return bool(self.DOES) and self.does.arrives

    @property
    def where(self) -> Any:
        """The position or range that stands beside the kind."""
        return self.value(self.kind)


AnyEntry = TypeVar("AnyEntry", bound=Entry)


def any_of(keys: tuple[str, ...]) -> str:
    return f"{', '.join(keys[:-1])} or {keys[-1]}"


def misplaced(given: dict[str, Any], keys: tuple[str, ...], message: str) -> Faults:
    """A fault for each of these keys that stands in the entry."""
    yield from (((key,), KeyFault(message)) for key in keys if given.get(key) is not None)


def not_both(given: dict[str, Any], *keys: str) -> Faults:
    """A fault at the later of two keys that exclude each other."""
    found = [key for key in given if key in keys and given[key] is not None]
    if len(found) > 1:
        yield (found[1],), KeyFault(f"'{found[0]}' and '{found[1]}' cannot both hold: keep one of them")


def kind_of(cls: type[Entry], given: dict[str, Any]) -> str | None:
    return next((key for key in given if key in cls.KINDS), None)
