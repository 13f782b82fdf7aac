"""The names of bars wherever people read them: 5b is never told as 5."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import numpy as np
import pytest
from performances import performance
from rich.console import Console
from support import reading, score

from render.drawing.labels import numbered
from render.midi.file import to_midi
from render.sound.playing import Playhead
from render.telling.comparison_report import comparison_values
from render.telling.report import show_beats, show_remarks
from render.telling.sides import Side
from render.telling.tables import remark_values, timeline, timeline_csv
from timing.cautions import check
from timing.comparing import compare
from timing.order import unfold
from timing.remarks import CannotDo, Remark
from timing.score import Score
from timing.timemap import TimeMap, strict

CODE = "slowing-mid-phrase"
PLAN = {
    "phrases": [{"bars": "1-4"}, {"bars": "5-8"}],
    "slowing": [{"rallentando": "5b:1 - 5b:2", "to": "60%", "then": "a tempo"}],
}


def named(**options) -> Score:
    """Bars 1 to 5, 5b, 7, 8."""
    made = score(bars=8, **options)
    made.bars["number"][5], made.bars["suffix"][5] = 5, "b"
    return made


def told(code: str = CODE, plan: dict = PLAN, **options) -> Remark:
    (remark,) = (each for each in check(reading(plan, named(**options))) if each.code == code)
    return remark


def printed(show, *values) -> str:
    console = Console(file=io.StringIO(), width=100)
    show(console, *values)
    return console.file.getvalue()


def test_a_remark_in_the_terminal_and_as_json():
    remark = told()
    assert (remark.bar, remark.bar_name, remark.beat) == (5, "5b", 2)
    assert f"bar 5b, beat 2  [{CODE}]" in printed(show_remarks, [remark])
    values = json.loads(json.dumps(remark_values(remark)))
    assert (values["bar"], values["bar_name"]) == (5, "5b")


@pytest.mark.parametrize(
    ("at", "accepted"), [("5b:2", True), ("5B:2", True), ("5b", True), ("5:2", False), ("5", False)]
)
def test_it_is_accepted_by_its_name(at, accepted):
    plan = PLAN | {"accept": [{"code": CODE, "at": at, "because": "it is meant"}]}
    remarks = check(reading(plan, named()))
    assert [each.accepted is not None for each in remarks if each.code == CODE] == [accepted]
    unmatched = [each.suggestion for each in remarks if each.code == "acceptance-unmatched"]
    assert unmatched == ([] if accepted else ["at: 5b:2"])


@pytest.mark.parametrize("passes", [1, "last"])
def test_it_is_accepted_on_a_pass(passes):
    plan = PLAN | {"accept": [{"code": CODE, "at": "5b:2", "pass": passes, "because": "it is meant"}]}
    assert [each.accepted for each in check(reading(plan, named())) if each.code == CODE] == ["it is meant"]


def test_remarks_of_all_rooms():
    """What is met in the pace, in the order of the bars, on strings and on slides."""
    both = PLAN["slowing"] + [{"ritenuto": "5b:1 - 8:1", "to": "70%"}]
    assert told("slowings-overlap", {"slowing": both}).bar_name == "5b"
    holds = {"holds": [{"fermata": "5b:1 - 5b:3"}, {"fermata": "5b:2"}]}
    assert told("holds-overlap", holds).bar_name == "5b"
    rubato = {"rubato": [{"bars": "5b", "hurry": "5%"}, {"bars": "5b - 8", "hurry": "5%"}]}
    assert told("rubato-overlap", rubato).bar_name == "5b"
    crawling = {"tempo": 10, "slowing": [{"ritenuto": "5b:1 - 5b:2", "to": "10%"}]}
    with pytest.raises(CannotDo, match=r"^at 5b:1 the tempo marks") as refusal:
        reading(crawling | {"holds": [{"fermata": "5b", "length": "900%"}] * 4}, named())
    assert refusal.value.remarks[0].bar_name == "5b"
    sign = {"kind": "repeat start", "bar": 5}
    (remark,) = (each for each in unfold(named(marks=[sign]))[1] if each.code == "repeat-structure")
    assert remark.bar_name == "5b" and "bar 5b" in remark.message
    text = " ".join(["c4:1"] * 20 + ["c1:1"] + ["c4:1"] * 11)
    assert told("off-the-instrument", {"instrument": "classical guitar"}, voices={1: text}).bar_name == "5b"


def test_a_note_is_told_at_its_bar():
    loud = {"dynamics": [{"at": 1, "mark": "fff"}], "accents": [{"at": "5b:2", "by": "6 dB"}]}
    remark = told("level-out-of-range", loud)
    assert (remark.bar_name, "at 5b:2:" in remark.message) == ("5b", True)


def test_places_of_one_number_are_told_apart():
    """The same note in bars 5 and 5b: two places, not one and its repeat."""
    text = " ".join(["c4:1"] * 16 + ["c3:1", "g3:1", "c4:1", "c4:1"] * 2 + ["c4:1"] * 8)
    slides = [{"from": f"{bar}:1", "to": f"{bar}:2"} for bar in ("5", "5b")]
    plan = {"instrument": "classical guitar", "glissandi": slides}
    made = check(reading(plan, named(voices={1: text})))
    assert [each.bar_name for each in made if each.code == "slide-no-swell"] == ["5", "5b"]


def test_tables():
    made = reading(PLAN, named())
    values = timeline(made)
    assert values["order"] == ["1-8"]
    around = [(note["bar"], note["bar_name"]) for note in values["notes"][18:25:2]]
    assert around == [(5, "5"), (5, "5b"), (5, "5b"), (7, "7")]
    assert [beat["bar_name"] for beat in values["grid"][::4]] == ["1", "2", "3", "4", "5", "5b", "7", "8"]
    rows = list(csv.DictReader(io.StringIO(timeline_csv(made))))
    assert (rows[20]["bar"], rows[20]["beat"], rows[20]["bar_name"]) == ("5", "1.0", "5b")
    lines = [line.split()[0] for line in printed(show_beats, values["grid"]).splitlines()]
    assert lines == ["bar", "1", "2", "3", "4", "5", "5b", "7", "8"]


def test_side_by_side():
    readings = [reading(PLAN, named()), reading({}, named())]
    values = comparison_values(compare(readings), [Side(Path(f"{n}.yaml"), each) for n, each in enumerate(readings)])
    assert values["spans"][-1]["A"]["slowest"]["bar"] == "5b"
    assert [each["bars"] for each in values["differences"] if each["section"] == "slowing"] == ["5b:1 - 5b:2"]


def test_on_the_sheet_and_while_it_plays():
    made = reading(PLAN, named())
    _, (comment,) = numbered((), [told()], made)
    assert comment.start == (5, 1.0)
    assert Playhead(made.performance, made.score).at(float(made.performance.time.seconds(21.0))) == "bar 5b:2  pass 1"


def test_a_midi_file_that_cannot_be():
    pieces = np.concatenate([strict(4.0, 60.0), strict(4.0, 3.0), strict(4.0, 60.0)])
    pieces["start"], pieces["end"] = [0, 4, 8], [4, 8, 12]
    made = performance([{"score_onset": n} for n in range(12)], time=TimeMap(pieces))
    made.bars["suffix"][1] = "b"
    with pytest.raises(CannotDo, match=r"^bar 2b is slower") as refusal:
        to_midi(made)
    assert refusal.value.remarks[0].bar_name == "2b"


def test_a_pickup_that_is_called_as_the_bar_before_it_is_no_part_of_that():
    """Rubato gives time back at the bar line before it."""
    made = score(bars=3)
    made.bars["number"][1], made.bars["suffix"][1] = 1, "b"
    made.bars["shift"][1] = 2.0
    of_two = reading({"rubato": [{"bars": "1 - 1b", "hurry": "10%"}]}, made)
    seconds = of_two.performance.time.seconds(np.array([0.0, 4.0]))
    assert seconds[1] - seconds[0] == pytest.approx(4.0, abs=1e-6)
