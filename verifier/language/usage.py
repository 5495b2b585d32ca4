"""Nets that nothing drives, and nets that nothing reads."""

from __future__ import annotations

from collections.abc import Collection

from verifier.circuit.netlist import FlipFlop, Gate, Latch, NetId, Netlist, SetReset
from verifier.claims import formula as f
from verifier.language.claims import ClaimSet
from verifier.language.findings import Findings, quoted
from verifier.language.scopes import Scope


def report_undriven(scope: Scope, pins_of_contract: Collection[str], findings: Findings) -> None:
    """Reports each net of the scope that has an undriven bit, unless a line that was lost may drive it."""
    for symbol in scope.symbols.values():
        if symbol.is_input or symbol.width is None or symbol.name in scope.lost:
            continue
        missing = [bit for bit in range(symbol.width) if bit not in symbol.driven]
        if not missing:
            continue
        block = scope.block
        bit = "" if len(missing) == symbol.width else f"[{missing[0]}]"
        span = block.place(block.name) if symbol.name in pins_of_contract else symbol.span
        message = f"nothing in {quoted(block.name)} drives {quoted(symbol.name + bit)}"
        findings.error("undriven", message, span, f"add a line `{symbol.name}{bit} = ...`")


def warn_unused(
    netlist: Netlist, scope: Scope, pins_of_contract: Collection[str], claims: ClaimSet, findings: Findings
) -> None:
    """Warns of each net and input of the scope that is not read."""
    read = nets_read(netlist, claims)
    for symbol in scope.symbols.values():
        if read.isdisjoint(symbol.nets):
            block = scope.block
            what = "the input" if symbol.is_input else "the net"
            span = block.place(block.name) if symbol.name in pins_of_contract else symbol.span
            message = f"{what} {quoted(symbol.name)} of {quoted(block.name)} is not used"
            findings.warning("unused-net", message, span)


def nets_read(netlist: Netlist, claims: ClaimSet) -> set[NetId]:
    """Every net that a gate, a storage element, an output or a claim reads."""
    read = {net for pin in netlist.outputs for net in pin.nets}
    for driver in netlist.drivers.values():
        if isinstance(driver, Gate):
            read.update(driver.inputs)
        elif isinstance(driver, FlipFlop):
            read.update(driver.data, (driver.clock,))
            read.update(level.net for level in (driver.clear, driver.preset) if level is not None)
        elif isinstance(driver, Latch):
            read.update((driver.data, driver.enable.net))
        elif isinstance(driver, SetReset):
            read.update((driver.set, driver.reset))
    formulas = [*(claim.formula for claim in claims.claims), *(given.formula for given in claims.givens)]
    for formula in (*formulas, *claims.lets.values()):
        for node in f.walk(formula):
            if isinstance(node, f.Signal):
                read.update(node.nets)
    return read
