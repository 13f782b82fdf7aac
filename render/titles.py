"""What readings are called beside their piece."""

from __future__ import annotations


def own_title(title: str, piece: str) -> str:
    """What the title of a reading says beside that of the piece: "flowing" of "Low Water (flowing)". All of it where it
    does not begin with the piece; nothing where it says no more."""
    return title.removeprefix(piece).strip(" ()–—:-,") if piece and title.startswith(piece) else title
