"""Settings changed in a form and amounts drawn, in every layout that a plan may have."""

from __future__ import annotations

import pytest
from gestures import at, refused, sitting
from house import PLANS

from timing.cautions import check
from timing.changing import changed
from timing.changing.asked import AcceptRemark, MendRemark
from timing.plan.planfile import read_plan
from timing.remarks import CannotDo, Remark, Severity

SCORE = f"score: {PLANS / 'umbrella-stand.musicxml'}\n"
TOP = SCORE + "tempo: 120\n"


def plan_of(folder, text, top=TOP):
    return sitting(folder, top + text)


def set_(plan, section, words, **keys):
    named = {key.replace("_", " "): value for key, value in keys.items()}
    plan.make({"what": "settings", **at(plan.entry(section, words)), "keys": named})
    return plan.text


@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize(
    ("before", "keys", "after"),
    [
        # one value, whatever stands around it
        ("slowing:\n  # a\n  - {rallentando: 7:1 - 8:1,  to: '80%' , why: \"x, y\"}  # b\n", {"to": "70%"},
         "slowing:\n  # a\n  - {rallentando: 7:1 - 8:1,  to: 70% , why: \"x, y\"}  # b\n"),
        ("slowing:\n- rallentando: 7:1 - 8:1 # r\n  # between\n\n  to: 80%\n# last\n", {"to": "70%"},
         "slowing:\n- rallentando: 7:1 - 8:1 # r\n  # between\n\n  to: 70%\n# last\n"),
        ("slowing: [{rallentando: 7:1 - 8:1, to: 80%}] # s\n", {"to": "70%"},
         "slowing: [{rallentando: 7:1 - 8:1, to: 70%}] # s\n"),
        ("slowing: [\n  {rallentando: 7:1 - 8:1,\n   to: 80%,  # t\n  },\n]\n", {"to": "70%"},
         "slowing: [\n  {rallentando: 7:1 - 8:1,\n   to: 70%,  # t\n  },\n]\n"),
        # one that comes, one that goes, one in the place of another
        ("slowing:\n  - rallentando: 7:1 - 8:1\n    why: x\n", {"then": "a tempo", "pass": 2},
         "slowing:\n  - rallentando: 7:1 - 8:1\n    then: a tempo\n    pass: 2\n    why: x\n"),
        ("slowing:\n  - {rallentando: 7:1 - 8:1, to: 80%, why: x}\n", {"to": None, "why": ""},
         "slowing:\n  - {rallentando: 7:1 - 8:1}\n"),
        ("slowing:\n  - {rallentando: 7:1 - 8:1, to: 80%}\n", {"kind": "ritenuto"},
         "slowing:\n  - {ritenuto: 7:1 - 8:1, to: 80%}\n"),
        ("slowing:\n  - to: 80%  # deep\n    rallentando: 7:1 - 8:1  # r\n", {"kind": "ritenuto", "to": "60%"},
         "slowing:\n  - to: 60%  # deep\n    ritenuto: 7:1 - 8:1  # r\n"),
    ],
)  # fmt: skip
def test_a_setting_is_changed_where_it_stands_and_nothing_else(tmp_path, before, keys, after, end):
    plan = plan_of(tmp_path, before.replace("\n", end), TOP.replace("\n", end))
    entry = next(each for each in [plan.entry("slowing", "")])
    plan.make({"what": "settings", **at(entry), "keys": keys})
    assert plan.text == (TOP + after).replace("\n", end)


def test_a_setting_that_excludes_another_takes_its_place(tmp_path):
    plan = plan_of(tmp_path, "dynamics:\n  - {crescendo: 5:1 - 7:1, to mark: f}  # c\n  - {at: 9, softer: 2 dB}\n")
    assert "- {crescendo: 5:1 - 7:1, by: 2 dB}  # c\n" in set_(plan, "dynamics", "crescendo", by="2 dB")
    assert "- {at: 9, louder: 1 dB}\n" in set_(plan, "dynamics", "softer", louder="1 dB")


