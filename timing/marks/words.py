"""What the words over a score mean: tempi, slowing and hurrying, returns, louder and softer, tones.

All of it is common practice and from memory, in Italian, German, French, Spanish and English; plans/README.md has the
same tables for the reader. Words are compared without capitals, accents and full stops. A direction is read clause by
clause (`Andantino, cullando` has two), and each clause by the longest phrases that are known.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from functools import cache

from timing.plan import words

# Felt beats a minute.
TEMPI = {
    "grave": 40, "largo": 46, "larghetto": 58, "lento": 52, "adagio": 58, "adagietto": 66, "andante": 76,
    "andante con moto": 84, "andantino": 84, "maestoso": 88, "moderato": 96, "con moto": 104, "allegro moderato": 116,
    "allegretto": 112, "animato": 120, "allegro": 132, "allegro vivace": 144, "vivo": 144, "vivace": 152,
    "vivacissimo": 168, "presto": 176, "prestissimo": 200, "tempo di marcia": 112, "tempo di minuetto": 116,
    "tempo di valzer": 160,
    "breit": 46, "langsam": 54, "ruhig": 66, "gehend": 76, "mäßig": 92, "bewegt": 112, "munter": 126, "lebhaft": 132,
    "rasch": 144, "schnell": 152,
    "large": 46, "lent": 52, "allant": 84, "modéré": 92, "animé": 126, "gai": 126, "vif": 144, "vite": 152,
    "despacio": 54, "moderado": 92, "animado": 120, "movido": 120, "rápido": 152,
    "slow": 54, "slowly": 54, "moderate": 96, "moderately": 96, "lively": 132, "brisk": 138,
    "briskly": 138, "quick": 144, "quickly": 144, "fast": 152,
}  # fmt: skip
FURTHER, LESS_FAR = 0.12, 0.06  # `molto` leads so much further from MIDDLE, `poco` so much back to it
MIDDLE = 96

# A new tempo by the one before it: plain, with `poco`, with `molto`.
SLOWER, FASTER = (0.85, 0.92, 0.70), (1.18, 1.08, 1.40)
CHANGES = {
    SLOWER: (
        "meno mosso", "meno allegro", "meno vivo", "più lento", "più largo", "più tranquillo", "langsamer", "ruhiger",
        "weniger bewegt", "plus lent", "moins vite", "moins vif", "moins animé", "más lento", "más despacio",
        "menos movido", "slower", "more slowly", "less movement",
    ),
    FASTER: (
        "più mosso", "più moto", "più allegro", "più vivo", "più presto", "più animato", "schneller", "bewegter",
        "belebter", "lebhafter", "rascher", "plus vite", "plus vif", "plus animé", "plus allant", "más rápido",
        "más vivo", "más movido", "más animado", "faster", "quicker", "livelier", "more movement",
    ),
}  # fmt: skip
DOUBLE = ("doppio movimento", "doppio più mosso")
SAME_BEAT = ("l'istesso tempo", "lo stesso tempo", "istesso tempo", "dasselbe tempo", "même mouvement", "same tempo")
FIRST_TEMPO = (
    "tempo primo", "tempo I", "tempo 1", "tempo 1mo", "primo tempo", "erstes tempo", "erstes zeitmaß", "1er mouvement",
    "premier mouvement", "mouvement du début", "primer tempo", "tiempo primero", "first tempo", "original tempo",
)  # fmt: skip
RETURNS = (
    "a tempo", "tempo", "al tempo", "in tempo", "im tempo", "wieder im tempo", "zeitmaß", "im zeitmaß", "hauptzeitmaß",
    "au mouvement", "au mouvt", "mouvement", "a tiempo", "in time", "back to tempo", "tempo giusto",
)  # fmt: skip

# The pace at the end: plain, with `poco`, with `molto`. A written "rit." reaches 0.47 at its slowest (the median of 129
# in the ASAP dataset, as measured for this project); the others are the house's own values.
DEPTHS = {
    "ritardando": (0.50, 0.65, 0.40),
    "rallentando": (0.50, 0.65, 0.40),
    "ritenuto": (0.75, 0.85, 0.65),
    "allargando": (0.65, 0.75, 0.55),
    "accelerando": (1.15, 1.08, 1.30),
    "stringendo": (1.15, 1.08, 1.30),
}
PACES = {
    "ritardando": (
        "rit", "ritard", "ritardando", "ritardare", "slentando", "verlangsamen", "verlangsamend", "langsamer werden",
        "langsamer werdend", "nachlassen", "nachlassend", "zögernd", "ralentir", "ralentissez", "en ralentissant",
        "cédez", "cédant", "en cédant", "retardando", "ralentizando", "cediendo", "slow down", "slowing",
        "slowing down", "getting slower", "ease", "easing", "relax",
    ),
    "rallentando": ("rall", "rallent", "rallentando"),
    "ritenuto": (
        "riten", "ritenuto", "trattenuto", "tratt", "zurückhalten", "zurückhaltend", "zurückgehalten", "retenu",
        "retenez", "en retenant", "reteniendo", "retenido", "hold back", "holding back", "held back",
    ),
    "allargando": (
        "allarg", "allargando", "largando", "slarg", "slargando", "breiter", "breiter werden", "breiter werdend",
        "verbreitern", "élargir", "élargissez", "en élargissant", "ensanchando", "broaden", "broadening", "broader",
    ),
    "accelerando": (
        "accel", "accelerando", "affrett", "affrettando", "animando", "beschleunigen", "beschleunigend",
        "schneller werden", "schneller werdend", "eilen", "eilend", "belebend", "vorwärts", "accélérez",
        "en accélérant", "animez", "en animant", "acelerando", "apresurando", "hurry", "hurrying",
        "speed up", "speeding up", "getting faster", "quicken", "quickening",
    ),
    "stringendo": (
        "string", "stringendo", "stretto", "incalzando", "drängen", "drängend", "treibend", "pressez", "en pressant",
        "serrez", "en serrant", "apretando", "press on", "pressing on", "push on", "pushing on", "push forward",
    ),
}  # fmt: skip

# dB without a dynamic to arrive at: plain, with `poco`, with `molto`.
SWELL = (4.0, 2.0, 8.0)
SWELLS = {
    1: (
        "cresc", "crescendo", "in crescendo", "anschwellend", "zunehmend", "lauter", "lauter werdend", "augmentez",
        "en augmentant", "creciendo", "louder", "growing", "getting louder",
    ),
    -1: (
        "dim", "dimin", "diminuendo", "decresc", "decrescendo", "mancando", "abnehmend", "leiser", "leiser werdend",
        "verklingend", "diminuez", "en diminuant", "disminuyendo", "softer", "fading", "getting softer",
    ),
}  # fmt: skip
DYING = (  # slower and softer
    "calando", "morendo", "smorz", "smorzando", "perdendo", "perdendosi", "ersterbend", "en mourant", "muriendo",
)  # fmt: skip

TONES = {
    "sul tasto": (
        "sul tasto", "sulla tastiera", "tasto", "flautando", "flautato", "am griffbrett", "sur la touche",
        "sobre el mástil",
    ),
    "sul ponticello": ("sul ponticello", "sul pont", "ponticello", "pont", "am steg", "au chevalet", "en el puente"),
    "naturale": (
        "naturale", "nat", "ordinario", "ord", "modo ordinario", "modo ord", "posizione naturale", "pos nat",
        "posizione normale", "pos norm", "normale", "gewöhnlich", "position naturelle", "natural",
    ),
}  # fmt: skip
GUITAR_TONES = {"sul tasto": ("dolce", "dolcissimo", "dulce", "doux"), "sul ponticello": ("metallico", "metálico")}
PIZZICATO = ("pizz", "pizzicato", "étouffé")
ARCO = ("arco", "col arco", "naturale", "nat", "ord", "ordinario", "normale")

# Dynamics beyond the table of the plan language are taken for its ends.
BEYOND = {"n": "ppp", "pppppp": "ppp", "ppppp": "ppp", "pppp": "ppp", "ffff": "fff", "fffff": "fff", "ffffff": "fff"}
ACCENTED = {  # the note is as loud as the first, and what follows as the second
    "fp": ("f", "p"), "ffp": ("ff", "p"), "fpp": ("f", "pp"), "sfp": ("f", "p"), "sfzp": ("f", "p"),
    "sfpp": ("f", "pp"),
}  # fmt: skip
SFORZATI = ("sf", "sfz", "fz", "sff", "sffz", "ffz")
RINFORZATI = ("rf", "rfz")

# For the player to feel: nothing that a plan has a word for.
CHARACTER = (
    "espressivo", "espr", "espress", "cantabile", "cant", "dolce", "dolcissimo", "legato", "legatissimo", "leggiero",
    "leggero", "legg", "marcato", "marc", "pesante", "semplice", "grazioso", "con grazia", "con brio", "con fuoco",
    "con espressione", "con anima", "appassionato", "agitato", "tranquillo", "sotto voce", "mezza voce", "rubato",
    "tempo rubato", "ad libitum", "ad lib", "a piacere", "simile", "sim", "tenuto", "ten", "staccato", "stacc",
    "sostenuto", "sost", "scherzando", "giocoso", "risoluto", "mesto", "ausdrucksvoll", "zart", "innig",
    "gesangvoll", "expressif", "doux", "léger", "chanté", "dulce", "expresivo", "cantando", "expressive",
    "expressively", "gently", "freely",
)  # fmt: skip

LESS = (
    "poco", "un poco", "pochissimo", "pochiss", "pochettino", "un pochettino", "non troppo", "ma non troppo",
    "non tanto", "quasi", "etwas", "ein wenig", "nicht zu", "un peu", "pas trop", "assez", "un poquito",
    "no demasiado", "a little", "slightly", "somewhat", "not too",
)  # fmt: skip
MORE = ("molto", "assai", "sehr", "viel", "très", "beaucoup", "muy", "mucho", "very", "much")
GRADUALLY = (
    "poco a poco", "a poco a poco", "nach und nach", "allmählich", "peu à peu", "little by little", "gradually",
    "sempre", "subito", "sub", "e", "ed", "et", "und", "and", "y", "ma", "mais", "aber", "but", "con", "al niente",
)  # fmt: skip


@dataclass(frozen=True)
class Meaning:
    """One thing that words say.

    `kind` is one of: tempo (value: felt beats a minute), change (value: of the tempo before), same beat, first tempo,
    return, pace (word: the kind of slowdown; value: the pace it comes to), swell (word: crescendo or diminuendo; value:
    dB), tone (word), guitar tone (word), pizzicato, arco, dynamic (word), character.
    """

    kind: str
    word: str = ""
    value: float = 0.0


def clauses(text: str) -> list[tuple[str, tuple[Meaning, ...]]]:
    """Every clause of a direction and what it means; nothing, where it is not understood."""
    parts = (" ".join(part.split()) for part in re.split(r"[,;:/()\[\]\n]|\s[-–—]\s|[–—]", text))
    return [(part, _meanings(part)) for part in parts if re.search(r"\w", part) and "=" not in part]


def plain(word: str) -> tuple[str, ...]:
    """A phrase as it is compared: its words without capitals, accents and full stops."""
    letters = unicodedata.normalize("NFKD", re.sub("[°º]", "", word.replace("’", "'"))).casefold()
    return tuple(re.findall(r"[a-z0-9']+", "".join(c for c in letters if not unicodedata.combining(c))))


@cache
def _phrases() -> dict[tuple[str, ...], tuple[tuple[str, str, tuple[float, float, float]], ...]]:
    """Every phrase: (kind, word, values plain, with `poco` and with `molto`) of all that it means."""
    made: dict[tuple[str, ...], tuple] = {}

    def put(phrases, kind: str, word: str = "", values: tuple[float, float, float] = (0.0, 0.0, 0.0)) -> None:
        for phrase in phrases:
            made[plain(phrase)] = (*made.get(plain(phrase), ()), (kind, word, values))

    for word, beats in TEMPI.items():
        away = 1 if beats > MIDDLE else -1
        put([word], "tempo", word, (beats, beats * (1 - away * LESS_FAR), beats * (1 + away * FURTHER)))
    for values, phrases in CHANGES.items():
        put(phrases, "change", "", values)
    put(DOUBLE, "change", "", (2.0, 2.0, 2.0))
    put(SAME_BEAT, "same beat")
    put(FIRST_TEMPO, "first tempo")
    put(RETURNS, "return")
    for kind, phrases in PACES.items():
        put(phrases, "pace", kind, DEPTHS[kind])
    for sign, phrases in SWELLS.items():
        put(phrases, "swell", "crescendo" if sign > 0 else "diminuendo", SWELL)
    put(DYING, "pace", "rallentando", DEPTHS["rallentando"])
    put(DYING, "swell", "diminuendo", SWELL)
    for kind, tones in (("tone", TONES), ("guitar tone", GUITAR_TONES)):
        for tone, phrases in tones.items():
            put(phrases, kind, tone)
    put(PIZZICATO, "pizzicato")
    put(ARCO, "arco")
    put(CHARACTER, "character")
    put(LESS, "less")
    put(MORE, "more")
    put(GRADUALLY, "")
    return made


_LONGEST = 4  # words in a phrase
_LETTERS = re.compile(r"p{2,6}|f{2,6}|m[pf]|s?f{1,2}z|sfz?p{0,2}|f{1,2}p{1,2}|rfz?", re.ASCII)
_ALONE = {("string",), ("tempo",), ("mouvement",), plain("zeitmaß"), ("stretto",), ("large",)}  # not beside other words


def _meanings(clause: str) -> tuple[Meaning, ...]:
    """What the phrases of a clause come to, each with the degree that stands beside it."""
    found = _found(clause)
    unknown = any(not senses for _, senses in found)
    degrees = [_DEGREES.get(senses[0][0], 0) if senses else 0 for _, senses in found]
    made: list[Meaning] = []
    for place, (phrase, senses) in enumerate(found):
        if degrees[place] or (unknown and (phrase in _ALONE or _LETTERS.fullmatch(phrase[0]))):
            continue
        degree = _degree(found, degrees, place)
        opens = all(degrees[:place])  # in the midst of other words it is not meant as a tempo
        senses = [sense for sense in senses if sense[0] and (opens or sense[0] != "tempo")]
        made += [Meaning(kind, word, values[degree]) for kind, word, values in senses]
    if not made and not unknown and found:
        return (Meaning("character"),)  # `sempre`, `poco`: they say how, and not what
    return tuple(made)


_DEGREES = {"less": 1, "more": 2}


def _degree(found: list, degrees: list[int], place: int) -> int:
    """The degree that stands before a phrase, else after it, unless it belongs to the phrase that follows."""
    before = degrees[place - 1] if place else 0
    after = degrees[place + 1] if place + 1 < len(found) else 0
    following = found[place + 2][1] if place + 2 < len(found) else ()
    return before or (0 if following and following[0][0] else after)


def _found(clause: str) -> list[tuple[tuple[str, ...], tuple]]:
    """The phrases of a clause, the longest first at each place, and their senses; none for a word that is not known."""
    words, known, written = plain(clause), _phrases(), clause.replace(".", " ").split()
    found, at = [], 0
    while at < len(words):
        sizes = range(min(_LONGEST, len(words) - at), 0, -1)
        size = next((size for size in sizes if words[at : at + size] in known), 1)
        phrase = words[at : at + size]
        senses = known.get(phrase, ())
        if not senses and phrase[0] in written and _LETTERS.fullmatch(phrase[0]):  # in small letters only
            senses = (("dynamic", phrase[0], (0.0, 0.0, 0.0)),)
        found.append((phrase, senses))
        at += size
    return found


def dynamic(letters: str) -> tuple[str | None, str | float | None] | None:
    """What a dynamic sign does: (the mark that holds from there, how the notes there stand out: by so many dB, or as
    the plan's `articulation` says of a sforzato or an accent). None for a sign that is not known."""
    if letters in ACCENTED:
        loud, soft = ACCENTED[letters]
        return soft, words.DYNAMICS[loud] - words.DYNAMICS[soft]
    if letters in SFORZATI or letters in RINFORZATI:
        return None, "sforzato" if letters in SFORZATI else "accent"
    mark = BEYOND.get(letters, letters)
    return (mark, None) if mark in words.DYNAMICS else None
