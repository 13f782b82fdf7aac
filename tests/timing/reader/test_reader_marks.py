"""Marks: tempo, dynamics, hairpins, words, repeats, jumps, fermatas, breaths, slides."""

from __future__ import annotations

import math

import pytest
from written import FOUR_FOUR, bar, musicxml, note

from timing.reader import _parse, guard, tabulate
from timing.reader.marks import jump_kind
from timing.score import Score

WHOLE = note("C4", 4)
BACK = "<backup><duration>48</duration></backup>"


def read(*parts: list[str]) -> Score:
    return tabulate(_parse(guard.Raw(None, "xml", musicxml(*parts).encode())))


def one(content: str, attributes: str = "") -> Score:
    return read([bar(content, 1, FOUR_FOUR + attributes)])


def say(*types: str, more: str = "", offset: int = 0) -> str:
    moved = f"<offset>{offset}</offset>" if offset else ""
    inner = "".join(f"<direction-type>{t}</direction-type>" for t in types)
    return f"<direction>{inner}{moved}{more}</direction>"


def words(text: str, more: str = "") -> str:
    return say(f"<words>{text}</words>", more=more)


def metronome(unit: str, number: object, dot: bool = False) -> str:
    dots = "<beat-unit-dot/>" * dot
    return f"<metronome><beat-unit>{unit}</beat-unit>{dots}<per-minute>{number}</per-minute></metronome>"


def rows(score: Score, kind: str, *columns: str) -> list[tuple]:
    return [tuple(row) for row in score.marks_of(kind)[list(columns)].tolist()]


def test_dynamics_without_a_sign_are_words():
    def other(text: str) -> str:
        return f"<other-dynamics>{text}</other-dynamics>"

    both = say(f"<dynamics><p/>{other('dolce')}</dynamics>")
    score = one(say(f"<dynamics>{other('cresc.')}</dynamics>") + both + WHOLE)
    assert rows(score, "dynamic", "text") == [("p",)]
    assert sorted(rows(score, "words", "text")) == [("cresc.",), ("dolce",)]
    assert len(one(say(f"<dynamics>{other(' ')}</dynamics>") + WHOLE).marks_of("words", "dynamic")) == 0


# -- tempo


def test_a_dotted_quarter_of_60_is_90_quarters():
    assert rows(one(say(metronome("quarter", 60, dot=True)) + WHOLE), "tempo", "value") == [(90.0,)]


def test_a_tempo_is_read_once():
    mark = say("<words>Allegro</words>", metronome("quarter", 120), more='<sound tempo="120"/>')
    score = read([bar(mark + WHOLE, 1, FOUR_FOUR)], [bar(mark + WHOLE, 1, FOUR_FOUR)])
    assert rows(score, "tempo", "bar", "offset", "value", "text") == [(0, 0.0, 120.0, "Allegro")]


def test_what_is_printed_goes_before_what_sounds():
    score = one('<sound tempo="100"/>' + say(metronome("half", 60)) + WHOLE)
    assert rows(score, "tempo", "value") == [(120.0,)]


def test_a_tempo_that_only_sounds_and_one_that_is_only_said():
    assert rows(one('<sound tempo="72.5"/>' + WHOLE), "tempo", "value") == [(72.5,)]
    ((value, text),) = rows(one(words("poco rit.") + WHOLE), "tempo", "value", "text")
    assert math.isnan(value)
    assert text == "poco rit."


def test_circa_is_a_number_too():
    assert rows(one(say(metronome("quarter", "c. 108")) + WHOLE), "tempo", "value") == [(108.0,)]
    sounding = say(metronome("quarter", "c. 108"), more='<sound tempo="104"/>')
    assert rows(one(sounding + WHOLE), "tempo", "value", "hidden") == [(108.0, False)]  # what is printed stands


