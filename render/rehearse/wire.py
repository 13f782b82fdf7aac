"""What page and server say to each other. Whatever comes from a browser is checked to the last value."""

from __future__ import annotations

import json
import struct
from typing import Annotated, Any, Literal

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, ValidationError

from timing.plan.yamltext import MAX_BYTES

MOST_BYTES = 2 * MAX_BYTES + 100_000  # of a message: the longest plan with every letter escaped

StateNumber = Annotated[int, Field(ge=0, le=2**31)]
Second = Annotated[float, Field(ge=0, le=1e6, allow_inf_nan=False)]
THE_PLAN, THE_OTHER = 0, 1


class _Message(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)


class WishedSpot(_Message):
    """A place on the page: the row of a bar, quarters after its bar line, and which hearing of it (None: each)."""

    row: StateNumber
    offset: Annotated[float, Field(ge=0, le=1e4, allow_inf_nan=False)]
    pass_: Annotated[int, Field(ge=1, le=10_000)] | None = Field(None, alias="pass")


class Hear(_Message):
    """Where somebody listens: in which take of which reading, at which second of it."""

    do: Literal["hear"]
    reading: Literal[0, 1]
    number: StateNumber
    second: Second
    playing: bool


class TextWish(_Message):
    """The text as it was typed, on top of the state with this number."""

    do: Literal["text"]
    text: Annotated[str, Field(max_length=MAX_BYTES)]
    number: StateNumber | None = None


class ChangeWish(_Message):
    """A change of the plan, made on the state with this number. While somebody is `drawing`, more of them follow, all
    made on one state, of which the last one alone stands."""

    do: Literal["change"]
    number: StateNumber
    change: dict[str, Any]
    drawing: bool = False


class OffersWish(_Message):
    """What can stand at a place, or from there to another one."""

    do: Literal["offers"]
    asked: StateNumber
    at: WishedSpot
    until: WishedSpot | None = None


class StepWish(_Message):
    do: Literal["undo", "redo"]


class BackWish(_Message):
    do: Literal["back"]
    to: StateNumber


class SettleWish(_Message):
    do: Literal["settle"]
    keep: Literal["ours", "theirs"]


class PaperWish(_Message):
    """How wide the paper is that this page shows."""

    do: Literal["paper"]
    paper: Literal["wide", "middle", "narrow"]


class TapsWish(BaseModel):
    """Taps, which are checked where they are understood."""

    model_config = ConfigDict(extra="allow")
    do: Literal["taps"]


Wish = Hear | TextWish | ChangeWish | OffersWish | StepWish | BackWish | SettleWish | PaperWish | TapsWish
_WISHES: TypeAdapter[Wish] = TypeAdapter(Annotated[Wish, Field(discriminator="do")])


def understood(message: str) -> Wish | None:
    """What a page wishes; None where it is no wish that a page can have."""
    try:
        return _WISHES.validate_json(message)
    except ValidationError:
        return None


def said(kind: str, **values: Any) -> str:
    """A message for a page."""
    return json.dumps({"is": kind, **values}, allow_nan=False, separators=(",", ":"))


_HEADER = struct.Struct("<BBHIII")
_SOUND = 1


def sound(reading: int, number: int, first: int, frames: int, block: np.ndarray) -> bytes:
    """A block of sound for a page: (frames, channels) float32 from the frame `first` on, of a take that has so many
    `frames` (0: it is not known yet)."""
    return _HEADER.pack(_SOUND, reading, block.shape[1], number, first, frames) + block.astype("<f4").tobytes()
