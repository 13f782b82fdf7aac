"""What is drawn on the page of a sitting: music once, and what lies over and under it after each change."""

from __future__ import annotations

import json
import re
import shutil
from dataclasses import replace

import numpy as np
import pytest
from drawings import parsed
from house import DEMOS, PLANS

from render.drawing.drawn import drawn
from render.drawing.engraver import Engraver
from render.drawing.lines import level_y, pace_y
from render.drawing.plot import plot_system
from render.rehearse import pictures
from render.rehearse.pictures import PAPERS, Pictures
from timing.loading import load
from timing.remarks import CannotDo

FLOWING = PLANS / "low-water-flowing.yaml"
CURVE = re.compile(r'class="curve')


@pytest.fixture(scope="module")
def reading():
    return load(FLOWING)


@pytest.fixture(scope="module")
def kept():
    return Pictures()


def said(layers) -> str:
    return "".join(layer["over"] + layer["under"] for layer in layers)


def test_all_bars_stand_once_on_every_paper_and_x_rises_in_each_system(kept, reading):
    music = kept.music(reading.score, PAPERS)
    json.dumps(music, allow_nan=False)
    rows = len(reading.score.bars)
    assert music["refused"] == "" and set(music["papers"]) == set(PAPERS)
    assert [len(music["bars"][name]) for name in ("name", "length", "shift", "unit", "beat")] == [rows] * 5
    for paper in music["papers"].values():
        bars = [bar for system in paper["systems"] for bar, *_ in system["bars"]]
        assert bars == list(range(rows)) and paper["engraved"]
        at, x = np.array(paper["at"]), np.array(paper["x"])
        assert (np.diff(at) >= 0).all()
        for system in paper["systems"]:
            first, last = system["bars"][0][0], system["bars"][-1][0]
            inside = (at >= first) & (at <= last + 0.5)
            assert (np.diff(x[inside]) >= 0).all() and inside.sum() > len(system["bars"])
            assert x[inside].min() >= 0 and x[inside].max() < system["width"] + 1


def test_the_beats_of_the_bars_are_those_that_are_felt(kept, reading):
    bars = kept.music(reading.score, ["wide"])["bars"]
    assert set(bars["beat"]) == {1.5} and set(bars["unit"]) == {8}  # dotted quarters in 6/8
    assert bars["length"][0] == 0.5 and bars["shift"][0] == 2.5  # an eighth before the first bar


@pytest.mark.parametrize("plan", DEMOS, ids=lambda plan: plan.stem)
@pytest.mark.parametrize("paper", PAPERS)
def test_layers_and_music_are_the_drawing_of_the_sheet(plan, paper):
    """Over, music and under, put together, are what draws a system in one go."""
    reading, kept = load(plan), Pictures()
    music, layers = kept.music(reading.score, [paper])["papers"][paper], kept.drawn(reading, [paper])["papers"][paper]
    shown = drawn(reading)
    shown = replace(shown, labels=tuple(replace(label, comment=0) for label in shown.labels))
    engraving = Engraver(reading.score).engrave(PAPERS[paper])
    assert len(layers) == len(music["systems"]) == len(engraving.systems)
    for number, (system, layer) in enumerate(zip(music["systems"], layers, strict=True)):
        whole = plot_system(
            engraving.systems[number], engraving, [shown], number, comments=False, named=True,
            steep=pictures.STEEP, roomy=pictures.ROOMY,
        )  # fmt: skip
        score = f'<g class="score" transform="translate(0 {whole.moved:.2f})">{system["svg"]}</g>'
        assert whole.svg == f'<g class="plot">{layer["over"]}{score}{layer["under"]}</g>'
        assert layer["pace"] == pytest.approx([whole.pace_top, whole.pace, whole.pace_bottom], abs=0.01)
        assert layer["level"] == pytest.approx([whole.level_top, whole.level, whole.level_bottom], abs=0.01)
        assert layer["staff"][1] < layer["level"][1] < layer["height"]
        assert layer["pace"][1] < layer["staff"][0]


def test_what_is_written_of_an_entry_has_the_place_of_that_entry(kept, reading):
    lines = FLOWING.read_text(encoding="utf-8").split("\n")
    layers = said(kept.drawn(reading, ["wide"])["papers"]["wide"])
    found = set(re.findall(r'<g class="([\w-]+) [^"]*" data-entry="(\d+):(\d+)"', layers))
    heads = {"slowing": r"(rall|riten|string|allarg)", "hold": r"(agogic|fermata|breath)", "hairpin": r"(cresc|dim)"}
    assert len(found) > 40
    for kind, line, column in found:
        text = lines[int(line) - 1][int(column) - 1 :]
        assert re.match(r"\{?" + heads[kind], text) if kind in heads else text, (kind, text)
    assert {kind for kind, *_ in found} >= {"phrase", "slowing", "hold", "hairpin", "dynamic", "tone", "slide"}


def test_entries_of_an_older_plan_have_its_name(tmp_path):
    shutil.copy(FLOWING, tmp_path / "flowing.yaml")
    shutil.copy(PLANS / "low-water.musicxml", tmp_path)
    new = tmp_path / "new.yaml"
    new.write_text("based on: flowing.yaml\nholds:\n  - {breath: after 8}\n", encoding="utf-8")
    names = re.findall(r'data-entry="([^"]*)"', said(Pictures().drawn(load(new), ["wide"])["papers"]["wide"]))
    assert "3:5" in names and "51:5@flowing.yaml" in names
    assert all(name == "3:5" or name.endswith("@flowing.yaml") for name in names)


