"""Whatever one does on a page, and whenever: a pause stops all sound, and nothing that was asked is lost."""

from __future__ import annotations

import random

import pytest
from pages import pair_of, repeat

# What goes to the loudspeaker is measured on its way; every source that was started is counted until it has ended.
WATCH = """
(() => {
  const connect = AudioNode.prototype.connect;
  const meters = new WeakMap();
  window.running = new Set();
  const meter = (context) => {
    if (!meters.has(context)) {
      window.meter = context.createAnalyser();
      window.meter.fftSize = 2048;
      connect.call(window.meter, context.destination);
      meters.set(context, window.meter);
    }
    return meters.get(context);
  };
  AudioNode.prototype.connect = function (target, ...rest) {
    if (target instanceof AudioDestinationNode) connect.call(this, meter(target.context));
    return connect.call(this, target, ...rest);
  };
  const begin = AudioBufferSourceNode.prototype.start;
  AudioBufferSourceNode.prototype.start = function (...when) {
    window.running.add(this);
    this.addEventListener("ended", () => window.running.delete(this));
    return begin.apply(this, when);
  };
  window.loudest = () => {
    if (!window.meter) return 0;
    const samples = new Float32Array(window.meter.fftSize);
    window.meter.getFloatTimeDomainData(samples);
    return samples.reduce((most, each) => Math.max(most, Math.abs(each)), 0);
  };
  window.shown = () => {
    const playing = document.getElementById("play").classList.contains("playing");
    const word = document.querySelector("#play .unseen").textContent;
    return playing === (word === "Pause") && playing === document.body.classList.contains("heard") ? playing : "both";
  };
})();
"""
# Pauses by the key, and says what is still wrong a second later, or nothing as soon as all is well.
PAUSED = """(press) => new Promise((done) => {
  if (press) document.body.dispatchEvent(new KeyboardEvent("keydown", { key: " ", bubbles: true }));
  const latest = performance.now() + 1000;
  const look = () => {
    const wrong = [];
    if (window.loudest() > 1e-4) wrong.push(`it sounds at ${window.loudest()}`);
    if (window.running.size) wrong.push(`${window.running.size} sources run`);
    if (window.shown() !== false) wrong.push(`shown as playing: ${window.shown()}`);
    if (!wrong.length || performance.now() > latest) done(wrong);
    else setTimeout(look, 10);
  };
  look();
})"""
# Until something is heard.
SOUNDING = """() => new Promise((done, never) => {
  const latest = performance.now() + 10000;
  const look = () => {
    if (document.body.classList.contains("heard") && window.loudest() > 1e-3) done();
    else if (performance.now() > latest) never(new Error("nothing is heard"));
    else setTimeout(look, 5);
  };
  look();
})"""
# A pause so many milliseconds after a wish, measured in the page itself.
WISHED = """([wish, delay]) => new Promise((done) => {
  document.body.dispatchEvent(new KeyboardEvent("keydown", { key: wish, bubbles: true }));
  const until = performance.now() + delay;
  const wait = () => {
    if (performance.now() < until) return void setTimeout(wait, 0);
    document.body.dispatchEvent(new KeyboardEvent("keydown", { key: " ", bubbles: true }));
    done();
  };
  wait();
})"""


def playing(page):
    page.keyboard.press(" ")
    page.evaluate(SOUNDING)


def test_a_pause_at_any_time_after_another_reading_was_chosen_stops_all(open_page):
    page = open_page(init=WATCH)
    page.keyboard.press("a")
    for number, delay in enumerate(range(0, 124, 4)):
        playing(page)
        page.evaluate(WISHED, ["ba"[number % 2], delay])
        assert page.evaluate(PAUSED, False) == [], f"{delay} ms"
        chosen = page.locator("input[name=reading]").nth(1 - number % 2)
        assert chosen.is_checked(), f"{delay} ms"  # what was chosen last is not forgotten
        page.keyboard.press("Home")


def test_several_wishes_at_once_and_then_a_pause(open_page):
    page = open_page(init=WATCH)
    for delay in range(0, 80, 8):
        playing(page)
        page.evaluate("""() => {
            const press = (key) => document.body.dispatchEvent(new KeyboardEvent("keydown", { key, bubbles: true }));
            for (const key of ["b", "ArrowRight", "a", "ArrowRight", "b", "ArrowRight"]) press(key);
        }""")
        page.wait_for_timeout(delay)
        assert page.evaluate(PAUSED, True) == [], f"{delay} ms"
        assert page.locator("input[name=reading]").nth(1).is_checked()
        page.keyboard.press("Home")


ROUND = 600  # milliseconds of two beats
SHORT = """\
score: piece.abc
instrument: violin
tempo: 200
phrases:
  - {bars: 1-4}
"""


