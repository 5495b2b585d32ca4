"""The page of a report in a real browser: it opens, fetches nothing, complains of nothing, and anybody can use it."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from browser.pages import SPECS, everything_awake, opened, page_of

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

NAMES = sorted(path.stem for path in SPECS.glob("*.wiring"))
AUDITED = {"light": ("gated_in_time", "one_pulse"), "dark": ("self_clearing",)}
"""Pages with endless runs, measured numbers and runs in time; an audit of every page would take minutes."""
STANDARD = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


@pytest.mark.parametrize("name", NAMES)
def test_a_page_of_the_shelf_opens_quietly_and_fetches_nothing(page: Page, tmp_path: Path, name: str) -> None:
    heard = opened(page, tmp_path, page_of(name))
    everything_awake(page)
    assert page.locator(".matrix tbody tr").count() > 0
    assert heard.complaints == []
    assert heard.requests == []


def test_the_page_may_not_fetch_or_run_anything_that_is_added(page: Page, tmp_path: Path) -> None:
    heard = opened(page, tmp_path, page_of("beat_source"))
    page.evaluate(
        """() => {
          const script = document.createElement("script");
          script.textContent = "window.ran = true";
          const image = document.createElement("img");
          image.src = "http://127.0.0.1:9/bell.png";
          image.alt = "";
          document.body.append(script, image);
        }"""
    )
    page.wait_for_timeout(50)
    assert page.evaluate("window.ran") is None
    assert len(heard.complaints) >= 2
    assert all("Content Security Policy" in complaint for complaint in heard.complaints)


@pytest.mark.parametrize("scheme", AUDITED)
def test_an_audit_for_wcag_2_2_aa_finds_nothing(browser: Browser, tmp_path: Path, scheme: str) -> None:
    """By the rules of axe-core, contrast among them; every part of the page is open."""
    audit = files("axe_playwright_python").joinpath("axe.min.js").read_text(encoding="utf-8")
    context = browser.new_context(color_scheme=scheme, reduced_motion="reduce", bypass_csp=True)
    page = context.new_page()
    for name in AUDITED[scheme]:
        opened(page, tmp_path, page_of(name))
        everything_awake(page)
        for power in page.locator(".power").all():
            power.click()
        page.add_script_tag(content=audit)
        found = page.evaluate(
            "tags => axe.run({ runOnly: { type: 'tag', values: tags } })"
            ".then(({ violations, passes }) => ({"
            " violations: violations.map(({ id, nodes }) => [id, nodes.map(({ html }) => html)]),"
            " passes: passes.map(({ id }) => id) }))",
            STANDARD,
        )
        assert found["violations"] == []
        assert {"color-contrast", "button-name", "label"} <= set(found["passes"])
    context.close()


@pytest.mark.parametrize("width", [320, 400, 1280])
def test_nothing_sticks_out_of_a_narrow_window(page: Page, tmp_path: Path, width: int) -> None:
    """320 px is what WCAG 2.2, 1.4.10 (Reflow) asks for."""
    page.set_viewport_size({"width": width, "height": 800})
    opened(page, tmp_path, page_of("beat_source"))
    everything_awake(page)
    assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_a_printed_page_has_the_runs_and_no_controls(page: Page, tmp_path: Path) -> None:
    opened(page, tmp_path, page_of("beat_source"))
    page.emulate_media(media="print")
    assert page.locator(".waves").first.is_visible()
    assert not page.locator(".controls").first.is_visible()
    assert not page.locator(".try-it").first.is_visible()
    assert page.pdf().startswith(b"%PDF")


def test_without_a_script_the_verdicts_and_runs_can_still_be_read(browser: Browser, tmp_path: Path) -> None:
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    opened(page, tmp_path, page_of("beat_source"))
    assert page.locator(".matrix").is_visible()
    assert page.locator(".waves svg").first.is_visible()
    assert not page.locator(".controls").first.is_visible()
    context.close()
