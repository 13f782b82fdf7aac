"""What makes a phrase end: the table of weights, in log odds. `boundaries` says what each stands for.

Fitted by `tests/bench/fit_phrases.py` on 4,696 folk songs of the Essen collection (H. Schaffrath 1995, in ABC by S.
Schlien, as music21 carries it), nearly all of them German: those with a metre that are neither in L. Erk's books, on
which the weights are tried (`tests/bench/phrase_scores.py`), nor near a song of his, nor Chinese.
"""

# What the notes around an end say; "next" is the note after it. "short", "usual" and "longish" are steps from note to
# note below 0.9, 1.1 and 1.6 of the median one, against longer ones; a "step" is one or two semitones, a "third" three
# or four, a "wide leap" seven or more, against a fourth; "by" is how the last note is reached, against from above; the
# opening rhythm is four notes, the opening tune six intervals, the closing tune four.
BOUNDARY = {
    "every note": -1.77,
    "rest after": 2.59,
    "bars to next": 4.94,
    "short": -1.47,
    "usual": -0.66,
    "longish": -0.45,
    "longer than last": 0.22,
    "next repeats": -0.22,
    "next a step": -0.91,
    "next a third": -0.18,
    "next a wide leap": 0.47,
    "by repetition": -0.44,
    "by step up": -0.58,
    "by leap up": -0.94,
    "on downbeat": -0.92,
    "on mid-bar": 0.78,
    "next on downbeat": -0.27,
    "on the final tone": 0.10,
    "next as opening place": 0.38,
    "two bars from opening": 0.51,
    "four bars from opening": 0.48,
    "next as opening rhythm": 0.48,
    "next as opening tune": 2.23,
    "as closing tune": 1.49,
}

# The notes of a phrase: up to 3, 4, 5, 6, 7, 9, 11, 14, 18, and more.
MOST_NOTES = (3, 4, 5, 6, 7, 9, 11, 14, 18)
NOTES = (-3.77, -2.13, -1.48, -0.33, 0.41, 1.06, 1.27, 1.36, 0.93, 0.91)

# Its length in bars: under 1, just 1, up to 1.5, under 2, just 2, up to 2.5, under 3, just 3, under 4, just 4, and
# more; in melodies with fewer notes a bar than the first of DENSITIES, than the second, and in others.
DENSITIES = (2.6, 4.6)
BARS = (
    (-2.29, -2.58, -1.37, 0.22, 0.44, 0.24, -0.06, 0.47, 0.46, 1.23, 0.42),
    (-3.10, -0.72, 0.06, 1.09, 1.80, 0.79, 0.27, 0.87, 0.26, 1.41, 0.72),
    (-0.84, -0.05, -0.63, 0.05, 1.21, -0.11, -0.83, 0.17, -0.86, 0.43, -0.91),
)


# Which ends of the melody are ends of phrases, by the whole texture. Fitted by `tests/bench/fit_choice.py` on 775
# phrase ends of 26 movements of Mozart's piano sonatas and of 24 mazurkas of Chopin, as annotated by the Digital and
# Cognitive Musicology Lab (J. Hentschel, M. Neuwirth and M. Rohrmeier, "The Annotated Mozart Sonatas", TISMIR 4, 2021,
# and their annotations of the mazurkas); scores by C. S. Sapp.
#
# "by the melody" is times the log odds of the melody's own model. "ends" is the chord in the beat of the last note,
# "next" that in the beat with which the next phrase begins: on the tonic triad of the key around it; reached from a
# leading note; a triad whose bass comes down a fifth, with its leading note before it; the dominant triad or seventh.
# A tune is eight notes, a long one sixteen; bars are two bars, whatever their pitch, figures the rhythm of what is not
# the melody. "bars to next" is the step to the next note, up to two bars; "thinner" is half of the moments with notes
# that the last bar has less than the one before; "stops" and "stop" mean the last beat.
CHOICE = {
    "every end": -1.29,
    "by the melody": 0.10,
    "ends on the tonic": -0.07,
    "ends on the tonic by its leading note": 0.27,
    "ends as dominant to tonic": 0.93,
    "ends on the dominant": 1.17,
    "next on the tonic": 0.32,
    "next on the tonic by its leading note": 0.02,
    "next as dominant to tonic": 0.32,
    "next on the dominant": 0.31,
    "next in unison": 0.35,
    "ends with tonic on top": 0.52,
    "next with tonic on top": 0.15,
    "tune heard before": 0.57,
    "tune heard twice": 0.43,
    "long tune heard before": 0.32,
    "long tune heard twice": 0.13,
    "rhythm goes on": -0.51,
    "rhythm as two bars ago": -0.27,
    "figure goes on": -0.64,
    "figure as two bars ago": -0.59,
    "bars heard twice": 0.51,
    "rhythm heard twice": 0.48,
    "figure heard twice": 0.41,
    "all silent": 0.11,
    "bars to next": -0.44,
    "new dynamic": 0.99,
    "thinner": 0.22,
    "accompaniment stops": -0.36,
    "all stop": 0.25,
    "2 bars of the section": -0.19,
    "4 bars of the section": 0.20,
    "8 bars of the section": 0.54,
    "next on downbeat": 0.64,
}

# The length of a phrase in bars: the greatest of each class but the last.
LENGTH_EDGES = (
    0.9, 1.01, 1.9, 2.01, 2.9, 3.01, 3.9, 4.01, 4.9, 5.01, 5.9, 6.01, 7.01, 7.9, 8.01, 9.01, 10.01, 12.01, 16.01
)  # fmt: skip
LENGTHS = (
    -4.68, -4.11, -3.30, -2.20, -2.20, -1.84, -0.81, -0.18, -0.65, -1.36, -1.41, -1.46, -1.03, 0.12, 0.61,
    -0.26, -0.43, -0.32, -0.24, 0.02
)