def test_a_tempo_that_is_not_printed_is_hidden():
    for sound in ('<sound tempo="72"/>', say("<words>Largo</words>", more='<sound tempo="72"/>')):
        assert rows(one(sound + WHOLE), "tempo", "value", "hidden") == [(72.0, True)]
    assert rows(one(words("Largo") + WHOLE), "tempo", "hidden") == [(False,)]
    unseen = metronome("quarter", 48, dot=True).replace("<metronome>", '<metronome print-object="no">')
    for sound in ("", '<sound tempo="72"/>'):
        assert rows(one(say(unseen, more=sound) + WHOLE), "tempo", "value", "hidden") == [(72.0, True)]
    both = say(unseen) + say(metronome("quarter", 100))
    assert rows(one(both + WHOLE), "tempo", "value", "hidden") == [(100.0, False)]


def test_other_words_are_words():
    score = one(words("dolce") + WHOLE)
    assert rows(score, "words", "text", "part", "staff") == [("dolce", 0, 1)]
    assert len(score.marks_of("tempo")) == 0


def test_dashes_stretch_their_words():
    dashed = say("<words>cresc.</words>", '<dashes type="start"/>') + note("C4", 3) + say('<dashes type="stop"/>')
    score = one(dashed + note("C4", 1))
    assert rows(score, "words", "text", "offset", "end_offset") == [("cresc.", 0.0, 3.0)]


# -- dynamics and hairpins


def test_dynamics_of_each_part_stand():
    mark = say("<dynamics><mf/></dynamics>")
    score = read([bar(mark + WHOLE, 1, FOUR_FOUR)], [bar(mark + WHOLE, 1, FOUR_FOUR)])
    assert rows(score, "dynamic", "part", "text") == [(0, "mf"), (1, "mf")]


def test_a_mark_between_two_staves_is_one():
    lower = BACK + note("C3", 4, "<staff>2</staff>", voice=2)
    score = one(say("<dynamics><p/></dynamics>") + note("C4", 4, "<staff>1</staff>") + lower, "<staves>2</staves>")
    assert rows(score, "dynamic", "text", "staff") == [("p", 0)]


def test_hairpins_keep_their_moments():
    # a crescendo from the middle of a whole note to a quarter of the next bar
    first = say('<wedge type="crescendo"/>', offset=24) + WHOLE
    second = note("D4", 1) + say('<wedge type="stop"/>') + note("E4", 3)
    score = read([bar(first, 1, FOUR_FOUR), bar(second, 2)])
    assert rows(score, "hairpin", "bar", "offset", "end_bar", "end_offset", "value") == [(0, 2.0, 1, 1.0, 1.0)]


@pytest.mark.parametrize("end", ["start", "stop"])
def test_a_hairpin_to_or_from_nothing(end):
    start, stop = (' niente="yes"' * (end == each) for each in ("start", "stop"))
    score = one(say(f'<wedge type="diminuendo"{start}/>') + WHOLE + say(f'<wedge type="stop"{stop}/>'))
    assert rows(score, "hairpin", "text", "end_offset") == [("niente", 4.0)]


def test_two_hairpins_at_once_and_one_without_end():
    start = '<wedge type="{}" number="{}"/>'
    opened = say(start.format("crescendo", 1)) + say(start.format("diminuendo", 2)) + say(start.format("crescendo", 3))
    score = one(opened + WHOLE + say('<wedge type="stop" number="2"/>') + say('<wedge type="stop" number="1"/>'))
    assert sorted(rows(score, "hairpin", "value", "end_offset")) == [(-1.0, 4.0), (1.0, 0.0), (1.0, 4.0)]


def test_pedal():
    score = one(say('<pedal type="start"/>') + note("C4", 3) + say('<pedal type="stop"/>') + note("C4", 1))
    assert rows(score, "pedal", "offset", "end_offset") == [(0.0, 3.0)]


# -- on notes


def test_fermatas_on_notes_rests_and_bar_lines():
    sign = "<notations><fermata/></notations>"
    line = '<barline location="right"><bar-style>regular</bar-style><fermata/></barline>'
    score = one(note("C4", 1) + note("D4", 1, sign) + note("rest", 2, sign) + line)
    assert rows(score, "fermata", "offset", "note") == [(1.0, 1), (2.0, -1), (4.0, -1)]


