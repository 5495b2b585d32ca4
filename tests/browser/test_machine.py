"""The machine behind the switches of the page, run by a browser, against the plain-Python simulator.

The script walks at random; at every step all ways it offers must be all ways the simulator finds, and what it says of
claims and givens must be what their textbook meaning says of the run so far.
"""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path
from random import Random
from typing import TYPE_CHECKING, Any

import pytest
from oracle.random_designs import random_design

import verifier
from verifier.claims.claim import Claim, Design, Given
from verifier.claims.formula import LeadsTo
from verifier.claims.meaning import evaluate
from verifier.claims.run import Instant, Run, StepEvents
from verifier.claims.trigger import watched
from verifier.evidence.simulator import Simulator
from verifier.workbench.try_it import machine_of

if TYPE_CHECKING:
    from playwright.sync_api import Page

SPECS = Path(__file__).resolve().parents[2] / "specs"
SCRIPT = files("verifier.report.page").joinpath("machine.js").read_text(encoding="utf-8")

WALK = """
({ table, plan }) => {
  const machine = new Machine(table);
  let registers = machine.off();
  return plan.map(({ switches, pick }) => {
    const { ways, cut } = machine.ways(registers, switches);
    const taken = ways.length ? pick % ways.length : null;
    if (taken !== null) registers = ways[taken].registers;
    const told = ways.map(({ nets, raced, oscillated, claims, givens }) =>
      ({ nets: nets.join(""), raced, oscillated, claims, givens }));
    return { ways: told, cut, taken };
  });
}
"""


def walked(page: Page, design: Design, random: Random, steps: int) -> None:
    machine = machine_of(design)
    assert machine is not None
    switches = [random.randrange(2) for _ in machine.switches]
    plan: list[dict[str, Any]] = []
    for _ in range(steps):
        plan.append({"switches": list(switches), "pick": random.randrange(1000)})
        for place in range(len(switches)):
            if random.random() < 1.3 / len(switches):
                switches[place] ^= 1
    told = page.evaluate(WALK, {"table": machine.record(), "plan": plan})
    compared(design, machine.switches, plan, told)


def compared(design: Design, nets: tuple[int, ...], plan: list[dict[str, Any]], told: list[dict[str, Any]]) -> None:
    simulator = Simulator(design.netlist)
    instants: list[Instant] = []
    events: list[StepEvents] = []
    late: dict[str, int] = {}
    """Claim to how many of its first values count."""
    told_of: dict[str, list[bool]] = {}
    stated: dict[str, Claim | Given] = {item.name: item for item in (*design.claims, *design.givens)}
    for step, found in zip(plan, told, strict=True):
        inputs = {net: bool(value) for net, value in zip(nets, step["switches"], strict=True)}
        if instants:
            outcomes = [(outcome.instant, outcome.events) for outcome in simulator.step(instants[-1], inputs)]
        else:
            outcomes = list(simulator.first_instants(inputs))
        assert not found["cut"]
        offered = {(way["nets"], way["raced"]) for way in found["ways"]}
        assert offered == {(as_digits(instant), e.raced) for instant, e in outcomes}
        restless = {way["nets"] for way in found["ways"] if way["oscillated"]}
        # The machine says of a race as a whole that it may oscillate, the simulator says which of its outcomes do.
        assert restless >= {as_digits(instant) for instant, e in outcomes if e.oscillated}
        assert not restless or any(e.oscillated for _, e in outcomes)
        if found["taken"] is None:
            assert not instants  # only a circuit that cannot power up with these inputs has no way to go
            return
        way = found["ways"][found["taken"]]
        following = [
            (instant, e) for instant, e in outcomes if (as_digits(instant), e.raced) == (way["nets"], way["raced"])
        ]
        stated_now = {**way["claims"], **way["givens"]}
        if len(following) > 1:  # they differ in what may glitch
            following = [
                (instant, e)
                for instant, e in following
                if meant(stated, Run((*instants, instant), (*events, e)), late, {k: [v] for k, v in stated_now.items()})
            ]
        assert following
        instants.append(following[0][0])
        events.append(following[0][1])
        for name, value in stated_now.items():
            told_of.setdefault(name, []).append(value)
            if not value and isinstance(stated[name].formula, LeadsTo):
                late.setdefault(name, len(instants))
    assert meant(stated, Run(tuple(instants), tuple(events)), late, told_of)


def meant(stated: dict[str, Claim | Given], run: Run, late: dict[str, int], told: dict[str, list[bool]]) -> bool:
    """The last values told of each claim and given are those of its textbook meaning.

    After a missed deadline the machine no longer follows those that overlapped it, and is not asked.
    """
    for name, values in told.items():
        item = stated[name]
        formula = watched(item) if isinstance(item, Claim) else item.formula
        known = min(late.get(name, len(run)), len(run))
        expected = [bool(value) for value in evaluate(formula, run)][len(run) - len(values) : known]
        if values[: len(expected)] != expected:
            return False
    return True


def as_digits(instant: Instant) -> str:
    return "".join(str(int(value)) for value in instant)


@pytest.fixture
def bare(page: Page) -> Page:
    page.add_script_tag(content=SCRIPT)
    return page


@pytest.mark.parametrize("path", sorted(SPECS.glob("*.wiring")), ids=lambda path: path.stem)
def test_the_machine_goes_every_way_the_simulator_goes_and_no_other(bare: Page, path: Path) -> None:
    for design in verifier.load(path).designs:
        walked(bare, design, Random(design.name), steps=20)


def test_the_machine_agrees_on_random_circuits_that_race_and_oscillate(bare: Page) -> None:
    random = Random(4)
    designs = [random_design(random) for _ in range(30)]
    for design in designs:
        walked(bare, design, random, steps=12)
