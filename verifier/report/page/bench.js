// The bench: switches to flip, lamps to watch. What the circuit does is the machine's business.

const WAYS_SHOWN = 12;

class Bench {
  constructor(root) {
    this.root = root;
    this.data = JSON.parse(document.getElementById(`${root.dataset.bench}-data`).textContent);
    this.machine = new Machine(this.data.machine);
    this.place = new Map(this.data.machine.switches.map((net, place) => [net, place]));
    this.switches = this.data.machine.switches.map(() => 0);
    this.history = [];
    this.find = (name) => root.querySelector(name);
    const holder = this.find(".circuit-copy");
    this.drawing = holder && new DrawnCircuit(holder);
    this.lamps = [
      ...this.data.outputs.map((signal) => makeLamp(this.find(".outputs"), signal)),
      ...this.data.inner.map((signal) => makeLamp(this.find(".inner"), signal)),
    ];
    this.listen();
    this.offerRecipes();
    root.hidden = false;
    this.draw("The power is off. Set the switches, then power up.");
  }

  get now() {
    return this.history.at(-1);
  }

  listen() {
    this.find(".power").addEventListener("click", () => this.power());
    this.find(".undo").addEventListener("click", () => this.undo());
    this.find(".wait").addEventListener("click", () => this.step(this.switches));
    this.find(".step").addEventListener("click", () => this.step(this.switches));
    this.find(".together").addEventListener("change", () => this.gather());
    for (const control of this.root.querySelectorAll(".switch, .tick")) {
      control.addEventListener("click", () => this.flip(this.data.inputs[control.dataset.input]));
    }
    for (const control of this.root.querySelectorAll(".set")) {
      control.addEventListener("click", () => this.set(this.data.inputs[control.dataset.input]));
    }
    const recipe = this.find(".recipe");
    if (recipe) recipe.addEventListener("change", () => this.follow(recipe.value));
    this.root.addEventListener("keydown", (event) => {
      if (event.key === "Escape" && !this.find(".ways").hidden) this.cancel();
    });
  }

  // Moving switches

  flip(pin) {
    this.move(pin, 1 - this.switches[this.place.get(pin.nets[0])]);
  }

  set(pin) {
    const control = this.control(pin, ".number-switch");
    const most = 2 ** pin.nets.length - 1;
    const number = Math.min(Math.max(Math.trunc(Number(control.value)) || 0, 0), most);
    control.value = number;
    this.move(pin, number);
  }

  move(pin, number) {
    const moved = this.switches.slice();
    pin.nets.forEach((net, bit) => { moved[this.place.get(net)] = Math.floor(number / 2 ** bit) % 2; });
    if (this.now && !this.find(".together").checked) {
      this.step(moved);
      return;
    }
    this.switches = moved;
    this.draw(this.now ? `${pin.name} will be ${number}. Make the step when all are set.` : `${pin.name} is ${number}. The power is off.`);
  }

  gather() {
    this.find(".step").hidden = !this.find(".together").checked || !this.now;
    if (this.now) this.switches = this.now.switches;
    this.draw();
  }

  // Steps

  power() {
    if (this.now) {
      this.history = [];
      this.draw("The power is off. Set the switches, then power up.");
    } else this.step(this.switches);
  }

  undo() {
    this.history.pop();
    if (this.now) this.switches = this.now.switches;
    this.draw(this.now ? "One step back." : "The power is off.");
  }

  // Works out where the circuit may go with the switches so, and goes there or asks.
  step(switches, wanted = null) {
    const { ways, cut } = this.machine.ways(this.now ? this.now.registers : this.machine.off(), switches, 256);
    if (!ways.length) {
      this.draw("The circuit cannot power up with the switches so.");
      return;
    }
    const oscillates = ways.some((way) => way.oscillated);
    const asked = { switches, ways, cut, oscillates };
    if (wanted !== null) {
      const way = ways.find(({ nets }) => nets.join("") === wanted);
      if (way) this.take(asked, way);
      else this.draw("The machine does not find the state of the found run here.");
      return;
    }
    const deciding = this.find(".deciding").value;
    if (ways.length === 1 || deciding === "first") this.take(asked, ways[0]);
    else if (deciding === "coin") this.take(asked, anyOf(ways));
    else this.ask(asked);
  }

  ask(asked) {
    const { ways, cut } = asked;
    const holder = this.find(".ways");
    const raced = ways.some((way) => way.raced);
    const nets = openNets(ways, this.data.named);
    const many = cut ? `more than ${ways.length}` : ways.length;
    const told = `${raced ? "A race: t" : "T"}he circuit may go ${many} ways${asked.oscillates ? ", and may never come to rest" : ""}. Which one?`;
    const buttons = ways.slice(0, WAYS_SHOWN).map((way) => {
      const text = nets.map((net) => `${this.data.names[net]} ${way.nets[net]}`).join(", ");
      return button(text || "the same lamps", "way", () => this.take(asked, way));
    });
    buttons.push(button("Toss a coin", "any-way", () => this.take(asked, anyOf(ways))));
    buttons.push(button("Leave it", "no-way", () => this.cancel()));
    const line = document.createElement("p");
    line.textContent = told;
    holder.replaceChildren(line, ...buttons);
    holder.hidden = false;
    this.lock(true);
    this.say(told);
    buttons[0].focus();
  }

