"""What the words over a score mean: tempi, slowing and hurrying, returns, louder and softer, tones.

Words are compared without capitals, accents and full stops. A direction is read clause by clause (`Andantino, cullando`
has two), and each clause by the longest phrases that are known (`timing.marks.vocabulary`).
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from html import unescape
from math import inf

from timing.instruments import programs
from timing.marks import vocabulary as known
from timing.marks.metronome import metronome_marks
from timing.plan import words

_WORD = re.compile(r"'*[^\W_](?:[^\W_]|')*")
_TAG = re.compile(r"</?[A-Za-z]{1,6}>")  # some files have those of a web page among their words


@dataclass(frozen=True)
class Meaning:
    """One thing that words say.

    `kind` is one of: number (value: quarters a minute), tempo (value: felt beats a minute), change (value: of the tempo
    before), same beat, first tempo, return, pace (word: the kind of slowdown; value: the pace it comes to; `less`: the
    same where nothing on the page says how far it goes, None where it then stays), swell (word: crescendo or
    diminuendo; value: dB, inf where it leads to nothing or comes from there; `goal`: the dynamic that it names), tone
    (word), guitar tone (word), sweet tone (value: cm from the bridge), sweet (value: dB softer), pizzicato, arco,
    harmonic, rasgueado, plucked (these two end it), dynamic (word), step (word: louder or softer than the dynamic
    before), character, technique, figure (a number or the letter of a finger), heading (a name of what is played).
    """

    kind: str
    word: str = ""
    value: float = 0.0
    less: float | None = None
    goal: str = ""


NO_MEANING = Meaning("")  # of signs on notes, and of words that are not understood

# What a phrase may mean: a kind, a word (or one for each degree), and values plain, with `poco` and with `molto`.
Sense = tuple[str, str | tuple[str, ...], tuple[float, ...]]
_Found = tuple[tuple[str, ...], tuple[Sense, ...]]  # a phrase of a clause, and its senses


def clauses(text: str) -> list[tuple[str, tuple[Meaning, ...]]]:
    """Every clause of a direction and what it means; nothing, where it is not understood."""
    text, numbers = metronome_marks(_TAG.sub("", unescape(text)).replace("1/2", "½"))
    parts = (" ".join(part.split()) for part in re.split(r"[,;:/()\[\]\n]|\s[-–—]\s|[–—]", text))
    found = [(part, _meanings(part)) for part in parts if plain(part) and "=" not in part]
    return found + [(said, (Meaning("number", value=quarters),)) for said, quarters in numbers]


def plain(word: str) -> tuple[str, ...]:
    """A phrase as it is compared: its words, in any script, without capitals, accents and full stops; nothing where it
    has neither letters nor figures."""
    letters = unicodedata.normalize("NFKD", re.sub(r"(?<=\w)[°º]", "", word.replace("’", "'"))).casefold()
    bare = "".join(c for c in letters if not unicodedata.combining(c))
    return tuple(_WORD.findall(bare) or _WORD.findall(word))  # a sound mark of kana is a letter that is only an accent


@cache
def _phrases() -> dict[tuple[str, ...], tuple[Sense, ...]]:
    """Every phrase, with all that it means."""
    made: dict[tuple[str, ...], tuple[Sense, ...]] = {}

    def put(
        phrases: Iterable[str],
        kind: str,
        word: str | tuple[str, ...] = "",
        values: tuple[float, ...] = (0.0, 0.0, 0.0),
    ) -> None:
        for phrase in phrases:
            senses, sense = made.get(plain(phrase), ()), (kind, word, values)
            made[plain(phrase)] = senses if sense in senses else (*senses, sense)  # armonico, armónico

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
    put(known.SWEET, "sweet tone", "", (known.SWEET_POINT,) * 3)
    put(known.SWEET, "sweet", "", known.SWEETLY)
    put(known.HARMONICS, "harmonic")
    put(known.RASGUEADO, "rasgueado")
    put(known.PLUCKED_AGAIN, "plucked")
    for marks, phrases in known.SPOKEN.items():
        put(phrases, "dynamic", marks)
    for step, phrases in known.STEPS.items():
        put(phrases, "step", step)
    kinds = {"character": known.CHARACTER, "technique": known.TECHNIQUE, "less": known.LESS, "more": known.MORE}
    kinds |= {"gradually": known.GRADUALLY, "not": known.NOT, "nothing": known.NOTHING, "other": known.OTHERS}
    kinds |= {"to": known.TO, "heading": known.HEADINGS}
    for kind, phrases in kinds.items():
        put(phrases, kind)
    put((name for name in programs.NAMES if plain(name) not in made), "heading")
    return made


_LONGEST = 4  # words in a phrase
_LETTERS = re.compile(r"p{2,6}|f{2,6}|m[pf]|s?f{1,2}z|sfz?p{0,2}|f{1,2}p{1,2}|rfz?", re.ASCII)
_NOT_BESIDE = {plain(word) for word in ("string", "tempo", "mouvement", "mouvt", "zeitmaß", "stretto", "large")}
_NOT_ALONE = {("p",), ("f",), ("piano",), ("forte",)}  # a finger, a letter, the name of an instrument
_NUMBERED = (("no",), ("n",))
_DEGREES = {"less": 1, "more": 2}
_ONLY_HOW = (*_DEGREES, "gradually", "not", "nothing", "other", "to")  # kinds that say how, and not what
_NAMES = ("figure", "heading")  # kinds that only name what is played


def _meanings(clause: str) -> tuple[Meaning, ...]:
    """What the phrases of a clause come to, each with the degree that stands beside it."""
    for pattern, kind in ((known.BARRE, "technique"), (known.FINGERS, "figure"), (known.NAMED, "heading")):
        if pattern.fullmatch(clause):
            return (Meaning(kind),)
    for value, phrases in known.ALONE.items():
        if plain(clause) in map(plain, phrases):
            return (Meaning("change", value=value),)
    found = _found(clause)
    kinds = [senses[0][0] if senses else "" for _, senses in found]
    degrees = [_DEGREES.get(kind, 0) for kind in kinds]
    made: list[Meaning] = []
    goals = _goals(found, kinds)
    for place, (phrase, senses) in enumerate(found):
        silent = kinds[place] in ("", *_ONLY_HOW, *_NAMES) or place in goals.values()
        if silent or _doubtful(phrase, kinds) or "not" in kinds[max(place - 1, 0) : place]:
            continue
        degree = _degree(found, degrees, place)
        opens = all(kind in (*_DEGREES, *_NAMES) for kind in kinds[:place])  # amid other words it is not meant as one
        meant = [sense for sense in senses if opens or sense[0] != "tempo"]
        goal = _level(found[goals[place]][1][0][1]) if place in goals else ""
        made += [_meaning(*sense, degree, kinds, goal) for sense in meant]
    if not made and "" not in kinds and not _doubtful(found[0][0], kinds):
        return (Meaning(next((kind for kind in _NAMES[::-1] if kind in kinds), "character")),)
    return tuple(made)


def _level(word: str | tuple[str, ...]) -> str:
    """The mark that holds after a dynamic, in words or letters; nothing for an accent."""
    return (dynamic(word if isinstance(word, str) else word[0]) or (None,))[0] or ""


def _goals(found: list[_Found], kinds: list[str]) -> dict[int, int]:
    """The places of words for growing and fading, and those of the dynamics that they lead to: `cresc. molto al ff`."""
    made = {}
    for place in (place for place, kind in enumerate(kinds) if kind == "swell"):
        to = next((n for n in range(place + 1, len(kinds)) if kinds[n] not in (*_DEGREES, "gradually", "other")), None)
        if to is not None and kinds[to : to + 2] == ["to", "dynamic"] and _level(found[to + 1][1][0][1]):
            made[place] = to + 1
    return made


def _doubtful(phrase: tuple[str, ...], kinds: list[str]) -> bool:
    """Whether this is likely to be something else, with what stands beside it (phrases of these kinds)."""
    letters = phrase in _NOT_ALONE or _LETTERS.fullmatch(phrase[0])
    if "" in kinds and (letters or phrase in _NOT_BESIDE):
        return True
    return len(kinds) == 1 if phrase in _NOT_ALONE else phrase in _NOT_BESIDE and "technique" in kinds


def _meaning(
    kind: str, word: str | tuple[str, ...], values: tuple[float, ...], degree: int, kinds: list[str], goal: str
) -> Meaning:
    """One sense of a phrase, with the degree beside it, among phrases of these kinds."""
    value, less = values[degree], None
    if kind == "change" and "gradually" in kinds:
        kind, word = "pace", "accelerando" if value > 1 else "ritardando"
    elif kind == "pace" and value < 1:
        less = values[0 if degree == 2 else 1]
    elif kind == "swell" and "nothing" in kinds:
        value = inf
    return Meaning(kind, word if isinstance(word, str) else word[degree], value, less, goal if kind == "swell" else "")


def _degree(found: list[_Found], degrees: list[int], place: int) -> int:
    """The degree that stands before a phrase, else after it, unless it belongs to the phrase that follows."""
    before = degrees[place - 1] if place else 0
    after = degrees[place + 1] if place + 1 < len(found) else 0
    following = found[place + 2][1] if place + 2 < len(found) else ()
    return before or (0 if following and following[0][0] not in _ONLY_HOW else after)


def _found(clause: str) -> list[_Found]:
    """The phrases of a clause, the longest first at each place, and their senses; none for a word that is not known.
    What is short for a dynamic is so in small letters only."""
    said, phrases, written = plain(clause), _phrases(), clause.replace(".", " ").split()
    found: list[_Found] = []
    at = 0
    while at < len(said):
        sizes = range(min(_LONGEST, len(said) - at), 0, -1)
        size = next((size for size in sizes if said[at : at + size] in phrases), 1)
        phrase = said[at : at + size]
        senses = phrases.get(phrase, ())
        if not senses and _LETTERS.fullmatch(phrase[0]):
            senses = (("dynamic", phrase[0], (0.0, 0.0, 0.0)),)
        if not senses and known.NUMERAL.fullmatch(phrase[0]):
            senses = (("figure", "", (0.0, 0.0, 0.0)),)
        if found and found[-1][0] in _NUMBERED and senses and senses[0][0] == "figure":
            found[-1] = (found[-1][0], senses)  # No. 5
        letters = phrase in _NOT_ALONE or _LETTERS.fullmatch(phrase[0])
        found.append((phrase, senses if phrase[0] in written or not letters else ()))
        at += size
    return found


def dynamic(letters: str) -> tuple[str | None, str | float | None] | None:
    """What a dynamic sign does: (the mark that holds from there, how the notes there stand out: by so many dB, or as
    the plan's `articulation` says of a sforzato or an accent). None for a sign that is not known."""
    if letters in known.ACCENTED:
        loud, soft = known.ACCENTED[letters]
        return soft, words.LEVELS[loud] - words.LEVELS[soft]
    if letters in known.SFORZATI or letters in known.RINFORZATI:
        return None, "sforzato" if letters in known.SFORZATI else "accent"
    mark = known.BEYOND.get(letters, letters)
    return (mark, None) if mark in words.LEVELS else None
