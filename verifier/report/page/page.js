// Brings the parts of the page to life: at once those near the window, the others one by one when there is time.

(() => {
  const makers = new Map();
  for (const root of document.querySelectorAll(".viewer")) makers.set(root, () => new Viewer(root));
  for (const root of document.querySelectorAll(".try-it")) {
    makers.set(root, () => new Bench(root.querySelector(".bench")));
  }
  for (const figure of document.querySelectorAll(".drawing")) foldable(figure);
  const wake = (root) => {
    const make = makers.get(root);
    makers.delete(root);
    if (make) make();
  };
  const watcher = new IntersectionObserver((entries) => {
    for (const entry of entries) if (entry.isIntersecting) wake(entry.target);
  }, { rootMargin: "600px" });
  for (const root of makers.keys()) watcher.observe(root);
  const others = () => {
    const [root] = makers.keys();
    if (!root) {
      watcher.disconnect();
      return;
    }
    wake(root);
    later(others);
  };
  const later = window.requestIdleCallback ?? ((act) => window.setTimeout(act, 20));
  later(others);
  // On paper the tables of the runs are open.
  let closed = [];
  window.addEventListener("beforeprint", () => {
    closed = [...document.querySelectorAll(".as-table:not([open])")];
    for (const table of closed) table.open = true;
  });
  window.addEventListener("afterprint", () => {
    for (const table of closed) table.open = false;
  });
})();