@pytest.fixture(scope="module")
def quick(tmp_path_factory):
    """A page with quick music, on which a bar lasts less than a second."""
    return pair_of(tmp_path_factory.mktemp("quick"), {"One": SHORT, "Two": SHORT.replace("200", "180")})


# Presses keys so many milliseconds after what is repeated (from beat 2 to beat 3) has begun again, or before that.
SEAM = """([keys, delay, round]) => new Promise((done) => {
  const beat = () => document.getElementById("place").textContent;
  const press = (key) => document.body.dispatchEvent(new KeyboardEvent("keydown", { key, bubbles: true }));
  let before = beat();
  let at = Infinity;
  const look = () => {
    const again = before.includes("beat 3") && beat().includes("beat 2");
    if (again && at === Infinity) at = performance.now() + delay + (delay < 0 ? round : 0);
    before = beat();
    if (performance.now() < at) return void setTimeout(look, 0);
    for (const key of keys) press(key);
    done();
  };
  look();
})"""


@pytest.mark.parametrize("turns", [False, True])
def test_a_pause_at_any_time_around_the_seam_of_a_repeat_stops_all(open_page, quick, turns):
    page = open_page(quick[1].path, init=WATCH)
    repeat(page, "2:2", "2:3")
    if turns:
        page.locator("#turns").check()
        page.locator("h1").click()
    for delay in range(-90, 91, 15):
        playing(page)
        page.evaluate(SEAM, [[" "], delay, ROUND])
        assert page.evaluate(PAUSED, False) == [], f"{delay} ms"


def test_another_reading_chosen_at_the_seam_stays_in_what_is_repeated(open_page, quick):
    page = open_page(quick[1].path, init=WATCH)
    repeat(page, "2:2", "2:3")
    page.evaluate("""() => {
        window.beats = new Set();
        const place = document.getElementById("place");
        const note = () => window.beats.add(place.textContent.slice(0, 13));
        new MutationObserver(note).observe(place, { childList: true });
    }""")
    playing(page)
    for delay in range(-100, 61, 20):
        page.keyboard.press("a")
        page.wait_for_timeout(300)
        page.evaluate(SEAM, [["b"], delay, ROUND])
    page.wait_for_timeout(1000)
    assert page.evaluate(PAUSED, True) == []
    assert set(page.evaluate("[...window.beats]")) == {"bar 2, beat 2", "bar 2, beat 3"}


def test_a_beat_is_repeated_as_long_as_one_likes(open_page, quick):
    """0.3 seconds: several rounds come between two looks at what comes next."""
    page = open_page(quick[1].path, init=WATCH)
    repeat(page, "2:2", "2:2")
    page.evaluate("""() => {
        window.places = [];
        const place = document.getElementById("place");
        new MutationObserver(() => window.places.push(place.textContent)).observe(place, { childList: true });
    }""")
    playing(page)
    page.wait_for_timeout(3000)
    assert page.evaluate(PAUSED, True) == []
    assert set(page.evaluate("window.places")) <= {"bar 2, beat 2"}


# -- whatever one does

WORDS = ["7", "7:2", "2-5", "2:2 - 3:1", "", "-", "99", "0", "two", "3:9", "7:2+1/3", "1:1.001", "8 - 2", "9" * 70]
WORDS += ["<b>", "16", "夜"]
SIZES = [(1280, 900), (390, 844), (640, 450), (920, 700), (320, 600)]
KEYS = [" ", " ", " ", "a", "b", "b", "r", "Home", "ArrowLeft", "ArrowRight", "Tab", "Enter", "Escape", "End", "c", "7"]
# Presses the one of all that can be pressed that a number stands for; with another one says how a choice is changed.
PRESS = """([number, choice]) => {
  const shown = [...document.querySelectorAll("button, input, select, summary, a, .touch")]
    .filter((each) => each.getClientRects().length);
  const it = shown[Math.floor(number * shown.length)];
  if (it.matches("select")) {
    it.selectedIndex = Math.floor(choice * it.options.length);
    it.dispatchEvent(new Event("change", { bubbles: true }));
  } else if (it.matches("[type=range]")) {
    it.value = Math.floor(choice * (Number(it.max) + 1));
    it.dispatchEvent(new Event("input", { bubbles: true }));
  } else it.dispatchEvent(new MouseEvent("click", { bubbles: true, cancelable: true }));
}"""
WRITE = """([name, text]) => {
  document.getElementById("repeat").value = "bars";
  document.getElementById("repeat").dispatchEvent(new Event("change"));
  document.getElementById(name).value = text;
  document.getElementById(name).dispatchEvent(new Event("change"));
}"""


