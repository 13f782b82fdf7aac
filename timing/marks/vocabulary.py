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
    "tempo di valzer": 160, "tempo di valse": 160, "larghissimo": 40, "allegrissimo": 168, "tempo di polacca": 96,
    "tempo di gavotta": 126, "tempo di mazurka": 138,
    "breit": 46, "langsam": 54, "getragen": 60, "ruhig": 66, "nicht zu langsam": 66, "gehend": 76, "gemächlich": 88,
    "mäßig": 92, "gemäßigt": 92, "nicht schnell": 92, "bewegt": 112, "mit bewegung": 112, "nicht zu schnell": 116,
    "belebt": 120, "munter": 126, "frisch": 126, "lebhaft": 132, "rasch": 144, "schnell": 152,
    "mäßig langsam": 72, "mäßig bewegt": 104, "mäßig schnell": 116, "mit lebhaftigkeit": 132, "geschwind": 144,
    "large": 46, "lent": 52, "calme": 66, "pas trop lent": 66, "allant": 84, "modéré": 92, "pas trop vite": 116,
    "animé": 126, "gai": 126, "vif": 144, "vite": 152, "mouvement de valse": 160,
    "lentement": 52, "tranquille": 66, "tranquillement": 66, "modérément": 92, "mouvement de marche": 112,
    "gaiement": 126, "vivement": 144, "rapide": 152, "rapidement": 152,
    "despacio": 54, "moderado": 92, "animado": 120, "movido": 120, "rápido": 152, "tiempo de vals": 160,
    "lentamente": 52, "moderadamente": 92, "tiempo de marcha": 112, "tiempo de minueto": 116,
    "slow": 54, "slowly": 54, "not too slow": 66, "moderately slow": 72, "moderate": 96, "moderately": 96,
    "march tempo": 112, "moderately fast": 116, "not too fast": 116, "lively": 132, "brisk": 138, "briskly": 138,
    "quick": 144, "quickly": 144, "fast": 152, "waltz tempo": 160,
}  # fmt: skip
FURTHER, LESS_FAR = 0.12, 0.06  # `molto` leads so much further from MIDDLE, `poco` so much back to it
MIDDLE = 96

# A new tempo by the one before it: plain, with `poco`, with `molto`.
SLOWER, FASTER = (0.85, 0.92, 0.70), (1.18, 1.08, 1.40)
CHANGES: dict[tuple[float, ...], tuple[str, ...]] = {
    SLOWER: (
        "meno mosso", "meno allegro", "meno vivo", "più lento", "più largo", "più tranquillo", "langsamer", "ruhiger",
        "weniger bewegt", "più moderato", "più adagio", "più sostenuto", "meno presto", "plus lent", "plus large",
        "plus calme", "plus modéré", "moins vite", "moins vif",
        "moins animé", "más lento", "más despacio", "más tranquilo", "menos movido", "slower", "more slowly",
        "less movement",
    ),
    FASTER: (
        "più mosso", "più moto", "più allegro", "più vivo", "più presto", "più animato", "schneller", "bewegter",
        "belebter", "lebhafter", "rascher", "geschwinder", "con più moto", "meno lento", "moins lent", "plus vite",
        "plus vif", "plus animé", "plus allant", "más rápido",
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
        "getting slower", "ease", "easing", "relax", "ritar", "ritardan", "rilasciando", "ralent",
        "ralentissant", "retardez", "en retardant", "demorando",
    ),
    "rallentando": ("rall", "rallent", "rallentando", "rallen", "rallentare", "rallentato", "ralentando"),
    "ritenuto": (
        "riten", "ritenuto", "rattenendo", "trattenuto", "tratt", "zurückhalten", "zurückhaltend", "zurückgehalten",
        "gedehnt", "retenu", "retenez", "en retenant", "reteniendo", "retenido", "hold back", "holding back",
        "held back", "ritenente", "ritenendo", "trattenendo", "stentando", "stent", "stentato",
    ),
    "allargando": (
        "allarg", "allargando", "largando", "slarg", "slargando", "breiter", "breiter werden", "breiter werdend",
        "verbreitern", "élargir", "élargi", "élargissez", "en élargissant", "ensanchando", "broaden", "broadening",
        "broader", "allar", "allargan", "ensanchar",
    ),
    "accelerando": (
        "accel", "accelerando", "affrett", "affrettando", "animando", "precipitando", "beschleunigen", "beschleunigend",
        "schneller werden", "schneller werdend", "eilen", "eilend", "belebend", "vorwärts",
        "vorangehen", "accélérez", "en accélérant", "animez", "en animant", "acelerar", "acelerando", "apresurar",
        "apresurando", "hurry", "hurrying", "speed up", "speeding up", "getting faster", "quicken", "quickening",
        "acce", "accele", "accelerare", "avanzando", "spingendo", "moving forward", "moving on", "move on",
    ),
    "stringendo": (
        "string", "stringendo", "string il tempo", "stretto", "incalzando", "drängen", "drängend", "treibend",
        "pressez", "en pressant", "serrez", "en serrant", "apretando", "press on", "pressing on", "push on",
        "pushing on", "push forward", "strin", "stringere",
    ),
}  # fmt: skip

