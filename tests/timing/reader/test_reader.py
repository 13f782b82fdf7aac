"""Reading files into tables: notes, voices, ties, graces, signs."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from laws import FEW
from support import rows
from written import FOUR_FOUR, back, bar, musicxml, note

from timing.reader import read_score, read_stream, tabulate
from timing.reader.walk import walk_heads
from timing.score import Sign

TIE = {"start": '<tie type="start"/>', "stop": '<tie type="stop"/>'}
CHORD, GRACE, STROKE = "<chord/>", "<grace/>", '<grace slash="yes"/>'


def staff(number: int) -> str:
    return f"<staff>{number}</staff>"


def notations(content: str) -> str:
    return f"<notations>{content}</notations>"


def technical(content: str) -> str:
    return notations(f"<technical>{content}</technical>")


# -- parts, staves and voices


def test_several_parts_and_their_names(read):
    whole = [bar(note("C4", 4), 1, FOUR_FOUR)]
    score = read(musicxml(whole, whole, whole, names=("Violin", "Violin", "")))
    assert score.parts["name"].tolist() == ["Violin", "Violin 2", "Part 3"]
    assert score.notes["part"].tolist() == [0, 1, 2]


def test_a_part_that_the_list_does_not_name_is_left_out(read):
    whole = [bar(note("C4", 4), 1, FOUR_FOUR)], [bar(note("E4", 4), 1, FOUR_FOUR)]
    score = read(musicxml(*whole).replace('<part id="P1"', '<part id="P9"'))
    assert score.notes["pitch"].tolist() == [64]
    assert [r.code for r in score.remarks] == ["part-left-out"]


def test_voices_keep_their_numbers(one):
    score = one(note("C5", 4, voice=1) + back(4) + note("E4", 4, voice=2) + back(4) + note("C3", 4, voice=7))
    assert rows(score.notes, "voice", "pitch") == [(1, 72), (2, 64), (7, 48)]


def test_a_bar_with_one_voice_keeps_its_number(read):
    score = read(musicxml([bar(note("C4", 4, voice=3), 1, FOUR_FOUR)]))
    assert score.notes["voice"].tolist() == [3]


def test_voices_numbered_anew_on_each_staff_become_unique(one):
    upper = note("C5", 4, staff(1), voice=1) + back(4) + note("G4", 4, staff(1), voice=2)
    lower = back(4) + note("C3", 4, staff(2), voice=1)
    score = one(upper + lower, "<staves>2</staves>")
    assert rows(score.notes, "staff", "voice", "pitch") == [(1, 1, 72), (1, 2, 67), (2, 3, 48)]


def test_a_voice_that_crosses_the_staves_keeps_its_number(one):
    score = one(note("C3", 2, staff(2), voice=1) + note("C5", 2, staff(1), voice=1), "<staves>2</staves>")
    assert rows(score.notes, "staff", "voice") == [(2, 1), (1, 1)]
    assert len(score.parts) == 1


def test_notes_without_voice_or_staff(one):
    score = one(note("C5", 4, voice=None) + back(4) + note("C3", 4, staff(2), voice=2), "<staves>2</staves>")
    assert rows(score.notes, "staff", "voice", "pitch") == [(1, 1, 72), (2, 2, 48)]


def test_voices_that_are_no_numbers(one):
    score = one(note("C5", 4, voice="up") + back(4) + note("E4", 4, voice="down"))
    assert sorted(score.notes["voice"].tolist()) == [1, 2]


def test_chord_members_are_rows(one):
    score = one(note("C4", 4) + note("E4", 4, first=CHORD) + note("G4", 4, first=CHORD))
    assert rows(score.notes, "offset", "length", "pitch") == [(0, 4, 60), (0, 4, 64), (0, 4, 67)]


def test_a_chord_without_a_first_note_is_read(one):
    words = "<direction><direction-type><words>dolce</words></direction-type></direction>"
    score = one(note("C4", 4, first=CHORD) + words + note("E4", 4, first=CHORD))
    assert rows(score.notes, "offset", "length", "pitch") == [(0, 4, 60), (0, 4, 64)]


def test_a_doubled_note_in_a_chord_is_two_notes(one):
    score = one(note("C4", 4, TIE["stop"]) + note("C4", 4, first=CHORD))
    assert score.notes["pitch"].tolist() == [60, 60]


def test_chord_symbols_do_not_sound(one):
    harmony = "<harmony><root><root-step>C</root-step></root><kind>major</kind></harmony>"
    assert one(harmony + note("C4", 4)).notes["pitch"].tolist() == [60]


def test_the_order_of_the_tables(read):
    score = read(musicxml([bar(note("G4", 2) + note("C4", 2) + back(4) + note("A3", 4, voice=2), 1, FOUR_FOUR)]))
    assert rows(score.notes, "offset", "voice", "pitch") == [(0, 1, 67), (0, 2, 57), (2, 1, 60)]
    assert score.heads["note"].tolist() == [0, 2, 1]  # as in the file
    assert score.notes["head"].tolist() == [0, 2, 1]


# -- pitch


@pytest.mark.parametrize(("transpose", "sounding"), [((-2, 0), 58), ((0, -1), 48), ((3, 1), 75)])
def test_transposing_instruments_sound_where_they_sound(one, transpose, sounding):
    chromatic, octaves = transpose
    element = f"<transpose><chromatic>{chromatic}</chromatic><octave-change>{octaves}</octave-change></transpose>"
    assert one(note("C4", 4), element).notes["pitch"].tolist() == [sounding]


def test_octave_clefs_and_octave_lines_change_nothing(one):
    # MusicXML writes the pitch that sounds
    clef = "<clef><sign>G</sign><line>2</line><clef-octave-change>-1</clef-octave-change></clef>"
    up = '<direction><direction-type><octave-shift type="down" size="8"/></direction-type></direction>'
    assert one(up + note("C6", 4), clef).notes["pitch"].tolist() == [84]


def test_pitches_out_of_range_are_moved_by_octaves(one):
    score = one(note("C4", 4).replace("<octave>4", "<octave>12"))
    assert score.notes["pitch"].tolist() == [120]
    assert [r.code for r in score.remarks] == ["pitch-range"]


def test_microtones_are_rounded_and_said(one):
    score = one(note("C4", 4).replace("</step>", "</step><alter>0.5</alter>"))
    assert score.notes["pitch"].tolist() in ([60], [61])
    assert [r.code for r in score.remarks] == ["microtones"]


def test_unpitched_percussion(read):
    hit = "<note><unpitched/><duration>24</duration>{}<voice>1</voice></note>"
    text = musicxml([bar(hit.format('<instrument id="I2"/>') + hit.format(""), 1, FOUR_FOUR)])
    named = '<score-instrument id="I{}"><instrument-name>Drum</instrument-name></score-instrument>'
    sound = (
        '<midi-instrument id="I{}"><midi-channel>10</midi-channel><midi-unpitched>{}</midi-unpitched></midi-instrument>'
    )
    kit = named.format(1) + named.format(2) + sound.format(1, 36) + sound.format(2, 39)
    score = read(text.replace("</part-name>", "</part-name>" + kit))
    assert score.notes["pitch"].tolist() == [38, 35]  # <midi-unpitched> counts from 1
    assert score.parts["percussion"].tolist() == [True]
    assert read(text).notes["pitch"].tolist() == [60, 60]


def test_programs(read):
    text = musicxml([bar(note("C4", 4), 1, FOUR_FOUR)])
    sound = '<score-instrument id="I"><instrument-name>Guitar</instrument-name></score-instrument>'
    sound += '<midi-instrument id="I"><midi-channel>1</midi-channel><midi-program>25</midi-program></midi-instrument>'
    assert read(text.replace("</part-name>", "</part-name>" + sound)).parts["program"].tolist() == [24]
    assert read(text).parts["program"].tolist() == [-1]


# -- ties


def test_ties_inside_chords_and_across_bars(read):
    first = note("C4", 4, TIE["start"]) + note("E4", 4, first=CHORD)
    second = note("C4", 2, TIE["stop"]) + note("E4", 2, first=CHORD) + note("C4", 2)
    score = read(musicxml([bar(first, 1, FOUR_FOUR), bar(second, 2)]))
    assert rows(score.notes, "bar", "offset", "length", "pitch") == [
        (0, 0, 6, 60), (0, 0, 4, 64), (1, 0, 2, 64), (1, 2, 2, 60),
    ]  # fmt: skip
    assert rows(score.heads, "note", "bar", "length") == [(0, 0, 4), (1, 0, 4), (0, 1, 2), (2, 1, 2), (3, 1, 2)]


def test_a_tie_goes_on_in_its_own_voice(read):
    start = note("C4", 4, TIE["start"], voice=1) + back(4) + note("C4", 4, TIE["start"], voice=2)
    stop = note("C4", 1, TIE["stop"], voice=2) + back(1) + note("C4", 3, TIE["stop"], voice=1)
    score = read(musicxml([bar(start, 1, FOUR_FOUR), bar(stop, 2)]))
    assert rows(score.notes, "voice", "length") == [(1, 7.0), (2, 5.0)]


def test_a_tie_may_change_the_voice(read):
    first, second = note("C4", 4, TIE["start"]), note("C4", 4, TIE["stop"], voice=2)
    score = read(musicxml([bar(first, 1, FOUR_FOUR), bar(second, 2)]))
    assert rows(score.notes, "voice", "length") == [(1, 8.0)]


def test_a_tie_over_other_music_or_another_pitch_is_none(read):
    score = read(
        musicxml([bar(note("C4", 1, TIE["start"]) + note("D4", 2) + note("C4", 1, TIE["stop"]), 1, FOUR_FOUR)])
    )
    assert rows(score.notes, "offset", "length") == [(0, 1), (1, 2), (3, 1)]


def test_a_note_struck_again_is_not_tied(read):
    score = read(musicxml([bar(note("C4", 2, TIE["start"]) + note("C4", 2), 1, FOUR_FOUR)]))
    assert rows(score.notes, "offset", "length") == [(0, 2), (2, 2)]


@FEW
@given(st.lists(st.tuples(st.integers(1, 96), st.booleans()), min_size=1, max_size=12), st.sampled_from([7, 12, 480]))
def test_offsets_and_tied_lengths_are_the_nearest_floats(lengths, divisions):
    from timing.reader import _parse, guard

    tied = [(stays, before) for (_, stays), (_, before) in zip(lengths, [(0, False), *lengths[:-1]], strict=True)]
    content = "".join(
        f"<note><pitch><step>C</step><octave>4</octave></pitch><duration>{length}</duration>"
        f"{TIE['stop'] * stop}{TIE['start'] * start}<voice>1</voice></note>"
        for (length, _), (start, stop) in zip(lengths, tied, strict=True)
    )
    text = musicxml([bar(content, 1, f"<divisions>{divisions}</divisions>")])
    score = tabulate(_parse(guard.Raw(None, "xml", text.encode())))
    at, expected = 0, []
    for (length, _), (_, stop) in zip(lengths, tied, strict=True):
        if stop:
            expected[-1][1] += length
        else:
            expected.append([at, length])
        at += length
    nearest = [tuple(float(Fraction(n, divisions)) for n in pair) for pair in expected]
    assert rows(score.notes, "offset", "length") == nearest


# -- grace notes


def test_grace_notes_count_back_from_their_note(one):
    graces = note("D5", first=GRACE) + note("E5", first=GRACE) + note("G5", first=CHORD + GRACE.replace("/", " /"))
    score = one(graces + note("F5", 4))
    found = score.notes[score.notes["grace"] > 0]
    assert sorted(rows(found, "grace", "pitch", "length")) == [(1, 76, 0), (1, 79, 0), (2, 74, 0)]
    assert not found["slashed"].any()
    assert not found["after"].any()


def test_a_stroke_through_a_grace_note(one):
    score = one(note("D5", first=STROKE) + note("C5", 4))
    assert rows(score.notes, "grace", "slashed") == [(0, False), (1, True)]


def test_graces_of_two_voices_are_counted_apart(one):
    upper = note("D5", first=GRACE, voice=1) + note("E5", first=GRACE, voice=1) + note("C5", 4, voice=1)
    lower = back(4) + note("B3", first=GRACE, voice=2) + note("C4", 4, voice=2)
    graces = (score := one(upper + lower)).notes[score.notes["grace"] > 0]
    assert sorted(rows(graces, "voice", "grace", "pitch")) == [(1, 1, 76), (1, 2, 74), (2, 1, 59)]


def test_graces_with_no_note_after_them_end_the_one_before(one):
    score = one(note("C5", 4) + note("D5", first=GRACE) + note("E5", first=GRACE))
    assert rows(score.notes, "offset", "grace", "after") == [(0, 0, False), (4, 2, True), (4, 1, True)]


# -- signs


def test_string_fret_and_finger_of_each_chord_member(one):
    def fretted(string: int, fret: int, finger: int) -> str:
        return technical(f"<string>{string}</string><fret>{fret}</fret><fingering>{finger}</fingering>")

    chord = note("C4", 4, fretted(5, 3, 2)) + note("E4", 4, fretted(4, 2, 1), first=CHORD)
    score = one(chord + note("G4", 4, first=CHORD))
    assert rows(score.notes, "string", "fret", "finger") == [(5, 3, 2), (4, 2, 1), (0, -1, -1)]


def test_an_arpeggio_written_on_one_member_rolls_the_chord(one):
    down = notations('<arpeggiate direction="down"/>')
    assert one(note("C4", 4, down) + note("E4", 4, first=CHORD)).notes["roll"].tolist() == [-1, -1]


def test_hammer_on_let_ring_harmonic_pizzicato(one):
    hammered = note("C4", 1, technical('<hammer-on number="1" type="start"/>'))
    hammered += note("D4", 1, technical('<hammer-on number="1" type="stop"/>'))
    ringing = note("E4", 1, notations('<tied type="let-ring"/>'))
    harmonic = note("F4", 1, technical("<harmonic><natural/></harmonic>"))
    signs = [Sign(int(s)) for s in one(hammered + ringing + harmonic).notes["signs"]]
    assert signs == [Sign(0), Sign.LEFT_HAND, Sign.LET_RING, Sign.HARMONIC]


def slur(kind: str, number: int = 1) -> str:
    return notations(f'<slur type="{kind}" number="{number}"/>')


def test_a_slur_binds_the_notes_of_its_voice(one):
    upper = note("C5", 1, slur("start")) + note("D5", 1) + note("E5", 1, slur("stop")) + note("F5", 1)
    score = one(upper + back(4) + note("C4", 1, voice=2) * 4)
    of_voice = score.notes["voice"]
    assert [Sign(int(s)) for s in score.notes["signs"][of_voice == 1]] == [
        Sign.SLURRED, Sign.SLURRED, Sign.SLUR_END, Sign(0),
    ]  # fmt: skip
    assert not score.notes["signs"][of_voice == 2].any()


def test_a_slur_over_two_chords_binds_all_their_notes(one):
    chords = note("C4", 2, slur("start")) + note("E4", 2, first=CHORD)
    chords += note("D4", 2, slur("stop")) + note("F4", 2, first=CHORD)
    assert one(chords).notes["signs"].tolist() == [Sign.SLURRED, Sign.SLURRED, Sign.SLUR_END, Sign.SLUR_END]


def test_a_slur_without_end_is_left_out(one):
    assert not one(note("C4", 2, slur("start")) + note("D4", 2)).notes["signs"].any()


# -- the walk and the silence


def test_the_walk_meets_the_same_heads(tmp_path):
    path = tmp_path / "a.musicxml"
    chord = note("G4", 2) + note("C4", 2, first=CHORD)
    path.write_text(musicxml([bar(chord + note("D4", 2) + back(4) + note("A3", 4, voice=2), 1, FOUR_FOUR)]))
    heads = read_score(path, cache=False).heads
    parsed = read_stream(path)
    walked = walk_heads(parsed)
    assert [(h.bar, float(h.offset), float(h.length)) for h in walked] == rows(heads, "bar", "offset", "length")
    assert [h.note.pitch.nameWithOctave for h in walked] == ["G4", "C4", "D4", "A3"]
    assert [h.facts.element.findtext("pitch/step") for h in walked] == ["G", "C", "D", "A"]
    assert not any("relative-x" in n.attrib for n in parsed.tree.iter("note"))


def test_nothing_reaches_the_terminal(read, capfd, recwarn):
    lost = '<direction><direction-type><octave-shift type="stop"/></direction-type></direction>'
    score = read(musicxml([bar(lost + note("C4", 4), 1, FOUR_FOUR)]))
    assert [r.code for r in score.remarks] == ["passed-over"]
    assert capfd.readouterr() == ("", "")
    assert len(recwarn) == 0


def test_a_broken_chord_symbol_is_of_no_account(read):
    # a degree like this one keeps music21 busy for ever
    degree = (
        "<degree><degree-value>-1</degree-value><degree-alter>0</degree-alter><degree-type>add</degree-type></degree>"
    )
    symbol = f"<harmony><root><root-step>C</root-step></root><kind>major</kind>{degree}</harmony>"
    assert read(musicxml([bar(symbol + note("C4", 4), 1, FOUR_FOUR)])).notes["pitch"].tolist() == [60]


def test_the_title(read):
    text = musicxml([bar(note("C4", 4), 1, FOUR_FOUR)])
    titled = text.replace("<part-list>", "<movement-title>The Tide\n Mill</movement-title><part-list>")
    assert read(titled).title == "The Tide Mill"
    assert read(text).title == ""


def test_codes_of_a_wrong_encoding_are_no_letters(tmp_path):
    """A plan could not hold them, and a draft takes its title from here."""
    path = tmp_path / "a.abc"
    path.write_text("X:1\nT: getr\x9eu\x07met\nM:4/4\nL:1/4\nK:C\nCDEF|GABc|cBAG|FEDC|]\n", encoding="utf-8")
    assert read_score(path, cache=False).title == "getrumet"
