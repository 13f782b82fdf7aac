"""The words over a score that are known, in Italian, German, French, Spanish and English.

All of it is common practice and from memory; plans/README.md has the same tables for the reader. Words are written
without full stops; `timing.marks.words` reads them.
"""

from __future__ import annotations

import re

# Felt beats a minute.
TEMPI = {
    "grave": 40, "largo": 46, "larghetto": 58, "lento": 52, "adagio": 58, "adagietto": 66, "andante": 76,
    "andante con moto": 84, "andantino": 84, "andante mosso": 84, "maestoso": 88, "moderato": 96, "con moto": 104,
    "allegro maestoso": 112, "allegro moderato": 116, "allegretto": 112, "mosso": 112, "animato": 120, "allegro": 132,
    "allegro vivace": 144, "vivo": 144, "vivace": 152, "vivacissimo": 168, "presto": 176, "prestissimo": 200,
    "tempo di marcia": 112, "alla marcia": 112, "tempo di minuetto": 116, "tempo di menuetto": 116,
    "tempo di valzer": 160, "tempo di valse": 160,
    "breit": 46, "langsam": 54, "getragen": 60, "ruhig": 66, "nicht zu langsam": 66, "gehend": 76, "gemächlich": 88,
    "mäßig": 92, "gemäßigt": 92, "nicht schnell": 92, "bewegt": 112, "mit bewegung": 112, "nicht zu schnell": 116,
    "belebt": 120, "munter": 126, "frisch": 126, "lebhaft": 132, "rasch": 144, "schnell": 152,
    "large": 46, "lent": 52, "calme": 66, "pas trop lent": 66, "allant": 84, "modéré": 92, "pas trop vite": 116,
    "animé": 126, "gai": 126, "vif": 144, "vite": 152, "mouvement de valse": 160,
    "despacio": 54, "moderado": 92, "animado": 120, "movido": 120, "rápido": 152, "tiempo de vals": 160,
    "slow": 54, "slowly": 54, "not too slow": 66, "moderately slow": 72, "moderate": 96, "moderately": 96,
    "march tempo": 112, "moderately fast": 116, "not too fast": 116, "lively": 132, "brisk": 138, "briskly": 138,
    "quick": 144, "quickly": 144, "fast": 152, "waltz tempo": 160,
}  # fmt: skip
FURTHER, LESS_FAR = 0.12, 0.06  # `molto` leads so much further from MIDDLE, `poco` so much back to it
MIDDLE = 96

# A new tempo by the one before it: plain, with `poco`, with `molto`.
SLOWER, FASTER = (0.85, 0.92, 0.70), (1.18, 1.08, 1.40)
CHANGES = {
    SLOWER: (
        "meno mosso", "meno allegro", "meno vivo", "più lento", "più largo", "più tranquillo", "langsamer", "ruhiger",
        "weniger bewegt", "plus lent", "plus large", "plus calme", "plus modéré", "moins vite", "moins vif",
        "moins animé", "más lento", "más despacio", "menos movido", "slower", "more slowly", "less movement",
    ),
    FASTER: (
        "più mosso", "più moto", "più allegro", "più vivo", "più presto", "più animato", "schneller", "bewegter",
        "belebter", "lebhafter", "rascher", "plus vite", "plus vif", "plus animé", "plus allant", "más rápido",
        "más vivo", "más movido", "más animado", "faster", "quicker", "livelier", "more movement",
    ),
}  # fmt: skip
ALONE = {0.92: ("poco meno", "un poco meno"), 1.08: ("poco più", "un poco più")}  # where nothing follows
DOUBLE = ("doppio movimento", "doppio più mosso")
SAME_BEAT = ("l'istesso tempo", "lo stesso tempo", "istesso tempo", "dasselbe tempo", "même mouvement", "same tempo")
FIRST_TEMPO = (
    "tempo primo", "tempo I", "tempo Io", "tempo Imo", "tempo 1", "tempo 1o", "tempo 1mo", "primo tempo", "1 tempo",
    "tempo del principio", "erstes tempo", "erstes zeitmaß", "anfangstempo", "wie zu anfang", "1er mouvement",
    "1er mouvt", "1 mouvt", "1er tempo", "premier mouvement", "mouvement du début", "mouvt du début", "primer tempo",
    "tiempo primero", "first tempo", "original tempo",
)  # fmt: skip
RETURNS = (
    "a tempo", "tempo", "al tempo", "in tempo", "im tempo", "wieder im tempo", "zeitmaß", "im zeitmaß", "im takt",
    "hauptzeitmaß",
    "come prima", "wie vorher", "tempo wie vorher", "au mouvement", "au mouvt", "mouvement", "mouvt", "a tiempo",
    "in time", "in strict time", "strict tempo", "back to tempo", "tempo giusto", "tempo ordinario",
)  # fmt: skip

