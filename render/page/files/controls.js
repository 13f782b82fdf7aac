// What one sees and touches: it shows what the player does, and tells the player what is wished.

const WAITING = "the sound is still being read, and begins as soon as it can";
const find = (name) => document.getElementById(name);

const ROOM = "lentando: room";

// What one has chosen on another page, where the browser keeps such things for a file.
function remembered(what) {
  try {
    return localStorage.getItem(what);
  } catch {
    return null;
  }
}

function remember(what, choice) {
  try {
    localStorage.setItem(what, choice);
  } catch {
    // then it holds as long as the page is open
  }
}

function made(tag, properties = {}, ...children) {
  const element = Object.assign(document.createElement(tag), properties);
  element.append(...children);
  return element;
}

class Controls {
  #bar = null; // the performed bar and beat that are shown
  #told = 0;

  constructor(readings, sheets, repeats, blind) {
    this.readings = readings;
    this.sheets = sheets;
    this.repeats = repeats;
    this.blind = blind;
    this.choices = [...document.querySelectorAll("input[name=reading]")];
    this.names = this.choices.map((input) => [...input.nextElementSibling.childNodes]);
  }

  wire(player) {
    this.player = player;
    find("play").addEventListener("click", () => this.toggle());
    this.choices.forEach((input, place) => input.addEventListener("change", () => this.choose(this.blind.order[place])));
    find("bar").addEventListener("input", ({ target }) => this.go({ ordinal: Number(target.value), offset: 0 }));
    this.sheets.onTouch((score, row) => this.touch(score, row));
    for (const link of document.querySelectorAll("a.to-bar")) link.addEventListener("click", () => this.follow(link));
    this.#offerRepeats();
    find("room").addEventListener("change", ({ target }) => this.enter(target.value));
    const room = remembered(ROOM);
    if (room === "dry" || room in player.sound.rooms) find("room").value = room;
    player.sound.enter(find("room").value);
    find("blind")?.addEventListener("click", () => this.listenBlind());
    document.addEventListener("keydown", (event) => this.key(event));
    addEventListener("resize", () => this.show());
    this.showReading();
    this.say();
    find("said").textContent = "";
  }

  // -- wishes

  toggle() {
    this.player.toggle();
  }

  enter(room) {
    this.player.sound.enter(room);
    remember(ROOM, room);
  }

  go(place, reading) {
    this.player.go(place, reading);
    this.say();
  }

  choose(reading) {
    const instead = this.player.choose(reading);
    this.notice(instead);
    this.say(instead);
  }

  step(by) {
    this.player.bar(by);
    this.say();
  }

  // The next time that a bar is heard; from elsewhere, the nearest.
  touch(score, row) {
    const reading = this.player.reading.score === score ? this.player.reading : this.readings.find((r) => r.score === score);
    const heard = [...reading.row.keys()].filter((ordinal) => reading.row[ordinal] === row);
    if (!heard.length) {
      this.notice("this bar is not played");
      this.say("this bar is not played");
      return;
    }
    const here = reading === this.player.reading ? this.player.place.ordinal : 0;
    const next = heard[(heard.indexOf(here) + 1) % heard.length];
    const nearest = heard.reduce((a, b) => (Math.abs(b - here) < Math.abs(a - here) ? b : a));
    this.go({ ordinal: heard.includes(here) ? next : nearest, offset: 0 }, reading);
  }

  follow(link) {
    const reading = this.readings.find((each) => each.letter === link.dataset.reading);
    this.touch(reading.score, Number(link.dataset.bar));
  }

  key(event) {
    if (event.ctrlKey || event.metaKey || event.altKey || event.target.closest("input[type=text], select, .table")) return;
    const wished = document.body.classList.contains("alive") && this.#meaning(event);
    if (!wished) return;
    event.preventDefault();
    if (!event.repeat || event.key.startsWith("Arrow")) wished();
  }

