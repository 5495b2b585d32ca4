"""The bench on the page: switches flipped by a browser, lamps held against the plain-Python simulator."""

from __future__ import annotations

from pathlib import Path
from random import Random
from typing import TYPE_CHECKING

import pytest

from browser.pages import everything_awake, judged, opened, page_of
from verifier.claims.claim import View
from verifier.evidence.simulator import Simulator
from verifier.evidence.verdict import Verdict

if TYPE_CHECKING:
    from playwright.sync_api import Locator, Page


def lamp_values(bench: Locator) -> tuple[bool, ...]:
    return tuple(digit == "1" for digit in bench.get_attribute("data-nets") or "")


def bench_of(page: Page, circuit: int) -> Locator:
    bench = page.locator(f"[data-bench='circuit-{circuit}-bench']")
    bench.scroll_into_view_if_needed()
    return bench


@pytest.mark.parametrize("name", ["beat_source", "lever_debouncer"])
def test_flipped_switches_do_what_the_simulator_does(page: Page, tmp_path: Path, name: str) -> None:
    opened(page, tmp_path, page_of(name))
    everything_awake(page)
    random = Random(name)
    for circuit, result in enumerate(judged(name).designs):
        netlist = result.design.netlist
        simulator, bench = Simulator(netlist), bench_of(page, circuit)
        bench.locator(".deciding").select_option("first")
        bench.locator(".power").click()
        inputs = dict.fromkeys(netlist.input_nets, False)
        # A race whose outcomes differ in nothing the page shows is one way there, so any of the first will do.
        assert lamp_values(bench) == min(instant for instant, _ in simulator.first_instants(inputs))
        switches = bench.locator(".switch")
        for step in range(1, 9):
            before = lamp_values(bench)
            place = random.randrange(switches.count())
            switches.nth(place).click()
            pin = netlist.inputs[int(switches.nth(place).get_attribute("data-input") or -1)]
            flipped = {net: not before[net] for net in pin.nets}
            assert lamp_values(bench) == simulator.step(before, flipped)[0].instant
            assert bench.get_attribute("data-steps") == str(step + 1)
        for lamp, output in zip(bench.locator(".outputs li").all(), netlist.outputs, strict=True):
            number = sum(lamp_values(bench)[net] << bit for bit, net in enumerate(output.nets))
            assert lamp.locator(".level").text_content() == str(number)


def test_a_race_asks_which_way_and_every_way_can_be_taken(page: Page, tmp_path: Path) -> None:
    """Two cross-coupled gates, powered up with both of them holding."""
    opened(page, tmp_path, page_of("lever_debouncer"))
    everything_awake(page)
    results = judged("lever_debouncer").designs
    circuit = next(place for place, result in enumerate(results) if result.design.name == "nand_pair")
    netlist = results[circuit].design.netlist
    bench = bench_of(page, circuit)
    for switch in bench.locator(".switch").all():
        switch.press("Space")  # the contacts are active low
    inputs = dict.fromkeys(netlist.input_nets, True)
    possible = {instant for instant, _ in Simulator(netlist).first_instants(inputs)}
    assert len(possible) > 1
    reached = set()
    for place in range(len(possible)):
        bench.locator(".power").press("Enter")
        assert bench.locator(".ways .way").count() == len(possible)
        bench.locator(".ways .way").nth(place).press("Enter")
        reached.add(lamp_values(bench))
        bench.locator(".power").press("Enter")
    assert reached == possible


def test_a_found_run_can_be_done_by_hand_and_breaks_its_claim_there(page: Page, tmp_path: Path) -> None:
    opened(page, tmp_path, page_of("beat_source"))
    everything_awake(page)
    done = 0
    for circuit, result in enumerate(judged("beat_source").designs):
        bench = bench_of(page, circuit)
        for place, claim in enumerate(result.claims):
            run = claim.run
            if claim.verdict is not Verdict.BROKEN or run is None or run.loop_from is not None:
                continue
            assert claim.claim.view is View.SETTLED
            bench.locator(".recipe").select_option(f"claim-{circuit}-{place}-run")
            for at, instant in enumerate(run.instants):
                bench.locator(".do-it").press("Enter")
                assert lamp_values(bench) == instant
                assert bench.get_attribute("data-steps") == str(at + 1)
            standing = bench.locator(f".followed [data-claim='{claim.claim.name}']")
            assert standing.get_attribute("data-at") == str(len(run) - 1)
            assert "broken at step" in (standing.text_content() or "")
            done += 1
    assert done >= 3


def test_a_step_that_the_contract_does_not_permit_is_made_and_said(page: Page, tmp_path: Path) -> None:
    opened(page, tmp_path, page_of("beat_source"))
    everything_awake(page)
    bench = bench_of(page, 0)
    bench.locator(".power").click()
    bench.locator(".together").check()
    for switch in bench.locator(".switch").all()[:2]:
        switch.click()
    assert bench.get_attribute("data-steps") == "1"
    bench.locator(".step").click()
    assert bench.get_attribute("data-steps") == "2"
    assert "not permitted: tempo and lever change in one step" in (bench.locator(".now").text_content() or "")


def test_a_bus_is_set_as_a_number_and_undone(page: Page, tmp_path: Path) -> None:
    from verifier import load
    from verifier.evidence.verdict import DesignResult, FileResult
    from verifier.report.page.document import report_page
    from verifier.workbench.page_content import page_content

    file = tmp_path / "notes.wiring"
    file.write_text("circuit notes\n    input note[3]\n    output same[3]\n    same = note\n", encoding="utf-8")
    (design,) = load(file).designs
    result = DesignResult(design=design, claims=(), assumes=())
    opened(page, tmp_path, report_page(page_content("0", FileResult(path="notes.wiring", designs=(result,)))))
    everything_awake(page)
    bench = bench_of(page, 0)
    bench.locator(".power").click()
    bench.locator(".number-switch").fill("5")
    bench.locator(".set").click()
    assert bench.locator(".outputs .level").text_content() == "5"
    bench.locator(".undo").click()
    assert bench.locator(".outputs .level").text_content() == "0"
