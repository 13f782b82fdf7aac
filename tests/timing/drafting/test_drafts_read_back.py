"""No draft refuses itself: whatever its score looks like, it reads back, and its marks stay where they are printed."""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
import pytest
from drafts import BACK, FORTH, TUNE, WHOLE, Drafted, drafted, piece, printed_alone, quarters, words
from hypothesis import given
from hypothesis import strategies as st
from support import midi_bytes
from written import FOUR_FOUR, bar, musicxml, note

HIDDEN = 'implicit="yes"'
BREATH = "<notations><articulations><breath-mark/></articulations></notations>"
CAESURA = "<notations><articulations><caesura/></articulations></notations>"
FERMATA = "<notations><fermata/></notations>"
ON_LINE = '<barline location="right"><fermata/></barline>'


def sign(content: str) -> str:
    return f"<direction><direction-type>{content}</direction-type></direction>"


CRESCENDO, STOP = sign('<wedge type="crescendo"/>'), sign('<wedge type="stop"/>')
LOUD = sign("<dynamics><f/></dynamics>")


SCORES = {
    "breath at the end of a bar": (piece(WHOLE, quarters(4, BREATH), *[WHOLE] * 6), ["{breath: after 2:4}"]),
    "caesura at the end of a bar": (piece(WHOLE, quarters(4, CAESURA), *[WHOLE] * 6), ["{caesura: after 2:4}"]),
    "breath within a bar": (
        piece(WHOLE, quarters(2, BREATH) + quarters(2), *[WHOLE] * 6), ["{breath: after 2:2}"],
    ),
    "breath within a beat": (
        piece(WHOLE, note("C4", 0.5, BREATH) + note("C4", 0.5) + quarters(3), *[WHOLE] * 6),
        ["{breath: after 2:1.5}"],
    ),
    "breath after a triplet": (
        piece(WHOLE, note("C4", 1 / 3, BREATH) + note("C4", 2 / 3) + quarters(3), *[WHOLE] * 6),
        ["{breath: after 2:1+1/3}"],
    ),
    "breath at the end of the piece": (piece(*[WHOLE] * 7, quarters(4, BREATH)), []),
    "breath at the end of a short last bar": (piece(*[WHOLE] * 7, quarters(3, BREATH)), []),
    "breath at a repeat sign": (
        piece(*[WHOLE] * 3, quarters(4, BREATH) + BACK, *[WHOLE] * 4), ["{breath: after 4:4}"],
    ),
    "breath at the end of half a bar": (
        piece(*[WHOLE] * 3, quarters(3, BREATH) + BACK, (note("C4"), "X1", HIDDEN), (WHOLE, 5, ""), *[WHOLE] * 3),
        ["{breath: after 4:3}"],
    ),
    "breath within a beat, at the end of half a bar": (
        piece(*[WHOLE] * 3, quarters(2) + note("C4", 0.5, BREATH) + BACK, (note("C4", 1.5), "X1", HIDDEN),
              (WHOLE, 5, ""), WHOLE),
        ["{breath: after 4:3.5}"],
    ),
    "breath at the end of a pickup": (
        piece((note("C4", 1, BREATH), 0, HIDDEN), *[(WHOLE, n, "") for n in range(1, 9)]), ["{breath: after 0:4}"],
    ),
    "breath in a bar called like another": (
        piece(WHOLE, WHOLE, (quarters(4, BREATH), 2, ""), *[(WHOLE, n, "") for n in range(3, 8)]),
        ["{breath: after 2b:4}"],
    ),
    "fermata on a rest at the end": (piece(*[WHOLE] * 7, quarters(3) + note("rest", 1, FERMATA)), ["{fermata: 8:4}"]),
    "fermata over the last bar line": (piece(*[WHOLE] * 7, WHOLE + ON_LINE), []),
    "fermata over a bar line": (piece(*[WHOLE] * 3, WHOLE + ON_LINE, *[WHOLE] * 4), ["{caesura: after 4:4}"]),
    "fermata in a bar called like another": (
        piece(*[WHOLE] * 7, (WHOLE, 7, ""), (quarters(4, FERMATA), 7, "")), ["{fermata: 7c:4}"],
    ),
    "hairpin to the end of a bar": (
        piece(WHOLE, CRESCENDO + WHOLE + STOP, *[WHOLE] * 6), ["{crescendo: 2:1 - 3:1, by: 4 dB}"],
    ),
    "hairpin to the end of the piece": (
        piece(*[WHOLE] * 6, CRESCENDO + WHOLE, WHOLE + STOP), ["{crescendo: 7:1 - 8, by: 4 dB}"],
    ),
    "hairpin into a bar called like another": (
        piece(WHOLE, CRESCENDO + WHOLE + STOP, (WHOLE, 2, ""), *[(WHOLE, n, "") for n in range(3, 8)]),
        ["{crescendo: 2:1 - 2b:1, by: 4 dB}"],
    ),
    "ritardando to the end of half a bar": (
        piece(*[WHOLE] * 3, words("rit.") + quarters(3) + BACK, (words("a tempo") + note("C4"), "X1", HIDDEN),
              (WHOLE, 5, ""), *[WHOLE] * 3),
        ["{ritardando: 4:1 - 4:3, to: 50%, then: a tempo}", "{a tempo: 4:4}"],
    ),
    "marks after the last note": (piece(*[WHOLE] * 7, WHOLE + LOUD + words("rit.")), []),
    "a cadenza": (
        piece(WHOLE, (WHOLE, 2, ""), *[(LOUD + quarters(3), "X1", HIDDEN)] * 3, (WHOLE, 3, "")),
        ["{at: 2b:1, mark: f}", "{at: 2c:1, mark: f}", "{at: 2d:1, mark: f}"],
    ),
    "two movements": (
        piece(*[WHOLE] * 7, quarters(4, FERMATA), *[(WHOLE, n, "") for n in range(1, 8)], (quarters(4, BREATH), 8, ""),
              (LOUD + WHOLE, 9, "")),
        ["{fermata: 8:4}", "{breath: after 8b:4}", "{at: 9b:1, mark: f}"],
    ),
    "bars with letters of the score": (
        piece(WHOLE, (quarters(4, BREATH), "2a", ""), (quarters(4, BREATH), "2b", ""), *[(WHOLE, 3, "")] * 2),
        ["{breath: after 2a:4}", "{breath: after 2b:4}"],
    ),
    "two endings with one number": (
        piece(
            FORTH + WHOLE, WHOLE, WHOLE,
            ('<barline location="left"><ending number="1" type="start"/></barline>' + quarters(4, FERMATA)
             + '<barline location="right"><ending number="1" type="stop"/><repeat direction="backward"/></barline>',
             4, ""),
            ('<barline location="left"><ending number="2" type="start"/></barline>' + quarters(4, FERMATA)
             + '<barline location="right"><ending number="2" type="stop"/></barline>', 4, ""),
            *[(WHOLE, n, "") for n in range(5, 9)],
        ),
        ["{fermata: 4:4}", "{fermata: 4b:4}"],
    ),
    "no numbers at all": (
        piece(*[(quarters(4, BREATH * (n == 2)), "", "") for n in range(8)]), ["{breath: after 3:4}"],
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", SCORES)
def test_a_draft_writes_its_places_as_musicians_do(name, tmp_path):
    text, printed = SCORES[name]
    made = drafted(tmp_path, text)
    assert not [remark for remark in made.remarks if remark.severity == "error"]
    assert [line.replace(", in time: yes", "") for line in made.printed] == printed
    assert stay_where_they_are(made, tmp_path)


def stay_where_they_are(made: Drafted, folder: Path) -> bool:
    """What is written out sounds as it does from the score. Where a mark is left out that shapes time, since it works
    against the music, there is nothing to compare: marks end each other."""
    again, own, whole = printed_alone(made.score, made.text, folder)
    if not {"holds", "slowing"} <= {*whole}:
        return False
    for column in ("onset", "end", "level"):
        np.testing.assert_allclose(again.performance.notes[column], own.performance.notes[column], atol=1e-4)
    return True


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("tune.abc", "X:1\nT:t\nM:4/4\nL:1/4\nK:C\n" + "|".join(["CDEF", "GABc", "cBAG", "FEDC"] * 2) + "|]\n"),
        ("tune.abc", "X:1\nT:t\nM:3/4\nL:1/4\nK:C\nG|" + "|".join(["CDE", "GAB", "cBA", "FED"] * 2) + "|]\n"),
        ("tune.abc", "X:1\nT:t\nM:4/4\nL:1/4\nK:C\nG|CDEF|GABc|cBAG|FED:|G|" + "|".join(["CDEF"] * 4) + "|]\n"),
        ("four.mid", midi_bytes()),
        ("cadenza.krn", "**kern\n*M4/4\n=1\n1c\n=2\n1d\n=-\n4e\n4f\n2g\n2a\n=-\n2g\n4f\n=3\n1e\n==\n*-\n"),
        ("bare.krn", "**kern\n*M4/4\n4c\n4d\n=\n1c\n=\n1d\n=\n1e\n==\n*-\n"),
    ],
    ids=["abc", "abc with a pickup", "abc with a divided bar", "midi", "kern with a cadenza", "kern without numbers"],
)
def test_other_files(name, text, tmp_path):
    made = drafted(tmp_path, text, name)
    assert not [remark for remark in made.remarks if remark.severity == "error"]
    called = [made.score.bar_name(row) for row in range(len(made.score.bars))]
    assert [made.reading.where.rows_called(name)[0] for name in dict.fromkeys(called)] == sorted(
        called.index(name) for name in set(called)
    )


