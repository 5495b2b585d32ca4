"""A real Chromium for the tests of the page: Debian's package, no window, an empty profile, no use of the network."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    path = shutil.which("chromium")
    if path is None:
        missing = "there is no `chromium`: apt-get install chromium"
        if os.environ.get("CI"):
            pytest.fail(missing)
        pytest.skip(missing)
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=path, args=ARGUMENTS)
        yield started
        started.close()


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    """An empty page of a profile of its own."""
    context = browser.new_context(viewport={"width": 1280, "height": 900}, reduced_motion="reduce")
    yield context.new_page()
    context.close()