def test_an_arch_comes_changes_and_goes(tmp_path):
    last = "  - bars: 17-28\n    arch:\n      pace: 4%\n"
    plan = plan_of(tmp_path, f"phrases:\n  - 1-8  # a\n  - {{bars: 9-16, arch: 6%}}\n{last}")
    text = set_(plan, "phrases", "phrase 1-8", arch_pace="8%", name="up")
    assert "  - {bars: 1-8, arch: {pace: 8%}, name: up}  # a\n" in text
    assert "{bars: 9-16, arch: {pace: 6%, level: 2 dB}}" in set_(plan, "phrases", "phrase 9-16", arch_level="2 dB")
    assert set_(plan, "phrases", "phrase 17-28", arch_pace=None).endswith("  - bars: 17-28\n")
    assert "  - {bars: 1-8, name: up}  # a\n" in set_(plan, "phrases", "phrase 1-8", arch_pace=None)


@pytest.mark.parametrize(
    ("before", "words", "keys", "after"),
    [
        ("voices: {bass: -3 dB, inner: -9 dB}\n", "bass", {"level": None}, "voices: {inner: -9 dB}\n"),
        ("voices: {bass: -3 dB}\n", "bass", {"level": None}, "voices: {}\n"),
        ("voices:\n  bass: -3 dB  # b\n", "bass", {"level": None}, "voices:\n"),
        ("voices:\n  melody: {level: 0 dB, lead: 15 ms}\n  bass: -3 dB\n", "melody", {"level": None, "lead": None},
         "voices:\n  bass: -3 dB\n"),
        ("voices:\n  melody:\n    level: 0 dB\n  bass: -3 dB\n", "melody", {"level": None}, "voices:\n  bass: -3 dB\n"),
        ("voices:\n  bass: -3 dB  # b\n", "bass", {"lead": "yes"}, "voices:\n  bass: {level: -3 dB, lead: yes}  # b\n"),
    ],
)  # fmt: skip
def test_a_voice_that_says_nothing_any_more_goes(tmp_path, before, words, keys, after):
    plan = plan_of(tmp_path, before)
    plan.make({"what": "settings", **at(plan.entry("voices", words)), "keys": keys})
    assert plan.text == TOP + after


def test_settings_of_the_piece(tmp_path):
    plan = plan_of(tmp_path, "title: A # t\ninstrument: piano\narticulation: {roll: 30 ms}\n")
    assert "title: B # t\n" in set_(plan, "title", "title", title="B")
    assert "instrument: harp\n" in set_(plan, "instrument", "instrument", instrument="harp")
    assert "articulation" not in set_(plan, "articulation", "articulation", roll=None)
    assert "title" not in set_(plan, "title", "title", title=None)
    assert "tempo: 63.5\n" in set_(plan, "tempo", "tempo", tempo="63.5")


def test_the_only_tempo_goes_with_its_line_and_of_several_one(tmp_path):
    plan = plan_of(tmp_path, "tempo:\n  - 120  # t\n  - {at: 9, tempo: 100}\n", SCORE)
    plan.make({"what": "remove", **at(plan.entry("tempo", "tempo 100"))})
    assert plan.text == SCORE + "tempo:\n  - 120  # t\n"
    plan.make({"what": "remove", **at(plan.entry("tempo", "tempo"))})
    assert plan.text == SCORE


