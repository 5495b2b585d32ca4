"""Stepping through a counterexample on the page, by keyboard alone, held against the run it was made from."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from browser.pages import everything_awake, judged, opened, page_of
from verifier.claims.claim import View
from verifier.claims.run import Run
from verifier.evidence.verdict import Verdict
from verifier.report.deeds import deeds
from verifier.report.drawing import top_parts
from verifier.report.moves import instants_with_moves
from verifier.report.pieces import clean

if TYPE_CHECKING:
    from playwright.sync_api import Locator, Page

    from verifier.claims.claim import Design
    from verifier.evidence.verdict import ClaimResult

MARKED = """
(holder) => Object.fromEntries([...holder.querySelectorAll("g.net[data-net]")].map((part) => [part.dataset.net,
  ["high", "low", "changed", "cause"].filter((name) => part.classList.contains(name))]))
"""
FIRED = """
(holder) => [...holder.querySelectorAll("g.element.fired")].map((part) => Number(part.dataset.element))
"""


def broken_claims(name: str) -> list[tuple[str, Design, ClaimResult]]:
    """Identity on the page, circuit and result of every broken claim."""
    return [
        (f"claim-{circuit}-{place}-run", result.design, claim)
        for circuit, result in enumerate(judged(name).designs)
        for place, claim in enumerate(result.claims)
        if claim.verdict is Verdict.BROKEN
    ]


def viewer(page: Page, identity: str) -> Locator:
    """Its part of the page, in the window so that the drawing is there."""
    found = page.locator(f"#{identity}")
    found.scroll_into_view_if_needed()
    found.locator(".circuit-copy svg").wait_for(state="attached")
    return found


def shows(found: Locator, design: Design, run: Run, at: int, before: int | None) -> None:
    """Everything the viewer shows is that instant of the run."""
    values = run.instants[at]
    marked = found.locator(".circuit-copy").evaluate(MARKED)
    assert len(marked) > 0
    changed = {net for net in range(len(values)) if before is not None and values[net] != run.instants[before][net]}
    for net, classes in marked.items():
        assert ("high" in classes, "low" in classes) == (values[int(net)], not values[int(net)])
        assert ("changed" in classes) == (int(net) in changed)
    fired = set(found.locator(".circuit-copy").evaluate(FIRED))
    assert fired == changed - set(design.netlist.input_nets)


@pytest.mark.parametrize("name", ["beat_source", "self_clearing", "gated_in_time"])
def test_keys_step_through_every_counterexample_as_it_was_replayed(page: Page, tmp_path: Path, name: str) -> None:
    opened(page, tmp_path, page_of(name))
    everything_awake(page)
    found_any = False
    for identity, design, claim in broken_claims(name):
        run = claim.run
        assert run is not None
        found_any = True
        shown = list(range(len(run))) if claim.claim.view is View.SETTLED else instants_with_moves(run)
        told = deeds(design.netlist, run, claim.claim.view, asides=True)
        found = viewer(page, identity)
        found.locator(".waves").focus()
        page.keyboard.press("Home")
        for place, at in enumerate(shown):
            if place:
                page.keyboard.press("ArrowRight")
            assert found.get_attribute("data-at") == str(place)
            assert clean(told[at].replace("\u00a0", " ")) in (found.locator(".now").text_content() or "")
            shows(found, design, run, at, shown[place - 1] if place else None)
        if run.loop_from is None:
            assert f"broken at {'step' if run.times is None else ''}".strip() in (
                found.locator(".now").text_content() or ""
            )
            page.keyboard.press("ArrowRight")
            assert found.get_attribute("data-at") == str(len(shown) - 1)
        page.keyboard.press("ArrowLeft")
        assert found.get_attribute("data-at") == str(max(len(shown) - 2, 0))
    assert found_any


def test_the_slider_and_the_buttons_do_the_same_as_the_keys(page: Page, tmp_path: Path) -> None:
    opened(page, tmp_path, page_of("beat_source"))
    everything_awake(page)
    identity, design, claim = next(entry for entry in broken_claims("beat_source") if entry[2].run.loop_from is None)
    assert claim.run is not None
    found = viewer(page, identity)
    last = len(claim.run) - 1
    found.locator(".slider").focus()
    page.keyboard.press("End")
    assert found.get_attribute("data-at") == str(last)
    assert f"step {last} of {last}" in (found.locator(".slider").get_attribute("aria-valuetext") or "")
    shows(found, design, claim.run, last, last - 1)
    found.locator(".first").press("Enter")
    found.locator(".next").press("Enter")
    assert found.get_attribute("data-at") == "1"
    shows(found, design, claim.run, 1, 0)


def test_the_loop_of_an_endless_run_is_played_round_and_round(page: Page, tmp_path: Path) -> None:
    page.clock.install()
    opened(page, tmp_path, page_of("beat_source"))
    page.clock.run_for(2000)  # waking up waits for idle time
    identity, _, claim = next(entry for entry in broken_claims("beat_source") if entry[2].run.loop_from is not None)
    run = claim.run
    assert run is not None
    found = viewer(page, identity)
    found.locator(".waves").focus()
    page.keyboard.press("End")
    page.keyboard.press("Space")
    assert found.locator(".play").text_content() == "Pause"
    seen = []
    for _ in range(2 * (len(run) - run.loop_from)):
        page.clock.run_for(800)
        seen.append(int(found.get_attribute("data-at") or -1))
    assert seen == 2 * list(range(run.loop_from, len(run)))
    page.keyboard.press("Space")
    page.clock.run_for(3000)
    assert found.get_attribute("data-at") == str(len(run) - 1)


def test_the_cursor_stands_where_the_diagram_has_its_instant(page: Page, tmp_path: Path) -> None:
    opened(page, tmp_path, page_of("beat_source"))
    everything_awake(page)
    identity, _, claim = broken_claims("beat_source")[-1]
    assert claim.run is not None
    found = viewer(page, identity)
    for at in range(len(claim.run)):
        found.locator(f".wave-instant[data-instant='{at}']").click()
        cursor, band = (
            found.locator(which).bounding_box() for which in (".wave-cursor rect", f".wave-instant >> nth={at}")
        )
        assert cursor == band


def test_a_measured_number_has_its_width_marked_on_the_run_at_the_bound(page: Page, tmp_path: Path) -> None:
    opened(page, tmp_path, page_of("gated_in_time"))
    measured = [
        (f"claim-{circuit}-{place}-bound", claim.measured)
        for circuit, result in enumerate(judged("gated_in_time").designs)
        for place, claim in enumerate(result.claims)
        if claim.measured is not None and claim.measured.run is not None
    ]
    assert measured
    for identity, number in measured:
        assert number is not None
        assert page.locator(f"#{identity} .width-text").text_content() == f"{number.value} {number.unit}"


def test_parts_can_be_folded_in_the_drawing_and_in_its_copies(page: Page, tmp_path: Path) -> None:
    opened(page, tmp_path, page_of("nand_flip_flop"))
    everything_awake(page)
    circuit, place, run = next(
        (circuit, place, claim.run)
        for circuit, result in enumerate(judged("nand_flip_flop").designs)
        for place, claim in enumerate(result.claims)
        if top_parts(result.design.netlist) and claim.run is not None
    )
    identity, nets = f"claim-{circuit}-{place}-run", len(run.instants[0])
    found = viewer(page, identity)
    inner = found.locator(".circuit-copy g.net").count()
    page.locator(f"#circuit-{circuit}-drawing .fold").press("Space")
    found = viewer(page, identity)
    assert 0 < found.locator(".circuit-copy g.net").count() < inner
    found.locator(".waves").focus()
    page.keyboard.press("End")
    marked = found.locator(".circuit-copy").evaluate(MARKED)
    values = run.instants[-1]
    assert all(("high" in classes) == values[int(net)] for net, classes in marked.items())
    assert set(map(int, marked)) < set(range(nets))
