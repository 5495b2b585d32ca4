"""From the blocks of a file to designs: each circuit with its netlist, the claims of its contract and its own."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from lark import Token

from verifier.circuit.builder import NetlistBuilder
from verifier.circuit.netlist import (
    FlipFlop,
    Gate,
    Input,
    InputClass,
    Latch,
    NetId,
    Netlist,
    Range,
    SetReset,
)
from verifier.claims import formula as f
from verifier.claims.claim import Claim, ClaimKind, Design
from verifier.claims.formula import Tightest
from verifier.errors import Span
from verifier.language.circuits import CircuitWriter, make_nets
from verifier.language.claims import ClaimSet, read_claims
from verifier.language.findings import Findings, nearest, quoted
from verifier.language.reading import NameTable, Pin, Reader
from verifier.language.scopes import (
    Library,
    Scope,
    ScopeOpener,
    Symbol,
    TooLargeError,
    declare_interface,
    targets_of,
)
from verifier.language.syntax import Block, BlockKind, Branch
from verifier.language.widths import infer_widths

_ALLOWED = {
    BlockKind.CONTRACT: {"input", "together", "output", "let", "given", "claim"},
    BlockKind.CIRCUIT: {
        "input", "together", "output", "net", "delays", "assignment", "let", "given", "claim",
    },
    BlockKind.PART: {"net", "assignment"},
    BlockKind.FAMILY: {"delay"},
}  # fmt: skip
_SHOWN = {"together": "inputs may change together", "claim": "must and can", "assignment": "=", "delay": "takes"}
_FAMILY_WORDS = frozenset({
    "buffer", "not", "and", "or", "nand", "nor", "xor", "xnor", "majority", "if", "flipflop", "toggle", "jk",
    "latch", "set_reset",
})  # fmt: skip


@dataclass(frozen=True)
class PinPlan:
    """A pin as it is declared, before it has nets."""

    pin: Pin
    is_input: bool
    input_class: InputClass = InputClass.FREE
    high: Range | None = None
    low: Range | None = None
    apart: int | None = None


@dataclass(frozen=True)
class Contract:
    """A contract that has been read once; its formulas use the nets that its pins have in every circuit."""

    block: Block
    pins: tuple[PinPlan, ...]
    claims: ClaimSet
    together: bool


class DesignWriter:
    """Makes the designs of one file out of the blocks that are visible in it."""

    def __init__(self, blocks: Mapping[BlockKind, Mapping[str, Block]], findings: Findings) -> None:
        self._blocks = blocks
        self._findings = findings
        self._library = Library(blocks[BlockKind.PART], findings)
        self._families = {name: self._read_family(block) for name, block in blocks[BlockKind.FAMILY].items()}
        self._contracts = {name: self._read_contract(block) for name, block in blocks[BlockKind.CONTRACT].items()}
        for name in blocks[BlockKind.PART]:
            self._check_part(name)

    def write(self, block: Block) -> Design | None:
        """The design of a circuit, or None when findings say why there is none."""
        fits, breaks = block.header.children[1], block.header.children[2]
        contract = self._contract(fits, block) if isinstance(fits, Token) else None
        if isinstance(fits, Token) and contract is None:
            return None
        pins = self._pins(block, contract)
        builder = NetlistBuilder(str(block.name), inputs_may_change_together=self._together(block, contract))
        scope = self._lay_out(block, pins, builder)
        if scope is None:
            return None
        outer = contract.claims if contract is not None else ClaimSet()
        claims = read_claims(scope, outer, self._findings)
        named = self._with_breaks(claims, breaks if isinstance(breaks, Branch) else None, block)
        self._report_undriven(scope, contract)
        if self._findings.error_count:
            return None
        netlist = builder.build()
        self._warn_unused(netlist, scope, contract, claims)
        return Design(
            netlist=netlist,
            file=block.source.name,
            claims=named,
            givens=claims.givens,
            contract=str(contract.block.name) if contract is not None else None,
            span=block.place(block.name),
        )

    # Contracts and pins

    def _contract(self, name: Token, block: Block) -> Contract | None:
        known = self._contracts.get(str(name))
        if known is None:
            message = f"there is no contract called {quoted(name)}"
            self._findings.error("unknown-name", message, block.place(name), nearest(name, self._contracts))
        return known

    def _read_contract(self, block: Block) -> Contract:
        pins = self._pins(block, None)
        scope = Scope(block, "")
        first: NetId = 0
        for plan in pins:
            symbol = scope.add(plan.pin, is_input=plan.is_input)
            symbol.nets = tuple(range(first, first + plan.pin.width))
            first += plan.pin.width
        return Contract(block, pins, read_claims(scope, ClaimSet(), self._findings), bool(block.all("together")))

    def _together(self, block: Block, contract: Contract | None) -> bool:
        return contract.together if contract is not None else bool(block.all("together"))

    def _pins(self, block: Block, contract: Contract | None) -> tuple[PinPlan, ...]:
        """The pins of a contract, or those that a block declares; statements in the wrong place are reported."""
        plans: dict[str, PinPlan] = {}
        names = NameTable()
        for statement in block.statements:
            if statement.rule not in _ALLOWED[block.kind]:
                self._report_place(statement, block)
            elif contract is not None and statement.rule in ("input", "output", "together"):
                hint = f"they stand in the contract {contract.block.name}; or leave `fits` out"
                message = "a circuit that fits a contract declares no pins of its own"
                self._findings.error("pins-in-circuit", message, block.place(statement), hint)
            elif statement.rule in ("input", "output"):
                for plan in self._plan_pins(statement, block):
                    if not names.is_taken(plan.pin.name, plan.pin.span, self._findings):
                        plans[plan.pin.name] = plan
                        names.add(plan.pin.name)
        return contract.pins if contract is not None else tuple(plans.values())

    def _plan_pins(self, statement: Branch, block: Block) -> list[PinPlan]:
        reader = Reader(block, self._findings)
        pins = reader.pins(statement.branch(0))
        if statement.rule == "output" or len(statement.branches) == 1:
            return [PinPlan(pin, statement.rule == "input") for pin in pins]
        tree = statement.branch(1)
        if tree.rule == "by_hand":
            apart = self._apart(tree, reader, block)
            return [PinPlan(pin, True, InputClass.BY_HAND, apart=apart) for pin in pins]
        if tree.rule == "strapped":
            return [PinPlan(pin, True, InputClass.STRAPPED) for pin in pins]
        high, low = self._high_and_low(tree, reader, block)
        return [PinPlan(pin, True, InputClass.FREE_RUNNING, high, low) for pin in pins]

    def _apart(self, tree: Branch, reader: Reader, block: Block) -> int | None:
        if not tree.tokens:
            return None
        apart = reader.amount(tree.token(0))
        if isinstance(apart, Tightest):
            message = "asking for the tightest `apart` is not possible yet"
            self._findings.error("not-yet", message, block.place(tree.token(0)), "write a number of ns")
            return None
        return apart

    def _high_and_low(self, tree: Branch, reader: Reader, block: Block) -> tuple[Range | None, Range | None]:
        if not tree.branches:
            return None, None
        first, first_range, second, second_range = tree.branches
        if first.token(0).type == second.token(0).type:
            message = f"`{first.token(0)}` is said twice"
            self._findings.error("repeated-option", message, block.place(second), "say `high ... ns, low ... ns`")
            return None, None
        ranges = reader.range(first_range), reader.range(second_range)
        return ranges if first.token(0).type == "HIGH" else (ranges[1], ranges[0])

    def _report_place(self, statement: Branch, block: Block) -> None:
        word = _SHOWN.get(statement.rule, statement.rule)
        kinds = [kind.value for kind, rules in _ALLOWED.items() if statement.rule in rules]
        message = f"`{word}` cannot stand in a {block.kind.value}"
        self._findings.error("wrong-place", message, block.place(statement), f"it stands in a {' or '.join(kinds)}")

    # Families

    def _read_family(self, block: Block) -> dict[str, Range]:
        delays: dict[str, Range] = {}
        reader = Reader(block, self._findings)
        for statement in block.statements:
            if statement.rule != "delay":
                self._report_place(statement, block)
                continue
            delay = reader.range(statement.branch(1))
            for target in targets_of(statement):
                word, span = str(target.token(0)), block.place(target)
                if word not in _FAMILY_WORDS or len(target.tokens) > 1:
                    hint = nearest(word, _FAMILY_WORDS) or "known are gates such as `nand`, and `flipflop`, `latch`"
                    self._findings.error("unknown-part", f"a family has no {quoted(word)}", span, hint)
                elif word in delays:
                    self._findings.error("name-taken", f"the delay of {quoted(word)} is given twice", span)
                elif delay is not None:
                    delays[word] = delay
        return delays

    def _delays(self, block: Block) -> dict[str, Range]:
        statements = block.all("delays")
        for repeated in statements[1:]:
            self._findings.error("repeated-option", "`delays from` is said twice", block.place(repeated))
        if not statements:
            return {}
        name = statements[0].token(0)
        if str(name) not in self._families:
            message = f"there is no family called {quoted(name)}"
            self._findings.error("unknown-name", message, block.place(name), nearest(name, self._families))
        return self._families.get(str(name), {})

    # Circuits and parts

    def _lay_out(self, block: Block, pins: tuple[PinPlan, ...], builder: NetlistBuilder) -> Scope | None:
        scope = Scope(block, "")
        first: NetId = 0
        for plan in pins:
            symbol = scope.add(plan.pin, is_input=plan.is_input)
            symbol.nets = make_nets(builder, symbol.name, plan.pin.width, self._written_at(plan, block))
            # The formulas of the contract are made once and rest on this numbering.
            if symbol.nets != tuple(range(first, first + plan.pin.width)):
                raise RuntimeError(f"the pin {symbol.name} of {block.name} has the nets {symbol.nets}")
            first += plan.pin.width
            add_pin(builder, plan, symbol)
        try:
            ScopeOpener(self._library, self._findings).open(scope)
            infer_widths(scope, self._findings)
            parts = self._blocks[BlockKind.PART]
            CircuitWriter(builder, self._findings, self._delays(block), parts).write(scope)
        except TooLargeError as problem:
            self._findings.error("too-large", str(problem), block.place(block.name), "split it, or use narrower buses")
            return None
        return scope

    def _written_at(self, plan: PinPlan, block: Block) -> Span:
        """Where an output's first driver is written; for an input, its declaration."""
        if not plan.is_input:
            for assignment in block.all("assignment"):
                for target in targets_of(assignment):
                    if target.token(0) == plan.pin.name:
                        return block.place(target)
        return plan.pin.span

    def _check_part(self, name: str) -> None:
        """Lays a part out by itself, so that its mistakes are found even where it is not used."""
        block, interface = self._blocks[BlockKind.PART][name], self._library.interface(name)
        if interface is None:
            return
        for statement in block.statements:
            if statement.rule not in _ALLOWED[BlockKind.PART]:
                self._report_place(statement, block)
        pins = [PinPlan(pin, True) for pin in interface.inputs] + [PinPlan(pin, False) for pin in interface.outputs]
        before = self._findings.error_count
        taken = Scope(block, "", interface)
        declare_interface(taken, interface, self._findings)
        if self._findings.error_count > before:
            return
        builder = NetlistBuilder(name)
        scope = self._lay_out(block, tuple(pins), builder)
        if scope is None or not block.complete:
            return
        self._report_undriven(scope, None)
        if not self._findings.error_count:
            self._warn_unused(builder.build(), scope, None, ClaimSet())

    def _report_undriven(self, scope: Scope, contract: Contract | None) -> None:
        if not scope.block.complete:
            return
        for symbol in scope.symbols.values():
            if symbol.is_input or symbol.width is None:
                continue
            missing = [bit for bit in range(symbol.width) if bit not in symbol.driven]
            if missing:
                bit = "" if len(missing) == symbol.width else f"[{missing[0]}]"
                name = quoted(symbol.name + bit)
                block = scope.block
                foreign = contract is not None and any(plan.pin.name == symbol.name for plan in contract.pins)
                span = block.place(block.name) if foreign else symbol.span
                hint = f"add a line `{symbol.name}{bit} = ...`"
                self._findings.error("undriven", f"nothing in {quoted(block.name)} drives {name}", span, hint)

    def _warn_unused(self, netlist: Netlist, scope: Scope, contract: Contract | None, claims: ClaimSet) -> None:
        read = nets_read(netlist, claims)
        contract_pins = {plan.pin.name for plan in contract.pins} if contract is not None else set()
        for symbol in scope.symbols.values():
            if read.isdisjoint(symbol.nets):
                block = scope.block
                what = "the input" if symbol.is_input else "the net"
                span = block.place(block.name) if symbol.name in contract_pins else symbol.span
                message = f"{what} {quoted(symbol.name)} of {quoted(block.name)} is not used"
                self._findings.warning("unused-net", message, span)

    # Claims

    def _with_breaks(self, claims: ClaimSet, breaks: Branch | None, block: Block) -> tuple[Claim, ...]:
        """The claims, `settles` last, those in the `breaks` list marked."""
        settles = Claim(name="settles", kind=ClaimKind.ALWAYS_THERE, formula=f.Settles(), text="settles")
        found = (*claims.claims, settles)
        expected: set[str] = set()
        for name in breaks.tokens if breaks is not None else ():
            if not any(claim.name == name for claim in found) and name not in claims.refused:
                self._report_unknown_claim(name, found, claims, block)
            elif name in expected:
                self._findings.error("name-taken", f"{quoted(name)} is in the list twice", block.place(name))
            expected.add(str(name))
        return tuple(replace(claim, expected_to_break=True) if claim.name in expected else claim for claim in found)

    def _report_unknown_claim(self, name: Token, found: tuple[Claim, ...], claims: ClaimSet, block: Block) -> None:
        if not block.complete:
            return
        hint = nearest(name, [claim.name for claim in found])
        if any(given.name == name for given in claims.givens):
            hint = "it is a given; only `must` and `can` claims break"
        message = f"there is no claim called {quoted(name)} for this circuit"
        self._findings.error("unknown-claim", message, block.place(name), hint)


def add_pin(builder: NetlistBuilder, plan: PinPlan, symbol: Symbol) -> None:
    if not plan.is_input:
        builder.output(symbol.name, symbol.nets)
        return
    builder.add_input(
        Input(
            name=symbol.name,
            nets=symbol.nets,
            input_class=plan.input_class,
            high=plan.high,
            low=plan.low,
            apart=plan.apart,
        )
    )


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