  #meaning({ key, target }) {
    const slides = target.matches("input[type=range], input[type=radio]"); // these have arrows of their own
    const presses = target.matches("button, summary, a, input[type=checkbox]");
    if (key === " ") return presses ? null : () => this.toggle();
    if (slides && (key.startsWith("Arrow") || key === "Home")) return null;
    if (key === "ArrowLeft") return () => this.step(-1);
    if (key === "ArrowRight") return () => this.step(1);
    if (key === "Home") return () => this.go({ ordinal: 0, offset: 0 });
    if (!find("letters").checked) return null;
    const place = "abcd".indexOf(key.toLowerCase());
    if (key.length === 1 && place >= 0 && place < this.choices.length && this.choices.length > 1) {
      return () => this.choose(this.blind.order[place]);
    }
    return key.toLowerCase() === "r" ? () => this.repeatOrNot() : null;
  }

  // -- repeats

  #offerRepeats() {
    const select = find("repeat");
    select.append(new Option("nothing", ""), new Option("the phrase heard now", "here"), new Option("bars ...", "bars"));
    this.repeats.phrases.forEach((phrase, place) => select.append(new Option(phrase.label, String(place))));
    select.addEventListener("change", () => this.repeatChosen(select.value));
    for (const name of ["from", "until"]) find(name).addEventListener("change", () => this.repeatBars());
    find("time").addEventListener("change", () => this.repeatBars());
    find("turns")?.addEventListener("change", ({ target }) => this.takeTurns(target.checked));
    for (const button of document.querySelectorAll(".hear")) {
      const phrase = this.repeats.phrases.find((each) => each.span === Number(button.dataset.span));
      button.addEventListener("click", () => this.hear(phrase));
    }
  }

  repeatChosen(value) {
    find("ends").hidden = value !== "bars";
    if (value === "bars") {
      const { reading, place } = this.player;
      [find("from").value, find("until").value] = reading.where.ends(place.ordinal);
      this.repeatBars(reading.pass[place.ordinal]);
    } else if (value === "here") this.repeatHere();
    else this.repeat(value === "" ? null : this.repeats.phrases[Number(value)]);
  }

  // Repeat the phrase that is heard.
  repeatHere() {
    const phrase = this.repeats.phraseAt(this.player.reading, this.player.second);
    if (phrase) this.repeat(phrase);
    else {
      this.#showRepeated();
      this.notice("there is no phrase here");
      this.say("there is no phrase here");
    }
  }

  repeatOrNot() {
    if (this.repeats.chosen) this.repeat(null);
    else this.repeatHere();
  }

  // Repeat what the fields say: on this pass where it is heard on that one, else for the first time.
  repeatBars(pass = Number(find("time").value)) {
    const text = this.#fields();
    let fault = "";
    try {
      const passes = this.player.reading.where.heard(text).map((each) => each.pass);
      const chosen = { text, pass: passes.includes(pass) ? pass : passes[0] };
      this.player.reading.written(chosen); // or a fault
      this.#offerTimes(passes, chosen.pass);
    } catch (found) {
      if (!(found instanceof Fault)) throw found;
      fault = found.message;
    }
    for (const name of ["from", "until"]) find(name).setAttribute("aria-invalid", String(!!fault));
    this.notice(fault);
    if (fault) find("said").textContent = fault;
    else this.repeat({ text, pass: Number(find("time").value) });
  }

  // The range in the two fields; both ends may be written into the first, and the second may be left empty.
  #fields() {
    const [from, until] = ["from", "until"].map((name) => find(name).value.trim());
    const ends = from.split(DASH);
    if (ends.length === 2 && !ends.includes("")) [find("from").value, find("until").value] = ends;
    return ends.length === 2 || !until ? from : `${from} - ${until}`;
  }

  #offerTimes(passes, chosen) {
    const select = find("time");
    select.replaceChildren(...passes.map((pass) => new Option(`pass ${pass}`, String(pass))));
    select.value = String(chosen);
    select.hidden = passes.length < 2;
  }

  takeTurns(really) {
    this.repeats.turns = really;
    this.player.planAnew();
  }

  // Repeat a stretch, from its beginning where the place is outside.
  repeat(stretch) {
    const heard = this.player.repeat(stretch);
    this.#showRepeated();
    if (stretch && !heard) this.notice("not played in this reading");
    this.say(stretch ? "repeated" : "no longer repeated");
  }

  #showRepeated() {
    const { chosen, phrases } = this.repeats;
    const phrase = phrases.indexOf(chosen);
    find("repeat").value = phrase >= 0 ? String(phrase) : chosen ? "bars" : "";
    find("ends").hidden = find("repeat").value !== "bars";
    const turns = find("turns");
    if (turns) turns.closest("label").hidden = !chosen;
  }

  // A phrase alone, the readings by turns.
  hear(phrase) {
    const turns = find("turns");
    if (turns) this.repeats.turns = turns.checked = true;
    this.repeat(phrase);
    const range = this.repeats.range(this.player.reading);
    if (range) this.player.goToSecond(range.from);
    this.player.play();
    this.sheets.reveal();
  }

  // -- listening blind

  listenBlind() {
    this.blind.begin();
    this.#callThem();
    find("blind").hidden = true;
    const options = () => this.readings.map((reading) => new Option(reading.name, String(reading.number)));
    const asked = CALLED.slice(0, this.readings.length === 2 ? 1 : this.readings.length);
    const selects = asked.map(() => made("select", {}, new Option("...", ""), ...options()));
    const lines = asked.map((called, place) => made("label", {}, `The ${called} is `, selects[place]));
    const tell = made("button", { type: "button", textContent: "Tell me" });
    const leave = made("button", { type: "button", textContent: "Leave it", className: "quiet" });
    const result = made("p", { className: "result" });
    result.setAttribute("role", "status");
    const words = "The readings are hidden, in an order that chance has chosen. Switch as often as you like.";
    find("game").replaceChildren(made("p", {}, words), ...lines, made("p", {}, tell, " ", leave), result);
    find("game").hidden = false;
    tell.addEventListener("click", () => this.#judge(selects, result));
    leave.addEventListener("click", () => this.#seeAgain(""));
    selects[0].focus();
    this.player.choose(this.blind.order[0]);
  }

  #judge(selects, result) {
    const guesses = selects.map((select) => select.value);
    if (guesses.includes("")) result.textContent = "Say first which you think it is.";
    else this.#seeAgain(this.blind.judge(guesses.map(Number)));
  }

  #seeAgain(verdict) {
    this.blind.end();
    this.#callThem();
    const again = find("blind");
    again.hidden = false;
    again.textContent = verdict ? "Listen blind once more" : "Listen blind";
    find("game").replaceChildren(made("p", { className: "result" }, verdict));
    find("game").hidden = !verdict;
    find("said").textContent = verdict;
    again.focus();
  }

  // Names and letters on the choices: those of the readings, or first and second.
  #callThem() {
    document.body.classList.toggle("hiding", this.blind.on);
    this.choices.forEach((input, place) => {
      const hidden = [made("span", { className: "name" }, CALLED[place])];
      input.nextElementSibling.replaceChildren(...(this.blind.on ? hidden : this.names[place]));
    });
    this.showReading();
  }

  // -- showing

  show() {
    const { reading, place, playing } = this.player;
    this.sheets.show(reading, place, playing);
    const beat = reading.score.beat(reading.row[place.ordinal], place.offset);
    const shown = `${reading.number} ${place.ordinal} ${beat}`;
    if (shown === this.#bar) return;
    this.#bar = shown;
    find("place").textContent = reading.told(place);
    find("bar").value = place.ordinal;
  }

  showReading() {
    const { reading } = this.player;
    const place = this.blind.order.indexOf(reading);
    if (this.choices[place]) this.choices[place].checked = true;
    find("bar").max = reading.bars - 1;
    document.body.dataset.playing = this.blind.on ? "" : reading.letter;
    this.#bar = null;
    this.show();
  }

  showPlaying() {
    const { playing, waiting, wanted } = this.player;
    const button = find("play");
    button.classList.toggle("playing", wanted);
    button.classList.toggle("waiting", waiting);
    button.querySelector(".unseen").textContent = wanted ? "Pause" : "Play";
    document.body.classList.toggle("heard", playing);
    if (waiting) this.notice(WAITING);
    else if (find("notice").textContent === WAITING) this.notice("");
    if (waiting) find("said").textContent = WAITING;
  }

  // Tell a listener to the screen where the music is: after a wish, never by itself.
  say(more = "") {
    const { reading, place } = this.player;
    const called = this.blind.on ? CALLED[this.blind.order.indexOf(reading)] : reading.name;
    const which = this.readings.length > 1 ? `${called}, ` : "";
    find("said").textContent = `${which}${reading.told(place)}${more ? `, ${more}` : ""}`;
    find("bar").setAttribute("aria-valuetext", reading.told(place, false));
  }

  // A line over the player, for a while.
  notice(text) {
    const line = find("notice");
    line.hidden = !text;
    line.textContent = text ?? "";
    clearTimeout(this.#told);
    if (text) this.#told = setTimeout(() => (line.hidden = true), 6000);
  }
}
