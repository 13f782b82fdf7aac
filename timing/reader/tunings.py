"""Words over the music that say how strings are tuned, and where a capo lies: `⑥ = D`, `6ª en Re`, `Capo III`.

A string is named by its number (in a circle, as an ordinal, in Roman figures) or by its note, as guitarists do in
English, German, French, Italian, Spanish and Portuguese; the note by its letter or its syllable. In German B is a
semitone below H. All of it is common practice.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from xml.etree.ElementTree import Element

_LANGUAGE = "{http://www.w3.org/XML/1998/namespace}lang"
MOST_CAPO = 12
_LONGEST = 200  # letters of a direction; what is longer is a text about the piece
_ROMAN = ("I", "II", "III", "IV", "V", "VI", "VII", "VIII", "IX", "X", "XI", "XII")
_CIRCLED = "①②③④⑤⑥⑦⑧⑨⑩"
_LETTERS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11, "H": 11}
_SYLLABLES = {"do": 0, "ut": 0, "re": 2, "ré": 2, "rè": 2, "mi": 4, "fa": 5, "sol": 7, "la": 9, "si": 11}
_SHARP = ("#", "♯", "sharp", "diesis", "dièse", "sostenido", "is")
_FLAT = ("b", "♭", "flat", "bemol", "bémol", "bemolle", "es", "s")

# Ordinals, the first string first.
_ORDINALS = (
    ("first", "prima", "primera", "primeira", "première", "erste", "1st", "1ra", "1re", "1ère"),
    ("second", "seconda", "segunda", "deuxième", "seconde", "zweite", "2nd", "2da"),
    ("third", "terza", "tercera", "terceira", "troisième", "dritte", "3rd", "3ra"),
    ("fourth", "quarta", "cuarta", "quatrième", "vierte", "4th", "4ta"),
    ("fifth", "quinta", "cinquième", "fünfte", "5th", "5ta"),
    ("sixth", "sesta", "sexta", "sixième", "sechste", "6th", "6ta"),
    ("seventh", "settima", "séptima", "sétima", "septième", "siebte", "7th"),
)
_WORD_OF = {word: number for number, words in enumerate(_ORDINALS, 1) for word in words}
_USUAL = dict(zip(range(1, 7), (4, 11, 7, 2, 9, 4), strict=True))  # semitones above C of the open strings
_LOW = (4, 5, 6)  # those that are retuned
_OF_STANDARD = {"A": 5, "D": 4, "G": 3, "B": 2, "H": 2, "E": 6}  # the strings by their notes; of two E the low one

_NUMBER = "(?:10|[1-9])"
_STRING = r"(?:strings?\b|str\.|cordas?\b|cuerdas?\b|cordes?\b|saiten?\b)"
_ORDINAL = rf"(?:{'|'.join(sorted(map(re.escape, _WORD_OF), key=len, reverse=True))})(?!\w)"
_ORDINAL += rf"|{_NUMBER}(?:\.?[ªºao°]|ème|eme|me|e|te|\.)(?!\w)"
_LETTER = r"(?-i:[A-Hb-h])(?:\s*(?:[#♯♭]|b(?!\w)|-?\s?(?:sharp|flat)\b)|is(?!\w)|e?s(?!\w))?"
_SYLLABLE = r"(?:do|ut|r[eéè]|mi|fa|sol|la|si)"
_SYLLABLE += r"(?:(?!\w)\s*(?:[#♯♭]|(?:sharp|flat|diesis|dièse|sostenido|b[eé]mol(?:le)?)\b)|\s*b(?!\w)|(?!\w))"
_NOTE = rf"(?:(?:a\s+)?(?:low|bass|deep)\s+)?(?P<note>(?:{_LETTER}|{_SYLLABLE})[1-5]?)(?!\w)"
_NOTE += r"(?!(?<=la|si|do|mi)\s+[^\W\d]{3})"  # an article or the like: `en la posición`
_NOTE += r"(?!\s*-?\s*(?:maj|min|may|men|magg|dur\b|moll\b|m\b))"
_EQUALS = r"\s*(?:=|:|→|->|⇒)\s*"
_WORDED = r"\s+(?:is\s+)?(?:(?:tuned|down|lowered|gestimmt)\s+)*(?:to|in|en|a|à|auf|nach|em)\s+(?:the\s+)?"
_LEAD = (
    r"(?:(?:(?:de)?tun(?:e|ed|ing)|lower|drop|scordatura|accordatura|accord(?:ez|er|are|ate)?|afina(?:r|ción|ção|d)?"
    r"|afínese|bajar|stimmung|(?:um)?stimm(?:e|en)|with|con|com|avec|mit)\b[\s.:]*(?:(?:the|la|a|die|le)\s+)?"
    r"|\b(?:la|die|le)\s+)"
)
_ALONE = rf"\s*(?=(?-i:[A-H])[#♯♭b]?\s*(?:$|[\s,;)]*[{_CIRCLED}(]))"  # ⑥ D; a small letter is a finger
_TRAIL = r"(?:\s*(?:tuning\b|(?:um|ge)?stimm(?:en|t)\b))?"

# How a string is named, and what may stand between it and its note: what could be something else takes an equals sign,
# or the words of tuning before it.
_ASSIGNED = re.compile(
    rf"(?<!\w)(?P<lead>{_LEAD})?(?:"
    rf"(?P<circled>[{_CIRCLED}]|\({_NUMBER}\))(?:\s*{_STRING})?(?:{_EQUALS}|{_WORDED}|{_ALONE})"
    rf"|(?P<named>(?:{_ORDINAL}|[IVX]+|{_NUMBER})\s*{_STRING}|{_STRING}\s*(?:{_NUMBER}|[IVX]+)(?!\w))(?:{_EQUALS}|{_WORDED})"
    rf"|(?<!\.)(?P<low>low\s+|bass\s+|tiefe\s+)?(?P<letter>[A-H])(?P<is_string>[\s-]*{_STRING})?(?:{_EQUALS}|{_WORDED})"
    rf"|(?<!\.)(?P<ordinal>{_ORDINAL})(?:{_EQUALS}|(?P<loose>{_WORDED}))"
    rf"|(?<!\.)(?P<figure>[IVX]+|{_NUMBER})\s*(?:=|→|->|⇒)\s*"
    rf"){_NOTE}{_TRAIL}",
    re.IGNORECASE,
)
_DROPPED = re.compile(
    rf"{_LEAD}?(?P<double>double|doppio|doble|dbl\.?)?[\s-]*\bdrop(?:ped)?[\s-]*D(?![\w#♯♭]){_TRAIL}", re.IGNORECASE
)
_OPEN = "[A-H][#♯♭b]?"
_LISTED = re.compile(
    rf"(?:(?P<lead>(?i:{_LEAD}))|^\s*)\(?(?P<notes>{_OPEN}(?:(?P<apart>[\s,–-]*){_OPEN}){{5}})(?!\w)\)?"
)
_STANDARD = re.compile(
    r"\b(?:standard|normal)[\s-]+(?:tuning|stimmung)\b|\bafinación normal\b|\baccordatura normale\b", re.IGNORECASE
)
_GERMAN = re.compile(r"saite|stimm|\bnach\b", re.IGNORECASE)

_FRET = r"(?:tasto|traste|fret|case|bund|pos(?:\.|ición|izione|ition)?)"
_CAPO = re.compile(
    r"(?<!\bda )(?<!\bal )(?<!\bdal )\b(?:capo(?:tasto|traste)?|capodastre|kapo(?:daster)?|cejilla|cejuela)\b[\s.:=]*"
    rf"(?:(?:al|at|on|en|in|im|auf|à|a|no\.?)\s+)?(?:(?:the|el|la|il)\s+)?(?:{_FRET}\s+)?(?P<fret>[IVX]+|\d\d?)"
    rf"(?:\.?[ªºao°]|st|nd|rd|th|re|er|ème|e|\.)?(?!\w)(?:\s*{_FRET}\b)?",
    re.IGNORECASE,
)  # fmt: skip
_HALF = re.compile(r"(?:½|1/2|media|mezzo|half|demi)\s*$", re.IGNORECASE)  # a half barré, which is no capo
_OF_STRINGS = re.compile(rf"[{_CIRCLED}]|\b{_STRING}", re.IGNORECASE)
_BETWEEN = re.compile(r"[\s,;:.&+/()]*(?:(?:and|y|e|et|und)\s+)?", re.IGNORECASE)


@dataclass(frozen=True)
class StringWords:
    """What words say of strings: the notes to which they are tuned (string -> semitones above C), the fret of a capo
    (0: none); for both the words that say so, and what else there is (`rest`)."""

    tuning: dict[int, int]
    tuned: str
    capo: int
    capo_words: str
    rest: str


def string_words(text: str, german: bool = False) -> StringWords:
    """What a direction says of the strings; `german`: in that language, as is known from elsewhere."""
    text = " ".join(text.split())
    if len(text) > _LONGEST:
        return StringWords({}, "", 0, "", text)
    text = re.sub(rf"(?<=\w)(?=[{_CIRCLED}])", " ", text)
    german = german or bool(_GERMAN.search(text))
    tuning, spans = _tuning(text, german)
    capo, capo_span = _capo(text)
    cut = [*spans, *([capo_span] if capo else [])]
    rest = " ".join(_without(text, cut).split()) if cut else text
    told = ", ".join(text[start:end].strip(" ,;") for start, end in _joined(text, spans))
    return StringWords(tuning, told, capo, text[slice(*capo_span)].strip() if capo else "", rest)


def unread(text: str) -> list[str]:
    """The clauses of words that seem to tune a string, and say nothing that is understood."""
    clauses = (clause.strip() for clause in re.split(r"[,;]", text))
    return [clause for clause in clauses if "=" in clause and _OF_STRINGS.search(clause)]


def words_of(direction: Element) -> tuple[str, bool]:
    """The words of a <direction>, figures in circles as such, and whether they are said to be German."""
    found = list(direction.iter("words"))
    german = any(words.get(_LANGUAGE, "").lower().startswith("de") for words in found)
    return " ".join(_circled(words) for words in found).strip(), german


def _circled(words: Element) -> str:
    text = (words.text or "").strip()
    if words.get("enclosure") in ("circle", "oval") and re.fullmatch(_NUMBER, text):
        return _CIRCLED[int(text) - 1]
    return text


def _tuning(text: str, german: bool) -> tuple[dict[int, int], list[tuple[int, int]]]:
    """The strings that are tuned, and where it is said."""
    tuning: dict[int, int] = {}
    spans: list[tuple[int, int]] = []
    for found in _STANDARD.finditer(text):
        tuning |= _USUAL
        spans.append(found.span())
    for found in _LISTED.finditer(text):
        notes = [_pitch_class(note, german) for note in re.findall(_OPEN, found["notes"])]
        if found["lead"] or ((found["apart"] or found["notes"] == "DADGAD") and _tunes(notes)):
            tuning |= dict(zip(range(6, 0, -1), notes, strict=True))
            spans.append(found.span())
    for found in _DROPPED.finditer(text):
        tuning |= {6: 2, 1: 2} if found["double"] else {6: 2}
        spans.append(found.span())
    for found in _ASSIGNED.finditer(text):
        string = _string(found, text, bool(spans))
        if string and not any(start < found.end() and found.start() < end for start, end in spans):
            tuning[string] = _pitch_class(found["note"], german)
            spans.append(found.span())
    return tuning, sorted(spans)


def _tunes(notes: list[int]) -> bool:
    """Whether six letters, the sixth string first, are likely to tune a guitar, and not chords or rehearsal letters:
    each is near the string's usual note, and some strings stay."""
    stay = sum(note == _USUAL[string] for string, note in zip(range(6, 0, -1), notes, strict=True))
    return stay >= 2 and all(_near(string, note) for string, note in zip(range(6, 0, -1), notes, strict=True))


