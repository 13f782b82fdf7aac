"""Changes read from JSON: whatever a browser sends, it is a change or a clear refusal."""

from __future__ import annotations

import json
import math

import pytest
from gestures import Sitting, refused
from house import PLANS
from hypothesis import given
from hypothesis import strategies as st
from laws import MANY
from planfiles import NO_MUSICIAN_S_WORDS

from timing.changing.asked import MoveEnd, SetKeys, TakeOffer, Target, read_change, read_spot
from timing.changing.spots import PageSpot
from timing.remarks import CannotDo

WHERE = {"section": "slowing", "line": 51, "column": 5}


@pytest.fixture(scope="module")
def plan():
    return Sitting(PLANS / "low-water-flowing.yaml")


def test_what_is_asked_is_read():
    keys = {"to": "70%", "then": None, "seconds": 0.5, "in time": True, "why": "  a\n b  "}
    assert read_change({"what": "settings", **WHERE, "keys": keys}) == SetKeys(
        Target("slowing", 51, 5), {"to": "70%", "then": None, "seconds": 0.5, "in time": True, "why": "a b"}
    )
    to = {"row": 3, "offset": 1.5, "pass": 2}
    assert read_change({"what": "move", **WHERE, "end": "end", "to": to}) == MoveEnd(
        Target("slowing", 51, 5), "end", PageSpot(3, 1.5, 2)
    )
    offer = {"what": "offer", "id": "breath", "at": {"row": 0, "offset": 0, "pass": None}, "until": None}
    assert read_change(offer) == TakeOffer("breath", PageSpot(0, 0.0, None), None)
    older = {"what": "remove", **WHERE, "file": "older.yaml"}
    assert read_change(older).target == Target("slowing", 51, 5, "older.yaml")


@pytest.mark.parametrize(
    ("given", "why"),
    [
        (None, "no change"), ([], "no change"), ("remove", "no change"), ({}, "'what'"),
        ({"what": "x"}, "no change that"),
        ({"what": {"a": 1}}, "'what'"), ({"what": "remove"}, "'section'"),
        ({"what": "remove", **WHERE, "line": "51"}, "'line' is not a number"),
        ({"what": "remove", **WHERE, "line": -1}, "'line' is out of range"),
        ({"what": "remove", **WHERE, "line": 1e300}, "'line' is out of range"),
        ({"what": "remove", **WHERE, "line": 10**400}, "'line' is out of range"),
        ({"what": "remove", **WHERE, "line": math.nan}, "'line' is out of range"),
        ({"what": "remove", **WHERE, "line": 1.5}, "not a whole number"),
        ({"what": "remove", **WHERE, "line": True}, "not a number"),
        ({"what": "remove", **WHERE, "section": "x" * 61}, "61 letters"),
        ({"what": "settings", **WHERE}, "which settings"),
        ({"what": "settings", **WHERE, "keys": {}}, "which settings"),
        ({"what": "settings", **WHERE, "keys": {"to": [1]}}, "one value"),
        ({"what": "settings", **WHERE, "keys": {"to": {"a": 1}}}, "one value"),
        ({"what": "settings", **WHERE, "keys": {"to": math.inf}}, "beyond all music"),
        ({"what": "settings", **WHERE, "keys": {"to": 10**400}}, "beyond all music"),
        ({"what": "settings", **WHERE, "keys": {"to": "a\x00b"}}, "no text"),
        ({"what": "settings", **WHERE, "keys": {"to": "\ud800"}}, "no text"),
        ({"what": "settings", **WHERE, "keys": {"why": "x" * 2001}}, "2001 letters"),
        ({"what": "settings", **WHERE, "keys": {"": 1}}, "name of letters"),
        ({"what": "settings", **WHERE, "keys": {str(n): 1 for n in range(101)}}, "100 settings"),
        ({"what": "move", **WHERE, "end": "middle", "to": {"row": 0, "offset": 0}}, "a start, an end"),
        ({"what": "move", **WHERE, "end": "end", "to": 7}, "the place of 'to'"),
        ({"what": "move", **WHERE, "end": "end", "to": {"row": -1, "offset": 0}}, "'row' is out of range"),
        ({"what": "move", **WHERE, "end": "end", "to": {"row": 0, "offset": 0, "pass": 0}}, "'pass' is out of range"),
        ({"what": "depth", **WHERE, "to": "70%"}, "'to' is not a number"),
        ({"what": "depth", **WHERE, "to": 0}, "'to' is out of range"),
        ({"what": "hairpin", "from": {"row": 0, "offset": 0}, "to": 3}, "the place of 'until'"),
        ({"what": "offer", "id": "x"}, "the place of 'at'"), ({"what": "mend", "index": -1}, "out of range"),
        ({"what": "accept", "index": 0}, "'because'"),
    ],
)  # fmt: skip
def test_what_is_no_change_is_refused_in_words(given, why):
    with pytest.raises(CannotDo) as refusal:
        read_change(given)
    assert why in str(refusal.value) and not NO_MUSICIAN_S_WORDS.search(str(refusal.value).split("'")[-1])


