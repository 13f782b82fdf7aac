// The engraved music: a line at the place that is heard, the notes that sound there, and bars that can be touched.

class Sheet {
  constructor(values, score) {
    this.score = score;
    this.prefix = values.prefix;
    this.width = values.width;
    this.top = values.top;
    this.bottom = values.bottom;
    for (const name of ["system", "first"]) this[name] = whole(values[name]);
    for (const name of ["offset", "x"]) this[name] = floats(values[name]);
    this.element = document.querySelector(`.sheets[data-prefix="${values.prefix}"]`);
    this.drawings = [...this.element.querySelectorAll(".drawing")];
  }

  get shown() {
    return this.element.getClientRects().length > 0;
  }

  // The system of a bar, and the x of a moment in it.
  place(row, offset) {
    const x = interpolated(this.offset, this.x, offset, this.first[row], this.first[row + 1]);
    return { system: this.system[row], x };
  }

  // The noteheads that are written where `offset` is.
  heads(row, offset) {
    const { from, to, head, first } = this.score;
    const end = Math.min(lastAtMost(from, offset + 1e-6, first[row], first[row + 1]) + 1, first[row + 1]);
    const found = [];
    for (let each = first[row]; each < end; each++) if (to[each] > offset + 1e-6) found.push(head[each]);
    return found;
  }
}

class Sheets {
  #line = document.createElement("div");
  #system = null; // in which the line stands
  #lit = [];

  constructor(values, scores) {
    this.all = values.scores.map((one, place) => one.papers.map((paper) => new Sheet(paper, scores[place])));
    this.scores = scores;
    this.#line.className = "line";
    this.#line.hidden = true;
    this.still = matchMedia("(prefers-reduced-motion: reduce)");
    addEventListener("resize", () => (this.#current = null));
  }

  #current = null; // the sheet that is shown of the score last asked for

  sheet(score) {
    if (this.#current?.score !== score) {
      this.#current = this.all[this.scores.indexOf(score)].find((each) => each.shown) ?? null;
    }
    return this.#current;
  }

  // Put the line at a place of a reading. `follow`: bring its system into view when it is another one.
  show(reading, { ordinal, offset }, follow) {
    const sheet = this.sheet(reading.score);
    if (!sheet) return;
    const row = reading.row[ordinal];
    const within = Math.min(offset, reading.score.length[row]);
    const { system, x } = sheet.place(row, this.still.matches ? this.#onBeat(reading.score, row, within) : within);
    if (system < 0) return;
    const drawing = sheet.drawings[system];
    if (drawing !== this.#system) this.#moveTo(drawing, sheet, system, follow);
    this.#line.style.left = `${(100 * x) / sheet.width[system]}%`;
    this.#light(sheet, sheet.heads(row, within));
  }

  // Where things had better not glide, the line steps from beat to beat.
  #onBeat(score, row, offset) {
    const shift = score.shift[row];
    return Math.max(((score.beat(row, offset) - 1) * 4) / score.unit[row] - shift, 0);
  }

  #moveTo(drawing, sheet, system, follow) {
    this.#system = drawing;
    this.#line.hidden = false;
    this.#line.style.top = `${100 * sheet.top[system]}%`;
    this.#line.style.height = `${100 * (sheet.bottom[system] - sheet.top[system])}%`;
    drawing.append(this.#line);
    if (follow) this.reveal(drawing);
  }

  reveal(drawing = this.#system) {
    const { top, bottom } = drawing.getBoundingClientRect();
    const room = innerHeight - document.querySelector(".player").offsetHeight;
    if (top >= 0 && bottom <= room) return;
    scrollBy({ top: top - Math.max((room - (bottom - top)) / 2, 8), behavior: this.still.matches ? "auto" : "smooth" });
  }

  #light(sheet, heads) {
    const names = heads.map((head) => `${sheet.prefix}n${head}`);
    if (names.length === this.#lit.length && names.every((name, i) => name === this.#lit[i])) return;
    for (const name of this.#lit) document.getElementById(name)?.classList.remove("sounding");
    for (const name of names) document.getElementById(name)?.classList.add("sounding");
    this.#lit = names;
  }

  // Call `go(score, row)` when a bar is touched.
  onTouch(go) {
    for (const sheet of this.all.flat()) {
      sheet.element.addEventListener("click", ({ target }) => {
        const bar = target.closest(".touch");
        if (bar) go(sheet.score, Number(bar.dataset.bar));
      });
    }
  }
}
