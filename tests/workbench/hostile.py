"""A checklist whose names try to steer a terminal and to become markup; no wiring file can have such names."""

from __future__ import annotations

from verifier.circuit.builder import NetlistBuilder
from verifier.circuit.netlist import GateKind
from verifier.claims.claim import Design
from verifier.evidence.checklist import Checklist
from verifier.workbench.checklist import checklist

NAME = "<b>|\x1b[31m`"


def hostile_checklist() -> Checklist:
    builder = NetlistBuilder(NAME)
    builder.input(f"{NAME}in")
    builder.gate(f"{NAME}out", GateKind.BUFFER, [f"{NAME}in"])
    builder.output(f"{NAME}out")
    return checklist(Design(netlist=builder.build(), file=NAME, claims=()))