def test_a_score_is_engraved_once_for_each_paper(reading, monkeypatch):
    engraved = []
    whole = Engraver.engrave
    monkeypatch.setattr(Engraver, "engrave", lambda self, width, *a: engraved.append(width) or whole(self, width, *a))
    kept = Pictures()
    for _ in range(3):
        kept.music(reading.score, ["wide"])
        kept.drawn(reading, ["wide", "narrow"])
    assert engraved == [PAPERS["wide"], PAPERS["narrow"]]


def test_the_key_is_that_of_the_score_as_it_is_written(tmp_path):
    plan = tmp_path / "plan.yaml"
    plan.write_text("score: piece.abc\n", encoding="utf-8")
    kept, keys = Pictures(), []
    for music in ("C D E F | G4 |]", "C D E F | G4 |]", "C D E F | G A G2 |]", "C D E2 | G4 |]"):
        (tmp_path / "piece.abc").write_text(f"X:1\nM:4/4\nL:1/4\nK:C\n{music}\n", encoding="utf-8")
        reading = load(plan)
        keys.append(kept.drawn(reading, ["wide"])["key"])
        assert kept.music(reading.score, ["wide"])["key"] == keys[-1]
    assert keys[0] == keys[1] and len(set(keys)) == 3
    assert len(kept._kept) == 2  # one, and the one before it


def test_another_plan_of_the_same_music_gives_its_curves_and_no_words(kept, reading):
    other = load(PLANS / "low-water-inward.yaml")
    alone, both = (kept.drawn(reading, ["wide"], beside) for beside in (None, other))
    assert alone["beside"] is None and both["beside"] == "inward"
    mine, with_other = said(alone["papers"]["wide"]), said(both["papers"]["wide"])
    assert len(CURVE.findall(with_other)) > len(CURVE.findall(mine))
    assert '<g class="reading b pace">' in with_other and "reading b" not in mine
    words = lambda svg: sorted(text.text or "" for text in parsed(svg).iter("text") if text.get("class") == "words")  # noqa: E731
    assert words(with_other) == words(mine)


def test_another_piece_is_not_drawn_beside(kept, reading):
    other = load(PLANS / "umbrella-stand-dancing.yaml")
    both = kept.drawn(reading, ["wide"], other)
    assert both["beside"] is None
    assert both["papers"] == kept.drawn(reading, ["wide"])["papers"]


def test_a_score_that_is_not_engraved_has_its_bars(reading, monkeypatch):
    def refuse(*_):
        raise CannotDo.because("not-engraved", "the engraver cannot read it")

    monkeypatch.setattr(pictures, "Engraver", refuse)
    kept = Pictures()
    music, layers = kept.music(reading.score, ["narrow"]), kept.drawn(reading, ["narrow"])["papers"]["narrow"]
    assert music["refused"] == "the engraver cannot read it" and not music["papers"]["narrow"]["engraved"]
    assert len(layers) == len(music["papers"]["narrow"]["systems"]) and 'class="curve' in said(layers)


@pytest.mark.parametrize(("kind", "drawn_at", "scale"), [("pace", pace_y, 1.6), ("level", level_y, 1.0)])
def test_a_height_tells_the_value_that_is_drawn_there(kept, reading, kind, drawn_at, scale):
    """As the page reads it, from knot to knot: to half a percent of the tempo, and to a fifth of a dB."""
    heights = kept.music(reading.score, ["wide"])["heights"][kind]
    y = np.array(heights["y"])
    assert (np.diff(y) > 0).all()
    asked = np.linspace(0.31, 1.46, 141) if kind == "pace" else np.linspace(-27.5, 5, 141)
    read = np.interp(scale * drawn_at(asked), y, heights["value"])
    assert np.abs(read - asked).max() < (0.005 if kind == "pace" else 0.2)


def test_hostile_words_are_drawn_as_words(tmp_path):
    evil = "</text></svg><script>window.broken=1</script>\" onload='x'"
    (tmp_path / "piece.abc").write_text(f"X:1\nT:{evil}\nM:4/4\nL:1/4\nK:C\nC D E F | G4 |]\n", encoding="utf-8")
    plan = tmp_path / "plan.yaml"
    quoted = json.dumps(evil)
    phrases = f"phrases:\n  - {{bars: 1-2, name: {quoted}, why: {quoted}}}\n"
    plan.write_text(f"title: {quoted}\nscore: piece.abc\n{phrases}", encoding="utf-8")
    kept, reading = Pictures(), load(plan)
    music = kept.music(reading.score, ["wide"])["papers"]["wide"]
    made = [*kept.drawn(reading, ["wide"])["papers"]["wide"], *music["systems"]]
    for layer in made:
        for svg in (layer[name] for name in ("over", "under", "svg") if name in layer):
            tags = {element.tag for element in parsed(svg).iter()}
            assert tags <= {"svg", "g", "path", "text", "tspan", "use", "ellipse", "polygon", "polyline", "rect"}
            assert not any(name.startswith("on") for element in parsed(svg).iter() for name in element.attrib)
