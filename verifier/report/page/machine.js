// The machine behind the switches: one settled step of the circuit as conjunctions of two literals.
//
// A literal is 2 * node, plus 1 when it is negated. A value says which of 0 and 1 is possible: bit 0 for 0, bit 1 for
// 1, so 1 is low, 2 is high and 3 is open. Choices of the circuit begin open; `ways` closes them one after the other
// until everything that is asked for is known, which finds every way the step can go and no other.

class Machine {
  constructor(table) {
    this.table = table;
    const variables = table.registers + table.switches.length + table.choices;
    this.firstSwitch = 1 + table.registers;
    this.firstChoice = this.firstSwitch + table.switches.length;
    this.firstGate = 1 + variables;
    this.values = new Uint8Array(this.firstGate + table.conjunctions.length / 2);
    this.claims = Object.keys(table.claims);
    this.givens = Object.keys(table.givens);
    this.asked = [
      ...table.now, table.raced, table.oscillated, ...table.next,
      ...this.claims.map((name) => table.claims[name]), ...this.givens.map((name) => table.givens[name]),
    ];
  }

  // Registers before power-up.
  off() {
    return new Uint8Array(this.table.registers);
  }

  // Every way to go on from these registers when the switches stand so (one 0 or 1 for each, in the order of
  // `switches`), in ascending order of the nets. `cut` is true when there were more than `most` of them.
  ways(registers, switches, most = 256) {
    const found = new Map();
    const pending = [new Uint8Array(this.table.choices).fill(3)];
    let looked = 0;
    while (pending.length && found.size <= most && looked < 50 * most) {
      const choices = pending.pop();
      looked += 1;
      this.run(registers, switches, choices);
      const possible = this.value(this.table.possible);
      if (possible === 1) continue;
      const open = possible === 3 ? this.table.possible : this.asked.find((literal) => this.value(literal) === 3);
      if (open === undefined) {
        const way = this.reading();
        found.set(way.key, way);
        continue;
      }
      const choice = this.openChoice(open >> 1) - this.firstChoice;
      for (const value of [2, 1]) {
        const closed = choices.slice();
        closed[choice] = value;
        pending.push(closed);
      }
    }
    const ways = [...found.values()].sort((a, b) => (a.key < b.key ? -1 : 1)).slice(0, most);
    return { ways, cut: found.size > most || pending.length > 0 };
  }

  run(registers, switches, choices) {
    const { values } = this;
    const { conjunctions } = this.table;
    values[0] = 1;
    registers.forEach((bit, place) => { values[1 + place] = 1 + bit; });
    switches.forEach((bit, place) => { values[this.firstSwitch + place] = 1 + bit; });
    values.set(choices, this.firstChoice);
    for (let node = this.firstGate, at = 0; at < conjunctions.length; node += 1, at += 2) {
      const left = this.value(conjunctions[at]);
      const right = this.value(conjunctions[at + 1]);
      values[node] = (left & right & 2) | ((left | right) & 1);
    }
  }

  value(literal) {
    const value = this.values[literal >> 1];
    return literal & 1 ? (value >> 1) | ((value & 1) << 1) : value;
  }

  // A choice that keeps this node open. A conjunction is open only when one of its operands is.
  openChoice(node) {
    while (node >= this.firstGate) {
      const at = 2 * (node - this.firstGate);
      const left = this.table.conjunctions[at];
      node = (this.value(left) === 3 ? left : this.table.conjunctions[at + 1]) >> 1;
    }
    return node;
  }

  // What the last `run` came to, when nothing that is asked for is open.
  reading() {
    const bit = (literal) => this.value(literal) >> 1;
    const nets = this.table.now.map(bit);
    const following = this.table.next.map(bit);
    const raced = bit(this.table.raced) === 1;
    const oscillated = bit(this.table.oscillated) === 1;
    const claims = Object.fromEntries(this.claims.map((name) => [name, bit(this.table.claims[name]) === 1]));
    const givens = Object.fromEntries(this.givens.map((name) => [name, bit(this.table.givens[name]) === 1]));
    const key = [nets.join(""), +raced, +oscillated, following.join(""), JSON.stringify([claims, givens])].join(" ");
    return { key, nets, registers: Uint8Array.from(following), raced, oscillated, claims, givens };
  }
}