def _near(string: int, note: int) -> bool:
    away = (note - _USUAL.get(string, note) + 5) % 12 - 5  # semitones from the usual note
    return away <= 3


def _string(found: re.Match[str], text: str, others: bool) -> int:
    """The string that is named; 0 where the words are likely to mean something else."""
    if found["circled"]:
        return _figure(found["circled"].strip("()"))
    if found["named"]:
        return _figure(re.sub(_STRING, "", found["named"], flags=re.IGNORECASE).strip(" ."))
    if found["letter"]:
        return _OF_STANDARD.get(found["letter"], 0) if found["low"] or found["is_string"] else 0
    opens = not re.search(r"\w", text[: found.start()]) or found["lead"] or others
    if found["ordinal"]:
        string = _figure(found["ordinal"])
        if found["loose"] and not found["lead"] and not others:  # `first in G` may be a position, a piece, a voice
            fair = string in _LOW and _near(string, _pitch_class(found["note"], False))
            return string if opens and fair else 0
        return string
    string = _figure(found["figure"])
    return 0 if string == 1 and not others else string  # `1 = D` names the key of numbered notation


def _figure(text: str) -> int:
    if text in _CIRCLED:
        return _CIRCLED.index(text) + 1
    if text.upper() in _ROMAN:
        return _ROMAN.index(text.upper()) + 1
    if (word := text.lower()) in _WORD_OF:
        return _WORD_OF[word]
    number = re.match(r"\d+", text)
    return int(number[0]) if number and 1 <= int(number[0]) <= 10 else 0


