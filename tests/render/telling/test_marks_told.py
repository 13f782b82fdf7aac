"""What the command says of the score's own marks."""

from __future__ import annotations

import json
from io import StringIO

from rich.console import Console
from support import reading, score

from render.telling.report import show_reading
from render.telling.tables import timeline

MARKS = [
    {"kind": "dynamic", "text": "p"},
    {"kind": "dynamic", "bar": 1, "text": "f"},
    {"kind": "words", "bar": 1, "offset": 2.0, "text": "cullando"},
    {"kind": "words", "bar": 2, "text": "espressivo"},
    {"kind": "words", "bar": 3, "text": "rit."},
]
PLAN = {"dynamics": [{"at": 2, "mark": "mp"}], "marks": {"ignore": "slowing"}}


def said(made) -> str:
    text = StringIO()
    show_reading(Console(file=text, width=300), made)
    return text.getvalue()


def test_one_line_says_what_became_of_the_marks():
    line = (
        "marks of the score: 1 used, 1 overridden by the plan, 1 ignored, 1 without effect; "
        "not understood: 'cullando' at 2:3\n"
    )
    assert line in said(reading(PLAN, score(marks=MARKS)))


def test_a_score_without_marks_has_no_such_line():
    assert "marks" not in said(reading({}, score()))


def test_of_many_strange_words_some_are_named():
    marks = [{"kind": "words", "bar": n, "text": f"mystery {n}"} for n in range(8)]
    told = said(reading({}, score(marks=marks)))
    assert "marks of the score: not understood: 'mystery 0' at 1:1, " in told
    assert "'mystery 5' at 6:1, and 2 more" in told and "mystery 6" not in told


def test_the_timeline_lists_every_mark():
    plan = PLAN | {"order": ["1-4", "1-8"], "dynamics": [{"at": 2, "mark": "mp", "pass": 2}]}
    rows = timeline(reading(plan, score(marks=MARKS)))["marks"]
    assert json.loads(json.dumps(rows)) == rows
    assert [row["fate"] for row in rows] == ["used", "used", "not understood", "without effect", "ignored"]
    assert rows[1] == {
        "section": "dynamics", "text": "f", "bar": "2", "beat": 1.0, "part": "Piano", "fate": "used", "why": "",
        "line": None, "passes": [2], "count": 1, "bar_name": "2",
    }  # fmt: skip