def test_breaths_and_caesuras_stand_after_their_note():
    def sign(name: str) -> str:
        return f"<notations><articulations><{name}/></articulations></notations>"

    score = one(note("C4", 1, sign("breath-mark")) + note("D4", 1) + note("E4", 2, sign("caesura")))
    assert rows(score, "breath", "offset", "note") == [(1.0, 0)]
    assert rows(score, "caesura", "offset", "note") == [(4.0, 2)]


def test_slides_join_single_members_of_chords():
    def slide(kind: str, number: int) -> str:
        return f'<notations><slide type="{kind}" number="{number}">gliss.</slide></notations>'

    first = note("C4", 2, slide("start", 1)) + note("E4", 2, slide("start", 2), first="<chord/>")
    second = note("G4", 2, slide("stop", 2)) + note("D4", 2, slide("stop", 1), first="<chord/>")
    score = one(first + second)
    lines = score.marks_of("glissando")
    pairs = {(int(score.notes["pitch"][m["note"]]), int(score.notes["pitch"][m["goal"]])) for m in lines}
    assert pairs == {(60, 62), (64, 67)}
    assert set(lines["text"]) == {"gliss."}


def test_slurs_join_their_notes():
    def slur(kind: str) -> str:
        return f'<notations><slur type="{kind}"/></notations>'

    score = one(note("C4", 1, slur("start")) + note("D4", 1) + note("E4", 2, slur("stop")))
    assert rows(score, "slur", "offset", "end_offset", "note", "goal") == [(0.0, 2.0, 0, 2)]


# -- repeats and jumps


def line(location: str, content: str) -> str:
    return f'<barline location="{location}">{content}</barline>'


def test_repeats_endings_and_double_bars_that_one_part_has():
    marked = [
        bar(line("left", '<repeat direction="forward"/>') + WHOLE, 1, FOUR_FOUR),
        bar(line("left", '<ending number="1, 2" type="start"/>') + WHOLE, 2),
        bar(WHOLE + line("right", '<ending number="1, 2" type="stop"/><repeat direction="backward" times="3"/>'), 3),
        bar(line("left", '<ending number="3" type="start"/>') + WHOLE
            + line("right", '<bar-style>light-light</bar-style><ending number="3" type="discontinue"/>'), 4),
        bar(WHOLE + line("right", "<bar-style>light-heavy</bar-style>"), 5),
    ]  # fmt: skip
    plain = [bar(WHOLE, number, FOUR_FOUR if number == 1 else "") for number in range(1, 6)]
    for parts in ([plain, marked], [marked, marked]):
        score = read(*parts)
        assert rows(score, "repeat start", "bar", "offset") == [(0, 0.0)]
        assert rows(score, "repeat end", "bar", "offset", "value") == [(2, 4.0, 3.0)]
        assert rows(score, "ending", "bar", "end_bar", "text") == [(1, 2, "1,2"), (3, 3, "3")]
        assert rows(score, "double bar", "bar") == [(3,)]


def test_endings_that_are_not_closed_or_never_began():
    stop = line("right", '<ending number="2" type="stop"/>')
    score = read([
        bar(line("left", '<ending number="1" type="start"/>') + WHOLE, 1, FOUR_FOUR),
        bar(WHOLE, 2),
        bar(line("left", '<ending number="2" type="start"/>') + WHOLE + stop, 3),
        bar(WHOLE + stop, 4),
    ])  # fmt: skip
    assert rows(score, "ending", "bar", "end_bar", "text") == [(0, 1, "1"), (2, 2, "2")]
    assert [r.code for r in score.remarks] == ["ending", "ending"]


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("D.C.", "da capo"), ("D. C. al Fine", "da capo"), ("Da Capo", "da capo"), ("dc al coda", "da capo"),
        ("D.S.", "dal segno"), ("D.S. al Coda", "dal segno"), ("Dal Segno al Fine", "dal segno"),
        ("Fine", "fine"), ("FINE", "fine"), ("To Coda", "to coda"), ("to ⊕", "to coda"), ("al Coda", "to coda"),
        ("Coda", "coda"), ("Segno", "segno"),
        ("dolce", None), ("finely", None), ("con discrezione", None), ("Codas are long", None), ("al fine", None),
    ],
)  # fmt: skip
def test_jumps_by_their_words(text, kind):
    assert jump_kind(text) == kind


