"""How a draft shapes time: what is printed stays, ends are those that are heard, and depth goes with certainty."""

from __future__ import annotations

import re

import numpy as np
import pytest
from drafts import BACK, FORTH, WHOLE, drafted, piece, quarters, words
from written import FOUR_FOUR, bar, musicxml, note

from timing.drafting.form import form_lines
from timing.drafting.shape import arch_of
from timing.drafting.slowing import HeardEnding, endings, equal_voices, slowing_items
from timing.finding.phrases import FoundPhrase
from timing.plan import Plan
from timing.reader import read_score
from timing.reading import perform

HELD = note("C4", 4)
TUNE = [quarters(), quarters(), quarters(), note("C4", 2) + note("rest", 2)]


def ending(number: int, content: str, back: bool) -> str:
    start = f'<barline location="left"><ending number="{number}" type="start"/></barline>'
    repeat = '<repeat direction="backward"/>' if back else ""
    return f'{start}{content}<barline location="right"><ending number="{number}" type="stop"/>{repeat}</barline>'


def slowdowns(text: str) -> list[str]:
    return re.findall(r"- (\{(?:rallentando|ritardando)[^#\n]*\})", text)


def read(folder, text: str):
    (folder / "piece.musicxml").write_text(text, encoding="utf-8")
    score = read_score(folder / "piece.musicxml", cache=False)
    return perform(score, Plan(score="piece.musicxml"))


def phrases_of(*bars: tuple[int, int], sure: float = 0.9) -> tuple[FoundPhrase, ...]:
    """Phrases from and to the ends of 4/4 bars, by their rows."""
    return tuple(FoundPhrase((a, 0.0), (b, 4.0), sure, b - a + 1.0) for a, b in bars)


# -- what is printed


def test_a_tempo_that_is_printed_later_is_not_lost(tmp_path):
    """An Allegro in the middle of a Largo's phrase earns a caution as an entry, and is played none the less."""
    made = drafted(tmp_path, piece(words("Largo") + WHOLE, WHOLE, words("Allegro") + WHOLE, *[WHOLE] * 9))
    assert "{at: 3:1, tempo: quarter = 132}" in made.text
    tempo = made.reading.performance.time.basic(np.array([0.0, 8.0, 47.0]))
    assert tempo == pytest.approx([46, 132, 132])
    assert not [remark for remark in made.remarks if remark.stands]


def test_the_end_is_slowed_in_the_tempo_in_which_it_ends(tmp_path):
    """Four bars of a Presto in one would reach back into the Largo before it."""
    mark = "<metronome><beat-unit>quarter</beat-unit><per-minute>{}</per-minute></metronome>"
    slow, fast = (
        f"<direction><direction-type>{mark.format(tempo)}</direction-type></direction>" for tempo in (48, 240)
    )
    made = drafted(tmp_path, piece(fast + WHOLE, *[WHOLE] * 6, slow + WHOLE, WHOLE, fast + WHOLE, WHOLE, WHOLE))
    last = made.reading.pace.slowings[-1]
    assert last.run.start >= 4 * 9 and last.to == pytest.approx(0.4)


def test_no_entry_that_is_printed_is_taken_out(tmp_path):
    """A rit. in the first half of a phrase is unusual, and the composer's."""
    bars = [WHOLE] * 4 + [words("rit.") + WHOLE, words("a tempo") + WHOLE] + [WHOLE] * 6
    made = drafted(tmp_path, piece(*bars))
    assert any(line.startswith("{ritardando: 5:1 - 5:4") for line in made.printed)
    assert not [remark for remark in made.remarks if remark.stands]


def test_a_dolce_is_called_so(tmp_path):
    made = drafted(tmp_path, piece(words("dolce") + WHOLE, *[WHOLE] * 7))
    assert "{at: 1:1, softer: 2 dB}" in made.text
    assert re.search(r"softer: 2 dB\} +# printed: dolce$", made.text, re.MULTILINE)


# -- the end of the piece


def test_the_last_slowdown_is_over_as_the_last_notes_begin(tmp_path):
    made = drafted(tmp_path, piece(*TUNE, *TUNE[:3], HELD))
    assert slowdowns(made.text)[-1] == "{rallentando: 7:1 - 8:1.0, to: 40%, curvature: 4}"
    time = made.reading.performance.time
    assert time.tempo(28.0) / time.basic(28.0) == pytest.approx(0.40, rel=0.15)  # held notes are still beats, too


