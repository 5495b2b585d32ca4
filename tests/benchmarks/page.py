"""How fast a page with a long run opens and steps: 150 nets, 500 steps, in Chromium.

    python -m benchmarks.page            (from the folder `tests`)

Prints the size, the time from opening until the viewer can be stepped, and the time of a step with everything drawn.
"""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path

from browser.conftest import ARGUMENTS
from browser.long_run import NETS, STEPS, long_run_result

from verifier.report.page.document import report_page
from verifier.workbench.page_content import page_content

STEPPING = """
async () => {
  const frame = () => new Promise((done) => requestAnimationFrame(done));
  const viewer = document.querySelector(".viewer");
  viewer.querySelector(".circuit-copy").scrollIntoView();
  await new Promise((done) => setTimeout(done, 500));
  const times = [];
  for (let step = 0; step < 100; step += 1) {
    const began = performance.now();
    viewer.querySelector(".next").click();
    viewer.getBoundingClientRect();
    await frame();
    times.push(performance.now() - began);
  }
  return times.sort((a, b) => a - b);
}
"""


def main() -> None:
    from playwright.sync_api import sync_playwright

    text = report_page(page_content("0", long_run_result()))
    print(f"{NETS} nets, {STEPS} steps: {len(text.encode()) / 1e6:.2f} MB")
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        file = Path(folder) / "long.html"
        file.write_text(text, encoding="utf-8")
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=ARGUMENTS)
        page = browser.new_page(viewport={"width": 1280, "height": 900})
        for _ in range(3):
            page.goto(file.as_uri())
            page.wait_for_selector(".viewer .controls:not([hidden])", state="attached")
            opened = page.evaluate("performance.now()")
            loaded = page.evaluate("performance.getEntriesByType('navigation')[0].loadEventEnd")
            print(f"loaded after {loaded:.0f} ms, can be stepped after at most {opened:.0f} ms")
        times = page.evaluate(STEPPING)
        print(f"a step, drawn: median {times[50]:.1f} ms, 95 of 100 within {times[94]:.1f} ms")
        browser.close()


if __name__ == "__main__":
    main()
