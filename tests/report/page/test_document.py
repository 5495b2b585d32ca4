"""The page as text: the same content gives the same page, and a long run keeps it small."""

from __future__ import annotations

import re

from browser.long_run import NETS, STEPS, long_run_result
from browser.pages import page_of

from verifier.report.page.document import report_page
from verifier.workbench.page_content import page_content


def test_the_same_content_gives_the_same_page() -> None:
    assert page_of("beat_source") == page_of.__wrapped__("beat_source")


def test_a_long_run_of_a_large_circuit_stays_below_2_mb() -> None:
    found = long_run_result()
    (result,) = found.designs
    (judged,) = result.claims
    assert len(result.design.netlist.nets) == NETS
    assert judged.run is not None
    assert len(judged.run) == STEPS + 1
    page = report_page(page_content("0", found))
    assert len(page.encode()) < 2_000_000
    assert page.count('class="wave-row"') == NETS


def test_no_address_of_anything_outside_stands_in_the_page() -> None:
    """The names of the SVG namespace are no addresses that anything is fetched from."""
    page = page_of("beat_source").replace("http://www.w3.org/2000/svg", "")
    assert re.findall(r"https?:|//[a-z]+\.|@import|url\(", page) == []


def test_every_identity_on_the_page_is_there_once_and_every_link_leads_somewhere() -> None:
    page = page_of("beat_source")
    identities = re.findall(r'\sid="([^"]*)"', page)
    assert len(identities) == len(set(identities))
    assert set(re.findall(r'href="#([^"]*)"', page)) <= set(identities)