  cancel() {
    if (this.now) this.switches = this.now.switches;
    this.draw("Nothing was done.");
    this.find(".power").focus();
  }

  take(asked, way) {
    const before = this.now;
    const at = this.history.length;
    this.history.push({
      ...way,
      switches: asked.switches,
      deed: before ? this.deed(before.switches, asked.switches) : "power up",
      several: asked.ways.length,
      restless: asked.oscillates,
      broken: this.broken(before, way, asked, at),
    });
    this.switches = asked.switches;
    const hadFocus = this.find(".ways").contains(document.activeElement);
    this.draw();
    if (hadFocus) this.find(before ? ".wait" : ".power").focus();
  }

  // What is not permitted about this step, in words.
  broken(before, way, asked, at) {
    const told = [];
    if (before) {
      const moved = this.data.inputs.filter((pin) => pin.nets.some((net) => this.bit(before.switches, net) !== this.bit(asked.switches, net)));
      const names = moved.map((pin) => pin.name).join(" and ");
      const alone = !this.data.together || moved.some((pin) => pin.class === "by hand");
      for (const pin of moved) if (pin.class === "strapped") told.push(`not permitted: ${pin.name} never changes`);
      if (moved.length > 1 && alone) told.push(`not permitted: ${names} change in one step`);
    }
    for (const [name, kept] of Object.entries(way.givens)) if (!kept) told.push(`not permitted: given ${name} at step ${at}`);
    return told;
  }

  deed(before, after) {
    const moved = this.data.inputs.filter((pin) => this.number(before, pin) !== this.number(after, pin));
    return moved.map((pin) => `${pin.name} becomes ${this.number(after, pin)}`).join(", ") || "wait";
  }

  bit(switches, net) {
    return switches[this.place.get(net)];
  }

  number(switches, pin) {
    return pin.nets.reduce((sum, net, bit) => sum + this.bit(switches, net) * 2 ** bit, 0);
  }

  control(pin, kind) {
    return this.root.querySelector(`${kind}[data-input="${this.data.inputs.indexOf(pin)}"]`);
  }

  // Showing

  say(text) {
    this.find(".now").textContent = text;
  }

  lock(asking) {
    for (const control of this.root.querySelectorAll(".board button, .board input, .board select")) control.disabled = asking;
    if (asking) return;
    this.find(".undo").disabled = !this.now;
    this.find(".wait").disabled = !this.now;
    for (const pin of this.data.inputs) {
      if (pin.class !== "strapped") continue;
      for (const kind of [".switch", ".number-switch", ".set"]) {
        const control = this.control(pin, kind);
        if (control) control.disabled = Boolean(this.now);
      }
    }
  }

  draw(said = null) {
    const { now } = this;
    this.find(".ways").hidden = true;
    this.lock(false);
    this.find(".power").textContent = now ? "Power off" : "Power up";
    this.find(".step").hidden = !this.find(".together").checked || !now;
    this.data.inputs.forEach((pin) => this.drawSwitch(pin));
    const values = now ? now.nets.join("") : "";
    for (const lamp of this.lamps) lamp.show(values);
    const before = this.history.at(-2);
    if (this.drawing) {
      const changed = before ? differing(before.nets.join(""), values) : [];
      this.drawing.show(values, changed, changed.map((net) => [net, []]));
    }
    this.root.dataset.nets = values;
    this.root.dataset.steps = this.history.length;
    this.drawClaims();
    this.drawLog();
    this.drawRecipe();
    this.say(said ?? this.told());
  }

  told() {
    const { now } = this;
    if (!now) return "The power is off.";
    const lamps = this.lamps.slice(0, this.data.outputs.length).map((lamp) => lamp.told()).join(", ");
    const several = now.several > 1 ? `. This was one of ${now.several} ways` : "";
    const restless = now.restless ? ". The circuit may never come to rest here" : "";
    return `Step ${this.history.length - 1}: ${now.deed}${several}${restless}. ${[...now.broken, lamps].join(". ")}.`;
  }

  drawSwitch(pin) {
    const number = this.number(this.switches, pin);
    const lever = this.control(pin, ".switch");
    if (lever) {
      lever.setAttribute("aria-checked", String(number === 1));
      lever.querySelector(".level").textContent = number;
    } else this.control(pin, ".number-switch").value = number;
  }