def _pitch_class(note: str, german: bool) -> int:
    """Semitones above C of a note's name. German B is the English B flat."""
    name = note.rstrip("12345").strip()
    syllable = next((s for s in sorted(_SYLLABLES, key=len, reverse=True) if name.lower().startswith(s)), None)
    letter = name[0].upper()
    size = len(syllable) if syllable and len(name) > 1 else 1
    natural = _SYLLABLES[syllable] if syllable and size > 1 else _LETTERS[letter]
    sign = name[size:].strip(" -").lower()
    if german and letter == "B" and size == 1 and not sign:
        return 10
    return (natural + (sign in _SHARP) - (sign in _FLAT)) % 12


def _capo(text: str) -> tuple[int, tuple[int, int]]:
    found = _CAPO.search(text)
    if found and not _HALF.search(text[: found.start()]):
        fret = _ROMAN.index(found["fret"].upper()) + 1 if found["fret"].upper() in _ROMAN else 0
        fret = fret or (int(found["fret"]) if found["fret"].isdecimal() else 0)
        if 1 <= fret <= MOST_CAPO:
            return fret, found.span()
    return 0, (0, 0)


def _joined(text: str, spans: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """The stretches, those together between which there is nothing to say."""
    made: list[tuple[int, int]] = []
    for start, end in spans:
        if made and _BETWEEN.fullmatch(text[made[-1][1] : start]):
            made[-1] = (made[-1][0], end)
        else:
            made.append((start, end))
    closed = ((start, end, text[start:end]) for start, end in made)
    return [(start, end + (text[end : end + 1] == ")" and "(" in words)) for start, end, words in closed]


def _without(text: str, spans: list[tuple[int, int]]) -> str:
    kept, at = [], 0
    for start, end in _joined(text, sorted(spans)):
        kept.append(text[at:start])
        at = end
    kept.append(text[at:])
    rest = " ".join(part.strip(" ,;:()") for part in kept)
    return rest if re.search(r"\w", rest) else ""
