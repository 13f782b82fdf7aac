"""The engraved score: every notehead and every bar is there, under its own name and at its own place."""

from __future__ import annotations

from functools import cache
from threading import Thread
from xml.etree.ElementTree import fromstring

import numpy as np
import pytest
from house import PLANS
from music21 import corpus
from written import FOUR_FOUR, bar, musicxml, note

from render.drawing.engraver import Engraver, engrave
from render.drawing.engraving import SPACE, STAFF
from timing.order.splitting import split_bars
from timing.reader import read_score
from timing.remarks import CannotDo

# several staves and voices, ornaments, pickups, repeats, ties, a file of each kind
WORKS = ["bach/bwv66.6", "schumann_robert/opus48no2", "schoenberg/opus19/movement2", "essenFolksong/han1",
         "joplin/maple_leaf_rag", "chopin/mazurka06-2", "trecento/Fava_Dicant_nunc_iudei"]  # fmt: skip
STEPS = "CDEFGAB"


def score_of(work: str):
    found = corpus.getWork(work)
    return read_score(found[0] if isinstance(found, list) else found)


@cache
def engraver_of(work: str) -> Engraver:
    return Engraver(score_of(work))


@pytest.mark.parametrize("work", WORKS)
def test_every_notehead_and_every_bar_stands_somewhere_once(work):
    score = score_of(work)
    for width in (1060, 350):
        engraving = engraver_of(work).engrave(width)
        heads = np.concatenate([system.heads["head"] for system in engraving.systems])
        bars = np.concatenate([system.bars["bar"] for system in engraving.systems])
        assert sorted(heads) == list(range(len(score.heads)))
        assert list(bars) == list(range(len(score.bars)))


@pytest.mark.parametrize("work", WORKS)
def test_noteheads_stand_in_their_bar_and_later_notes_further_right(work):
    score = score_of(work)
    for system in engraver_of(work).engrave(700).systems:
        box = dict(zip(system.bars["bar"].tolist(), system.bars[["left", "right"]].tolist(), strict=True))
        for head, x, y in system.heads.tolist():
            left, right = box[int(score.heads["bar"][head])]
            assert left <= x <= right
            assert system.top <= y <= system.bottom
        for row in np.unique(system.moments["bar"]):
            inside = system.moments[system.moments["bar"] == row]
            assert np.all(np.diff(inside["offset"]) > 0)
            assert np.all(np.diff(inside["x"]) >= 0)
        assert np.all(np.diff(system.bars["left"]) > 0)


def test_each_name_is_on_the_notehead_of_its_pitch():
    """The height over the lowest line is what the clef makes of the step in the file: half a space a step."""
    file = PLANS / "low-water.musicxml"
    tree = fromstring(file.read_text(encoding="utf-8"))
    clef = tree.find(".//clef")
    assert (clef.findtext("sign"), clef.findtext("line")) == ("G", "2")
    lowest = STEPS.index("E") + 7 * (4 + int(clef.findtext("clef-octave-change")))
    notes = [note for note in tree.iter("note") if note.find("pitch") is not None]
    steps = [STEPS.index(n.findtext("pitch/step")) + 7 * int(n.findtext("pitch/octave")) for n in notes]
    for system in engrave(read_score(file), 1060).systems:
        assert system.staff_bottom - system.staff_top == pytest.approx(STAFF, abs=0.05)
        for head, _, y in system.heads.tolist():
            assert (system.staff_bottom - y) / (SPACE / 2) == pytest.approx(steps[head] - lowest, abs=0.05)


def test_moments_lie_on_the_noteheads():
    score = read_score(PLANS / "low-water.musicxml")
    engraving = engrave(score, 700)
    for number, system in enumerate(engraving.systems):
        rows = score.heads[system.heads["head"]]
        systems, x = engraving.place(rows["bar"], rows["offset"])
        assert set(systems.tolist()) == {number}
        main = score.notes["grace"][rows["note"]] == 0
        # seconds in a chord stand on both sides of the stem: the leftmost counts
        aside = system.heads["x"][main] - x[main]
        assert aside.min() == pytest.approx(0, abs=1e-9)
        assert np.quantile(aside, 0.9) < 0.01
        assert aside.max() < 2 * SPACE


def test_what_a_voice_plays_beside_itself_stands_beside_it(tmp_path):
    """<backup> goes back over the notes of the same voice: beat 2 is where its A3 and its C3 both are."""
    back, forth = "<backup><duration>48</duration></backup>", "<forward><duration>12</duration></forward>"
    notes = "".join(note(pitch, 1) for pitch in ("E3", "A3", "G4", "E4"))
    path = tmp_path / "beside.musicxml"
    path.write_text(musicxml([bar(notes + back + forth + note("C3", 1), 1, FOUR_FOUR)]))
    score = read_score(path, cache=False)
    (system,) = engrave(score, 700).systems
    pitch = score.notes["pitch"][score.heads["note"][system.heads["head"]]]
    x = dict(zip(pitch.tolist(), system.heads["x"].tolist(), strict=True))
    assert x[48] == pytest.approx(x[57], abs=1.5 * SPACE)
    assert x[57] < x[67] < x[64]


