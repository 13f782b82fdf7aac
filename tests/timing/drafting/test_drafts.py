"""Drafted plans: what a musician finds in them, and that nothing in them works against the music."""

from __future__ import annotations

import re

import numpy as np
import pytest
import yaml_lines
from drafts import printed_alone
from house import PLANS
from music21 import corpus
from support import musicxml
from written import FOUR_FOUR, bar, note
from written import musicxml as score_of_bars

from timing.cautions import check
from timing.drafting import draft
from timing.loading import load
from timing.plan import Plan
from timing.reader import read_score
from timing.reading import perform

DEMO = ("low-water", "umbrella-stand")
WORKS = ("bach/bwv66.6", "schumann_robert/opus48no2", "schoenberg/opus19/movement2", "essenFolksong/han1",
         "corelli/opus3no1/1grave", "verdi/laDonnaEMobile", "mozart/k155/movement1")  # fmt: skip


def score_named(name: str):
    if name in DEMO:
        return read_score(PLANS / f"{name}.musicxml")
    found = corpus.getWork(name)
    return read_score(found[0] if isinstance(found, list) else found)


@pytest.fixture(scope="module", params=[*DEMO, *WORKS])
def drafted(request, tmp_path_factory):
    """A score, the file of its plan, and the draft."""
    score = score_named(request.param)
    file = tmp_path_factory.mktemp("drafts") / "plan.yaml"
    made = draft(score, file)
    file.write_text(made.text, encoding="utf-8")
    return score, file, made


def test_it_reads_back_and_earns_no_caution(drafted):
    score, file, _ = drafted
    reading = load(file)
    assert len(reading.performance.notes) >= len(score.notes)
    assert [remark for remark in check(reading) if remark.stands] == []


def test_every_entry_says_why_it_is_there(drafted):
    _, _, made = drafted
    entries = yaml_lines.entries_of(made.text)
    assert entries
    for line, above in entries:
        assert "#" in line or above.lstrip().startswith("#") or "because:" in line, line


def test_the_end_of_the_piece_is_slowed_most(drafted):
    _, file, _ = drafted
    reading = load(file)
    own = [entry for entry in reading.plan.slowing if entry.kind == "rallentando"]
    final = [entry for entry in own if entry.then is None]
    last = reading.performance.notes["score_onset"].max()
    for entry in final:  # none where the score itself says how it ends
        assert entry.to < min((other.to for other in own if other not in final), default=1)
        assert entry is own[-1] or entry.passes == "last"
        assert reading.where.runs(entry.rallentando, entry.passes)[-1].end == pytest.approx(last)
        reached = reading.performance.time.tempo(last, before=True) / reading.performance.time.basic(last)
        assert reached == pytest.approx(entry.to, rel=0.2)  # beats of few notes aside
    assert len(final) <= 1


def test_only_what_is_printed_is_called_so(tmp_path):
    def first(before: str) -> str:
        (tmp_path / "piece.musicxml").write_text(musicxml(8, before={1: before}), encoding="utf-8")
        text = draft(read_score(tmp_path / "piece.musicxml", cache=False), tmp_path / "plan.yaml").text
        return next(line.rstrip() for line in text.splitlines() if line.startswith("tempo:"))

    assert first('<sound tempo="96"/>').endswith("# the file's own, not printed")
    worded = "<direction><direction-type><words>Largo</words></direction-type><sound tempo='48'/></direction>"
    assert first(worded).endswith("# Largo is printed, its number is the file's own")
    mark = "<metronome><beat-unit>quarter</beat-unit><per-minute>60</per-minute></metronome>"
    assert first(f"<direction><direction-type>{mark}</direction-type></direction>").endswith("# printed")


def test_marks_written_out_sound_as_the_printed_ones(drafted, tmp_path):
    """The draft's `printed` entries alone, over the score without its marks, give the reading of the score alone."""
    score, _, made = drafted
    again, own, whole = printed_alone(score, made.text, tmp_path)
    assert whole
    for column in ("onset", "end", "level"):
        np.testing.assert_allclose(again.performance.notes[column], own.performance.notes[column], atol=1e-4)
    np.testing.assert_array_equal(again.performance.notes["tone"], own.performance.notes["tone"])


def basic_tempi(reading) -> np.ndarray:
    starts = reading.performance.bars["start"]
    return reading.performance.time.basic(np.append(starts, starts + reading.performance.bars["length"] / 2))