# The pace at the end: plain, with `poco`, with `molto`. A written "rit." reaches 0.47 at its slowest (the median of 129
# in the ASAP dataset, as measured for this project); the others are the house's own values. Where nothing on the page
# says how far a slowdown goes, it comes to one degree less: to that of `poco`, and with `molto` to the plain one.
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
        "langsamer werdend", "nachlassen", "nachlassend", "zögern", "zögernd", "ritardieren", "lentando", "tardando",
        "allentando", "cedendo", "ralentir", "ralentissez", "ralenti", "en ralentissant", "cédez", "cédé", "cédant",
        "en cédant", "retardar", "retardando", "ralentizando", "cediendo", "slow down", "slowing", "slowing down",
        "getting slower", "ease", "easing", "relax",
    ),
    "rallentando": ("rall", "rallent", "rallentando"),
    "ritenuto": (
        "riten", "ritenuto", "rattenendo", "trattenuto", "tratt", "zurückhalten", "zurückhaltend", "zurückgehalten",
        "gedehnt", "retenu", "retenez", "en retenant", "reteniendo", "retenido", "hold back", "holding back",
        "held back",
    ),
    "allargando": (
        "allarg", "allargando", "largando", "slarg", "slargando", "breiter", "breiter werden", "breiter werdend",
        "verbreitern", "élargir", "élargi", "élargissez", "en élargissant", "ensanchando", "broaden", "broadening",
        "broader",
    ),
    "accelerando": (
        "accel", "accelerando", "affrett", "affrettando", "animando", "precipitando", "beschleunigen", "beschleunigend",
        "schneller werden", "schneller werdend", "eilen", "eilend", "belebend", "vorwärts",
        "vorangehen", "accélérez", "en accélérant", "animez", "en animant", "acelerar", "acelerando", "apresurar",
        "apresurando", "hurry", "hurrying", "speed up", "speeding up", "getting faster", "quicken", "quickening",
    ),
    "stringendo": (
        "string", "stringendo", "string il tempo", "stretto", "incalzando", "drängen", "drängend", "treibend",
        "pressez", "en pressant", "serrez", "en serrant", "apretando", "press on", "pressing on", "push on",
        "pushing on", "push forward",
    ),
}  # fmt: skip

# dB without a dynamic to arrive at: plain, with `poco`, with `molto`.
SWELL = (4.0, 2.0, 8.0)
SWELLS = {
    1: (
        "cresc", "crescendo", "cre", "in crescendo", "sempre più f", "sempre più forte", "anschwellend", "anwachsend",
        "wachsend", "zunehmend", "lauter", "lauter werdend", "immer stärker", "augmenter", "augmentez",
        "en augmentant", "creciendo", "louder", "growing", "getting louder",
    ),
    -1: (
        "dim", "dimin", "diminuendo", "decresc", "decrescendo", "mancando", "scemando", "raddolcendo", "sempre più p",
        "sempre più piano", "abnehmend", "leiser", "leiser werdend", "immer schwächer", "verklingend", "diminuez",
        "en diminuant", "disminuyendo", "softer", "fading", "fade out", "getting softer",
    ),
}  # fmt: skip
DYING = (  # slower and softer; the softness is what is meant first, so the time gives way less
    "calando", "calmando", "morendo", "smorz", "smorzando", "perdendo", "perdendosi", "diluendo", "ersterbend",
    "beruhigend", "en mourant", "en se perdant", "muriendo", "dying away",
)  # fmt: skip
DYING_DEPTHS = (0.65, 0.80, 0.50)
NOTHING = ("niente", "al niente", "dal niente")  # a diminuendo leads there, or a crescendo comes from there

# Dynamics in words: plain, with `poco`, with `molto`; and those of one mark more or less than the one before.
SPOKEN = {
    ("pp", "p", "ppp"): ("pianissimo",),
    ("p", "mp", "pp"): ("p", "piano", "leise", "schwach", "softly", "quietly"),
    ("mp", "mp", "p"): ("mezzo piano",),
    ("mf", "mf", "f"): ("mezzo forte",),
    ("f", "mf", "ff"): ("f", "forte", "laut", "stark", "fuerte", "loudly"),
    ("ff", "f", "fff"): ("fortissimo",),
    ("sfz", "sfz", "sfz"): ("sforzando", "sforzato"),
    ("rfz", "rfz", "rfz"): ("rinf", "rinforz", "rinforzando"),
}
STEPS = {
    "softer": ("più p", "più piano", "meno f", "meno forte"),
    "louder": ("più f", "più forte", "meno p", "meno piano"),
}