def test_a_printed_rallentando_and_the_last_one_are_one(tmp_path):
    made = drafted(tmp_path, piece(*[WHOLE] * 6, words("poco rit.") + WHOLE, HELD))
    assert [entry for entry in slowdowns(made.text) if "40%" in entry] == ["{ritardando: 7:1 - 8:1.0, to: 40%}"]
    assert "# printed at 7:1; it reaches its pace where it is heard" in made.text
    assert sum("7:1" in entry or "8:" in entry for entry in slowdowns(made.text)) == 1


def test_a_long_printed_rallentando_leads_to_the_last_beats(tmp_path):
    """Three bars of it keep their own pace, and the last beats go on from there."""
    made = drafted(tmp_path, piece(*[WHOLE] * 6, words("poco rall.") + WHOLE, WHOLE, WHOLE, HELD))
    first, last = (next(entry for entry in slowdowns(made.text) if pace in entry) for pace in ("65%", "40%"))
    assert first == "{rallentando: 7:1 - 9:1.0, to: 65%}"
    assert last == "{rallentando: 9:1 - 10:1.0, to: 40%, curvature: 4}"
    tempo = made.reading.performance.time.tempo(np.array([24.0, 30.0, 32.0, 34.0, 36.0])) / 120
    assert np.all(np.diff(tempo) < 0)


def test_a_long_printed_rallentando_that_is_as_deep_as_the_last_one_is_that_one(tmp_path):
    made = drafted(tmp_path, piece(*[WHOLE] * 6, words("molto rit.") + WHOLE, WHOLE, WHOLE, HELD))
    last = [entry for entry in slowdowns(made.text) if "6:3" not in entry]
    assert last == ["{ritardando: 7:1 - 10:1.0, to: 40%}"]


def test_an_end_soon_after_a_beat_is_slowed_to_the_beat(tmp_path):
    """The next melody begins after a rest of a semiquaver: its bar is not slowed; an upbeat of half a beat is."""
    reading = read(tmp_path, piece(*[WHOLE] * 8))
    late, upbeat = (
        FoundPhrase((0, 0.0), place, 1.0, 4.0) for place in ((4, 0.25), (3, 3.5))
    )
    for phrase, until in ((late, "4:3 - 4:4"), (upbeat, "4:3 - 4:4")):
        found = [item.entry["rallentando"] for item in slowing_items(reading, [phrase])]
        assert found[0] == until


def test_no_last_slowdown_against_a_printed_accelerando(tmp_path):
    made = drafted(tmp_path, piece(*[WHOLE] * 5, words("accel.") + WHOLE, WHOLE, HELD))
    assert not [entry for entry in slowdowns(made.text) if "to: 40%" in entry]


def test_the_last_slowdown_does_not_reach_over_a_repeat(tmp_path):
    made = drafted(tmp_path, piece(*[WHOLE] * 7, FORTH + quarters(2) + note("C4", 2) + BACK))
    (last,) = [entry for entry in slowdowns(made.text) if "to: 40%" in entry]
    assert last == "{rallentando: 8:1 - 8:3.0, to: 40%, curvature: 4, pass: last}"


# -- ends as they are heard


def test_ends_are_those_of_the_order_that_is_played(tmp_path):
    """1-8 with two endings: the first time bar 7 ends it, the second time bar 8, which follows on bar 6."""
    text = piece(FORTH + WHOLE, *[WHOLE] * 5, ending(1, WHOLE, True), ending(2, WHOLE, False), *[WHOLE] * 8)
    found = endings(read(tmp_path, text), phrases_of((0, 7), (8, 15)))
    assert [(end.at, end.bars) for end in found] == [(28, 7), (56, 8), (88, 8)]
    made = drafted(tmp_path, text)
    for entry in made.reading.plan.slowing:
        assert made.reading.where.runs(entry.where, entry.passes), entry
    assert not [remark for remark in made.remarks if remark.code == "never-heard"]


def test_a_phrase_that_is_left_at_once_has_no_end_there(tmp_path):
    text = piece(WHOLE + BACK, *[WHOLE] * 8)
    found = endings(read(tmp_path, text), phrases_of((0, 4), (5, 8)))
    assert [end.at for end in found] == [24, 40]


def test_the_second_time_is_one_entry_a_repeat(tmp_path):
    """With its own ending, and without the next repeat, which only follows on the page."""
    text = piece(
        FORTH + WHOLE, *[WHOLE] * 2, ending(1, WHOLE, True), ending(2, WHOLE, False),
        FORTH + WHOLE, *[WHOLE] * 2, WHOLE + BACK,
    )  # fmt: skip
    made = drafted(tmp_path, text)
    assert re.findall(r"\{bars: (\S+), softer", made.text) == ["1-5", "6-9"]
    assert [remark for remark in made.remarks if remark.code in ("never-heard", "second-time-same")] == []


