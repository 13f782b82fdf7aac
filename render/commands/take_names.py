"""What takes are called where no file is named: after their plan, and after every way of listening that was asked for.

    mine.wav    mine_bars-26-29_pace-60.wav    mine_only-melody_loop-4_click.wav

So a stretch or a slower take never stands in the place of the whole, and the same take asked for again has the same
name. Ways stand in one order, divided by `_`; only small letters, digits and `-`, `.`, `+` are used, which every file
system tells apart and no shell reads as anything else. A text that has more in it (a voice's name with capitals, say)
is put into such letters as far as that goes, and a short digest of it is added.
"""

from __future__ import annotations

import hashlib
import re
import unicodedata
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from render.kinds import MIDI, SOUND
from soundfonts.banks import fingerprint
from timing.plan.position import parse_range
from timing.plan.words import LONGEST_NAME

if TYPE_CHECKING:
    from render.commands.takes import Wanted

_PLAIN = re.compile(r"[a-z0-9]+( [a-z0-9]+)*")
_LONGEST_WORDS = 24  # letters of a text
_DIGEST = 8  # hexadecimal digits: two of a hundred takes are called alike once in a million times
_LONGEST_KIND = max(map(len, (*MIDI, *SOUND)))


def take_stem(plan: Path, wanted: Wanted) -> str:
    """The name of a take of this plan, without its suffix. Names that are too long for a file system are cut, and end
    in a digest of what is left out."""
    ways = list(_ways(wanted))
    whole = "_".join([plan.stem, *ways])
    room = LONGEST_NAME - _LONGEST_KIND
    if not ways or len(whole.encode()) <= room:
        return whole
    cut = whole.encode()[: room - _DIGEST - 1].decode(errors="ignore")
    return f"{cut}-{_digest(whole)}"


def _ways(wanted: Wanted) -> Iterator[str]:
    """Every way of listening that is not the usual one, as a word for a file's name."""
    if wanted.bars is not None:
        yield f"bars-{_range(wanted.bars)}"
    if wanted.passes is not None:
        yield f"pass-{_text(str(wanted.passes))}"
    for option, voices in (("only", wanted.only), ("without", wanted.without)):
        yield from (f"{option}-{voice}" for voice in _voices(voices))
    if wanted.fingering is not None:
        yield f"fingering-{_text(wanted.fingering)}"
    if wanted.soundfont is not None:
        yield f"soundfont-{_text(wanted.soundfont.stem, fingerprint(wanted.soundfont))}"
    if wanted.room is not None:
        yield f"room-{wanted.room}"
    for option, factor in (("pace", wanted.scale.pace), ("amount", wanted.scale.amount)):
        if factor != 1:
            yield f"{option}-{100 * factor:.12g}"
    if wanted.loop > 1:
        yield f"loop-{wanted.loop}"
    if wanted.click:
        yield "click"
    if wanted.count_in:
        yield "count-in"


def _range(text: str) -> str:
    """7:2 - 8:3.5 as 7.2-8.3.5, and 7:2+1/3 as 7.2+1.3, which is not read in any other way."""
    written = str(parse_range(text)).replace(" ", "").replace(":", ".").replace("/", ".")
    return written if written == written.lower() else _with_digest(written.lower(), written)


def _voices(names: Iterable[str]) -> list[str]:
    """In an order that does not hang on how they were asked for; capitals do not count in them."""
    return [_text(name) for name in sorted({" ".join(name.lower().split()) for name in names})]


def _text(text: str, exact: str | None = None) -> str:
    """A text in plain letters, with a digest where they are not all of it, or of what it stands for `exact`ly."""
    if exact is None and len(text) <= _LONGEST_WORDS and _PLAIN.fullmatch(text):
        return text.replace(" ", "-")
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode().lower()
    words = "-".join(re.findall("[a-z0-9]+", plain))[:_LONGEST_WORDS].strip("-")
    return _with_digest(words, exact or text)


def _with_digest(words: str, exact: str) -> str:
    return f"{words}-{_digest(exact)}" if words else _digest(exact)


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8", "surrogateescape")).hexdigest()[:_DIGEST]