# dB without a dynamic to arrive at: plain, with `poco`, with `molto`.
SWELL = (4.0, 2.0, 8.0)
SWELLS = {
    1: (
        "cresc", "crescendo", "cre", "in crescendo", "sempre più f", "sempre più forte", "anschwellend", "anwachsend",
        "wachsend", "zunehmend", "lauter", "lauter werdend", "immer stärker", "augmenter", "augmentez",
        "en augmentant", "creciendo", "louder", "growing", "getting louder", "cres", "crescen", "crescente",
        "aumentando", "anschwellen", "anwachsen",
        "immer lauter", "crec",
    ),
    -1: (
        "dim", "dimin", "diminuendo", "decresc", "decrescendo", "mancando", "scemando", "raddolcendo", "sempre più p",
        "sempre più piano", "abnehmend", "leiser", "leiser werdend", "immer schwächer", "verklingend", "diminuez",
        "en diminuant", "disminuyendo", "softer", "fading", "fade out", "getting softer", "dimi", "decres", "decre",
        "sminuendo", "diminuer", "dism",
        "immer leiser",
    ),
}  # fmt: skip
DYING = (  # slower and softer; the softness is what is meant first, so the time gives way less
    "calando", "calmando", "morendo", "smorz", "smorzando", "perdendo", "perdendosi", "diluendo", "ersterbend",
    "beruhigend", "en mourant", "en se perdant", "muriendo", "dying away",
    "smor", "smorzato", "perden", "moren", "spegnendosi", "estinguendo", "estinguendosi", "erlöschend",
    "en s'éteignant", "apagándose", "perdiéndose",
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
GUITAR_TONES = {"sul ponticello": ("metallico", "metálico")}
# A little softer, in dB: plain, with `poco`, with `molto`; and on the guitar plucked between the usual place and the
# fingerboard, so many cm from the bridge (the house's own values: less than a mark, and about halfway).
SWEETLY = (2.0, 1.0, 3.0)
SWEET_POINT = 16.0
SWEET = (
    "dolce", "dol", "dolciss", "dolcissimo", "dolcemente", "con dolcezza", "dulce", "dulcemente", "con dulzura", "doux",
    "doucement", "avec douceur", "sweetly", "sweet",
)  # fmt: skip
HARMONICS = (
    "arm", "armonico", "armonici", "suoni armonici", "armónico", "armónicos", "arm nat", "arm art", "arm oct",
    "arm octavados", "armónicos octavados", "harm", "harmonic", "harmonics", "nat harm", "natural harmonics",
    "art harm", "artificial harmonics", "harm oct", "harm nat", "harm art", "harmoniques", "sons harmoniques",
    "flageolet", "flag", "flageolett", "flageolettöne",
)  # fmt: skip
RASGUEADO = ("rasgueado", "rasg", "rasgueo", "rasgueando", "rasgado", "strum", "strummed")
PLUCKED_AGAIN = ("punteado", "punt", "loco")  # they end a rasgueado, or harmonics
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
    "espressivo", "espr", "espress", "cantabile", "cant", "legato", "legatissimo", "leggiero",
    "leggero", "legg", "marcato", "marc", "pesante", "semplice", "grazioso", "con grazia", "con brio", "con fuoco",
    "con espressione", "con anima", "appassionato", "agitato", "tranquillo", "sotto voce", "mezza voce", "rubato",
    "tempo rubato", "ad libitum", "ad lib", "in tempo rubato", "a piacere", "simile", "sim", "tenuto", "ten",
    "staccato", "stacc", "sostenuto", "sost", "sosten", "scherzando", "giocoso", "risoluto", "mesto", "marcata",
    "marcatissimo", "leggierissimo", "delicato", "delicatamente", "con delicatezza", "misterioso", "energico",
    "con forza", "con spirito", "con passione", "con sentimento", "con amore", "affettuoso", "brillante", "deciso",
    "doloroso", "lamentoso", "nobile", "lontano", "largamente", "senza rigore", "secco", "cantato", "libero",
    "liberamente", "recitativo", "recit", "colla voce", "colla parte", "col canto", "il canto", "in rilievo",
    "mezzavoce", "a capriccio", "segue", "calmo", "veloce", "ritmico", "feroce", "furioso", "estinto", "con larghezza",
    "ausdrucksvoll", "mit ausdruck", "zart", "innig", "einfach", "leicht", "kräftig", "feierlich", "fröhlich",
    "leidenschaftlich", "schwungvoll", "gehalten", "frei", "schleppen", "schleppend", "gesangvoll", "expressif",
    "léger", "légèrement", "chanté", "lointain", "en dehors", "librement", "sans rigueur",
    "con gracia", "con alma", "ligero", "marcado", "expresivo", "cantando", "expressive",
    "expressively", "with expression", "with feeling", "gently", "freely", "lightly", "smoothly",
    "tenderly", "heavily", "solemnly", "brightly", "broadly", "steady", "teneramente", "tenero", "con tenerezza",
    "espressione", "espressivamente", "esp", "leggieriss", "leggerissimo", "leggieramente", "leggiermente",
    "legieramente", "martellato", "martell", "appassionata", "appassionatamente", "fuocoso", "bravura", "con bravura",
    "strepitoso", "strepituoso", "con strepito", "di forza", "religioso", "pastorale", "scherzoso", "capriccioso",
    "eroico", "trionfale", "marziale", "solenne", "triste", "tristamente", "malinconico", "melanconico", "lagrimoso",
    "lacrimoso", "piangendo", "dolente", "dolorosamente", "flebile", "mestamente", "funebre", "con dolore",
    "con calma", "con tristezza", "gaio", "gioioso", "allegramente", "brioso", "spiritoso", "ardito", "impetuoso",
    "con impeto", "con slancio", "tempestoso", "inquieto", "affannoso", "sonoro", "con sonorità", "pieno",
    "ben marcato", "ben tenuto", "pesantemente", "grandioso", "nobilmente", "pomposo", "lusingando", "carezzando",
    "amoroso", "amabile", "piacevole", "leggiadro", "elegante", "con eleganza", "placido", "sereno",
    "tranquillamente", "quieto", "soave", "delicatissimo", "sussurrando", "mormorando", "velato", "come da lontano",
    "parlando", "parlato", "declamato", "narrante", "misteriosamente", "cupo", "senza espressione", "con abbandono",
    "languido", "languendo", "sognando", "con calore", "caloroso", "estatico", "con moderazione", "a discrezione",
    "con discrezione", "discretamente", "alla turca", "alla polacca", "all'ungherese", "alla zingarese",
    "alla siciliana", "alla breve", "con fermezza", "con amabilità", "con agitazione",
    "ligato", "fuoco", "con più fuoco",
    "come accompagnamento", "accompagnamento", "ritmato", "ben ritmato",
    "empfindung", "mit empfindung", "mit innigster empfindung", "empfindungsvoll", "ausdruck", "sanft", "zärtlich",
    "lieblich", "anmutig", "singend", "mit wärme", "warm", "mit humor", "humoristisch", "mit kraft", "mit feuer",
    "feurig", "stürmisch", "heftig", "wild", "energisch", "entschlossen", "bestimmt", "markiert", "hervortretend",
    "hervorgehoben", "deutlich", "gebunden", "schwer", "wuchtig", "traurig", "klagend", "wehmütig", "schmerzlich",
    "träumerisch", "geheimnisvoll", "düster", "heiter", "lustig", "scherzhaft", "schlicht", "ernst", "majestätisch",
    "mild", "phantastisch", "mit vortrag",
    "avec expression", "gracieux", "gracieusement", "avec grâce", "avec âme", "avec feu", "avec tendresse", "tendre",
    "tendrement", "avec élan", "avec passion", "passionné", "en chantant", "chantant", "bien chanté", "marqué",
    "bien marqué", "lourd", "lourdement", "sec", "sonore", "éclatant", "brillant", "mystérieux", "tristement",
    "mélancolique", "plaintif", "rêveur", "simple", "simplement", "souple", "murmuré", "soutenu", "lié", "égal",
    "con expresión", "con sentimiento", "con ternura", "tierno", "tranquilo", "gracioso", "majestuoso", "alegre",
    "melancólico", "con pasión", "apasionado", "con fuego", "enérgico", "lejano", "sencillo", "con sencillez",
    "marcando", "bien marcado", "destacado", "libre", "a voluntad", "con libertad", "rítmico", "con garbo", "airoso",
    "with spirit", "with energy", "with fire", "with grace", "gracefully", "playfully", "singing", "warmly", "dreamily",
    "sadly", "mournfully", "calm", "calmly", "peacefully", "gentle", "tender", "delicately", "majestic", "majestically",
    "stately", "boldly", "heavy", "marked", "simply", "mysteriously", "rhythmically", "with swing", "swing", "straight",
    "flowing", "with warmth", "with tenderness", "agitated", "passionately", "with passion", "cheerfully", "merrily",
    "joyfully", "nobly", "grandly", "triumphantly", "vigorously", "energetically", "resolutely", "distant",
    "from afar",
)  # fmt: skip

