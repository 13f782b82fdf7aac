"""The weights by which the left hand chooses strings: what a state of the hand costs, and what it costs to come to it.

FITTED were fitted on editors' marks in guitar pieces of the Mutopia Project's open collection (Carcassi, Giuliani, Sor,
Aguado, Bach) by `tests/bench/fit_fingering.py`. Many values meet about as many marks; of these the ones are kept with
which the hand stretches and moves no more than if nothing rang. The others are the house's own.
"""

FITTED = ("RING", "LIGADO", "OPEN", "DULL", "HEIGHT", "EASED")

# What a state costs.
HEIGHT = 0.04  # for each position above the first
OPEN = 0.2  # an open string is easier by so much ...
BELL = 0.8  # ... and in campanella by so much
FAR_OPEN, FAR_FROM = 0.12, 4  # but for each position above this one it sounds and feels further from the stopped notes
DULL, BRIGHT_FRETS, BRIGHT_STRINGS = 0.06, 5, 2  # for each fret beyond these, and each string: thick strings are dull
SPREAD = 0.12  # for each fret between the fingers
CROSSED = 0.25  # a higher note of a chord on a lower string than the next one
STRETCH = 0.4  # for each millimetre over what is comfortable, as far as a hand reaches at all
TOO_WIDE = 40.0  # for what no hand reaches; taken only where there is nothing else
BARRE, FIFTH_FINGER = 0.3, 4.0
ANCHOR = 3.0  # for each fret away from the position or finger asked for
ASTRAY = 20.0  # an open string where a finger is asked for, or the other way round: more than any change of position
GIVEN_UP = 100.0  # a note that cannot have a string

# What it costs to come to a state.
SHIFT, SHIFT_FRET = 2.5, 0.12  # a change of position, and each fret of it
EASED = 0.5  # the part of it that is left while nothing but open strings sounds: the hand travels unheard
HASTES = (0.1, 0.2, 0.4, 1.0, 4.0)  # seconds for it, and by how much each makes it dearer
HASTE_COSTS = (3.0, 2.0, 1.4, 1.0, 0.6, 0.0)
CUT = 4.5  # a note loses its string before its written end; less where less than two thirds of it are lost ...
BELL_CUT = 8.0  # ... and so much in campanella
RING = 1.25  # a note whose harmony goes on loses its string; less where less than two thirds are lost
LIGADO = 2.5  # a short slur that does not stay on one string
LINE = 0.1  # for each string that lies between stopped neighbours of a voice
TORN = 12.0  # a slide or a note sounded by the left hand that does not stay on its string