def test_strings_that_are_told_make_no_tablature_of_a_staff_with_notes(tmp_path):
    tuning = '<staff-tuning line="1"><tuning-step>E</tuning-step><tuning-octave>2</tuning-octave></staff-tuning>'
    strung = f"<staff-details><staff-lines>6</staff-lines>{tuning}<capo>3</capo></staff-details>"
    sizes = []
    for attributes in ("", strung):
        path = tmp_path / "strung.musicxml"
        clef = "<clef><sign>G</sign><line>2</line><clef-octave-change>-1</clef-octave-change></clef>"
        path.write_text(musicxml([bar(note("G3", 4), 1, FOUR_FOUR + clef + attributes)], names=("Guitar",)))
        (system,) = engrave(read_score(path, cache=False), 700).systems
        sizes.append(system.staff_bottom - system.staff_top)
    assert sizes == pytest.approx([STAFF, STAFF], abs=0.05)


@pytest.mark.parametrize("width", [1060, 350])
def test_the_parts_of_a_split_bar_lie_in_the_bar_of_the_page(width):
    """They meet at the note that stands at the cut, or between the notes around it; all else stays where it was."""
    score = read_score(PLANS / "umbrella-stand.musicxml")
    split = split_bars(score, [(3, 1.0), (3, 2.0), (7, 2.0), (19, 1.0), (24, 1.25), (27, 2.75)])
    whole, cut = engrave(score, width), engrave(split, width)
    for one, two in zip(whole.systems, cut.systems, strict=True):
        assert two.bars["left"][0] == one.bars["left"][0]
        assert np.all(two.bars["left"][1:] < two.bars["right"][1:])
        inner = split.bars["continued"][two.bars["bar"]]
        assert np.array_equal(two.bars["left"][~inner], one.bars["left"])
        assert np.array_equal(two.bars["left"][inner], two.bars["right"][np.flatnonzero(inner) - 1])
        assert np.array_equal(one.heads, two.heads)
    assert np.concatenate([system.bars["bar"] for system in cut.systems]).tolist() == list(range(len(split.bars)))
    rows, offsets = score.heads["bar"], score.heads["offset"]
    there, within = split.heads["bar"], split.heads["offset"]
    assert np.allclose(whole.place(rows, offsets)[1], cut.place(there, within)[1])
    assert np.array_equal(whole.place(rows, offsets)[0], cut.place(there, within)[0])
    markup = "".join(system.svg for system in cut.systems)
    firsts = np.flatnonzero(~split.bars["continued"])
    assert [row for row in range(len(split.bars)) if f'id="b{row}"' in markup] == firsts.tolist()


def test_names_get_the_prefix():
    engraving = engrave(read_score(PLANS / "low-water.musicxml"), 700, prefix="wide-")
    markup = "".join(system.svg for system in engraving.systems)
    assert 'id="wide-n0"' in markup
    assert 'id="wide-b0"' in markup
    assert 'id="n0"' not in markup


def test_what_the_systems_refer_to_is_defined():
    engraving = engrave(score_of("joplin/maple_leaf_rag"), 1060)
    shapes = fromstring(f"<defs>{engraving.definitions}</defs>")
    defined = {shape.get("id") for shape in shapes}
    used = {use.get("href") for system in engraving.systems for use in fromstring(system.svg).iter("use")}
    assert used
    assert {name.removeprefix("#") for name in used} <= defined


def test_any_thread_engraves():
    """The engraver knows where its shapes are in the thread alone in which it was imported."""
    score = read_score(PLANS / "low-water.musicxml")
    here, there = engrave(score, 700.0), []
    for _ in range(2):
        thread = Thread(target=lambda: there.append(engrave(score, 700.0)))
        thread.start()
        thread.join()
    assert [one.definitions for one in there] == [here.definitions] * 2


def test_a_score_that_the_engraver_refuses_is_refused_in_words(monkeypatch):
    import verovio

    monkeypatch.setattr(verovio.toolkit, "loadData", lambda *_: False)
    with pytest.raises(CannotDo, match=r"low-water\.musicxml cannot be engraved"):
        engrave(read_score(PLANS / "low-water.musicxml"), 700)


def test_a_score_of_which_the_engraver_draws_nothing_is_refused_in_words(tmp_path):
    path = tmp_path / "bare.musicxml"
    path.write_text(musicxml([bar(note("rest", 4), 1)]))  # neither metre nor clef nor a note
    with pytest.raises(CannotDo, match="leaves out bars"):
        engrave(read_score(path, cache=False), 700)