@pytest.mark.parametrize(
    ("asked", "why"),
    [
        ({"what": "remove", **WHERE, "line": 50}, "the plan has changed since"),
        ({"what": "remove", **WHERE, "section": "nonsense"}, "nothing of 'nonsense'"),
        ({"what": "remove", **WHERE, "file": "other.yaml"}, "nothing of 'slowing'"),
        ({"what": "settings", **WHERE, "keys": {"nonsense": 1}}, "'nonsense' is no setting"),
        ({"what": "settings", **WHERE, "keys": {"to": "80"}}, "80%"),
        ({"what": "settings", **WHERE, "keys": {"to": "120%"}}, "below 100%"),
        ({"what": "settings", **WHERE, "keys": {"seconds": 1}}, "no setting of this entry"),
        ({"what": "settings", **WHERE, "keys": {"rallentando": "5-99"}}, "the score ends at bar 33"),
        ({"what": "settings", **WHERE, "keys": {"rallentando": None}}, "what it is"),
        ({"what": "settings", **WHERE, "keys": {"kind": "fermata"}}, "none of rallentando"),
        ({"what": "settings", **WHERE, "keys": {"louder": "2 dB"}}, "only an allargando"),
        ({"what": "settings", "section": "title", "line": 13, "column": 8, "keys": {"score": "x"}}, "only itself"),
        ({"what": "settings", "section": "instrument", "line": 15, "column": 13, "keys": {"instrument": "spoon"}},
         "'spoon' is not an instrument"),
        ({"what": "move", **WHERE, "end": "end", "to": {"row": 999, "offset": 0}}, "no such bar"),
        ({"what": "move", **WHERE, "end": "end", "to": {"row": 5, "offset": 99}}, "shorter than that"),
        ({"what": "move", **WHERE, "end": "end", "to": {"row": 1, "offset": 0}}, "pass each other"),
        ({"what": "move", **WHERE, "end": "whole", "to": {"row": 33, "offset": 2.9}}, "beyond the end"),
        ({"what": "move", "section": "title", "line": 13, "column": 8, "end": "end", "to": {"row": 1, "offset": 0}},
         "the whole piece"),
        ({"what": "depth", "section": "holds", "line": 69, "column": 5, "to": 0.5}, "only a slowdown"),
        ({"what": "depth", **WHERE, "to": 1.1}, "below 100%"), ({"what": "depth", **WHERE, "to": 0.05}, "10% to 300%"),
        ({"what": "amount", **WHERE, "to": 1}, "no amount"),
        ({"what": "amount", "section": "holds", "line": 69, "column": 5, "to": 90}, "50% to 1000%"),
        ({"what": "hairpin", "from": {"row": 3, "offset": 0}, "until": {"row": 3, "offset": 0}, "to": 3},
         "a beginning"),
        ({"what": "hairpin", "from": {"row": 3, "offset": 0}, "until": {"row": 2, "offset": 0}, "to": 3}, "after it"),
        ({"what": "hairpin", "from": {"row": 3, "offset": 0}, "until": {"row": 4, "offset": 0}, "to": 0}, "neither"),
        ({"what": "hairpin", "from": {"row": 3, "offset": 0}, "until": {"row": 4, "offset": 0}, "to": 99}, "40 dB"),
        ({"what": "offer", "id": "nonsense", "at": {"row": 3, "offset": 0}}, "not possible here"),
        ({"what": "offer", "id": "breath", "at": {"row": 3, "offset": 0, "pass": 9}}, "not heard on pass 9"),
        ({"what": "mend", "index": 3}, "told no more"),
        ({"what": "accept", "index": 3, "because": "x"}, "told no more"),
    ],
)  # fmt: skip
def test_what_this_plan_cannot_have_is_refused_in_words(plan, asked, why):
    assert why in refused(asked, plan.reading, plan.text)


ANY = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8)
    | st.sampled_from(["start", "end", "whole", "to", "slowing", "breath", "7:2", "80%"]),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(
        st.sampled_from(["row", "offset", "pass", "to", "then", "kind", "x"]), inner, max_size=4
    ),
    max_leaves=6,
)  # fmt: skip
KEYS = (
    "what", "section", "line", "column", "file", "keys", "end", "to", "from", "until", "at", "id", "index", "because",
)  # fmt: skip
HOSTILE = st.dictionaries(st.sampled_from(KEYS), ANY, max_size=8)
WHAT = st.sampled_from(["settings", "move", "depth", "amount", "hairpin", "offer", "remove", "mend", "accept"])


@MANY
@given(HOSTILE, WHAT, st.booleans(), st.booleans())
def test_hostile_json_is_refused_without_a_traceback(plan, wild, what, known, placed):
    """Wherever the rest is sound: only `CannotDo` may come of it."""
    asked = {**wild, "what": what} if known else wild
    if placed:
        asked = asked | WHERE
    words = refused(asked, plan.reading, plan.text)
    assert "Traceback" not in words and len(words) < 3000


def test_what_comes_back_from_json_is_the_same():
    change = {"what": "move", **WHERE, "end": "start", "to": {"row": 3, "offset": 0.1, "pass": None}}
    assert read_change(json.loads(json.dumps(change))) == read_change(change)
    assert read_spot(json.loads(json.dumps(PageSpot(3, 1 / 3, 2).as_json()))) == PageSpot(3, 1 / 3, 2)
