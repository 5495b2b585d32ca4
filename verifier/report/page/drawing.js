// A copy of a circuit's drawing, on which nets are marked by value and elements by what they did.

const SMALLEST_SCALE = 0.8; // smaller, its letters could not be read; what does not fit is scrolled

class DrawnCircuit {
  // The copy is made when the holder comes near the window, or before printing; until then marks are kept.
  constructor(holder) {
    this.holder = holder;
    this.nets = null;
    this.state = null;
    document.getElementById(holder.dataset.drawing).addEventListener("fold", () => {
      if (!this.nets) return;
      this.nets = null;
      holder.replaceChildren();
      this.make();
    });
    const watcher = new IntersectionObserver((entries) => {
      if (entries.some((entry) => entry.isIntersecting)) this.make();
      if (this.nets) watcher.disconnect();
    }, { rootMargin: "400px" });
    watcher.observe(holder.parentElement);
    window.addEventListener("beforeprint", () => this.make());
  }

  make() {
    if (this.nets) return;
    const source = document.querySelector(`#${this.holder.dataset.drawing} .drawn:not([hidden]) svg`);
    const copy = source.cloneNode(true);
    copy.removeAttribute("id");
    for (const part of copy.querySelectorAll("[id]")) part.removeAttribute("id");
    copy.removeAttribute("aria-labelledby");
    copy.setAttribute("role", "img");
    copy.setAttribute("aria-label", "The circuit at this step; the step is told in words below");
    copy.style.minWidth = `${SMALLEST_SCALE * copy.width.baseVal.value}px`;
    this.holder.append(copy);
    this.holder.hidden = false;
    this.nets = gathered(copy, "net");
    this.elements = gathered(copy, "element");
    if (this.state) this.mark(this.state);
  }

  // `values`: one "0" or "1" for each net. `changed`: nets that are new here. `moved`: pairs of a net and its causes.
  show(values, changed, moved) {
    this.state = { values, changed: new Set(changed), moved };
    if (this.nets) this.mark(this.state);
  }

  mark(state) {
    const fired = new Set(state.moved.map(([net]) => net));
    const causes = new Set(state.moved.flatMap(([, pins]) => pins));
    for (const [net, parts] of this.nets) {
      for (const part of parts) {
        const { classList } = part;
        classList.toggle("high", state.values[net] === "1");
        classList.toggle("low", state.values[net] === "0");
        classList.toggle("changed", state.changed.has(net));
        classList.toggle("cause", causes.has(net));
      }
    }
    for (const [net, parts] of this.elements) {
      for (const part of parts) part.classList.toggle("fired", fired.has(net));
    }
    this.bringIntoSight(state.moved.map(([net]) => this.elements.get(net)?.[0]).find(Boolean));
  }

  // A drawing too large for its place is scrolled so that the first of what fired can be seen.
  bringIntoSight(part) {
    const { holder } = this;
    if (!part || (holder.scrollWidth <= holder.clientWidth && holder.scrollHeight <= holder.clientHeight)) return;
    const there = part.getBoundingClientRect();
    const seen = holder.getBoundingClientRect();
    if (there.left < seen.left || there.right > seen.right) {
      holder.scrollLeft += there.left - seen.left - seen.width / 2;
    }
    if (there.top < seen.top || there.bottom > seen.bottom) {
      holder.scrollTop += there.top - seen.top - seen.height / 2;
    }
  }
}

// The box that folds the parts of a circuit, in its drawing and in all copies.
function foldable(figure) {
  const box = figure.querySelector(".fold");
  if (!box) return;
  figure.querySelector(".folding").hidden = false;
  box.addEventListener("change", () => {
    for (const drawn of figure.querySelectorAll(".drawn")) drawn.hidden = (drawn.dataset.folded === "yes") !== box.checked;
    figure.dispatchEvent(new Event("fold"));
  });
}

function gathered(drawing, kind) {
  const found = new Map();
  for (const part of drawing.querySelectorAll(`g.${kind}[data-${kind}]`)) {
    const net = Number(part.dataset[kind]);
    if (!found.has(net)) found.set(net, []);
    found.get(net).push(part);
  }
  return found;
}

// The nets that differ between two lists of values.
function differing(before, after) {
  const nets = [];
  for (let net = 0; net < after.length; net += 1) if (before[net] !== after[net]) nets.push(net);
  return nets;
}