@pytest.mark.parametrize(
    ("section", "entry", "to", "after"),
    [
        ("holds", "{fermata: 8:1, length: 150%}", 1.333, "{fermata: 8:1, length: 133.3%}"),
        ("holds", "{fermata: 8:1}", 1.5, "{fermata: 8:1, length: 150%}"),
        ("holds", "{breath: after 8}", 0.35, "{breath: after 8, seconds: 0.35}"),
        ("holds", "{delay: 9:1, for: melody}", 0.03, "{delay: 9:1, for: melody, by: 30 ms}"),
        ("dynamics", "{crescendo: 5-6, to mark: f}", 2.04, "{crescendo: 5-6, by: 2 dB}"),
        ("dynamics", "{crescendo: 5-6, by: 3 dB}", -2, "{diminuendo: 5-6, by: 2 dB}"),
        ("dynamics", "{at: 5, softer: 3 dB}", -1, "{at: 5, louder: 1 dB}"),
        ("accents", "{at: 5}", 4, "{at: 5, by: 4 dB}"),
        ("second time", "{bars: 1-8, softer: 3 dB}", 1.5, "{bars: 1-8, softer: 1.5 dB}"),
    ],
)
def test_an_amount_is_drawn(tmp_path, section, entry, to, after):
    plan = plan_of(tmp_path, f"{section}:\n  - {entry}  # here\n")
    plan.make({"what": "amount", **at(plan.entry(section, "")), "to": to})
    assert plan.text == TOP + f"{section}:\n  - {after}  # here\n"


def test_the_bottom_of_a_slowdown_is_drawn(tmp_path):
    plan = plan_of(tmp_path, "slowing:\n  - {rallentando: 7:1 - 8:1}\n  - {accelerando: 9:1 - 10:1, to: 110%}\n")
    plan.make({"what": "depth", **at(plan.entry("slowing", "rall")), "to": 2 / 3})
    plan.make({"what": "depth", **at(plan.entry("slowing", "accel")), "to": 1.2})
    first, second = "{rallentando: 7:1 - 8:1, to: 66.7%}", "{accelerando: 9:1 - 10:1, to: 120%}"
    assert plan.text == TOP + f"slowing:\n  - {first}\n  - {second}\n"


@pytest.mark.parametrize(
    ("section", "entry", "end", "to", "after"),
    [
        ("slowing", "{rallentando: 7:2 - 8:3}", "start", (5, 1.0), "{rallentando: 6:2 - 8:3}"),
        ("slowing", "{rallentando: 7-8}", "end", (6, 3.0), "{rallentando: 7}"),
        ("slowing", "{rallentando: 7:2 - 8:3}", "end", (7, 0.5), "{rallentando: 7:2 - 8:1.5}"),
        ("slowing", "{rallentando: 7:2 - 8:3}", "whole", (5, 2.0), "{rallentando: 6:3 - 8:1}"),
        ("slowing", "{a tempo: 9}", "whole", (9, 0.0), "{a tempo: 10}"),
        ("holds", "{fermata: 8:1}", "whole", (7, 1.0), "{fermata: 8:2}"),
        ("holds", "{breath: after 8:3}", "whole", (7, 2.0), "{breath: after 8:2}"),
        ("holds", "{breath: after 8}", "whole", (9, 0.0), "{breath: after 9}"),
        ("dynamics", "{crescendo: 5:1 - 7:1}", "end", (5, 1.0), "{crescendo: 5:1 - 6:2}"),
        ("dynamics", "{crescendo: 5:1 - 7:1}", "end", (6, 3.0), "{crescendo: 5:1 - 7}"),
        ("dynamics", "{crescendo: 5:1 - 7:1}", "end", (7, 0.0), "{crescendo: 5:1 - 8:1}"),
        ("dynamics", "{at: 5, mark: p}", "whole", (5, 1.0), "{at: 6:2, mark: p}"),
        ("tempo", "{at: 9, tempo: 90%}", "whole", (9, 0.0), "{at: 10, tempo: 90%}"),
        ("second time", "{bars: 1-8, softer: 3 dB}", "start", (4, 0.0), "{bars: 5-8, softer: 3 dB}"),
    ],
)
def test_an_end_or_the_whole_is_moved(tmp_path, section, entry, end, to, after):
    top = SCORE + f"{section}:\n  - " + ("120\n  - " if section == "tempo" else "")
    plan = sitting(tmp_path, f"{top}{entry}  # here\n")
    listed = plan.entry(section, "tempo 90" if section == "tempo" else "")
    place = {"row": to[0], "offset": to[1], "pass": None}
    plan.make({"what": "move", **at(listed), "end": end, "to": place})
    assert plan.text == f"{top}{after}  # here\n"


