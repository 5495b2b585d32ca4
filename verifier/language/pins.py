"""Pins as a contract or circuit declares them, before they have nets."""

from __future__ import annotations

from dataclasses import dataclass

from verifier.circuit.builder import NetlistBuilder
from verifier.circuit.netlist import Input, InputClass, NetId, Range
from verifier.claims.formula import Tightest
from verifier.language.findings import Findings
from verifier.language.reading import NameTable, Pin, Reader, RefusedPin
from verifier.language.syntax import Block, Branch


@dataclass(frozen=True)
class PinPlan:
    """A pin as it is declared, before it has nets."""

    pin: Pin
    is_input: bool
    input_class: InputClass = InputClass.FREE
    high: Range | None = None
    low: Range | None = None
    apart: int | None = None
    apart_asked: bool = False


class PinReader:
    """Reads the pins of one block."""

    def __init__(self, block: Block, findings: Findings) -> None:
        self._block = block
        self._findings = findings
        self._reader = Reader(block, findings)

    def declared(self) -> tuple[PinPlan, ...]:
        """The pins of all `input` and `output` statements, in order."""
        plans: list[PinPlan] = []
        names = NameTable()
        for statement in self._block.statements:
            for plan in self._read(statement) if statement.rule in ("input", "output") else ():
                if not names.is_taken(plan.pin.name, plan.pin.span, self._findings):
                    names.add(plan.pin.name)
                    plans.append(plan)
        return tuple(plans)

    @property
    def refused(self) -> tuple[RefusedPin, ...]:
        """Those that were met and of which a finding says what is wrong."""
        return tuple(self._reader.refused)

    def report_pins_beside(self, contract: Block) -> None:
        """Reports the pins of a circuit whose pins are those of its contract."""
        for statement in self._block.statements:
            if statement.rule in ("input", "output", "together"):
                hint = f"they stand in the contract {contract.name}; or leave `fits` out"
                message = "a circuit that fits a contract declares no pins of its own"
                self._findings.error("pins-in-circuit", message, self._block.place(statement), hint)

    def _read(self, statement: Branch) -> list[PinPlan]:
        pins = self._reader.pins(statement.branch(0))
        if statement.rule == "output" or len(statement.branches) == 1:
            return [PinPlan(pin, statement.rule == "input") for pin in pins]
        tree = statement.branch(1)
        if tree.rule == "by_hand":
            apart = self._reader.amount(tree.token(0)) if tree.tokens else None
            if isinstance(apart, Tightest):
                return [PinPlan(pin, True, InputClass.BY_HAND, apart_asked=True) for pin in pins]
            return [PinPlan(pin, True, InputClass.BY_HAND, apart=apart) for pin in pins]
        if tree.rule == "strapped":
            return [PinPlan(pin, True, InputClass.STRAPPED) for pin in pins]
        high, low = self._high_and_low(tree)
        return [PinPlan(pin, True, InputClass.FREE_RUNNING, high, low) for pin in pins]

    def _high_and_low(self, tree: Branch) -> tuple[Range | None, Range | None]:
        if not tree.branches:
            return None, None
        first, first_range, second, second_range = tree.branches
        if first.token(0).type == second.token(0).type:
            message = f"`{first.token(0)}` is said twice"
            self._findings.error("repeated-option", message, self._block.place(second), "say `high ... ns, low ... ns`")
            return None, None
        ranges = self._reader.range(first_range), self._reader.range(second_range)
        return ranges if first.token(0).type == "HIGH" else (ranges[1], ranges[0])


def add_pin(builder: NetlistBuilder, plan: PinPlan, nets: tuple[NetId, ...]) -> None:
    """Makes the nets a pin of the netlist."""
    if not plan.is_input:
        builder.output(plan.pin.name, nets)
        return
    builder.add_input(
        Input(
            name=plan.pin.name,
            nets=nets,
            input_class=plan.input_class,
            high=plan.high,
            low=plan.low,
            apart=plan.apart,
            apart_asked=plan.apart_asked,
        )
    )