@pytest.mark.parametrize("text", ["D.C. al Fine", "Da Capo", "D.S. al Coda", "Fine", "To Coda", "Coda"])
def test_jump_words_in_every_part_are_one_mark(text):
    part = [bar(WHOLE + words(text), 1, FOUR_FOUR), bar(WHOLE, 2)]
    score = read(part, part)
    kind = jump_kind(text)
    assert rows(score, kind, "bar", "text") == [(0, text)]
    assert kind == "coda" or len(score.marks_of("coda")) == 0


@pytest.mark.parametrize(
    ("attribute", "kind"),
    [
        ('dacapo="yes"', "da capo"), ('dalsegno="a"', "dal segno"), ('segno="a"', "segno"), ('coda="a"', "coda"),
        ('tocoda="a"', "to coda"), ('fine="yes"', "fine"), ('forward-repeat="yes"', "repeat start"),
    ],
)  # fmt: skip
def test_jumps_by_their_sound(attribute, kind):
    score = one(words("as you like", f"<sound {attribute}/>") + WHOLE)
    assert rows(score, kind, "bar", "text") == [(0, "as you like")]
    assert rows(one(f"<sound {attribute}/>" + WHOLE), kind, "bar") == [(0,)]


def test_words_and_sound_of_one_jump_are_one_mark():
    score = one(WHOLE + words("D.S. al Coda", '<sound dalsegno="segno"/>'))
    assert rows(score, "dal segno", "bar", "text") == [(0, "D.S. al Coda")]


def test_the_coda_sign_stands_for_two_things():
    sign = say("<coda/>")
    score = read([
        bar(say("<segno/>") + WHOLE, 1, FOUR_FOUR), bar(WHOLE + sign, 2),
        bar(WHOLE + words("D.S. al Coda"), 3), bar(sign + WHOLE, 4),
    ])  # fmt: skip
    assert rows(score, "to coda", "bar") == [(1,)]
    assert rows(score, "coda", "bar") == [(3,)]
    assert rows(score, "segno", "bar") == [(0,)]
    said = read(
        [
            bar(WHOLE + say("<words>To</words>", "<coda/>", more='<sound tocoda="c"/>'), 1, FOUR_FOUR),
            bar(sign + WHOLE, 2),
        ]
    )
    assert rows(said, "to coda", "bar") == [(0,)]
    assert rows(said, "coda", "bar") == [(1,)]


def test_marks_are_sorted_by_place():
    score = read([bar(note("C4", 2) + words("dolce") + note("C4", 2), 1, FOUR_FOUR), bar(say("<segno/>") + WHOLE, 2)])
    places = [(m["bar"], m["offset"]) for m in score.marks]
    assert places == sorted(places)


def test_key_signatures_are_those_of_the_sound():
    key = "<key><fifths>{}</fifths></key>"
    bars = [bar(WHOLE, 1, FOUR_FOUR + key.format(-3)), bar(WHOLE, 2, key.format(1))]
    found = read(bars, bars).marks_of("key")
    assert found[["bar", "offset", "value", "part"]].tolist() == [(0, 0.0, -3.0, 0), (1, 0.0, 1.0, 0)]


def test_the_signature_of_a_transposing_instrument_is_moved_with_its_notes():
    clarinet = "<transpose><diatonic>-1</diatonic><chromatic>-2</chromatic></transpose>"
    score = read([bar(WHOLE, 1, FOUR_FOUR.replace("<time>", "<key><fifths>2</fifths></key><time>") + clarinet)])
    assert score.marks_of("key")["value"].tolist() == [0]  # written in D, sounding in C
    assert score.notes["pitch"].tolist() == [58]


def test_no_signature_no_mark():
    assert not len(one(WHOLE).marks_of("key"))
