"""The lines of a plan's text."""

from __future__ import annotations


def entries_of(text: str) -> list[tuple[str, str]]:
    """Every line on which an entry of a list begins, with the line above it."""
    lines = text.splitlines()
    return [(line, lines[number - 1]) for number, line in enumerate(lines) if line.lstrip().startswith("- ")]