# How to play, where a plan has nothing that could stand for it: hands, bows, mutes, pedals, who plays.
TECHNIQUE = (
    "con sordino", "con sord", "senza sordino", "senza sord", "sordino", "sord", "via sord", "mit dämpfer",
    "ohne dämpfer", "sourdine", "avec sourdine", "sans sourdine", "con sordina", "sin sordina", "una corda", "u c",
    "due corde", "tre corde", "t c", "tutte le corde", "ped", "con ped", "senza ped", "m d", "m s", "m g", "l h", "r h",
    "mano sinistra", "mano destra", "main gauche", "main droite", "left hand", "right hand", "div", "divisi", "unis",
    "non div", "solo", "soli", "tutti", "a 2", "vibrato", "vib", "tremolo", "trem", "spiccato", "détaché", "martelé",
    "col legno", "col legno battuto", "gliss", "glissando", "portamento", "portato", "sul G", "sul D", "sul A",
    "arp", "arpegg", "l v", "laissez vibrer", "lasciar vibrare", "dejar vibrar", "let ring", "tambora",
    "tamb", "golpe", "attacca", "g p", "v s", "lunga", "attaca", "pedale", "pedal", "pédale", "sopra", "sotto",
    "punta d'arco", "punto d'arco", "col punto d'arco", "a punta d'arco", "al tallone", "am frosch", "an der spitze",
    "jeté", "saltando", "sautillé", "spicc", "tirando", "apoyando", "picado", "campanella", "campanelle", "ceja",
    "cejilla", "barré", "ligado", "tapping", "palm mute", "hammer on", "pull off", "pollice", "col pollice", "pulgar",
    "con el pulgar", "pouce", "daumen", "thumb", "trillo", "8va", "8vb", "8va bassa", "15ma", "ottava", "a due",
    "zu 2", "à 2", "corda", "cuerda", "corde", "trill",
)
# Names of what is played, of who wrote it and who plays: they ask for nothing. So do the names of instruments.
HEADINGS = (
    "tema", "thema", "theme", "thème", "var", "variation", "variations", "variazione",
    "variazioni", "variationen", "variación", "variaciones", "trio", "menuetto", "menuet", "menuett", "minuetto",
    "minuet", "minueto", "maggiore", "minore", "majeur", "mineur", "dur", "moll", "mayor", "menor", "finale", "final",
    "introduzione", "introduction", "introducción", "intro", "einleitung", "preludio", "prelude", "prélude",
    "präludium", "praeludium", "fuga", "fugue", "fuge", "toccata", "allemande", "allemanda", "courante", "corrente",
    "sarabande", "sarabanda", "gavotte", "gavotta", "gavota", "bourrée", "gigue", "giga", "loure", "passepied",
    "polonaise", "polacca", "musette", "rondeau", "rondo", "rondino", "rondello", "scherzo", "intermezzo", "interludio",
    "interlude", "zwischenspiel", "vorspiel", "nachspiel", "cadenza", "kadenz", "cadence", "cadencia", "recitativ",
    "aria", "air", "arie", "arioso", "duetto", "duet", "duo", "choral", "chorale", "chorus", "coro", "romanza",
    "romance", "romanze", "notturno", "nocturne", "nocturno", "serenata", "serenade", "valzer", "valse", "walzer",
    "waltz", "vals", "ländler", "marcia", "marsch", "marche", "marcha", "march", "mazurka", "polka", "tarantella",
    "bolero", "tango", "habanera", "jota", "fandango", "siciliana", "siciliano", "barcarola", "barcarolle", "berceuse",
    "wiegenlied", "studio", "étude", "etüde", "estudio", "study", "übung", "esercizio", "ejercicio", "exercise",
    "lezione", "lección", "lesson", "sonata", "sonate", "sonatina", "suite", "partita", "fantasia", "fantasie",
    "fantaisie", "fantasía", "capriccio", "caprice", "capricho", "impromptu", "bagatelle", "ballade", "ballata",
    "arabeske", "arabesque", "ritornello", "refrain", "estribillo", "strophe", "verse", "copla", "fragment", "parte",
    "teil", "satz", "movement", "movimento", "movimiento", "op", "opus", "nr", "kv", "bwv", "woo", "hob", "rv", "n c",
    "kyrie", "christe", "gloria", "credo", "sanctus", "benedictus", "agnus dei", "alleluia", "alleluja", "amen",
)  # fmt: skip
# Who wrote or arranged it, and whose it is; and the letters and numbers of fingers, strings, places, bars, rehearsals.
NAMED = re.compile(
    r"(?:[A-Z]\. ?){1,3}(?:(?:van|von|de|di|da) )*[A-Z][\w'’]+(?: [A-Z][\w'’]+)?"
    r"|(?i:arr|arranged|transcr|transcribed|edited|music|words|composed|musik|musique|musica)[. ]+"
    r"(?:(?:by|von|par|por|di|de) )*[A-Z].*"
    r"|.*(?:©|(?i:copyright|all rights reserved|https?//|www\.)).*|[A-Z][1-9]?"
)
FINGERS = re.compile(r"[pimac](?:[ .-]+[pimac])+[ .]*|[imac]\.?")
NUMERAL = re.compile(r"\d{1,4}|x{0,2}(?:ix|iv|v?i{1,3}|v)|x{1,2}", re.IGNORECASE | re.ASCII)  # fmt: skip
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
    "dan", "zan", "tan", "len", "lan", "nuen", "poi", "durchaus",
)
TO = (  # a dynamic that follows is where the growing or fading leads
    "al", "a", "ad", "fino a", "fino al", "fin al", "sino al", "sin al", "bis", "bis zum", "zum", "jusqu'au", "jusqu'à",
    "au", "hasta", "to",
)  # fmt: skip
