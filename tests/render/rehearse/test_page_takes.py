"""What the page does with takes: the worklet's own code, called as the browser calls it, against the takes themselves;
and a sitting in the browser."""

from __future__ import annotations

import base64
import re

import numpy as np
import pytest
from sittings import PLAN, rehearsed, saved, written
from support import reading, score

from render.rehearse.clock import TakeClock

RATE = 44_100

# The worklet is loaded with stand-ins for what the browser gives it. `run` plays some quanta and gives back the left
# channel, as base64 of 32-bit floats.
LOADED = """async () => {
  globalThis.AudioWorkletProcessor = class {
    constructor() { this.port = { postMessage: (said) => told.push(said) }; }
  };
  globalThis.told = [];
  globalThis.registerProcessor = (name, made) => { globalThis.Playing = made; };
  globalThis.currentTime = 0;
  await import("./files/worklet.js");
  const { Clock } = await import("./files/clock.js");
  globalThis.Clock = Clock;
  globalThis.floats = (text) => new Float32Array(Uint8Array.from(atob(text), (each) => each.charCodeAt(0)).buffer);
  globalThis.begin = () => { globalThis.told = []; globalThis.playing = new Playing(); };
  globalThis.say = (message) => playing.port.onmessage({ data: message });
  globalThis.run = (quanta) => {
    const heard = new Float32Array(quanta * 128);
    for (let n = 0; n < quanta; n += 1) {
      const [left, right] = [new Float32Array(128), new Float32Array(128)];
      playing.process([], [[left, right]]);
      heard.set(left, n * 128);
    }
    const bytes = new Uint8Array(heard.buffer);
    let text = "";
    for (let at = 0; at < bytes.length; at += 8192) text += String.fromCharCode(...bytes.subarray(at, at + 8192));
    return btoa(text);
  };
}"""


@pytest.fixture(scope="module")
def sitting(tmp_path_factory):
    with rehearsed(written(tmp_path_factory.mktemp("page"))) as process:
        yield process


@pytest.fixture(scope="module")
def scripts(browser, sitting):
    """A page of the sitting, for its scripts alone."""
    page = browser.new_page()
    page.goto(sitting.address)
    page.evaluate(LOADED)
    yield page
    page.close()


class Player:
    """The worklet, and what it is told."""

    def __init__(self, page):
        self.page = page
        page.evaluate("begin()")

    def clock(self, number: int, seconds: float, *, quarters: float = 16.0, bars=None, reading: int = 0) -> None:
        bars = bars or [{"row": n, "pass": 1, "start": 4 * n, "end": 4 * n + 4, "name": str(n + 1)} for n in range(4)]
        times = {"quarters": [0, quarters], "seconds": [0, seconds]}
        self.say(do="clock", message={"reading": reading, "number": number, "bars": bars} | times)

    def sound(self, number: int, first: int, samples: np.ndarray, *, whole: int = 0, reading: int = 0) -> None:
        text = base64.b64encode(samples.astype("<f4").tobytes()).decode()
        self.page.evaluate(
            "([reading, number, first, frames, text]) => { const data = floats(text); say({ do: 'block', message: {"
            " reading, number, first, frames, channels: 1, count: data.length, buffer: data.buffer, offset: 0 } }); }",
            [reading, number, first, whole, text],
        )

    def whole(self, number: int, samples: np.ndarray, reading: int = 0) -> None:
        for first in range(0, len(samples), 8192):
            self.sound(number, first, samples[first : first + 8192], reading=reading)
        self.say(do="whole", reading=reading, number=number, frames=len(samples))

    def play(self, number: int, frame: int = 0, *, reading: int = 0, before: bool = False) -> None:
        self.say(do="play", reading=reading, number=number, frame=frame, before=before)

    def say(self, **message) -> None:
        self.page.evaluate("(message) => say(message)", message)

    def run(self, quanta: int) -> np.ndarray:
        return np.frombuffer(base64.b64decode(self.page.evaluate("(n) => run(n)", quanta)), "<f4")

    @property
    def told(self) -> list[dict]:
        return self.page.evaluate("told")


def tone(seconds: float, pitch: float = 440.0, level: float = 0.5) -> np.ndarray:
    return (level * np.sin(2 * np.pi * pitch * np.arange(int(seconds * RATE)) / RATE)).astype(np.float32)


@pytest.fixture
def player(scripts):
    return Player(scripts)


def test_a_take_is_played_as_it_is(player):
    made = tone(2)
    player.clock(0, 2.0)
    player.whole(0, made)
    player.play(0)
    assert np.array_equal(player.run(300), made[: 300 * 128])


def test_blocks_may_come_in_any_order_and_what_is_lacking_is_waited_for(player):
    made = tone(1)
    player.clock(0, 1.0)
    for first in (16384, 0):
        player.sound(0, first, made[first : first + 8192])
    player.play(0)
    assert np.array_equal(player.run(64), made[:8192])
    assert not player.run(20).any()  # it stands still
    player.sound(0, 8192, made[8192:16384])
    assert np.array_equal(player.run(64), made[8192:16384])


FADE = 1323