def test_the_basic_tempo_is_that_of_the_score(drafted):
    score, file, _ = drafted
    own = perform(score, Plan(score=str(score.path)))
    np.testing.assert_allclose(basic_tempi(load(file)), basic_tempi(own), rtol=2e-4)


def words_at(text: str) -> str:
    return f'<direction placement="above"><direction-type><words>{text}</words></direction-type></direction>'


@pytest.mark.parametrize(
    "printed",
    [{5: "Più mosso", 9: "Tempo I"}, {1: "Adagio", 5: "Allegro", 9: "Tempo I"}, {5: "Presto"}, {1: "Andante"}, {}],
)
def test_changes_of_tempo_are_not_lost(printed, tmp_path):
    text = musicxml(16, before={row: words_at(words) for row, words in printed.items()})
    (tmp_path / "piece.musicxml").write_text(text, encoding="utf-8")
    score, file = read_score(tmp_path / "piece.musicxml", cache=False), tmp_path / "plan.yaml"
    file.write_text(draft(score, file).text, encoding="utf-8")
    own = basic_tempi(perform(score, Plan(score=str(score.path))))
    assert (len(set(np.round(own, 3))) > 1) == any(bar > 1 for bar in printed)
    np.testing.assert_allclose(basic_tempi(load(file)), own, rtol=2e-4)


@pytest.mark.parametrize(
    ("name", "ends"),
    [("low-water", ["2:5", "6:5", "12:5", "16:5", "18", "33"]), ("umbrella-stand", ["8", "12", "16", "24", "28"])],
)
def test_the_phrases_of_the_demo_are_those_it_was_composed_with(name, ends):
    text = draft(score_named(name), PLANS / "x.yaml", phrases_only=True).text
    found = {bars.split("-")[-1].strip() for bars in re.findall(r"bars: ([^},#]+)", text)}
    assert set(ends) <= found
    assert "slowing:" not in text
    assert "arch:" not in text


def test_a_repeat_is_softer_and_on_a_guitar_in_another_tone():
    assert "{bars: 3-12, softer: 3 dB, tone: sul tasto}" in draft(score_named("low-water"), PLANS / "x.yaml").text
    assert "{bars: 17-24, softer: 3 dB}" in draft(score_named("umbrella-stand"), PLANS / "x.yaml").text


def test_form_and_keys_are_told():
    about = draft(score_named("umbrella-stand"), PLANS / "x.yaml").text
    assert "# Form: A (1-16; 1-8 twice), B (17-28; 17-24 twice), A." in about
    assert "# Key: G major." in about
    assert "# B (17-28) is in E♭ major." in about


def test_the_score_is_named_from_the_folder_of_the_plan():
    text = draft(score_named("low-water"), PLANS.parent / "x.yaml").text
    assert "\nscore: plans/low-water.musicxml\n" in text


DRUM = (
    '<note><unpitched><display-step>C</display-step><display-octave>5</display-octave></unpitched>'
    "<duration>12</duration><voice>1</voice></note>"
)
REST = "<note><rest/><duration>48</duration><voice>1</voice></note>"


@pytest.mark.parametrize(
    "bars",
    [
        [bar(note("C4", 4), 1, FOUR_FOUR)],
        [bar(note("C4", 1), 1, FOUR_FOUR)],
        [bar(DRUM * 4, 1, FOUR_FOUR), *(bar(DRUM * 4, n) for n in range(2, 9))],
        [bar(REST, 1, FOUR_FOUR), *(bar(REST, n) for n in range(2, 9))],
        [bar(note("C4", 11), 1, "<divisions>12</divisions>"), bar(note("D4", 3) + note("E4", 2.5), 2)],
    ],
    ids=["one bar", "one short bar", "drums", "rests", "free metre"],
)
def test_poor_scores_still_have_a_plan(bars, tmp_path):
    (tmp_path / "piece.musicxml").write_text(score_of_bars(bars), encoding="utf-8")
    score = read_score(tmp_path / "piece.musicxml", cache=False)
    file = tmp_path / "plan.yaml"
    file.write_text(draft(score, file).text, encoding="utf-8")
    assert load(file).score.path.name == "piece.musicxml"


def test_more_bars_than_python_may_call_functions_within_functions(tmp_path):
    (tmp_path / "piece.musicxml").write_text(musicxml(1100), encoding="utf-8")
    score = read_score(tmp_path / "piece.musicxml")
    file = tmp_path / "plan.yaml"
    file.write_text(draft(score, file).text, encoding="utf-8")
    assert [remark for remark in check(load(file)) if remark.stands] == []
