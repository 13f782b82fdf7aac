"""What is known of the modelled guitar, where open strings are judged by it."""

from __future__ import annotations

import numpy as np
import pytest
from house import DEMOS
from support import reading, score

from soundfonts import guitar
from timing import check, load
from timing.cautions.rules import Sound
from timing.performance import POINTS
from timing.remarks import Severity

# First position: five of fifteen are open strings.
SCALE = ["g2", "a2", "b2", "c3", "d3", "e3", "f3", "g3", "a3", "b3", "c4", "d4", "e4", "f4", "g4"]


def told(plan: dict, notes: list[str]):
    made = reading(plan, score(len(notes) // 4, voices={1: " ".join(f"{note}:1" for note in notes)}, program=24))
    return made, [remark for remark in check(made, sound=guitar) if remark.code == "open-string-out"]


def test_the_guitar_plucks_where_the_hand_is_thought_to_be():
    assert {tone: POINTS[tone] for tone in ("naturale", "sul tasto", "sul ponticello")} == pytest.approx(
        {guitar.TONES_IN_BANK[code]: cm for code, cm in guitar.PLUCKING_POINTS.items() if code < 3}
    )
    assert guitar.TONES_IN_BANK == ("naturale", "sul tasto", "sul ponticello", "pizzicato", "harmonics", "ligado")


def test_a_scale_in_first_position_earns_no_caution():
    made, remarks = told({}, [*SCALE, SCALE[-2]])
    assert np.sum(made.performance.notes["fret"] == 0) == 5
    assert [remark for remark in remarks if remark.severity is Severity.CAUTION] == []


def test_an_open_string_rings_brighter_and_louder_than_the_same_note_stopped():
    sound: Sound = guitar
    for string, fret in ((1, 5), (2, 4), (4, 5), (5, 5)):
        asked = [(string, 0, guitar.STANDARD_TUNING, 0), (string + 1, 0, guitar.STANDARD_TUNING, fret)]
        for measure in (sound.brightness, sound.loudness):
            opened, stopped = (measure(*each)[0] for each in asked)
            assert opened > stopped


def test_a_lightly_accented_open_string_stands_out_where_a_stopped_one_does_not():
    line = ["d4", "e4", "f4", "d4"]
    plan = {"accents": [{"at": "1:2", "by": "2 dB"}], "strings": [{"at": "1:2", "string": 1}]}
    (remark,) = told(plan, line)[1]
    assert remark.severity is Severity.CAUTION and remark.suggestion == "strings: [{at: 1:2, string: 2}]"
    plan["strings"] = [{"at": "1:2", "string": 2}]
    assert told(plan, line)[1] == []


def test_a_tuning_of_too_many_strings_is_judged_by_its_levels():
    plan = {"tuning": ["E4", "B3", "G3", "D3", "A2", "E2", "D2", "C2", "A1"], "strings": [{"at": "1:2", "string": 1}]}
    assert told(plan, ["d4", "e4", "f4", "d4"])[1] == []
    loud = plan | {"accents": [{"at": "1:2", "by": "3 dB"}]}
    assert len(told(loud, ["d4", "e4", "f4", "d4"])[1]) == 1


@pytest.mark.parametrize("plan", DEMOS, ids=lambda path: path.stem)
def test_the_demo_plans_earn_no_caution_by_the_sound(plan):
    codes = [remark.code for remark in check(load(plan), sound=guitar) if remark.severity is not Severity.ADVICE]
    assert codes == (["slowing-mid-phrase"] if "misplaced" in plan.name else [])
