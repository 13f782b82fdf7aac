"""What a draft is made of: entries of a plan, each with the reason why it is there."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class DraftItem:
    """One entry of a section (keys and values as a plan has them), or a section's one value. An entry with `inside` has
    entries of its own; one that is `printed` is the composer's, and stays."""

    entry: dict[str, Any] | list[str] | str | int
    why: str
    inside: tuple[DraftItem, ...] = ()
    printed: bool = False

    @property
    def keys(self) -> dict[str, Any]:
        """The keys and values of an entry."""
        assert isinstance(self.entry, dict)
        return self.entry


def percent(factor: float) -> str:
    return f"{100 * factor:.4g}%"


def decibels(level: float) -> str:
    return f"{level:.3g} dB"


def sureness(probability: float) -> str:
    """How sure something is, in words and in figures."""
    word = "sure" if probability >= 0.9 else "likely" if probability >= 0.6 else "a guess"
    return f"{word}, {probability:.0%}"
