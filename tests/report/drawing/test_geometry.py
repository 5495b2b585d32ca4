"""Whatever the circuit, its drawing says what the netlist says, and nothing stands or runs over anything else."""

from __future__ import annotations

import re
from dataclasses import replace
from random import Random

import pytest
from oracle.random_designs import random_design
from report.drawing.geometry import faults_in
from report.drawing.random_circuits import random_circuit

from verifier.circuit.builder import NetlistBuilder
from verifier.circuit.netlist import GateKind
from verifier.report.drawing import draw


@pytest.mark.parametrize("seed", range(40))
def test_the_drawing_of_a_small_random_circuit_shows_exactly_its_netlist(seed: int) -> None:
    netlist = random_design(Random(seed)).netlist
    assert faults_in(netlist, draw(netlist)) == []


@pytest.mark.parametrize(("seed", "gates"), [(seed, gates) for gates in (5, 12, 25) for seed in range(6)] + [(1, 60)])
def test_the_drawing_of_a_larger_random_circuit_shows_exactly_its_netlist(seed: int, gates: int) -> None:
    netlist = random_circuit(seed, gates)
    assert faults_in(netlist, draw(netlist)) == []


def damaged(old: str, new: str) -> list[str]:
    """What is found when the drawing of one gate has this in place of that."""
    builder = NetlistBuilder("two_bells")
    high, low = builder.input("high"), builder.input("low")
    builder.gate("bell", GateKind.AND, [high, low])
    builder.gate("other", GateKind.NOT, [high])
    builder.output("bell")
    builder.output("other")
    netlist = builder.build()
    drawing = draw(netlist)
    assert faults_in(netlist, drawing) == []
    assert re.search(old, drawing.svg)
    return faults_in(netlist, replace(drawing, svg=re.sub(old, new, drawing.svg, count=1)))


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        (r'<circle class="junction"[^>]*>', "", "has dots at []"),
        (r'(data-net="0".*?class="line" d=")M[^M]*', r"\1", "net 0 ends"),
        (r'(data-net="0".*?class="line" d=")', r"\1M0 3H7", "is in pieces"),
        (r'(?s)(d="([^"]*)"/><circle.*?data-net="1".*?class="line" d=")[^"]*', r"\1\2", "run into each other"),
        (r'(class="element gate and"[^>]*translate\()', r"\g<1>5", "element"),
        (r'(class="element border input"[^>]*translate\()0', r"\g<1>9", "not at the left border"),
        (r">bell</text>", ">a bell that is too long for its gate</text>", "the text"),
    ],
)
def test_the_reader_of_drawings_notices_damage(old: str, new: str, fault: str) -> None:
    assert any(fault in found for found in damaged(old, new))