TONES = {
    "sul tasto": (
        "sul tasto", "sulla tastiera", "tasto", "flautando", "flautato", "am griffbrett", "sur la touche",
        "sobre el mástil",
    ),
    "sul ponticello": (
        "sul ponticello", "sul pont", "sul ponte", "ponticello", "pont", "am steg", "au chevalet", "sur le chevalet",
        "en el puente", "sobre el puente", "junto al puente",
    ),
    "naturale": (
        "naturale", "nat", "ordinario", "ord", "modo ordinario", "modo ord", "posizione naturale", "pos nat",
        "posizione normale", "pos norm", "normale", "norm", "pos ord", "gewöhnlich", "normal", "position naturelle",
        "position ordinaire", "jeu ordinaire", "natural",
    ),
}  # fmt: skip
GUITAR_TONES = {"sul tasto": ("dolce", "dolcissimo", "dulce", "doux"), "sul ponticello": ("metallico", "metálico")}
PIZZICATO = ("pizz", "pizzicato", "gezupft", "étouffé", "étouffés", "étouffez", "apagado", "apagados")
ARCO = ("arco", "col arco", "naturale", "nat", "ord", "ordinario", "normale", "gestrichen", "mit dem bogen")

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
    "tempo rubato", "ad libitum", "ad lib", "in tempo rubato", "a piacere", "simile", "sim", "tenuto", "ten",
    "staccato", "stacc", "sostenuto", "sost", "sosten", "scherzando", "giocoso", "risoluto", "mesto", "dol", "marcata",
    "marcatissimo", "leggierissimo", "delicato", "delicatamente", "con delicatezza", "misterioso", "energico",
    "con forza", "con spirito", "con passione", "con sentimento", "con amore", "affettuoso", "brillante", "deciso",
    "doloroso", "lamentoso", "nobile", "lontano", "largamente", "senza rigore", "secco", "cantato", "libero",
    "liberamente", "recitativo", "recit", "colla voce", "colla parte", "col canto", "il canto", "in rilievo",
    "mezzavoce", "a capriccio", "segue", "calmo", "veloce", "ritmico", "feroce", "furioso", "estinto", "con larghezza",
    "ausdrucksvoll", "mit ausdruck", "zart", "innig", "einfach", "leicht", "kräftig", "feierlich", "fröhlich",
    "leidenschaftlich", "schwungvoll", "gehalten", "frei", "schleppen", "schleppend", "gesangvoll", "expressif",
    "doux", "léger", "légèrement", "chanté", "lointain", "en dehors", "librement", "sans rigueur", "dulce",
    "con dulzura", "con gracia", "con alma", "ligero", "marcado", "expresivo", "cantando", "expressive",
    "expressively", "with expression", "with feeling", "gently", "freely", "sweetly", "lightly", "smoothly",
    "tenderly", "heavily", "solemnly", "brightly", "broadly", "steady",
)  # fmt: skip

# How to play, where a plan has nothing that could stand for it: hands, bows, mutes, pedals, who plays.
TECHNIQUE = (
    "con sordino", "con sord", "senza sordino", "senza sord", "sordino", "sord", "via sord", "mit dämpfer",
    "ohne dämpfer", "sourdine", "avec sourdine", "sans sourdine", "con sordina", "sin sordina", "una corda", "u c",
    "due corde", "tre corde", "t c", "tutte le corde", "ped", "con ped", "senza ped", "m d", "m s", "m g", "l h", "r h",
    "mano sinistra", "mano destra", "main gauche", "main droite", "left hand", "right hand", "div", "divisi", "unis",
    "non div", "solo", "soli", "tutti", "a 2", "vibrato", "vib", "tremolo", "trem", "spiccato", "détaché", "martelé",
    "col legno", "col legno battuto", "loco", "gliss", "glissando", "portamento", "portato", "sul G", "sul D", "sul A",
    "arp", "arpegg", "harm", "arm", "armónicos", "l v", "laissez vibrer", "lasciar vibrare", "dejar vibrar", "let ring",
    "tambora", "tamb", "golpe", "rasgueado", "rasg", "attacca", "g p", "v s", "lunga",
)  # fmt: skip
BARRE = re.compile(r"(½|[1-6]?) ?[CB]\.? ?[IVX]+[ .]*")  # as guitarists write it: CV, C. II

LESS = (
    "poco", "un poco", "pochissimo", "pochiss", "pochettino", "un pochettino", "non troppo", "ma non troppo",
    "non tanto", "quasi", "etwas", "ein wenig", "ziemlich", "nicht zu", "un peu", "pas trop", "assez", "un poquito",
    "no demasiado", "a little", "a bit", "slightly", "somewhat", "not too", "fairly", "rather", "quite",
)  # fmt: skip
MORE = ("molto", "assai", "sehr", "viel", "très", "beaucoup", "muy", "mucho", "very", "much")
GRADUALLY = (  # a new tempo is then reached little by little
    "poco a poco", "a poco a poco", "sempre", "nach und nach", "allmählich", "immer", "peu à peu", "de plus en plus",
    "little by little", "gradually",
)  # fmt: skip
NOT = ("non", "senza", "nicht", "ohne", "ohne zu", "sans", "sin", "no", "not", "without")  # what follows is not done
OTHERS = (  # they change nothing
    "subito", "sub", "e", "ed", "et", "und", "and", "y", "ma", "mais", "aber", "but", "con", "ben", "bien", "il", "la",
    "più", "ancora", "encore", "noch", "wieder", "possibile", "al fine", "sin al fine", "sino al fine", "scen", "do",
)  # fmt: skip
