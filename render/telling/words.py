"""Short texts as people read them: on one line, and times as on a programme."""

from __future__ import annotations

import re

_FORBIDDEN = re.compile("[^\t\n\r -\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]|[\x7f-\x9f\u202a-\u202e\u2066-\u2069]")
_SPACE = re.compile(r"[^\S\xa0]+")


def plain(text: str) -> str:
    """A text on one line, without what XML cannot hold and without what would turn the direction of what follows."""
    return _SPACE.sub(" ", _FORBIDDEN.sub(" ", text)).strip() if not text.isascii() or not text.isprintable() else text


def clock(seconds: float) -> str:
    """Minutes and seconds, as on a programme: 2:05."""
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes}:{rest:02}"


def lowering_in_words(lowered: float, takes: int) -> str:
    """By how many dB so many takes are lowered, and why."""
    alike = {1: "", 2: "; both alike"}.get(takes, f"; all {takes} alike")
    return f"lowered by {lowered:g} dB so that nothing clips{alike}"