def act(page, chance: random.Random) -> str:
    """Do something, and say what."""
    kind = chance.choices(["key", "press", "play", "point", "write", "size", "wait"], [38, 26, 10, 10, 8, 3, 5])[0]
    if kind == "key":
        page.keyboard.press(what := chance.choice(KEYS))
    elif kind == "press":
        page.evaluate(PRESS, what := [chance.random(), chance.random()])
    elif kind == "play":
        page.evaluate("document.getElementById('play').click()")
        what = ""
    elif kind == "point":
        size = page.viewport_size
        what = chance.randrange(size["width"]), chance.randrange(size["height"])
        page.mouse.click(*what)
    elif kind == "write":
        page.evaluate(WRITE, what := [chance.choice(["from", "until"]), chance.choice(WORDS)])
    elif kind == "size":
        width, height = what = chance.choice(SIZES)
        page.set_viewport_size({"width": width, "height": height})
    else:
        page.wait_for_timeout(what := chance.choice([5, 20, 40, 80, 200]))
    return f"{kind} {what}"


def wander(page, seed: int, actions: int) -> int:
    """So many actions that chance has chosen; silence is looked for whenever the page does not say that it plays.
    Returns how often the music was stopped."""
    chance, done, stopped, before = random.Random(seed), [], 0, False
    for _ in range(actions):
        done.append(act(page, chance))
        now = page.evaluate("window.shown()")
        assert now in (True, False), done[-8:]
        if before and not now:
            stopped += 1
            assert page.evaluate(PAUSED, False) == [], done[-8:]
        before = now
    if before:
        page.evaluate("document.getElementById('play').click()")
    assert page.evaluate(PAUSED, False) == [], done[-8:]
    return stopped


def test_nothing_that_one_may_do_breaks_a_page_or_loses_a_pause(open_page, quick):
    page = open_page(quick[1].path, init=WATCH)
    assert wander(page, 1, 500) > 20


# -- before the sound has been read


# The sound is read when the test says so.
LATE = WATCH + """
(() => {
  const decode = OfflineAudioContext.prototype.decodeAudioData;
  const allowed = new Promise((done) => { window.read = done; });
  OfflineAudioContext.prototype.decodeAudioData = async function (...all) {
    await allowed;
    return decode.apply(this, all);
  };
})();
"""


def test_the_page_answers_before_the_sound_has_been_read(open_page):
    page = open_page(init=LATE, ready=False)
    page.locator("#bar").wait_for()
    page.keyboard.press("ArrowRight")
    assert page.locator("#place").inner_text().startswith("bar 2")
    page.locator(".sheets.wide .touch[data-bar='4']").click()
    assert page.locator("#place").inner_text().startswith("bar 5")
    page.locator("input[name=reading]").nth(1).click()
    assert page.locator("input[name=reading]").nth(1).is_checked()
    repeat(page, "5", "6")
    page.locator("#blind").click()
    assert "first" in page.locator(".which").inner_text()
    page.get_by_role("button", name="Leave it").click()
    assert page.locator(".readings").is_visible()
    assert not page.locator("body.ready").count()  # all of it before


@pytest.mark.parametrize("way", ["key", "button", "hear"])
def test_what_was_asked_to_be_heard_is_heard_when_it_can_be(open_page, way):
    page = open_page(init=LATE, ready=False)
    page.locator("#bar").wait_for()
    if way == "key":
        page.keyboard.press(" ")
    elif way == "button":
        page.locator("#play").click()
    else:
        page.locator(".hear").first.click()
    assert "the sound is still being read" in page.locator("#notice").inner_text()
    assert page.locator("#play.waiting").count() == 1
    assert not page.locator("body.ready").count()
    page.evaluate("window.read()")
    page.evaluate(SOUNDING)
    assert not page.locator("#notice").is_visible()
    assert page.evaluate(PAUSED, True) == []


def test_what_was_asked_and_taken_back_is_not_heard(open_page):
    page = open_page(init=LATE, ready=False)
    page.locator("#bar").wait_for()
    page.keyboard.press(" ")
    page.keyboard.press(" ")
    assert not page.locator("#play.playing").count()
    page.evaluate("window.read()")
    page.wait_for_selector("body.ready")
    page.wait_for_timeout(300)
    assert page.evaluate("window.running.size") == 0
    assert page.evaluate("window.shown()") is False


def test_sound_that_cannot_be_read_leaves_the_plain_controls(browser, made):
    with browser.new_context() as context:
        page = context.new_page()
        faults = []
        page.on("pageerror", lambda fault: faults.append(str(fault)))
        refusing = "OfflineAudioContext.prototype.decodeAudioData = () => Promise.reject(new Error('not so'))"
        page.add_init_script(refusing)
        page.goto(made[1].path.as_uri())
        page.wait_for_selector("body:not(.alive)")
        assert page.locator("audio").first.is_visible()
        assert not page.locator(".player").is_visible()
        page.keyboard.press(" ")
        assert faults == ["not so"]