def test_a_slide_is_moved_to_notes_alone(tmp_path):
    text = f"score: {PLANS / 'low-water.musicxml'}\ntempo: 60\nglissandi:\n  - {{from: 23:4, to: 24:1, swell: 3 dB}}\n"
    plan = sitting(tmp_path, text)
    slide = at(plan.entry("glissandi", "slide"))
    away = {"what": "move", **slide, "end": "end", "to": {"row": 24, "offset": 0.1, "pass": None}}
    assert "no note begins at" in refused(away, plan.reading, plan.text)
    over = {"what": "move", **slide, "end": "end", "to": {"row": 28, "offset": 2.5, "pass": None}}
    assert "28:6 does not follow 23:4" in refused(over, plan.reading, plan.text)
    back = {"what": "move", **slide, "end": "end", "to": {"row": 23, "offset": 0.0, "pass": None}}
    assert "a slide ends after it begins" in refused(back, plan.reading, plan.text)


def hairpin(row, offset, until_row, until, to, **more):
    start, end = {"row": row, "offset": offset, **more}, {"row": until_row, "offset": until}
    return {"what": "hairpin", "from": start, "until": end, "to": to}


def test_a_hairpin_is_drawn_and_drawn_again(tmp_path):
    plan = plan_of(tmp_path, "")
    plan.make(hairpin(4, 0.0, 6, 0.0, 3.04))
    assert plan.text == TOP + "\ndynamics:\n  - {crescendo: 5:1 - 7:1, by: 3 dB}\n"
    first = plan.text
    plan.make(hairpin(4, 0.0, 6, 0.0, -2))
    assert plan.text == first.replace("crescendo", "diminuendo").replace("3 dB", "2 dB")
    plan.make(hairpin(6, 0.0, 7, 3.0, 2, **{"pass": 2}))
    assert "{crescendo: 7-8, by: 2 dB, pass: 2}" in plan.text


def test_a_remark_is_mended_or_accepted_with_its_reason(tmp_path):
    slow = "{rallentando: 5:1 - 6:1, to: 75%, then: a tempo}"
    plan = plan_of(tmp_path, f"phrases: [{{bars: 1-8, inside: [1-4, 5-8]}}]\nslowing:\n  - {slow} # s\n")
    remarks = check(plan.reading)
    number = next(n for n, remark in enumerate(remarks) if remark.code == "slowing-mid-phrase")
    mended = changed(plan.reading, remarks, plan.text, MendRemark(number))
    assert "slowing-mid-phrase" not in {each.code for each in check(_read(plan, mended))}
    text = changed(plan.reading, remarks, plan.text, AcceptRemark(number, "it: hangs, in the air"))
    assert text.startswith(plan.text) and text.endswith('because: "it: hangs, in the air"}\n')
    accepted = [each for each in check(_read(plan, text)) if each.code == "slowing-mid-phrase"]
    assert accepted and all(each.accepted == "it: hangs, in the air" for each in accepted)
    assert "acceptance-unmatched" not in {each.code for each in check(_read(plan, text))}
    for remark, why in (
        (Remark(Severity.ERROR, "x", "x"), "an error cannot"), (Remark(Severity.CAUTION, "x", "x", more=3), "several"),
        (Remark(Severity.CAUTION, "x", "x", accepted="so"), "already"),
    ):  # fmt: skip
        with pytest.raises(CannotDo, match=why):
            changed(plan.reading, [remark], plan.text, AcceptRemark(0, "x"))
    with pytest.raises(CannotDo, match="takes a musician"):
        changed(plan.reading, [Remark(Severity.CAUTION, "x", "x")], plan.text, MendRemark(0))


def _read(plan, text):
    from timing.reading import perform

    return perform(plan.reading.source, read_plan(plan.path, text))
