"""What the words over a score mean: tempi, slowing and hurrying, returns, louder and softer, tones.

Words are compared without capitals, accents and full stops. A direction is read clause by clause (`Andantino, cullando`
has two), and each clause by the longest phrases that are known (`timing.marks.vocabulary`).
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from functools import cache
from math import inf

from timing.marks import vocabulary as known
from timing.plan import words


_WORD = re.compile(r"'*[^\W_](?:[^\W_]|')*")


@dataclass(frozen=True)
class Meaning:
    """One thing that words say.

    `kind` is one of: tempo (value: felt beats a minute), change (value: of the tempo before), same beat, first tempo,
    return, pace (word: the kind of slowdown; value: the pace it comes to; `less`: the same where nothing on the page
    says how far it goes, None where it then stays), swell (word: crescendo or diminuendo; value: dB, inf where it
    leads to nothing or comes from there), tone (word), guitar tone (word), pizzicato, arco, dynamic (word), step (word:
    louder or softer than the dynamic before), character, technique.
    """

    kind: str
    word: str = ""
    value: float = 0.0
    less: float | None = None


def clauses(text: str) -> list[tuple[str, tuple[Meaning, ...]]]:
    """Every clause of a direction and what it means; nothing, where it is not understood."""
    parts = re.split(r"[,;:/()\[\]\n]|\s[-–—]\s|[–—]", text.replace("1/2", "½"))
    parts = (" ".join(part.split()) for part in parts)
    return [(part, _meanings(part)) for part in parts if plain(part) and "=" not in part]


def plain(word: str) -> tuple[str, ...]:
    """A phrase as it is compared: its words, in any script, without capitals, accents and full stops; nothing where it
    has neither letters nor figures."""
    letters = unicodedata.normalize("NFKD", re.sub(r"(?<=\w)[°º]", "", word.replace("’", "'"))).casefold()
    bare = "".join(c for c in letters if not unicodedata.combining(c))
    return tuple(_WORD.findall(bare) or _WORD.findall(word))  # a sound mark of kana is a letter that is only an accent


@cache
def _phrases() -> dict[tuple[str, ...], tuple[tuple[str, str, tuple], ...]]:
    """Every phrase: (kind, word or words, values), the last two plain, with `poco` and with `molto`, of all that it
    means."""
    made: dict[tuple[str, ...], tuple] = {}

    def put(phrases, kind: str, word: str | tuple[str, ...] = "", values: tuple = (0.0, 0.0, 0.0)) -> None:
        for phrase in phrases:
            made[plain(phrase)] = (*made.get(plain(phrase), ()), (kind, word, values))

    for word, beats in known.TEMPI.items():
        away = 1 if beats > known.MIDDLE else -1
        further, back = beats * (1 + away * known.FURTHER), beats * (1 - away * known.LESS_FAR)
        put([word], "tempo", word, (beats, back, further))
    for values, phrases in known.CHANGES.items():
        put(phrases, "change", "", values)
    put(known.DOUBLE, "change", "", (2.0, 2.0, 2.0))
    put(known.SAME_BEAT, "same beat")
    put(known.FIRST_TEMPO, "first tempo")
    put(known.RETURNS, "return")
    for kind, phrases in known.PACES.items():
        put(phrases, "pace", kind, known.DEPTHS[kind])
    for sign, phrases in known.SWELLS.items():
        put(phrases, "swell", "crescendo" if sign > 0 else "diminuendo", known.SWELL)
    put(known.DYING, "pace", "rallentando", known.DYING_DEPTHS)
    put(known.DYING, "swell", "diminuendo", known.SWELL)
    for kind, tones in (("tone", known.TONES), ("guitar tone", known.GUITAR_TONES)):
        for tone, phrases in tones.items():
            put(phrases, kind, tone)
    put(known.PIZZICATO, "pizzicato")
    put(known.ARCO, "arco")
    for marks, phrases in known.SPOKEN.items():
        put(phrases, "dynamic", marks)
    for step, phrases in known.STEPS.items():
        put(phrases, "step", step)
    kinds = {"character": known.CHARACTER, "technique": known.TECHNIQUE, "less": known.LESS, "more": known.MORE}
    kinds |= {"gradually": known.GRADUALLY, "not": known.NOT, "nothing": known.NOTHING, "other": known.OTHERS}
    for kind, phrases in kinds.items():
        put(phrases, kind)
    return made


_LONGEST = 4  # words in a phrase
_LETTERS = re.compile(r"p{2,6}|f{2,6}|m[pf]|s?f{1,2}z|sfz?p{0,2}|f{1,2}p{1,2}|rfz?", re.ASCII)
_NOT_BESIDE = {plain(word) for word in ("string", "tempo", "mouvement", "mouvt", "zeitmaß", "stretto", "large")}
_NOT_ALONE = {("p",), ("f",), ("piano",), ("forte",)}  # a finger, a letter, the name of an instrument
_DEGREES = {"less": 1, "more": 2}
_ONLY_HOW = (*_DEGREES, "gradually", "not", "nothing", "other")  # kinds that say how, and not what


def _meanings(clause: str) -> tuple[Meaning, ...]:
    """What the phrases of a clause come to, each with the degree that stands beside it."""
    if known.BARRE.fullmatch(clause):
        return (Meaning("technique"),)
    for value, phrases in known.ALONE.items():
        if plain(clause) in map(plain, phrases):
            return (Meaning("change", value=value),)
    found = _found(clause)
    kinds = [senses[0][0] if senses else "" for _, senses in found]
    degrees = [_DEGREES.get(kind, 0) for kind in kinds]
    made: list[Meaning] = []
    for place, (phrase, senses) in enumerate(found):
        if kinds[place] in ("", *_ONLY_HOW) or _doubtful(phrase, kinds) or "not" in kinds[max(place - 1, 0) : place]:
            continue
        degree = _degree(found, degrees, place)
        opens = all(degrees[:place])  # in the midst of other words it is not meant as a tempo
        senses = [sense for sense in senses if opens or sense[0] != "tempo"]
        made += [_meaning(*sense, degree, kinds) for sense in senses]
    if not made and "" not in kinds and not _doubtful(found[0][0], kinds):
        return (Meaning("character"),)  # `sempre`, `poco`: they say how, and not what
    return tuple(made)


def _doubtful(phrase: tuple[str, ...], kinds: list[str]) -> bool:
    """Whether this is likely to be something else, with what stands beside it (phrases of these kinds)."""
    letters = phrase in _NOT_ALONE or _LETTERS.fullmatch(phrase[0])
    if "" in kinds and (letters or phrase in _NOT_BESIDE):
        return True
    return len(kinds) == 1 if phrase in _NOT_ALONE else phrase in _NOT_BESIDE and "technique" in kinds


def _meaning(kind: str, word: str | tuple[str, ...], values: tuple, degree: int, kinds: list[str]) -> Meaning:
    """One sense of a phrase, with the degree beside it, among phrases of these kinds."""
    value, less = values[degree], None
    if kind == "change" and "gradually" in kinds:
        kind, word = "pace", "accelerando" if value > 1 else "ritardando"
    elif kind == "pace" and value < 1:
        less = values[0 if degree == 2 else 1]
    elif kind == "swell" and "nothing" in kinds:
        value = inf
    return Meaning(kind, word if isinstance(word, str) else word[degree], value, less)


def _degree(found: list, degrees: list[int], place: int) -> int:
    """The degree that stands before a phrase, else after it, unless it belongs to the phrase that follows."""
    before = degrees[place - 1] if place else 0
    after = degrees[place + 1] if place + 1 < len(found) else 0
    following = found[place + 2][1] if place + 2 < len(found) else ()
    return before or (0 if following and following[0][0] not in _ONLY_HOW else after)


def _found(clause: str) -> list[tuple[tuple[str, ...], tuple]]:
    """The phrases of a clause, the longest first at each place, and their senses; none for a word that is not known.
    What is short for a dynamic is so in small letters only."""
    said, phrases, written = plain(clause), _phrases(), clause.replace(".", " ").split()
    found, at = [], 0
    while at < len(said):
        sizes = range(min(_LONGEST, len(said) - at), 0, -1)
        size = next((size for size in sizes if said[at : at + size] in phrases), 1)
        phrase = said[at : at + size]
        senses = phrases.get(phrase, ())
        if not senses and _LETTERS.fullmatch(phrase[0]):
            senses = (("dynamic", phrase[0], (0.0, 0.0, 0.0)),)
        letters = phrase in _NOT_ALONE or _LETTERS.fullmatch(phrase[0])
        found.append((phrase, senses if phrase[0] in written or not letters else ()))
        at += size
    return found


def dynamic(letters: str) -> tuple[str | None, str | float | None] | None:
    """What a dynamic sign does: (the mark that holds from there, how the notes there stand out: by so many dB, or as
    the plan's `articulation` says of a sforzato or an accent). None for a sign that is not known."""
    if letters in known.ACCENTED:
        loud, soft = known.ACCENTED[letters]
        return soft, words.DYNAMICS[loud] - words.DYNAMICS[soft]
    if letters in known.SFORZATI or letters in known.RINFORZATI:
        return None, "sforzato" if letters in known.SFORZATI else "accent"
    mark = known.BEYOND.get(letters, letters)
    return (mark, None) if mark in words.DYNAMICS else None