# -- a law


RHYTHMS = ([1] * 4, [1] * 3, [1], [0.5, 0.5, 1, 2], [1 / 3, 2 / 3, 3], [1.5, 1], [1] * 5)


@st.composite
def marked(draw) -> str:
    """A score of some bars, any of them short, long, hidden, repeated or numbered like another, with marks anywhere."""
    bars, count = [], draw(st.integers(2, 7))
    for place in range(count):
        content = ""
        for length in draw(st.sampled_from(RHYTHMS)):
            content += draw(st.sampled_from(["", "", "", LOUD, CRESCENDO, STOP, words("rit."), words("a tempo")]))
            pitch = draw(st.sampled_from([*TUNE, *TUNE, "rest"]))
            content += note(pitch, length, draw(st.sampled_from(["", "", "", BREATH, CAESURA, FERMATA])))
        content += draw(st.sampled_from(["", "", LOUD, STOP, words("rit.")]))
        content += draw(st.sampled_from(["", "", "", BACK, ON_LINE]))
        number = draw(st.sampled_from([place + 1, place + 1, 1, 2, 3, "2a", "X1", 0]))
        hidden = draw(st.sampled_from(["", "", HIDDEN]))
        bars.append(bar(draw(st.sampled_from(["", "", FORTH])) + content, number, "" if place else FOUR_FOUR, hidden))
    return musicxml(bars)


@given(marked())
def test_no_draft_refuses_itself(text):
    with tempfile.TemporaryDirectory() as folder:
        made = drafted(Path(folder), text)
        assert not [remark for remark in made.remarks if remark.severity == "error"]
        stay_where_they_are(made, Path(folder))
