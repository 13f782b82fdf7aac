"""What a score is told for: a score that earns each code, and one that just misses it."""

from __future__ import annotations

import pytest
from written import FOUR_FOUR, bar, musicxml, note

from timing.cautions.met import MAX_BARS
from timing.cautions.rules import RULES
from timing.order import unfold
from timing.plan import Plan
from timing.reader import read_score
from timing.reading import perform

WHOLE, REST = note("C4", 4), note("rest", 4)


def line(at: str, content: str) -> str:
    return f'<barline location="{at}">{content}</barline>'


def ending(number: int, kind: str) -> str:
    return f'<ending number="{number}" type="{kind}"/>'


def words(text: str, sound: str = "") -> str:
    return (
        f"<direction><direction-type><words>{text}</words></direction-type><sound {sound}/></direction>"
        if sound
        else f"<direction><direction-type>{text}</direction-type></direction>"
    )


def score(*bars: str) -> str:
    """MusicXML of these bars in 4/4."""
    return musicxml([bar(content, n, FOUR_FOUR if n == 1 else "") for n, content in enumerate(bars, 1)])


def abc(tune: str) -> str:
    return f"X:1\nT:t\nM:4/4\nL:1/4\nK:C\n{tune}\n"


def guitar(content: str, octave: str = "") -> str:
    clef = f"<clef><sign>G</sign><line>2</line>{octave}</clef>"
    return musicxml([bar(content, 1, FOUR_FOUR + clef)], names=("Guitar",))


EIGHT = "<clef-octave-change>-1</clef-octave-change>"
BACK, FORTH = '<repeat direction="backward"/>', '<repeat direction="forward"/>'
LOST = '<direction><direction-type><octave-shift type="stop"/></direction-type></direction>'
FOUND = '<direction><direction-type><octave-shift type="down" size="8"/></direction-type></direction>'
SEGNO = '<direction><direction-type><segno/></direction-type><sound segno="a"/></direction>'
AL_SEGNO = words("D.S.", 'dalsegno="a"')

# By code: a score that earns it, and one that does not.
SCORES = {
    "score-silent": (score(REST), score(REST, WHOLE)),
    "passed-over": (score(LOST + WHOLE), score(FOUND + WHOLE + LOST)),
    "bad-number": (score(note("C4", -4)), score(note("C4", 4))),
    "cues": (score(note("C4", 4, first="<cue/>")), score(note("C4", 4, "<type size=\"cue\">whole</type>"))),
    "bar-names": (
        musicxml([bar(WHOLE, 1, FOUR_FOUR), bar(WHOLE, 2), bar(WHOLE, 2)]),
        musicxml([bar(WHOLE, 1, FOUR_FOUR), bar(note("C4", 3), 2), bar(note("C4", 1), 2)]),  # one bar in two parts
    ),
    "overfull-bar": (score(note("C4", 5), WHOLE), score(WHOLE, WHOLE)),
    "short-bar": (score(WHOLE, note("C4", 3), WHOLE), score(note("C4", 3), WHOLE, WHOLE)),  # a pickup is none
    "tempo": (score('<sound tempo="fast"/>' + WHOLE), score('<sound tempo="72"/>' + WHOLE)),
    "ending": (
        score(line("left", ending(1, "start")) + WHOLE, WHOLE),
        score(WHOLE, line("left", ending(1, "start")) + WHOLE + line("right", ending(1, "stop") + BACK), WHOLE),
    ),
    "part-left-out": (
        musicxml([bar(WHOLE, 1, FOUR_FOUR)], [bar(WHOLE, 1, FOUR_FOUR)]).replace('<part id="P1"', '<part id="P9"'),
        musicxml([bar(WHOLE, 1, FOUR_FOUR)], [bar(WHOLE, 1, FOUR_FOUR)]),
    ),
    "microtones": (
        score(WHOLE.replace("</step>", "</step><alter>0.5</alter>")),
        score(WHOLE.replace("</step>", "</step><alter>1</alter>")),
    ),
    "pitch-range": (  # MIDI 127 is G9
        score(WHOLE.replace("<step>C</step><octave>4", "<step>G</step><alter>1</alter><octave>9")),
        score(WHOLE.replace("<step>C</step><octave>4", "<step>G</step><octave>9")),
    ),
    "octave-assumed": (guitar(WHOLE), guitar(WHOLE, EIGHT)),
    "capo-in-words": (
        guitar(words("<words>Capo III</words>") + WHOLE, EIGHT),
        guitar(words("<words>Da capo III</words>") + WHOLE, EIGHT),
    ),
    "repeat-structure": (
        score(line("left", FORTH) + WHOLE, WHOLE),
        score(line("left", FORTH) + WHOLE, WHOLE + line("right", BACK)),
    ),
    "jump-structure": (score(WHOLE, WHOLE + AL_SEGNO), score(SEGNO + WHOLE, WHOLE + AL_SEGNO)),
    "bars-never-played": (
        score(WHOLE, line("left", ending(2, "start")) + WHOLE + line("right", ending(2, "stop")), WHOLE),
        score(WHOLE, line("left", ending(1, "start")) + WHOLE + line("right", ending(1, "stop") + BACK), WHOLE),
    ),
    "no-bar-lines": (abc("CDEF|GABc|]"), abc("CDEF|GABc|cBAG|]")),
    "collection": (abc("CDEF|GABc|]") + "\n" + abc("CDEF|]").replace("X:1", "X:2"), abc("CDEF|GABc|]")),
    "chord-ties": (abc("[CE]4-|[CE]4|C4|]"), abc("C4-|C4|[CE]4|]")),
}


@pytest.mark.parametrize("code", SCORES)
def test_a_score_that_earns_it_and_one_that_does_not(code, tmp_path):
    told = []
    for text in SCORES[code]:
        path = tmp_path / ("a.abc" if text.startswith("X:") else "a.musicxml")
        path.write_text(text)
        made = perform(read_score(path, cache=False), Plan.model_validate({"score": path.name}))
        told.append(code in [remark.code for remark in made.remarks])
    assert told == [True, False]


@pytest.mark.parametrize(("bars", "told"), [(MAX_BARS, []), (MAX_BARS + 1, ["order-too-long"])])
def test_an_order_that_is_too_long(bars, told, tmp_path):
    path = tmp_path / "a.musicxml"
    path.write_text(score(WHOLE))
    passages, remarks = unfold(read_score(path, cache=False), order=[(0, 0, False)] * bars)
    assert len(passages) == MAX_BARS and [remark.code for remark in remarks] == told


def test_no_code_of_a_score_is_left_out():
    """What only a score can earn has an example in words; all others have a plan."""
    in_words = {rule.code for rule in RULES if rule.find is None and not rule.example.startswith("score:")}
    assert in_words - {*SCORES, "order-too-long"} == {"slide-no-time"}  # whose test is among those of the slides
