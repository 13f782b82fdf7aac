// Listening blind: the readings are called first, second ... in an order that chance has chosen; one listens, says
// which is which, and is told.

const CALLED = ["first", "second", "third", "fourth"];

class Blind {
  constructor(readings) {
    this.readings = readings;
    this.order = readings; // in which they are offered
    this.on = false;
    this.rounds = 0;
    this.right = 0;
  }

  begin() {
    this.order = [...this.readings];
    for (let last = this.order.length - 1; last > 0; last--) {
      const other = Math.floor(Math.random() * (last + 1));
      [this.order[last], this.order[other]] = [this.order[other], this.order[last]];
    }
    this.on = true;
  }

  end() {
    this.on = false;
    this.order = this.readings;
  }

  // Whether the guesses (a reading's number for each place) are right, in words.
  judge(guesses) {
    const right = guesses.every((guess, place) => this.order[place].number === guess);
    this.rounds += 1;
    this.right += right;
    const which = this.order.map((reading, place) => `the ${CALLED[place]} is ${reading.name}`).join(", ");
    const tally = this.rounds > 1 ? ` ${this.right} of ${this.rounds} right.` : "";
    return `${right ? "Yes" : "No"}: ${which}.${tally}`;
  }
}
