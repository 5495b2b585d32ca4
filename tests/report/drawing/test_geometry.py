"""Whatever the circuit, its drawing says what the netlist says, and nothing stands or runs over anything else."""

from __future__ import annotations

from random import Random

import pytest
from oracle.random_designs import random_design
from report.drawing.geometry import faults_in
from report.drawing.random_circuits import random_circuit

from verifier.report.drawing import draw


@pytest.mark.parametrize("seed", range(40))
def test_the_drawing_of_a_small_random_circuit_shows_exactly_its_netlist(seed: int) -> None:
    netlist = random_design(Random(seed)).netlist
    assert faults_in(netlist, draw(netlist)) == []


@pytest.mark.parametrize(("seed", "gates"), [(seed, gates) for gates in (5, 12, 25) for seed in range(6)] + [(1, 60)])
def test_the_drawing_of_a_larger_random_circuit_shows_exactly_its_netlist(seed: int, gates: int) -> None:
    netlist = random_circuit(seed, gates)
    assert faults_in(netlist, draw(netlist)) == []
