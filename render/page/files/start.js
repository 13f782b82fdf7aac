// The page comes to life: the player takes the place of the plain controls, and answers while the sound that the page
// carries is still being read.

function start() {
  const values = JSON.parse(find("values").textContent);
  const scores = values.scores.map((each) => new Score(each));
  const readings = values.readings.map((each, number) => new Reading(each, number, scores));
  const sound = new Sound(readings, values.rooms);
  const repeats = new Repeats(values.phrases);
  const controls = new Controls(readings, new Sheets(values, scores), repeats, new Blind(readings));
  const show = { place: () => controls.show(), reading: () => controls.showReading(), playing: () => controls.showPlaying() };
  const player = new Player(readings, sound, repeats, (what) => show[what]());

  controls.wire(player);
  document.body.classList.add("alive");
  return sound.load([...document.querySelectorAll(".sounds audio")].map((audio) => audio.src)).then(() => {
    document.body.classList.add("ready");
    player.getReady();
  });
}

(async () => start())().catch((fault) => {
  // The plain controls still play: show them again rather than a player that does not.
  document.body.classList.remove("alive", "hiding");
  throw fault;
});