  drawClaims() {
    const items = this.data.claims.map((claim) => {
      const at = this.history.findIndex((entry) => entry.claims[claim.name] === (claim.kind === "can"));
      const item = document.createElement("li");
      item.dataset.claim = claim.name;
      item.dataset.at = at;
      item.className = at < 0 ? "" : claim.kind === "can" ? "good" : "bad";
      const name = document.createElement("span");
      name.className = "name";
      name.textContent = claim.name;
      item.append(name, `: ${standing(claim, at)}`);
      return item;
    });
    this.find(".followed").replaceChildren(...items);
  }

  drawLog() {
    const signals = [...this.data.inputs, ...this.data.outputs];
    const number = (nets, signal) => signal.nets.reduce((sum, net, bit) => sum + nets[net] * 2 ** bit, 0);
    const head = row(["step", "what was done", ...signals.map((signal) => signal.name)], "th");
    const rows = this.history.map((entry, at) =>
      row([at, [entry.deed, ...entry.broken].join("; "), ...signals.map((signal) => number(entry.nets, signal))], "td"));
    this.find(".log").replaceChildren(head, ...rows);
  }

  // Found runs, to be done by hand

  offerRecipes() {
    const chooser = this.find(".recipe");
    if (!chooser) return;
    for (const identity of this.data.recipes) {
      const run = JSON.parse(document.getElementById(`${identity}-data`).textContent);
      const option = document.createElement("option");
      option.value = identity;
      option.textContent = run.title;
      chooser.append(option);
    }
    if (!this.data.recipes.length) chooser.closest(".recipes").hidden = true;
  }

  follow(identity) {
    this.recipe = identity ? JSON.parse(document.getElementById(`${identity}-data`).textContent) : null;
    this.history = [];
    this.draw(this.recipe ? "The power is off. Do the steps of the list, or let them be done." : null);
  }

  drawRecipe() {
    const list = this.find(".recipe-steps");
    if (!list) return;
    list.hidden = !this.recipe;
    if (!this.recipe) return;
    const { values, deeds } = this.recipe;
    let done = 0;
    while (done < this.history.length && done < values.length && this.history[done].nets.join("") === values[done]) done += 1;
    const astray = done < Math.min(this.history.length, values.length);
    const items = deeds.map((deed, at) => {
      const item = document.createElement("li");
      item.value = at;
      item.textContent = deed;
      if (at < done) item.append(" \u2013 done");
      if (at === done && !astray) {
        item.setAttribute("aria-current", "step");
        item.append(" ", button("Do it", "do-it", () => this.doStep(at)));
      }
      if (at === done && astray) item.append(" \u2013 the circuit went another way: undo");
      return item;
    });
    list.replaceChildren(...items);
  }

  doStep(at) {
    const wanted = this.recipe.values[at];
    const switches = this.data.machine.switches.map((net) => Number(wanted[net]));
    if (at === 0) this.history = [];
    this.step(switches, wanted);
    const following = this.find(".do-it");
    if (following) following.focus();
  }
}

function standing(claim, at) {
  if (!claim.followed) return "not followed here: it speaks of delays or of the future";
  if (claim.kind === "can") return at < 0 ? "not shown yet" : `shown at step ${at}`;
  return at < 0 ? "holds so far" : `broken at step ${at}`;
}

function makeLamp(holder, signal) {
  const item = document.createElement("li");
  const glass = document.createElement("span");
  glass.className = "lamp";
  glass.setAttribute("aria-hidden", "true");
  const name = document.createElement("span");
  name.className = "name";
  name.textContent = signal.name;
  const level = document.createElement("span");
  level.className = "level";
  item.dataset.lamp = signal.name;
  item.append(glass, name, " ", level);
  holder.append(item);
  const number = (values) => signal.nets.reduce((sum, net, bit) => sum + Number(values[net]) * 2 ** bit, 0);
  let last = "";
  return {
    show(values) {
      last = values ? String(number(values)) : "off";
      level.textContent = last;
      glass.classList.toggle("lit", values !== "" && last !== "0");
    },
    told: () => `${signal.name} ${last}`,
  };
}

function button(text, kind, act) {
  const made = document.createElement("button");
  made.type = "button";
  made.className = kind;
  made.textContent = text;
  made.addEventListener("click", act);
  return made;
}

function row(texts, kind) {
  const made = document.createElement("tr");
  for (const text of texts) {
    const cell = document.createElement(kind);
    if (kind === "th") cell.scope = "col";
    cell.textContent = text;
    made.append(cell);
  }
  return made;
}

function anyOf(ways) {
  return ways[Math.floor(Math.random() * ways.length)];
}

// The named nets in which the ways differ; nameless ones only if there are no others.
function openNets(ways, named) {
  const differ = ways[0].nets.map((_, net) => net).filter((net) => ways.some((way) => way.nets[net] !== ways[0].nets[net]));
  const withNames = differ.filter((net) => named.includes(net));
  return withNames.length ? withNames : differ;
}
