"""What is heard when a page changes from one reading to the other, recorded in a browser and laid beside the sound that
is rendered without it."""

from __future__ import annotations

import base64

import numpy as np
import pytest
import soundfile
from scipy.signal import correlate

from render.sound.audio import render_audio

# Whatever goes to the loudspeaker is also kept.
TAP = """
(() => {
  const connect = AudioNode.prototype.connect;
  const taps = new WeakMap();
  window.taken = [];
  const tap = (context) => {
    if (!taps.has(context)) {
      const made = context.createScriptProcessor(4096, 1, 1);
      made.onaudioprocess = (event) => window.taken.push(event.inputBuffer.getChannelData(0).slice());
      connect.call(made, context.destination);
      taps.set(context, made);
    }
    return taps.get(context);
  };
  AudioNode.prototype.connect = function (target, ...rest) {
    if (target instanceof AudioDestinationNode) connect.call(this, tap(target.context));
    return connect.call(this, target, ...rest);
  };
})();
"""
TAKEN = """() => {
  const all = new Float32Array(window.taken.reduce((sum, each) => sum + each.length, 0));
  let at = 0;
  for (const each of window.taken) { all.set(each, at); at += each.length; }
  let text = "";
  const bytes = new Uint8Array(all.buffer);
  for (let i = 0; i < bytes.length; i += 8192) text += String.fromCharCode(...bytes.subarray(i, i + 8192));
  return btoa(text);
}"""
RATE = 44_100
SILENT = 10 ** (-66 / 20)


@pytest.fixture(scope="module")
def sounds(made, tmp_path_factory):
    """The two readings as rendered, in one channel."""
    folder = tmp_path_factory.mktemp("sounds")
    found = []
    for number, reading in enumerate(made[0]):
        take = render_audio(reading.performance, folder / f"{number}.wav")
        found.append(soundfile.read(take.path, dtype="float32")[0].mean(axis=1))
    return found


@pytest.fixture
def record(open_page):
    """Open the page with a tap; do something with it, as often as one likes, and give what was heard of it."""
    page = open_page(init=TAP)

    def recorded(act):
        page.evaluate("window.taken.length = 0")
        act(page)
        return np.frombuffer(base64.b64decode(page.evaluate(TAKEN)), np.float32)

    return recorded


def place_of(part: np.ndarray, whole: np.ndarray) -> int:
    """At which sample of `whole` a part of it begins: where they agree best."""
    agreement = correlate(whole, part, "valid", "fft")
    sums = np.append(0.0, np.cumsum(whole.astype(float) ** 2))
    power = sums[len(part) :] - sums[: -len(part)]
    return int(np.argmax(agreement / np.sqrt(np.maximum(power, 1e-9))))


