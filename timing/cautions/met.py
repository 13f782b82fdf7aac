"""What is told without a rule: codes met while a score is read, while its bars are put in order, and while the plan is
brought together with it. The remarks are made there; here is what there is to say about each."""

from __future__ import annotations

import numpy as np

from timing.cautions.rules import COMMON_PRACTICE, OWN_VALUE, met
from timing.instruments.sounding import LOWEST_WRITTEN
from timing.instruments.tuning import FRETS, GUITARS, pitch_name
from timing.notes.displacement import STEEPEST
from timing.order import MAX_BARS
from timing.reader.bars import CADENZA, CLOSE
from timing.slides.glides import SHORTEST
from timing.strings.playable import NODES, POSSIBLE, SCALE
from timing.time.rubato import MOST

# -- the score as it is read

met(
    "score-silent",
    "A score of rests alone gives nothing to hear, so no decision about it can be tried.",
    example="A score whose bars hold rests and no notes.",
    threshold="no note, but at least one written rest",
    source=OWN_VALUE,
)
met(
    "no-bar-lines",
    "Bars that are only counted may lie elsewhere than the musician feels them, and repeats are not heard.",
    example="A tune or a spine that was written without bar lines.",
    threshold="a part without bar lines, or with so few that music21 makes no bars of them (in ABC, fewer than three)",
    source="what music21 reads",
)
met(
    "no-such-mark",
    "A mark that was to be left out may still be played, if it stands elsewhere or is called otherwise.",
    example="""\
score: low-water.musicxml
marks: {ignore: [{at: 5, mark: fermata}]}
""",
    threshold="any entry of `marks: {ignore: ...}` at whose place, on whose pass, no such mark stands",
    source=OWN_VALUE,
)
met(
    "passed-over",
    "What the file means at this place may be missing from what is heard.",
    example="A MusicXML file with an element that cannot be understood.",
    threshold="any element for which the library that reads MusicXML (music21) gives a warning",
    source="music21's own warnings",
)
met(
    "collection",
    "Of a file with several tunes only one is heard.",
    example="A tune book in ABC with the headings X:1 and X:2.",
    threshold="two tunes or more",
    source=OWN_VALUE,
)
met(
    "chord-ties",
    "A tied chord that is struck again puts an accent where the music holds still.",
    example="A tune in ABC with the bar [CEG]4- | [CEG]4.",
    threshold="a tie after a chord, or within one, in ABC",
    source="what music21 reads of ABC",
)
met(
    "bad-number",
    "What one slip of a program or a hand has put out of place may sound otherwise than it was meant.",
    example="A note of MusicXML with a duration of -1.",
    threshold="any length, way back or forward, tuplet, division, metre, key, clef, transposition, step, octave, "
    "alteration, staff, string of a tuning, tremolo, ending or count of a repeat whose number no music has",
    source="MusicXML 4.0: what each number may be; the bounds are the house's own",
)
met(
    "cues",
    "Small notes are written for solos and embellishments as well as for what other parts play, so what is heard of "
    "them deserves a look.",
    example="A MusicXML file with a note that has <cue/>.",
    threshold="any note in cue size that is printed, where the plan's `marks: cues:` says nothing; it is played unless "
    "another note stands in its place in its voice, or its player rests meanwhile",
    source="MusicXML 4.0: cue notes are silent; common practice: programs write small solo notes so",
)
met(
    "bar-names",
    "A place that could be two bars is understood in one way by the plan and in another by whoever reads it.",
    example="A score with two bars that are both numbered 24, or whose second movement begins with bar 1 again.",
    threshold="two bars or more of one number that are not the parts of one divided bar",
    source=f"{COMMON_PRACTICE}: such bars get letters, the first keeps its number",
)
met(
    "overfull-bar",
    "A bar that is too long holds up the metre, and a listener hears a beat too many.",
    example="A bar of five quarters in 4/4.",
    threshold=f"printed notes or rests last at least {float(CLOSE):g} quarters longer than the metre; where another "
    f"voice ends with the metre, the bar does too, unless notes begin {float(CADENZA):g} metres after the bar line",
    source=OWN_VALUE,
)
met(
    "short-bar",
    "A bar that is too short leaves out a beat that a listener may wait for.",
    example="A bar of three quarters in 4/4, in the middle of a piece.",
    threshold="a bar holds less than its metre and is neither a pickup, nor completed by a bar beside it, nor beside a "
    "repeat sign or double bar; where its staves hold the same, it is as short as that, else it is filled by silence",
    source=OWN_VALUE,
)
met(
    "tempo",
    "Without the tempo that the score meant, the music is heard at another one.",
    example='A MusicXML file with <sound tempo="fast"/>.',
    threshold="a sounding tempo that is not a number of up to four digits",
    source="MusicXML 4.0: the attribute is a decimal number",
)
met(
    "ending",
    "A bracket with one end can mean other bars than were meant to be heard each time.",
    example="A first ending that begins in bar 7, and a second one in bar 8 before the first is closed.",
    threshold="an ending that is begun and not closed, or closed and not begun",
    source="MusicXML 4.0: an ending has a start and a stop",
)
met(
    "part-left-out",
    "A part that is left out is missing from the sound.",
    example="A MusicXML file with a part that its part list does not name.",
    threshold="any such part",
    source="MusicXML 4.0: the part list names all parts",
)
met(
    "microtones",
    "Quarter tones are heard as their neighbours, so a line may lose its colour.",
    example="A score with a quarter-tone sharp.",
    threshold="any pitch that is no whole number of semitones",
    source="MIDI 1.0: keys are semitones",
)
met(
    "pitch-range",
    "A note in another octave jumps out of its line.",
    example="A score with the note C11.",
    threshold="any pitch below MIDI 0 (C-1) or above 127 (G9)",
    source="MIDI 1.0: 128 keys",
)

