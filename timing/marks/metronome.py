"""Metronome marks that are written as words: "(♩ = 60)", "M.M. ♩. = 54–58", "q = 120"."""

from __future__ import annotations

import re

# Quarters of each note: signs of Unicode (whole and taken apart), of SMuFL's metronome marks (from memory), letters and
# names.
_NOTES = {
    "\U0001d15d": 4, "\U0001d157\U0001d165": 2, "\U0001d15e": 2, "\U0001d158\U0001d165": 1, "\U0001d15f": 1, "♩": 1,
    "\U0001d158\U0001d165\U0001d16e": 0.5, "\U0001d160": 0.5, "♪": 0.5,
    "\ueca2": 4, "\ueca3": 2, "\ueca4": 2, "\ueca5": 1, "\ueca6": 1, "\ueca7": 0.5, "\ueca8": 0.5, "\ueca9": 0.25,
    "w": 4, "h": 2, "q": 1, "e": 0.5, "whole": 4, "half": 2, "quarter": 1, "eighth": 0.5, "minim": 2, "crotchet": 1,
    "quaver": 0.5, "halbe": 2, "viertel": 1, "achtel": 0.5, "blanche": 2, "noire": 1, "croche": 0.5, "blanca": 2,
    "negra": 1, "corchea": 0.5, "minima": 2, "semiminima": 1, "croma": 0.5,
}  # fmt: skip
_MARK = re.compile(
    r"(?:\bM\. ?M\. *)?(?P<dotted>dotted )?(?<!\w)(?P<note>" + "|".join(sorted(_NOTES, key=len, reverse=True)) + r")"
    r"(?P<dot> ?[.\U0001d16d\uecb7])? *= *(?:c(?:a|irca)?\.? *|~ *)?"
    r"(?P<low>[1-9]\d{1,2}(?:\.\d{1,3})?)(?: *[-–—] *(?P<high>[1-9]\d{1,2}))?(?!\d)",
    re.IGNORECASE,
)


def metronome_marks(text: str) -> tuple[str, list[tuple[str, float]]]:
    """The text without its metronome marks, and these as (what is written, quarters a minute, in the middle of a
    range)."""
    found = []
    for mark in _MARK.finditer(text):
        beats = (float(mark["low"]) + float(mark["high"] or mark["low"])) / 2
        quarters = _NOTES[mark["note"].lower()] * (1.5 if mark["dotted"] or mark["dot"] else 1)
        found.append((" ".join(mark[0].split()), beats * quarters))
    return _MARK.sub(",", text), found
