"""Notes in cue size: those of the voice are played, cues of other parts are not, and the plan decides."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from written import FOUR_FOUR, back, bar, musicxml, note

from render.drawing.engraver import engrave
from timing.cautions.fixing import everything, fix
from timing.plan import Plan
from timing.reader import read_score
from timing.reader.cues import judge
from timing.reader.musicxml import NoteFacts
from timing.reading import Reading, perform
from timing.remarks import Severity
from timing.score import Sign

CUE = "<cue/>"


def hidden(text: str) -> str:
    return text.replace("<note>", '<note print-object="no">')


@pytest.fixture
def heard(tmp_path):
    """Pitches of the performance of one bar (and a second one), and its remarks on cues, under some marks."""

    def play(content: str, marks: dict | None = None, second: str = note("C5", 4)) -> tuple[list[int], list]:
        path = tmp_path / "a.musicxml"
        path.write_text(musicxml([bar(content, 1, FOUR_FOUR), bar(second, 2)]))
        reading: Reading = perform(read_score(path, cache=False), Plan.model_validate({"marks": marks or {}}))
        cues = [remark for remark in reading.remarks if remark.code == "cues"]
        return reading.performance.notes["pitch"].tolist(), cues

    return play


SMALL_SOLO = note("C4", 1) + note("D4", 1, first=CUE) + note("E4", 1, first=CUE) + note("F4", 1)
RESTING = note("E4", 4, first=CUE) + back(4) + note("rest", 4, voice=2)
OSSIA = note("C4", 2) + note("D4", 2) + back(4) + note("E4", 2, first=CUE) + note("F4", 2, first=CUE)
OWN_VOICE = note("C4", 4) + back(4) + note("E4", 2, first=CUE, voice=2) + note("F4", 2, first=CUE, voice=2)


def test_small_notes_of_the_voice_are_played_and_told(heard):
    pitches, (told,) = heard(SMALL_SOLO)
    assert pitches == [60, 62, 64, 65, 72]
    assert told.severity is Severity.ADVICE
    assert told.message == "2 notes in cue size are played as part of their voices"
    assert (told.bar, told.beat) == (1, 2)
    assert told.suggestion == "marks: {cues: silent}"


def test_small_notes_in_a_voice_of_their_own_are_played(heard):
    assert heard(OWN_VOICE)[0] == [60, 64, 65, 72]


def test_what_another_part_plays_while_this_one_rests_is_silent(heard):
    pitches, (told,) = heard(RESTING)
    assert pitches == [72]
    assert told.message == "1 cue of what another part plays is silent"
    assert told.suggestion == "marks: {cues: play}"


def test_another_note_in_their_place_in_the_voice_silences_them(heard):
    pitches, (told,) = heard(OSSIA)
    assert pitches == [60, 62, 72]
    assert told.message == "2 cues of what other parts play are silent"


def test_a_small_member_of_a_chord_is_played(heard):
    chord = note("C4", 4) + note("E4", 4, first=CUE + "<chord/>")
    assert heard(chord)[0] == [60, 64, 72]


def test_small_grace_notes_are_played(heard):
    assert heard(note("D4", 1, first="<grace/>" + CUE) + note("C4", 4))[0] == [62, 60, 72]


def test_hidden_cues_are_for_programs_and_not_even_told(heard):
    assert heard(note("C4", 4) + back(4) + hidden(note("E4", 4, first=CUE, voice=2))) == ([60, 72], [])


@pytest.mark.parametrize(
    ("content", "ordinary"),
    [(SMALL_SOLO, [60, 65, 72]), (RESTING, [72]), (OSSIA, [60, 62, 72]), (OWN_VOICE, [60, 72])],
)
def test_the_plan_decides(heard, content, ordinary):
    assert heard(content, {"cues": "silent"}) == (ordinary, [])
    played, told = heard(content, {"cues": "play"})
    assert len(played) > len(ordinary)
    assert told == []


def test_cues_are_tied_by_their_curves(heard):
    first = note("E4", 4, '<notations><tied type="start"/></notations>', first=CUE)
    second = note("E4", 4, '<notations><tied type="stop"/></notations>', first=CUE)
    assert heard(first, second=second)[0] == [64]


def test_noteheads_stay_in_their_places_when_cues_are_silent(tmp_path):
    path = tmp_path / "a.musicxml"
    path.write_text(musicxml([bar(OSSIA, 1, FOUR_FOUR), bar(note("C5", 4), 2)]))
    score = read_score(path, cache=False)
    assert len(score.heads) == len(score.notes) == 5
    reading = perform(score, Plan())
    assert len(reading.score.notes) == 3
    assert len(reading.score.heads) == 5
    named = reading.score.heads["note"]
    assert sorted(named[named >= 0].tolist()) == [0, 1, 2]
    for row, head in enumerate(reading.score.notes["head"].tolist()):
        assert named[head] == row
    assert not (reading.score.notes["signs"] & Sign.SILENT_CUE).any()


def test_a_slide_or_slur_from_a_silent_cue_goes_with_it(tmp_path):
    slide = "<notations><slide type=\"{}\" number=\"1\"/><slur type=\"{}\" number=\"1\"/></notations>"
    ends = (("E4", "start"), ("F4", "stop"))
    gone = "".join(note(pitch, 2, slide.format(end, end), first=CUE) for pitch, end in ends)
    path = tmp_path / "a.musicxml"
    path.write_text(musicxml([bar(gone + back(4) + note("rest", 4, voice=2), 1, FOUR_FOUR), bar(note("C5", 4), 2)]))
    score = read_score(path, cache=False)
    assert {"slur", "glissando"} <= set(score.marks["kind"].tolist())
    assert not {"slur", "glissando"} & set(perform(score, Plan()).score.marks["kind"].tolist())


@pytest.fixture
def cues_alone(tmp_path):
    """A score of which nothing is heard: another part's music, over rests."""
    path = tmp_path / "cues.musicxml"
    path.write_text(musicxml([bar(RESTING, 1, FOUR_FOUR), bar(RESTING, 2)]))
    return path