def test_a_new_take_comes_in_at_the_same_place_under_a_fade(player):
    """Another tempo: the same beat, at another second; before and after the fade both takes are exact."""
    old, new = tone(2, 440), tone(4, 330)
    player.clock(0, 2.0)
    player.whole(0, old)
    player.play(0)
    player.run(200)
    player.clock(1, 4.0)
    player.whole(1, new)
    heard = player.run(100)
    place, rise = np.arange(100 * 128), np.clip((np.arange(100 * 128) + 1) / FADE, 0, 1)
    expected = old[200 * 128 + place] * (1 - rise) + new[400 * 128 + place] * rise
    assert np.abs(heard - expected)[:FADE].max() < 1e-3
    assert np.array_equal(heard[FADE + 128 :], new[400 * 128 + FADE + 128 : 400 * 128 + 12800])
    assert player.told[-1]["number"] == 1


def test_where_both_sound_alike_nobody_hears_the_change(player):
    made = tone(3)
    for number in (0, 1):
        player.clock(number, 3.0)
        player.whole(number, made)
        if number == 0:
            player.play(0)
            player.run(100)
    heard = player.run(200)
    assert np.abs(heard - made[12800 : 12800 + len(heard)]).max() < 1e-4


def test_a_new_take_waits_until_enough_of_it_has_come(player):
    old, new = tone(2, 440), tone(2, 330)
    player.clock(0, 2.0)
    player.whole(0, old)
    player.play(0)
    player.run(100)
    player.clock(1, 2.0)
    player.sound(1, 12800, new[12800:14080])  # 29 ms
    assert np.array_equal(player.run(5), old[12800 : 12800 + 640])
    player.sound(1, 14080, new[14080:30000])
    player.run(20)
    assert np.array_equal(player.run(5), new[12800 + 25 * 128 : 12800 + 30 * 128])


def test_newer_ones_only_come_after_older_ones(player):
    made = [tone(2, 300 + 40 * n) for n in range(5)]
    player.clock(0, 2.0)
    player.whole(0, made[0])
    player.play(0)
    for number in (1, 2, 3, 4):
        player.clock(number, 2.0)
        if number != 3:  # nothing ever came of it
            player.whole(number, made[number])
        player.run(30)
    found = [each["number"] for each in player.told if each["is"] == "place"]
    assert found == sorted(found) and found[-1] == 4 and 3 not in found