def longest_silence(sound: np.ndarray) -> float:
    """Seconds of the longest silence between the first and the last sound, to the millisecond."""
    step = RATE // 1000
    loud = np.sqrt((sound[: len(sound) // step * step].reshape(-1, step) ** 2).mean(axis=1)) > SILENT
    places = np.flatnonzero(loud)
    return float(np.diff(places).max() - 1) / 1000


def changing_at(heard: np.ndarray, before: np.ndarray, after: np.ndarray) -> int:
    """From which sample on `heard` is the one and not the other of two sounds that it is laid beside: where the least
    of it is left over."""
    left = np.cumsum((heard - before) ** 2) + np.cumsum(((heard - after) ** 2)[::-1])[::-1]
    return int(np.argmin(left))


def test_the_other_reading_goes_on_at_the_same_bar_and_beat_without_a_gap(record, made, sounds):
    for bar in range(1, 7):
        goes_on(record, made, sounds, bar)


def goes_on(record, made, sounds, bar):
    def act(page):
        page.keyboard.press("a")
        page.locator("#bar").evaluate(f"it => {{ it.value = {bar}; it.dispatchEvent(new Event('input')) }}")
        page.keyboard.press(" ")
        page.wait_for_timeout(1500)
        page.keyboard.press("b")
        page.wait_for_timeout(2600)
        page.keyboard.press(" ")
        page.wait_for_timeout(250)

    heard = record(act)
    assert longest_silence(heard) < 0.060
    loud = np.flatnonzero(np.abs(heard) > SILENT)
    heard = heard[loud[0] + RATE // 10 : loud[-1] - RATE // 10]
    first_time = round(float(made[0][0].performance.time.seconds(24.0)) * RATE)  # the second sounds the same
    begins = place_of(heard[:RATE], sounds[0][:first_time])
    late = 2 * RATE  # more than one note, so that it is found at one place alone
    ends = place_of(heard[-late:], sounds[1]) + late - len(heard)  # where the other would have begun
    one, other = (sound[place : place + len(heard)] for sound, place in zip(sounds, (begins, ends), strict=True))
    change = changing_at(heard, one, other)
    expected = same_place(made[0], (begins + change) / RATE)
    assert abs((ends + change) / RATE - expected) < 0.020


def wet(heard: np.ndarray, dry: np.ndarray) -> float:
    """What is heard beside the dry sound, in dB against it; both from the same place on."""
    added = heard - dry * (heard @ dry) / (dry @ dry)
    return float(10 * np.log10((added @ added) / (dry @ dry)))


def test_a_room_is_heard_beside_the_dry_sound_and_is_remembered(open_page, sounds):
    page = open_page(init=TAP, room=None)
    assert page.locator("#room").input_value() == "small"

    def heard_in(room):
        page.locator("#room").select_option(room)
        page.keyboard.press("Home")
        page.evaluate("window.taken = []")
        page.locator("#play").click()
        page.wait_for_timeout(2200)
        page.locator("#play").click()
        page.wait_for_timeout(250)
        heard = np.frombuffer(base64.b64decode(page.evaluate(TAKEN)), np.float32)
        heard = heard[np.flatnonzero(np.abs(heard) > SILENT)[0] + RATE // 2 :][:RATE]
        begins = place_of(heard, sounds[0][: 5 * RATE])
        return wet(heard, sounds[0][begins : begins + RATE])

    dry, small, hall = (heard_in(room) for room in ("dry", "small", "hall"))
    assert dry < -20  # what the coding leaves
    assert dry + 5 < min(small, hall) and max(small, hall) < 0
    page.reload()
    page.wait_for_selector("body.ready")
    assert page.locator("#room").input_value() == "hall"


def same_place(readings, second: float) -> float:
    """The second of the other reading at the same bar, pass and beat, by the two time maps."""
    one, other = (reading.performance for reading in readings)
    quarter = float(one.time.quarters(second))
    bar = one.bars[np.searchsorted(one.bars["start"], quarter, side="right") - 1]
    there = other.bars[(other.bars["row"] == bar["row"]) & (other.bars["pass"] == bar["pass"])][0]
    return float(other.time.seconds(there["start"] + quarter - bar["start"]))


def test_a_phrase_is_repeated_by_turns_without_a_gap_and_with_its_first_attack(record, made, sounds):
    """Bars 1-4 of one reading, then of the other; each begins where its own time map says, at the end of the other."""

    def act(page):
        page.locator(".hear", has_text=": 1-4 (pass 1)").click()
        page.wait_for_timeout(9000)
        page.keyboard.press("Home")
        page.get_by_role("button", name="Pause").click()
        page.wait_for_timeout(200)

    heard = record(act)
    lasting = float(made[0][0].performance.time.seconds(12.0))
    begins = int(np.argmax(np.abs(heard) > SILENT))
    second = begins + round(lasting * RATE)
    assert longest_silence(heard[begins : second + RATE]) < 0.060
    window = RATE // 2
    after = second + RATE // 20
    offset = place_of(heard[after : after + window], sounds[1])
    assert abs(offset - (after - second)) / RATE < 0.020
    attack = heard[second : second + RATE // 25]
    assert np.abs(attack).max() > 0.5 * np.abs(sounds[1][: RATE // 25]).max()


def test_readings_keep_their_own_level(record, sounds):
    """What is played forte in one reading and piano in the other is as far apart in the page: one gain for both."""

    def act(page):
        for key in ("a", "b"):
            page.keyboard.press(key)
            page.keyboard.press("Home")
            page.keyboard.press(" ")
            page.wait_for_timeout(1200)
            page.keyboard.press(" ")
            page.wait_for_timeout(400)

    heard = record(act)
    window = RATE // 2
    loud = np.flatnonzero(np.abs(heard) > SILENT)
    begins = loud[[0, int(np.argmax(np.diff(loud))) + 1]]  # the longest silence is the pause between the two
    for sound, begin in zip(sounds, begins, strict=True):
        part = sound[RATE // 10 : RATE // 10 + window]
        mine = heard[begin : begin + RATE]
        at = place_of(part, mine)
        gain = np.dot(mine[at : at + window], part) / np.dot(part, part)
        assert abs(20 * np.log10(gain)) < 0.3
