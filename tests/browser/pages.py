"""Pages made for the browser tests, and what a browser says while it shows one."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import verifier
from verifier.evidence.verdict import FileResult
from verifier.report.page.document import report_page
from verifier.workbench.page_content import page_content

if TYPE_CHECKING:
    from playwright.sync_api import Page

SPECS = Path(__file__).resolve().parents[2] / "specs"
SLOW_IN_TIME = {"beat_in_time", "hand_over_in_time", "nands_in_time", "ripple_in_time", "synchroniser_in_time"}
"""Of these only the claims of the settled view are judged here; the others would take the time of all other tests."""

AS_THE_COMMAND = verifier.Wishes(certificates=True)


@cache
def judged(name: str) -> FileResult:
    view = "settled" if name in SLOW_IN_TIME else None
    return verifier.check(SPECS / f"{name}.wiring", view=view, limit=300, processes=0, wishes=AS_THE_COMMAND)


@cache
def page_of(name: str) -> str:
    return report_page(page_content("0", judged(name)))


@dataclass
class Heard:
    """What went on beside the page itself."""

    complaints: list[str] = field(default_factory=list)
    requests: list[str] = field(default_factory=list)


def opened(page: Page, folder: Path, text: str) -> Heard:
    """Opens the page as a user does, from a file."""
    file = folder / "page.html"
    file.write_text(text, encoding="utf-8")
    heard = Heard()
    page.on("console", lambda message: heard.complaints.append(message.text))
    page.on("pageerror", lambda error: heard.complaints.append(str(error)))
    page.on("request", lambda request: heard.requests.append(request.url))
    page.goto(file.as_uri())
    heard.requests.remove(file.as_uri())
    return heard


def everything_awake(page: Page) -> None:
    """Opens whatever can be opened, and waits until all scripts have run."""
    page.evaluate("for (const part of document.querySelectorAll('details')) part.open = true")
    page.wait_for_selector(".controls[hidden], .bench[hidden]", state="detached")
