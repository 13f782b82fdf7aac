"""Instruments by name: the 128 of General MIDI, and what musicians call them."""

from __future__ import annotations

from difflib import get_close_matches

# General MIDI 1 (MMA, 1991), sound set, programs 0-127.
GENERAL_MIDI = tuple(
    name.strip()
    for name in """
acoustic grand piano, bright acoustic piano, electric grand piano, honky-tonk piano, electric piano 1,
electric piano 2, harpsichord, clavinet, celesta, glockenspiel, music box, vibraphone, marimba, xylophone,
tubular bells, dulcimer, drawbar organ, percussive organ, rock organ, church organ, reed organ, accordion,
harmonica, tango accordion, acoustic guitar (nylon), acoustic guitar (steel), electric guitar (jazz), electric
guitar (clean), electric guitar (muted), overdriven guitar, distortion guitar, guitar harmonics, acoustic
bass, electric bass (finger), electric bass (pick), fretless bass, slap bass 1, slap bass 2, synth bass 1,
synth bass 2, violin, viola, cello, contrabass, tremolo strings, pizzicato strings, orchestral harp, timpani,
string ensemble 1, string ensemble 2, synthstrings 1, synthstrings 2, choir aahs, voice oohs, synth voice,
orchestra hit, trumpet, trombone, tuba, muted trumpet, french horn, brass section, synthbrass 1, synthbrass 2,
soprano sax, alto sax, tenor sax, baritone sax, oboe, english horn, bassoon, clarinet, piccolo, flute,
recorder, pan flute, blown bottle, shakuhachi, whistle, ocarina, lead 1 (square), lead 2 (sawtooth), lead 3
(calliope), lead 4 (chiff), lead 5 (charang), lead 6 (voice), lead 7 (fifths), lead 8 (bass + lead), pad 1
(new age), pad 2 (warm), pad 3 (polysynth), pad 4 (choir), pad 5 (bowed), pad 6 (metallic), pad 7 (halo), pad
8 (sweep), fx 1 (rain), fx 2 (soundtrack), fx 3 (crystal), fx 4 (atmosphere), fx 5 (brightness), fx 6
(goblins), fx 7 (echoes), fx 8 (sci-fi), sitar, banjo, shamisen, koto, kalimba, bag pipe, fiddle, shanai,
tinkle bell, agogo, steel drums, woodblock, taiko drum, melodic tom, synth drum, reverse cymbal, guitar fret
noise, breath noise, seashore, bird tweet, telephone ring, helicopter, applause, gunshot
""".replace("\n", " ").split(",")
)

_OTHER_NAMES = {
    "piano": 0, "grand piano": 0, "pianoforte": 0, "keyboard": 0, "organ": 19, "classical guitar": 24,
    "guitar": 24, "nylon guitar": 24, "steel-string guitar": 25, "electric guitar": 27, "bass guitar": 33,
    "double bass": 43, "violoncello": 42, "pizzicato": 45, "harp": 46, "strings": 48, "string orchestra": 48,
    "choir": 52, "voice": 52, "soprano": 52, "mezzo-soprano": 52, "alto": 52, "tenor": 52, "baritone": 52,
    "bass": 52, "horn": 60, "saxophone": 65, "cor anglais": 69, "lute": 24, "mandolin": 25, "ukulele": 24,
    "percussion": 115, "drum": 117, "drums": 117, "snare drum": 117, "bass drum": 117, "electric bass": 33,
    "upright bass": 43, "violino": 40, "violine": 40, "geige": 40, "bratsche": 41, "violoncelle": 42, "kontrabass": 43,
    "contrabbasso": 43, "klavier": 0, "gitarre": 24, "guitare": 24, "guitarra": 24, "chitarra": 24, "harfe": 46,
    "arpa": 46, "flauto": 73, "floete": 73, "flöte": 73, "flûte": 73, "flauta": 73, "oboe": 68, "klarinette": 71,
    "clarinetto": 71, "fagott": 70, "fagotto": 70, "stimme": 52, "gesang": 52, "voce": 52, "canto": 52, "chor": 52,
    "orgel": 19, "organo": 19, "cembalo": 6, "clavecin": 6,
}  # fmt: skip

_BY_NAME = {name: program for program, name in enumerate(GENERAL_MIDI)} | _OTHER_NAMES
NAMES = tuple(_BY_NAME)

# Families whose notes die away by themselves: keys, tuned percussion, guitars and basses, pizzicato, harp, drums, and
# the plucked instruments of the world. A crescendo on a held note is beyond them.
_DECAYING = frozenset([*range(16), *range(24, 40), 45, 46, 47, *range(104, 109), *range(112, 120)])


def program_of(name: str) -> int:
    """The General MIDI program (0-127) of an instrument's name. ValueError with the nearest name if there is none."""
    key = " ".join(name.lower().split())
    if key in _BY_NAME:
        return _BY_NAME[key]
    near = get_close_matches(key, _BY_NAME, 1, 0.5)
    meant = f": did you mean {near[0]!r}?" if near else "; use a General MIDI name such as 'violin'"
    raise ValueError(f"{name!r} is not an instrument known here{meant}")


_STOPS = str.maketrans(".:,;", "    ")


def guess_program(name: str) -> int:
    """The program of a part by the name it has in a score; the piano if the name says nothing."""
    return max(named_program(name), 0)


def named_program(name: str) -> int:
    """The program of a part by the name it has in a score; -1 if the name says nothing."""
    words = " ".join(name.lower().translate(_STOPS).split())
    if words in _BY_NAME:
        return _BY_NAME[words]
    found = [known for known in _BY_NAME if f" {known} " in f" {words} " and known != "bass"]
    return _BY_NAME[max(found, key=len)] if found else -1


def sustains(program: int) -> bool:
    """Whether a note of this program can swell while it sounds."""
    return program not in _DECAYING
