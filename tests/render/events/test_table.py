"""One table of events for all that plays: what differs is when, and how it is said."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from performances import performance
from support import reading, score

from render.events.levels import decibels, expression, velocity
from render.events.table import BEND, CONTROL, OFF, ON, PRESET, Medium, Setting, event_table
from render.events.wheel import BY_SOUNDFONT, BY_STANDARD


def at(rate: float):
    return lambda seconds: np.rint(seconds * rate).astype(np.int64)


TICKS, FINE = Medium(at(480), 1, BY_STANDARD, exact=False), Medium(at(44_100), 64, BY_SOUNDFONT, exact=False)
REST = np.full(9, 50)  # CC7 of as many lanes as there may be
NOTE = st.fixed_dictionaries(
    {
        "lane": st.integers(0, 2),
        "pitch": st.integers(60, 62),
        "onset": st.integers(0, 8).map(lambda n: n / 4),
        "level": st.floats(-40, 0),
    }
)


def rows(events: np.ndarray, *columns: str) -> list[tuple]:
    return [tuple(row) for row in events[list(columns)].tolist()]


@settings(max_examples=50, deadline=None)
@given(st.lists(NOTE, max_size=12))
def test_all_is_struck_in_order_and_let_go(notes):
    made = performance([note | {"end": note["onset"] + 0.5} for note in notes], programs=(0, 24, 40))
    events = event_table(made, TICKS, REST)
    assert (np.diff(events["moment"]) >= 0).all()
    assert not ((np.diff(events["moment"]) == 0) & (np.diff(events["kind"]) < 0)).any()
    struck = events[events["kind"] == ON]
    own, onset = made.notes, TICKS.moments(made.notes["onset"])
    wanted = np.stack([own["lane"], onset, own["pitch"], velocity(own["level"])], axis=1).tolist()
    assert sorted(rows(struck, "lane", "moment", "data", "value")) == sorted(map(tuple, wanted))
    let_go = events[events["kind"] == OFF]
    assert sorted(rows(let_go, "lane", "data")) == sorted(rows(struck, "lane", "data"))
    assert set(events["kind"].tolist()) <= {ON, OFF}


def test_ticks_and_samples_have_the_same_events():
    """A violin that slides and swells: the same keys and controllers, each at its own moment."""
    plan = {"glissandi": [{"from": "1:1", "to": "1:3", "swell": "6 dB", "arrive": "slurred"}]}
    made = reading(plan, score(2, voices={1: "a4:2 c#5:2 e5:4"}, program=40)).performance
    ticks, samples = event_table(made, TICKS, REST), event_table(made, FINE, REST)
    assert len(made.bends) and {BEND, CONTROL, ON, OFF} <= set(ticks["kind"].tolist())
    for kind in (ON, OFF):
        one, other = ticks[ticks["kind"] == kind], samples[samples["kind"] == kind]
        assert sorted(rows(one, "lane", "data", "value")) == sorted(rows(other, "lane", "data", "value"))
        assert np.abs(one["moment"] / 480 - other["moment"] / 44_100).max() < 1 / 480
    wheel = [np.abs(events["value"][events["kind"] == BEND]).max() for events in (ticks, samples)]
    assert abs(wheel[1] - wheel[0] * 128 / 127) <= 1


def test_what_a_velocity_loses_is_given_back_where_it_is_to_be_exact():
    made = performance([{"level": -30.2}])
    lost = -30.2 - float(decibels(velocity(-30.2)))
    assert abs(lost) > 0.14
    assert not (event_table(made, FINE, REST)["kind"] == CONTROL).any()
    (given_back,) = rows(event_table(made, Medium(at(480), 1, 1.0, exact=True), REST), "kind", "data", "value")[:1]
    assert given_back == (CONTROL, 11, int(expression(lost)))


def test_some_notes_alone_and_softer():
    made = performance([{"score_onset": n, "pitch": 60 + n, "level": -10.0} for n in range(4)])
    events = event_table(made, TICKS, REST, rows=np.array([1, 3]), softer=np.array([0.0, 6.0]))
    struck = events[events["kind"] == ON]
    assert rows(struck, "data", "value") == [(61, int(velocity(-10.0))), (63, int(velocity(-16.0)))]


def test_a_lane_is_set_where_it_changes():
    made = performance([{"score_onset": n, "lane": n % 2} for n in range(6)], programs=(0, 0))
    data, value = np.zeros(6, int), np.array([5, 7, 5, 7, 6, 5])

    def told(opening) -> list[tuple]:
        events = event_table(made, TICKS, REST, [Setting(PRESET, data, value, opening)])
        return rows(events[events["kind"] == PRESET], "lane", "moment", "value")

    quarter = int(TICKS.moments(made.time.seconds(np.array([1.0])))[0])
    assert told(None) == [(0, 0, 5), (1, quarter, 7), (0, 4 * quarter, 6), (1, 5 * quarter, 5)]
    assert told((data, np.full(6, 5))) == [(1, quarter, 7), (0, 4 * quarter, 6), (1, 5 * quarter, 5)]
