"""An input that floats changes in any step, whatever else changes in it: the product against brute force."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from random import Random

import pytest

import verifier
from oracle.comparison import Expected, differences, report, step_differences
from oracle.random_designs import random_design
from oracle.search import ContradictoryGivensError, NoPowerUpStateError, Oracle
from oracle.targets import TooBigError, Work
from oracle.wiring import Wiring, design_of, must, signal
from verifier.circuit.netlist import GateKind, InputClass
from verifier.claims.claim import Design
from verifier.claims.formula import Apply, Operator, Step, StepWord

CIRCUITS = 60
CHUNK = 20


def with_a_floating_input(random: Random) -> Design:
    """A random design with more inputs than one, one of which floats."""
    while True:
        design = random_design(random)
        inputs = list(design.netlist.inputs)
        if len(inputs) > 1:
            position = random.randrange(len(inputs))
            inputs[position] = replace(inputs[position], input_class=InputClass.FLOATING)
            return replace(design, netlist=replace(design.netlist, inputs=tuple(inputs)))


@pytest.mark.parametrize("first_seed", range(0, CIRCUITS, CHUNK))
def test_verdicts_and_steps_agree_with_brute_force(first_seed: int) -> None:
    verdicts: Counter[str] = Counter()
    for seed in range(first_seed, first_seed + CHUNK):
        random = Random(seed)
        design = with_a_floating_input(random)
        try:
            answers = Oracle(design, Work(15_000)).answers()
            found = differences(Expected(design, answers))
            found += step_differences(design.netlist, random, 4)[1]
        except (TooBigError, ContradictoryGivensError, NoPowerUpStateError):
            continue
        verdicts.update(answer.verdict for answer in answers)
        assert not found, report(f"with_a_floating_input(Random({seed}))", design, found)
    assert verdicts["proved"] > 5
    assert verdicts["broken"] > 5


def test_it_changes_together_with_an_input_by_hand_which_a_free_input_may_not() -> None:
    for input_class, verdict in ((InputClass.FREE, "proved"), (InputClass.FLOATING, "broken")):
        wiring = Wiring().input("lever", InputClass.BY_HAND).input("open", input_class)
        netlist = wiring.gate("beat", GateKind.AND, "lever", "open").netlist()
        changes = tuple(Step(word=StepWord.CHANGES, operand=signal(netlist, name)) for name in ("lever", "open"))
        never_both = Apply(operator=Operator.NAND, operands=changes)
        result = verifier.check_design(design_of(netlist, [must("apart", never_both)]))
        assert result.claims[0].verdict.value == verdict
