"""Marks all the way from a MusicXML file to what is played."""

from __future__ import annotations

import pytest
from support import musicxml

from timing.marks.uses import Fate
from timing.plan import Plan
from timing.reader import read_score
from timing.reading import perform


def direction(*types: str, more: str = "") -> str:
    kinds = "".join(f"<direction-type>{kind}</direction-type>" for kind in types)
    return f"<direction>{kinds}{more}</direction>"


def words(text: str) -> str:
    return f"<words>{text}</words>"


def read(tmp_path, bars: int = 8, plan: dict | None = None, *, before=None, after=None, name: str = "Piano"):
    file = tmp_path / "marked.musicxml"
    file.write_text(musicxml(bars, before, after).replace(">Piano<", f">{name}<"), encoding="utf-8")
    return perform(read_score(file, cache=False), Plan.model_validate({"score": str(file)} | (plan or {})))


def test_the_marks_of_a_page(tmp_path):
    made = read(
        tmp_path,
        before={
            1: direction(words("Andante, cullando")) + direction("<dynamics><p/></dynamics>"),
            3: direction(words("poco rit."), '<dashes type="start"/>') + direction('<wedge type="crescendo"/>'),
            4: direction('<wedge type="stop"/>'),
            5: direction('<dashes type="stop"/>')
            + direction(words("a tempo"))
            + direction("<dynamics><f/></dynamics>"),
            7: direction(words("zurückhaltend")),
        },
    )
    assert {(use.text, use.place, use.fate) for use in made.marks} == {
        ("Andante", "1:1", Fate.USED),
        ("cullando", "1:1", Fate.NOT_UNDERSTOOD),
        ("p", "1:1", Fate.USED),
        ("poco rit.", "3:1", Fate.USED),
        ("crescendo", "3:1", Fate.USED),
        ("a tempo", "5:1", Fate.USED),
        ("f", "5:1", Fate.USED),
        ("zurückhaltend", "7:1", Fate.USED),
    }
    assert [(s.entry.kind, s.run.start, s.run.end, s.to) for s in made.pace.slowings] == [
        ("ritardando", 8, 16, 0.65),
        ("ritenuto", 24, 32, 0.75),
    ]
    assert made.performance.time.tempo([0, 16, 30]).tolist() == pytest.approx([76, 76, 57])
    levels = made.performance.notes["level"]
    assert levels[[0, 8, 10, 12, 15, 16]].tolist() == pytest.approx([-20, -20, -14, -8, -8, -8])


def test_a_metronome_number_goes_before_the_word(tmp_path):
    metronome = "<metronome><beat-unit>quarter</beat-unit><per-minute>100</per-minute></metronome>"
    made = read(tmp_path, before={1: direction(words("Andante"), metronome)})
    assert made.performance.time.tempo(0.0) == pytest.approx(100)
    assert [(use.text, use.fate) for use in made.marks] == [("Andante", Fate.USED)]


def test_a_part_that_is_a_guitar_by_its_name_has_its_tones(tmp_path):
    for name, fate in (("Classical Guitar", Fate.USED), ("Piano", Fate.WITHOUT_EFFECT)):
        made = read(tmp_path, before={2: direction(words("metallico"))}, name=name)
        assert [use.fate for use in made.marks] == [fate]


@pytest.mark.parametrize(("kind", "size"), [("down", 8), ("up", 8), ("down", 15)])
def test_an_octave_sign_does_not_move_the_sounding_notes(tmp_path, kind, size):
    """In MusicXML the pitches under an octave sign are the sounding ones (MusicXML 4.0, octave-shift)."""
    begin, end = (direction(f'<octave-shift type="{each}" size="{size}"/>') for each in (kind, "stop"))
    made = read(tmp_path, before={2: begin, 3: end})
    assert set(made.performance.notes["pitch"].tolist()) == {60}
    assert made.marks == ()


def test_the_dashes_of_one_part_stretch_its_own_words(tmp_path):
    """Two parts with cresc. in bar 2; only the first has dashes, and they end with bar 2."""
    dashed = direction(words("cresc."), '<dashes type="start"/>')
    first = musicxml(8, {2: dashed, 3: direction('<dashes type="stop"/>')})
    second = musicxml(8, {2: direction(words("cresc."))})
    part = second[second.index('<part id="P1">') : second.index("</score-partwise>")].replace("P1", "P2")
    listed = '<score-part id="P2"><part-name>Flute</part-name></score-part></part-list>'
    file = tmp_path / "two.musicxml"
    both = first.replace("</part-list>", listed).replace("</score-partwise>", part + "</score-partwise>")
    file.write_text(both, encoding="utf-8")
    made = perform(read_score(file, cache=False), Plan.model_validate({"score": str(file)}))
    notes = made.performance.notes
    levels = {part: notes["level"][notes["part"] == part][[4, 8, 20]].round(9).tolist() for part in (0, 1)}
    assert levels == {0: [-12, -8, -8], 1: [-12, -11, -8]}