def test_another_order_goes_on_in_the_same_bar(player):
    twice = [
        {"row": n % 2, "pass": 1 + n // 2, "start": 4 * n, "end": 4 * n + 4, "name": str(n % 2 + 1)} for n in range(4)
    ]
    old, new = tone(2, 440), tone(1, 330)
    player.clock(0, 2.0, bars=twice)
    player.whole(0, old)
    player.play(0, int(1.6 * RATE))  # bar 2, the second time
    player.run(10)
    player.clock(1, 1.0, quarters=8.0, bars=twice[:2])
    player.whole(1, new)
    player.run(30)
    at = player.told[-1]
    assert at["number"] == 1 and abs(at["frame"] / RATE - 0.6) < 0.11


def test_before_and_now_and_repeats_and_the_end(player):
    old, new = tone(1, 440), tone(1, 330)
    for number, made in ((0, old), (1, new)):
        player.clock(number, 1.0)
        player.whole(number, made)
        if number == 0:
            player.say(do="rest", reading=0, number=0, before=False)
    player.play(1)
    player.run(50)
    player.say(do="choose", reading=0, before=True)
    player.run(30)
    assert np.array_equal(player.run(10), old[80 * 128 : 90 * 128])
    player.say(do="choose", reading=0, before=False)
    player.run(30)
    assert np.array_equal(player.run(10), new[120 * 128 : 130 * 128])
    player.say(do="repeat", loop={"from": 8, "until": 12, "turns": True, "once": False})
    player.run(400)
    turns = [each["before"] for each in player.told if each["is"] == "place"]
    assert turns.count(True) > 3 and True in turns[-20:] and False in turns[-20:]
    frames = [each["frame"] for each in player.told if each["is"] == "place"][-10:]
    assert all(0.49 * RATE <= frame <= 0.76 * RATE for frame in frames)
    player.say(do="repeat", loop=None)
    player.run(600)
    assert player.told[-1]["is"] == "over" and not player.run(10).any()


def test_another_reading_is_heard_from_the_same_place(player):
    plan, other = tone(1, 440), tone(2, 330)
    player.clock(0, 1.0)
    player.whole(0, plan)
    player.clock(0, 2.0, reading=1)
    player.whole(0, other, reading=1)
    player.play(0)
    player.run(100)
    player.say(do="choose", reading=1, before=False)
    player.run(30)
    assert np.array_equal(player.run(10), other[200 * 128 + 30 * 128 : 200 * 128 + 40 * 128])


def test_of_many_takes_two_are_kept(player):
    """However many were heard a little of: what sounds, and the last whole one before it."""
    made = tone(1)
    player.clock(0, 1.0)
    player.whole(0, made)
    player.play(0)
    for number in range(1, 20):
        player.clock(number, 1.0)
        player.sound(number, 0, made[: 30 * 512])
        player.run(4)
    held = player.page.evaluate("playing.shelves[0].takes.map(({ number }) => number)")
    assert len(held) <= 3 and held[0] == 0 and held[-1] == 19


# -- the same clock in both languages

PLANS = [
    {"tempo": 60}, {"tempo": 90, "slowing": [{"rallentando": "3:1 - 4:4", "to": "50%", "then": "a tempo"}]},
    {"tempo": 70, "order": ["1-4", "1-4", "5-8"]}, {"tempo": 50, "order": ["5-8", "1-2"]},
    {"tempo": 60, "holds": [{"fermata": "2:3", "length": "200%"}], "order": ["1-8", "3-8"]},
]  # fmt: skip


def test_page_and_server_find_the_same_places(scripts):
    clocks = []
    for plan in PLANS:
        made = reading(plan, score(8))
        clocks.append(TakeClock.of(made.performance, made.where.score))
    values = [clock.values() for clock in clocks]
    for n, here in enumerate(clocks):
        seconds = np.linspace(0, here.seconds[-1], 60).tolist()
        for m, there in enumerate(clocks):
            found = scripts.evaluate(
                "([here, there, seconds]) => { const [a, b] = [new Clock(here), new Clock(there)];"
                " return seconds.map((second) => a.carried(second, b)); }",
                [values[n], values[m], seconds],
            )
            expected = [here.carried(second, there) if n != m else second for second in seconds]
            assert np.abs(np.array(found) - expected).max() < 1e-5


# -- all of it


@pytest.fixture
def opened(browser, tmp_path):
    """Open the page of a sitting; whatever the browser complains of is a fault."""
    faults, contexts, processes = [], [], []

    def open_(*words, text: str = PLAN):
        plan = written(tmp_path, text)
        manager = rehearsed(plan, *words)
        processes.append(manager)
        process = manager.__enter__()
        context = browser.new_context(viewport={"width": 1280, "height": 900})
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(60_000)
        page.on("console", lambda message: faults.append(message.text) if message.type == "error" else None)
        page.on("pageerror", lambda fault: faults.append(str(fault)))
        page.goto(process.address)
        at(page, remarks=None)
        return plan, page

    yield open_
    for context in contexts:
        context.close()
    for manager in processes:
        manager.__exit__(None, None, None)
    assert not faults


def at(page, **values) -> None:
    """Wait until the root of the page carries these values (None: any)."""
    for name, value in values.items():
        wanted = "" if value is None else f"='{value}'"
        page.wait_for_selector(f"html[data-{name}{wanted}]", state="attached")


def slower(percent: int) -> str:
    return re.sub(r"to: \d+%", f"to: {percent}%", PLAN)


def test_what_is_saved_sounds_while_it_plays_and_while_it_does_not(opened):
    plan, page = opened()
    at(page, saved=0, drawn=0, sounding=0, remarks=None)
    saved(plan, slower(60))
    at(page, saved=1, drawn=1, sounding=1)
    page.click("#play")
    at(page, playing="")
    place = page.inner_text("#place")
    for number, percent in enumerate((50, 55, 65), 2):
        saved(plan, slower(percent))
        at(page, saved=number, sounding=number, drawn=number)
    page.wait_for_function("place => document.querySelector('#place').innerText !== place", arg=place)  # it plays on
    page.click("#play")
    page.wait_for_selector("html:not([data-playing])", state="attached")
    page.click("#before")
    at(page, heard="before")  # the last that was whole, which on a slow machine need not be the one before
    page.wait_for_function("() => Number(document.documentElement.dataset.sounding) < 4")
    page.click("#before")
    at(page, heard="now", sounding=4)


def test_a_faulty_plan_is_received_and_the_last_good_one_sounds(opened):
    plan, page = opened()
    saved(plan, PLAN.replace("tempo: 120", "tempo: fast"))
    at(page, saved=1)
    page.wait_for_selector("#refused")
    assert page.get_attribute("html", "data-sounding") == "0" == page.get_attribute("html", "data-drawn")
    saved(plan, slower(60))
    at(page, saved=2, drawn=2, sounding=2)


def test_a_page_finds_its_server_again(opened):
    plan, page = opened()
    page.context.set_offline(True)
    page.evaluate("import('./files/link.js').then(({ sitting }) => { globalThis.there = sitting; })")
    page.context.set_offline(False)
    saved(plan, slower(60))
    at(page, saved=1, drawn=1, sounding=1)


def test_keys_play_and_go_from_bar_to_bar(opened):
    _, page = opened()
    at(page, sounding=0)
    page.click("h1")
    for _ in range(3):
        page.keyboard.press(".")
    assert page.inner_text("#place").startswith("bar 4")
    page.keyboard.press(",")
    assert page.inner_text("#place").startswith("bar 3")
    page.keyboard.press("Space")
    at(page, playing="")
    page.keyboard.press("Space")
    page.wait_for_selector("html:not([data-playing])", state="attached")
    page.click("#transport .more summary")
    page.uncheck("#letters")
    page.click("h1")
    shown = page.inner_text("#place")
    page.keyboard.press(".")
    assert page.inner_text("#place") == shown
