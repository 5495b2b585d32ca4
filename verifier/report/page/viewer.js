// A run to step through: a cursor in the timing diagram, the drawing marked, the step told in words.

const PLAY_EVERY_MS = 800;

class Viewer {
  constructor(root) {
    this.root = root;
    this.run = JSON.parse(document.getElementById(`${root.dataset.run}-data`).textContent);
    this.last = this.run.numbers.length - 1;
    this.at = 0;
    this.rounds = 0;
    this.timer = null;
    this.waves = root.querySelector(".waves");
    this.slider = root.querySelector(".slider");
    this.now = root.querySelector(".now");
    this.play = root.querySelector(".play");
    const holder = root.querySelector(".circuit-copy");
    this.drawing = holder && new DrawnCircuit(holder);
    this.bands = [...this.waves.querySelectorAll(".wave-instant")];
    keepNames(this.waves);
    this.cursor = makeCursor(this.waves.querySelector("svg"));
    root.querySelector(".controls").hidden = false;
    this.listen();
    this.show(0);
  }

  listen() {
    const click = (name, act) => this.root.querySelector(name).addEventListener("click", act);
    click(".first", () => this.go(0));
    click(".back", () => this.back());
    click(".next", () => this.next());
    click(".last", () => this.go(this.last));
    click(".play", () => this.toggle());
    this.slider.addEventListener("input", () => this.go(Number(this.slider.value)));
    this.bands.forEach((band, instant) => band.addEventListener("click", () => this.go(instant)));
    this.waves.addEventListener("keydown", (event) => this.key(event));
  }

  key(event) {
    const act = {
      ArrowRight: () => this.next(),
      ArrowLeft: () => this.back(),
      Home: () => this.go(0),
      End: () => this.go(this.last),
      " ": () => this.toggle(),
    }[event.key];
    if (!act || event.ctrlKey || event.altKey || event.metaKey) return;
    event.preventDefault();
    act();
  }

  go(instant) {
    this.stop();
    this.rounds = 0;
    this.show(instant);
  }

  back() {
    this.stop();
    if (this.at > 0) this.show(this.at - 1);
  }

  // One step on; from the end of a loop to its beginning. False at the end of a run that ends.
  next() {
    if (this.at < this.last) this.show(this.at + 1);
    else if (this.run.loopFrom === null) return false;
    else {
      this.rounds += 1;
      this.show(this.run.loopFrom, this.last);
    }
    return true;
  }

  toggle() {
    if (this.timer !== null) {
      this.stop();
      return;
    }
    if (this.at === this.last && this.run.loopFrom === null) this.show(0);
    this.timer = window.setInterval(() => { if (!this.next()) this.stop(); }, PLAY_EVERY_MS);
    this.play.textContent = "Pause";
    this.play.setAttribute("aria-pressed", "true");
  }

  stop() {
    window.clearInterval(this.timer);
    this.timer = null;
    this.play.textContent = "Play";
    this.play.setAttribute("aria-pressed", "false");
  }

  // `from` is the instant before, where that is not the one to the left.
  show(instant, from = instant - 1) {
    const { run } = this;
    this.at = instant;
    this.root.dataset.at = instant;
    const told = this.told(instant);
    this.slider.value = instant;
    this.slider.setAttribute("aria-valuetext", told);
    this.now.textContent = told;
    moveCursor(this.cursor, this.bands[instant], this.waves);
    if (!this.drawing) return;
    const changed = from < 0 ? [] : differing(run.values[from], run.values[instant]);
    const again = from === instant - 1;
    this.drawing.show(run.values[instant], changed, again ? run.moved[instant] : changed.map((net) => [net, []]));
  }

  told(instant) {
    const { run } = this;
    const number = run.numbers[instant];
    const where = run.unit === "step" ? `step ${number} of ${run.numbers[this.last]}` : `${number} ns`;
    const parts = [`${where}: ${run.deeds[instant]}`];
    if (run.because[instant]) parts.push(run.because[instant]);
    if (run.marks[instant]) parts.push(run.marks[instant]);
    if (instant === this.last && run.forEver) parts.push(run.forEver);
    if (this.rounds) parts.push(`round ${this.rounds + 1} of the loop`);
    return `${parts.join(". ")}.`;
  }
}

const SVG = "http://www.w3.org/2000/svg";

function makeCursor(svg) {
  const cursor = document.createElementNS(SVG, "g");
  cursor.setAttribute("class", "wave-cursor");
  const band = document.createElementNS(SVG, "rect");
  const head = document.createElementNS(SVG, "path");
  cursor.append(band, head);
  svg.insertBefore(cursor, svg.querySelector(".wave-instant"));
  return { cursor, band, head };
}

// The names of the rows stay in sight while a long diagram is scrolled.
function keepNames(scrolled) {
  const svg = scrolled.querySelector("svg");
  const [first] = svg.querySelectorAll(".wave-instant");
  const names = document.createElementNS(SVG, "g");
  const ground = document.createElementNS(SVG, "rect");
  ground.setAttribute("class", "wave-ground");
  ground.setAttribute("y", first.getAttribute("y"));
  ground.setAttribute("width", Number(first.getAttribute("x")) - 8);
  ground.setAttribute("height", first.getAttribute("height"));
  names.append(ground);
  for (const row of svg.querySelectorAll(".wave-row")) names.append(row.querySelector("text"));
  svg.append(names);
  scrolled.addEventListener("scroll", () => names.setAttribute("transform", `translate(${scrolled.scrollLeft} 0)`));
}

function moveCursor({ band, head }, instant, scrolled) {
  const x = Number(instant.getAttribute("x"));
  const y = Number(instant.getAttribute("y"));
  for (const name of ["x", "y", "width", "height"]) band.setAttribute(name, instant.getAttribute(name));
  head.setAttribute("d", `M${x} ${y + 9} l-6 -9 h12 Z`);
  const room = scrolled.clientWidth;
  if (x - scrolled.scrollLeft > room - 80 || x < scrolled.scrollLeft + 80) scrolled.scrollLeft = x - room / 2;
}
