// Brings the parts of the page to life, each when it comes near the window.

(() => {
  const makers = new Map([
    ...[...document.querySelectorAll(".viewer")].map((root) => [root, () => new Viewer(root)]),
    ...[...document.querySelectorAll(".bench")].map((root) => [root, () => new Bench(root)]),
  ]);
  const alive = (root) => {
    const make = makers.get(root);
    makers.delete(root);
    if (make) make();
  };
  const watcher = new IntersectionObserver((entries) => {
    for (const entry of entries) {
      if (!entry.isIntersecting) continue;
      watcher.unobserve(entry.target);
      alive(entry.target.classList.contains("try-it") ? entry.target.querySelector(".bench") : entry.target);
    }
  }, { rootMargin: "1200px" });
  for (const root of [...makers.keys()]) watcher.observe(root.classList.contains("bench") ? root.closest(".try-it") : root);
})();