# -- the order of the bars

met(
    "repeat-structure",
    "Repeats and endings that do not fit together may lead a listener through other bars than were meant.",
    example="A repeat sign that opens a section which is never closed.",
    threshold="any section without its end, a second ending without a first one, or endings that overlap, lack a "
    "number or a repeat sign, or are numbered out of their order",
    source="common practice; MusicXML 4.0, repeat and ending",
)
met(
    "jump-structure",
    "A jump whose sign is missing is not played, so the form that is heard is another one.",
    example="D.S. al Coda in a score that has no coda sign.",
    threshold="any D.C., D.S., Fine, segno, To Coda or coda without its counterpart, or after it",
    source=COMMON_PRACTICE,
)
met(
    "bars-never-played",
    "Music that is written but never reached is missing from the piece that is heard.",
    example="A score with endings for the second and third time and none for the first.",
    threshold="any bar that the repeats, endings and jumps of the score lead past each time",
    source=COMMON_PRACTICE,
)
met(
    "order-too-long",
    "A piece that ends by being cut off ends nowhere.",
    example="Repeats within repeats that come to more bars than anyone could play.",
    threshold=f"more than {MAX_BARS:,} performed bars",
    source="our own value: far beyond any music",
)

# -- the plan along the performed order

met(
    "never-heard",
    "What the plan says here is never heard, though whoever reads it believes that it is.",
    example="""\
score: low-water.musicxml
slowing: [{rallentando: 9:4 - 10:5, to: 80%, then: a tempo, pass: 2}]
""",
    threshold="the place of an entry, or the end that it needs, is not heard on the pass that it names",
    source=OWN_VALUE,
)
met(
    "role-not-found",
    "A voice that cannot be told from the rest cannot be brought out.",
    example="""\
score: low-water.musicxml
voices: {melody: {is: "voice 1, voice 2, voice 3"}, bass: -4 dB}
""",
    threshold="no note of the score has the role that is named",
    source=OWN_VALUE,
)
met(
    "slowings-overlap",
    "Two changes of pace at once pull against each other, so only one of them is heard.",
    example="""\
score: low-water.musicxml
slowing:
  - {rallentando: 9:1 - 10:5, to: 80%, then: a tempo}
  - {ritenuto: 10:1 - 10:6, to: 70%, then: a tempo}
""",
    threshold="any moment that lies in the ranges of two entries on the same pass",
    source=OWN_VALUE,
    mends="lets the one that begins first end where the other begins, if it does so each time",
)
met(
    "holds-overlap",
    "Holds that meet multiply, so the time stands still for longer than either of them says.",
    example="""\
score: low-water.musicxml
holds: [{fermata: 27:1 - 27:3}, {agogic: 27:2}]
""",
    threshold="any moment that two fermatas or agogic accents both stretch",
    source=OWN_VALUE,
)

# -- strings and frets