def test_a_score_of_silent_cues_alone_is_drawn(cues_alone):
    score = perform(read_score(cues_alone, cache=False), Plan()).score
    assert len(score.notes) == 0
    systems = engrave(score, 700).systems
    assert sum(len(system.heads) for system in systems) == 2
    assert sum(len(system.moments) for system in systems) == 0


def test_an_order_that_turns_within_bars_of_silent_cues(cues_alone):
    plan = Plan.model_validate({"order": ["1 - 1:2", "1-2"]})
    assert perform(read_score(cues_alone, cache=False), plan).order == "1 - 1:2, 1 - 1:2, 1:3 - 2"


def test_a_plan_over_cues_is_mended(tmp_path):
    """What is tried as a change is performed with all cues, as the plan was."""
    bars = [bar(RESTING, 1, FOUR_FOUR), bar(SMALL_SOLO, 2), *(bar(note("C4", 4), number) for number in range(3, 9))]
    (tmp_path / "a.musicxml").write_text(musicxml(bars))
    plan = tmp_path / "plan.yaml"
    text = "score: a.musicxml\ntempo: 60\nslowing:\n  - {ritenuto: 3-4, to: 70%}\n"
    mended = fix(plan, text, wanted=everything)
    assert "then: a tempo" in mended.text
    assert not [why for _, why in mended.refused if "cues" in why]


# -- the conditions, one pair of notes after another


def in_place_of(cue: NoteFacts, other: NoteFacts) -> bool:
    common = min(cue.start + cue.length, other.start + other.length) - max(cue.start, other.start)
    same = (other.voice_name, other.staff) == (cue.voice_name, cue.staff) and other.chord != cue.chord
    return same and bool(other.length) and common > min(cue.length, other.length) / 2


def rests_meanwhile(cue: NoteFacts, rest: NoteFacts) -> bool:
    covers = rest.start <= cue.start and cue.start + cue.length <= rest.start + rest.length
    return rest.staff == cue.staff and rest.voice_name != cue.voice_name and (rest.whole_bar or covers)


HALVES = st.integers(0, 8).map(lambda halves: Fraction(halves, 2))
NOTES = st.builds(
    NoteFacts, st.none(), st.just(1), st.integers(1, 2), st.just(0), st.sampled_from("12"), HALVES, HALVES,
    st.integers(0, 4), rest=st.booleans(), whole_bar=st.booleans(), hidden=st.booleans(), cue=st.booleans(),
)  # fmt: skip


@given(st.lists(NOTES, max_size=7))
def test_all_cues_of_a_bar_are_judged_as_one_by_one(notes):
    judge(notes)
    ordinary = [note for note in notes if not (note.rest or note.cue or note.hidden)]
    playing = {note.staff for note in ordinary} | {note.voice_name for note in ordinary}
    rests = [note for note in notes if note.rest and not note.hidden]
    for each in notes:
        alone = not playing & {each.staff, each.voice_name} and any(rests_meanwhile(each, rest) for rest in rests)
        assert each.silent == (
            each.cue and (each.hidden or any(in_place_of(each, other) for other in ordinary) or alone)
        )


class Counted(Fraction):
    """A length that counts how often it is compared."""

    compared = 0

    def __lt__(self, other):
        Counted.compared += 1
        return super().__lt__(other)

    def __gt__(self, other):
        Counted.compared += 1
        return super().__gt__(other)

    def __add__(self, other):
        return Counted(super().__add__(other))

    __radd__ = __add__

    def __truediv__(self, other):
        return Counted(super().__truediv__(other))


def test_cues_are_not_compared_with_every_note():
    def comparisons(count: int) -> int:
        def row(first: int, chord: int, cue: bool) -> list[NoteFacts]:
            starts = (Counted(first) + Fraction(place, count * 8) for place in range(count))
            return [
                NoteFacts(None, 1, 1, 0, "1", start, Counted(10), chord + place, cue=cue)
                for place, start in enumerate(starts)
            ]

        Counted.compared = 0
        judge(row(0, 0, True) + row(9, count, False))
        return Counted.compared

    assert comparisons(400) < 6 * comparisons(100)


def test_a_silent_cue_prolongs_no_note_that_is_tied_to_it(tmp_path):
    first = note("E4", 4, '<tie type="start"/>')
    cue = note("E4", 4, '<notations><tied type="stop"/></notations>', first=CUE) + back(4) + note("rest", 4, voice=2)
    path = tmp_path / "a.musicxml"
    path.write_text(musicxml([bar(first, 1, FOUR_FOUR), bar(cue, 2)]))
    reading = perform(read_score(path, cache=False), Plan())
    assert reading.performance.notes["score_length"].tolist() == [4]
    assert [remark.message for remark in reading.remarks] == ["1 cue of what another part plays is silent"]