def test_only_what_is_all_repeated_is_called_so(tmp_path):
    class WrittenNotes:  # no notes, no keys
        bar_starts = np.array([0.0, 64.0])

        def at(self, bar, offset):
            return 4.0 * bar + offset

        def between(self, start, end):
            return np.zeros(12), np.zeros(0)

        def first_bass(self, start, end):
            return None

        def bass(self, start, end):
            return None

        def signature(self, at):
            return None

    from timing.drafting.form import FormSection

    reading = read(tmp_path, piece(*[WHOLE] * 3, WHOLE + BACK, FORTH + WHOLE, *[WHOLE] * 2, WHOLE + BACK, *[WHOLE] * 8))
    found = [FormSection(name, phrase, None) for name, phrase in zip("AB", phrases_of((0, 3), (4, 15)), strict=True)]
    (form,) = form_lines(reading, found, WrittenNotes())
    assert form == "Form: A (1-4, repeated), B (5-16; 5-8 twice)."


# -- depth


@pytest.mark.parametrize(
    ("bars", "section", "usual"),
    [(4, False, 0.84), (6, False, 0.84), (6.25, False, 0.77), (8, False, 0.77), (16, True, 0.72)],
)
def test_an_end_is_slowed_as_far_as_it_is_sure(bars, section, usual):
    ends = [HeardEnding(0.0, 0.0, bars, section, sure).to for sure in (1.0, 0.5, 0.1)]
    assert ends == [usual, round(1 - (1 - usual) / 2, 2), round(1 - (1 - usual) / 10, 2)]


def test_an_arch_is_as_high_as_its_phrase_is_sure():
    arches = [arch_of(FoundPhrase((0, 0.0), (3, 4.0), sure, 4.0)) for sure in (1.0, 0.85, 0.3)]
    assert [arch.get("pace") for arch in arches] == ["4%", "3%", None]
    assert arch_of(FoundPhrase((0, 0.0), (1, 4.0), 1.0, 2.0)) is None


@pytest.mark.parametrize(
    ("bars", "pace"),
    [(2.5, None), (2.75, "4%"), (4, "4%"), (6, "4%"), (6.25, "3%"), (8, "3%"), (12, "3%"), (12.25, None)],
)
def test_an_arch_goes_by_the_length_of_its_phrase(bars, pace):
    """Up to six bars as over four, up to twelve as over eight; what is shorter or longer has none."""
    arch = arch_of(FoundPhrase((0, 0.0), (3, 4.0), 1.0, bars))
    assert arch == (pace and {"pace": pace, "level": "2 dB"})


def test_ends_are_slowed_over_their_last_two_beats(tmp_path):
    made = drafted(tmp_path, piece(*TUNE, *TUNE, *TUNE, HELD))
    inner = [entry for entry in slowdowns(made.text) if "then: a tempo" in entry]
    assert inner
    for entry in inner:
        begin, end = re.search(r"(\d+):(\d+) - \1:(\d+)", entry).groups()[1:]
        assert (begin, end) == ("3", "4")


# -- texture


def polyphony(bars: int = 12) -> str:
    """Two voices that hand quavers to each other, so that one of them always moves."""
    running = "".join(note(pitch, 0.5) for pitch in ("E5", "D5", "C5", "D5")) + note("E5", 2)
    waiting = note("C4", 2, voice=2) + "".join(note(pitch, 0.5, voice=2) for pitch in ("B3", "C4", "D4", "E4"))
    content = f"{running}<backup><duration>48</duration></backup>{waiting}"
    return musicxml([bar(content, n, FOUR_FOUR if n == 1 else "") for n in range(1, bars + 1)])


def test_equal_voices_give_way_at_the_end_alone(tmp_path):
    made = drafted(tmp_path, polyphony())
    assert equal_voices(made.reading)
    assert len(slowdowns(made.text)) == 1
    assert "still beats" not in made.text  # every beat moves alike


def test_a_melody_over_its_accompaniment_is_no_polyphony(tmp_path):
    melody = note("E5", 4)
    under = "".join(note(pitch, 0.5, voice=2) for pitch in ("C4", "E4", "G4", "E4") * 2)
    content = f"{melody}<backup><duration>48</duration></backup>{under}"
    text = musicxml([bar(content, n, FOUR_FOUR if n == 1 else "") for n in range(1, 13)])
    assert not equal_voices(read(tmp_path, text))


def test_still_beats_where_some_beats_are_still(tmp_path):
    assert "{bars: 1-8, still beats: 5%}" in drafted(tmp_path, piece(*TUNE, *TUNE)).text
    assert "still beats" not in drafted(tmp_path, piece(*[WHOLE] * 8)).text