met(
    "no-strings",
    "What is said of strings is not heard on an instrument that has none.",
    example="""\
score: umbrella-stand.musicxml
tuning: dropped D
""",
    threshold=f"no part that is meant is played by a guitar (General MIDI programs {GUITARS.start + 1} to "
    f"{GUITARS.stop})",
    source="General MIDI 1",
    mends="plays the only part on a classical guitar, if the plan names no instrument; of tones takes the nearest to "
    "the plucking point: dark, plain or bright",
)
met(
    "octave-assumed",
    "A guitar that is read an octave too high or too low is another piece on other strings.",
    example="A guitar in a plain treble clef, without the 8 under it and without <transpose>.",
    threshold="neither the score nor the plan's `sounds` says the octave; the strings and open strings that the score "
    "names decide, else whether the lowest note is one that guitar music writes: an octave over the lowest string, or "
    f"over the same taken down a tone ({pitch_name(LOWEST_WRITTEN)})",
    source="common practice: guitar music is written an octave higher than it sounds. Of 31 pieces of the Mutopia "
    "Project, without the 8 under their clefs, 24 that are given at pitch stay there and come back to it when they are "
    "written an octave higher; 7 that are given an octave too high come down",
)
met(
    "capo-in-words",
    "A piece that is written for the fingers under a capo sounds higher than it is written.",
    example="The words “Capo III” over the first bar.",
    threshold="such words, and neither the score's own <capo> nor the plan's `capo`",
    source="common practice: both ways of writing are met",
)
met(
    "no-harmonic",
    "A harmonic that no string has cannot ring, so an ordinary note is heard.",
    example="""\
score: low-water.musicxml
strings: [{at: 21, for: melody, harmonic: yes}]
""",
    threshold=f"the note lies {', '.join(map(str, NODES))} semitones above no open string",
    source="the second to fifth partial (N. Fletcher and T. Rossing, The Physics of Musical Instruments, from memory)",
)
met(
    "off-the-instrument",
    "A note that the instrument does not have is heard all the same, but no player can give it.",
    example="""\
score: low-water.musicxml
tuning: [E4, B3, G3, D3, A2]
""",
    threshold=f"below the lowest open string, or above fret {FRETS} of the highest (less the fret of a capo)",
    source=f"the {FRETS} frets of the classical guitar, common practice",
)
met(
    "string-cannot-reach",
    "On another string than was asked for, the note has another colour.",
    example="""\
score: low-water.musicxml
strings: [{at: 3, for: bass, string: 1}]
""",
    threshold=f"the string that score or plan ask for has the note at none of its frets (0 to {FRETS})",
    source=COMMON_PRACTICE,
    mends="takes the nearest string that has the note",
)
met(
    "fret-contradicts",
    "A fret that does not hold the note would sound another one.",
    example="""\
score: low-water.musicxml
strings: [{at: 3, for: melody, string: 1, fret: 7}]
""",
    threshold="the fret that score or plan ask for holds another note, on the string they name or on every string",
    source=COMMON_PRACTICE,
    mends="keeps the string and leaves the fret out, or takes the string on which the note lies nearest to that fret",
)
met(
    "unplayable-chord",
    "A chord that no hand can take is heard, but will not be played as it is planned.",
    example="""\
score: low-water.musicxml
strings: [{at: 27, for: melody, string: 5}]
""",
    threshold=f"two notes on one string, or stopped notes more than {POSSIBLE:g} mm apart on a string of {SCALE:g} mm",
    source="common practice: four frets lie under the hand, five are a stretch",
)

# -- finer timing

met(
    "rubato-overlap",
    "Two rubatos at one place pull the time both ways, and neither is heard as it was meant.",
    example="""\
score: low-water.musicxml
rubato: [{bars: 3-8, hurry: 6%}, {bars: 7-10, linger: 6%}]
""",
    threshold="two entries shape the time of one bar, the pair of one beat, or the same notes at one moment",
    source=OWN_VALUE,
)
met(
    "rubato-limited",
    "More time was to be stolen than can be given back, so less is heard than the plan says.",
    example="""\
score: low-water.musicxml
rubato: [{bars: 3, late: 500 ms, for: melody}]
""",
    threshold=f"giving back would take more than {np.exp(MOST):g} times the pace, or a displaced voice would gain or "
    f"lose more than {STEEPEST:g} of the time that passes",
    source="our own value: no notes overtake one another",
)
met(
    "delay-limited",
    "A note that is held back for longer than it lasts would not be heard at all.",
    example="""\
score: low-water.musicxml
holds: [{delay: 2:6, by: 500 ms, for: melody}]
""",
    threshold="the delay is more than half of the shortest note that is delayed there",
    source="our own value: what is left is heard as that note",
)

# -- slides

met(
    "slide-no-time",
    "A slide that has no time to move is not heard as one.",
    example="A slide line from a note whose goal leads it, as where the voice of the goal comes early by more than the "
    "note lasts.",
    threshold=f"the goal sounds less than {1000 * SHORTEST:g} ms after the note",
    source="our own value: no ear follows a slide so short",
)
met(
    "tone-carried",
    "A tone is made by plucking, so where nothing is plucked the colour of the sound before goes on.",
    example="""\
score: low-water.musicxml
tone: [{bars: 24, tone: sul ponticello}]
glissandi: [{from: 23:4, to: 24:1, arrive: slurred, swell: 3 dB}]
""",
    threshold="the plan has another tone or plucking point for the goal of a slurred slide than for the note before",
    source=COMMON_PRACTICE,
)
