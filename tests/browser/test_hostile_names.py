"""Names and texts from wiring files are data: on the page they are text, whatever stands in them."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import verifier
from browser.pages import everything_awake, opened
from verifier.circuit.builder import NetlistBuilder
from verifier.circuit.netlist import GateKind
from verifier.claims import formula as tree
from verifier.claims.claim import Claim, ClaimKind, Design, Given, WiringFile
from verifier.report.page.document import report_page
from verifier.workbench.page_content import page_content

if TYPE_CHECKING:
    from playwright.sync_api import Page

MARKUP = "<img src=x onerror='window.ran=1'>"
SCRIPT = "</script><script>window.ran=1</script>"
QUOTES = '"\' onfocus=window.ran=1 autofocus x="&amp;'
CONTROL = "bell\x07\x1b[31m\u202egnir"


def hostile_design() -> Design:
    builder = NetlistBuilder(SCRIPT)
    builder.input(MARKUP)
    builder.input(QUOTES)
    builder.gate(CONTROL, GateKind.AND, [MARKUP, QUOTES])
    builder.output(CONTROL)
    netlist = builder.build()
    signal = tree.Signal(name=CONTROL, nets=netlist.signals[CONTROL])
    claims = (
        Claim(name=MARKUP, kind=ClaimKind.MUST, formula=tree.Never(operand=signal), text=f"never {SCRIPT}"),
        Claim(name="settles", kind=ClaimKind.ALWAYS_THERE, formula=tree.Settles(), text="settles"),
    )
    given = Given(name=QUOTES, formula=tree.Literal(value=1, width=1), text=SCRIPT + MARKUP)
    return Design(netlist=netlist, file=MARKUP, claims=claims, givens=(given,), contract=SCRIPT)


def test_markup_script_and_control_characters_in_names_appear_as_text(page: Page, tmp_path: Path) -> None:
    found = verifier.check(WiringFile(SCRIPT, (hostile_design(),)), limit=60, processes=0)
    text = report_page(page_content("0", found))
    heard = opened(page, tmp_path, text)
    everything_awake(page)
    bench = page.locator(".bench")
    bench.locator(".power").click()
    bench.locator(".switch").first.click()
    bench.locator(".recipe").select_option(index=1)
    bench.locator(".do-it").click()
    assert page.evaluate("window.ran") is None
    assert page.locator("img, [onerror], [onfocus], [autofocus]").count() == 0
    assert heard.complaints == []
    assert heard.requests == []
    assert page.locator("h1").text_content() == SCRIPT
    assert bench.locator(".switch .name").all_text_contents() == [MARKUP, QUOTES]
    assert bench.locator(".outputs .name").text_content() == "bell\\x07\\x1b[31m\\u202egnir"
    seen = page.evaluate("document.documentElement.outerHTML")
    assert not any(character in text or character in seen for character in "\x07\x1b\u202e")
