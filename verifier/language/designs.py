"""From the blocks of a file to designs: each circuit with its netlist, the claims of its contract and its own."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from lark import Token

from verifier.circuit.builder import NetlistBuilder
from verifier.circuit.netlist import NetId, Netlist
from verifier.claims import formula as f
from verifier.claims.claim import Claim, ClaimKind, Design
from verifier.claims.timing_claims import timing_claims
from verifier.errors import Span
from verifier.language.circuits import CircuitWriter, make_nets
from verifier.language.claims import ClaimSet, read_claims
from verifier.language.families import Family, read_family
from verifier.language.findings import Findings, nearest, quoted
from verifier.language.pins import PinPlan, PinReader, add_pin
from verifier.language.placing import report_misplaced
from verifier.language.reading import RefusedPin
from verifier.language.scopes import Library, Scope, ScopeOpener, TooLargeError, declare_interface, targets_of
from verifier.language.syntax import Block, BlockKind, Branch, LostBlocks
from verifier.language.usage import report_undriven, warn_unused
from verifier.language.widths import infer_widths


@dataclass(frozen=True)
class Contract:
    """A contract that has been read once; its formulas use the nets that its pins have in every circuit."""

    block: Block
    pins: tuple[PinPlan, ...]
    claims: ClaimSet
    together: bool
    refused: tuple[RefusedPin, ...] = ()


class DesignWriter:
    """Makes the designs of one file out of the blocks that are visible in it."""

    def __init__(self, blocks: Mapping[BlockKind, Mapping[str, Block]], findings: Findings, lost: LostBlocks) -> None:
        self._blocks = blocks
        self._findings = findings
        self._lost = lost
        self._library = Library(blocks[BlockKind.PART], findings)
        for block in (block for named in blocks.values() for block in named.values()):
            report_misplaced(block, findings)
        self._families = {name: read_family(block, findings) for name, block in blocks[BlockKind.FAMILY].items()}
        self._contracts = {name: self._read_contract(block) for name, block in blocks[BlockKind.CONTRACT].items()}
        for name in blocks[BlockKind.PART]:
            self._check_part(name)

    def write(self, block: Block) -> Design | None:
        """The design of a circuit, or None when findings say why there is none."""
        fits, breaks = block.header.children[1], block.header.children[2]
        contract = self._contract(fits, block) if isinstance(fits, Token) else None
        if isinstance(fits, Token) and contract is None:
            return None
        pins, refused = self._pins(block, contract)
        builder = NetlistBuilder(str(block.name), inputs_may_change_together=self._together(block, contract))
        lost = block.lost | contract.block.lost if contract is not None else block.lost
        scope = self._lay_out(Scope(block, "", lost=lost), pins, refused, builder)
        if scope is None:
            return None
        outer = contract.claims if contract is not None else ClaimSet()
        claims = read_claims(scope, outer, self._findings)
        breaking = breaks if isinstance(breaks, Branch) else None
        named = self._with_breaks(claims, breaking, scope)
        foreign = frozenset(plan.pin.name for plan in contract.pins) if contract is not None else frozenset()
        report_undriven(scope, foreign, self._findings)
        if self._findings.error_count:
            return None
        netlist = builder.build()
        figures = self._broken_figures(netlist, breaking, scope)
        if self._findings.error_count:
            return None
        warn_unused(netlist, scope, foreign, claims, self._findings)
        return Design(
            netlist=netlist,
            file=block.source.name,
            claims=named,
            givens=claims.givens,
            contract=str(contract.block.name) if contract is not None else None,
            broken_figures=figures,
            span=block.place(block.name),
        )

    # Contracts and pins

    def _contract(self, name: Token, block: Block) -> Contract | None:
        known = self._contracts.get(str(name))
        if known is None and not self._lost.may_hold(name):
            message = f"there is no contract called {quoted(name)}"
            self._findings.error("unknown-name", message, block.place(name), nearest(name, self._contracts))
        return known

    def _read_contract(self, block: Block) -> Contract:
        pins, refused = self._pins(block, None)
        scope = Scope(block, "", lost=block.lost)
        scope.refuse(refused)
        first: NetId = 0
        for plan in pins:
            symbol = scope.add(plan.pin, is_input=plan.is_input)
            symbol.nets = tuple(range(first, first + plan.pin.width))
            first += plan.pin.width
        claims = read_claims(scope, ClaimSet(), self._findings)
        return Contract(block, pins, claims, bool(block.all("together")), refused)

    def _together(self, block: Block, contract: Contract | None) -> bool:
        return contract.together if contract is not None else bool(block.all("together"))

    def _pins(self, block: Block, contract: Contract | None) -> tuple[tuple[PinPlan, ...], tuple[RefusedPin, ...]]:
        """The pins of a block, and those of which a finding says what is wrong."""
        reader = PinReader(block, self._findings)
        if contract is None:
            return reader.declared(), reader.refused
        reader.report_pins_beside(contract.block)
        return contract.pins, contract.refused

    def _family(self, block: Block) -> Family:
        statements = block.all("delays")
        for repeated in statements[1:]:
            self._findings.error("repeated-option", "`delays from` is said twice", block.place(repeated))
        if not statements:
            return Family()
        name = statements[0].token(0)
        if str(name) not in self._families and not self._lost.may_hold(name):
            message = f"there is no family called {quoted(name)}"
            self._findings.error("unknown-name", message, block.place(name), nearest(name, self._families))
        return self._families.get(str(name), Family())

    # Circuits and parts

    def _lay_out(
        self, scope: Scope, pins: tuple[PinPlan, ...], refused: tuple[RefusedPin, ...], builder: NetlistBuilder
    ) -> Scope | None:
        """Fills an empty scope; None when it grows beyond the limits."""
        block = scope.block
        scope.refuse(refused)
        first: NetId = 0
        for plan in pins:
            symbol = scope.add(plan.pin, is_input=plan.is_input)
            symbol.nets = make_nets(builder, symbol.name, plan.pin.width, self._written_at(plan, block))
            # The formulas of the contract are made once and rest on this numbering.
            if symbol.nets != tuple(range(first, first + plan.pin.width)):
                raise RuntimeError(f"the pin {symbol.name} of {block.name} has the nets {symbol.nets}")
            first += plan.pin.width
            add_pin(builder, plan, symbol.nets)
        try:
            ScopeOpener(self._library, self._findings).open(scope)
            infer_widths(scope, self._findings)
            parts = self._blocks[BlockKind.PART]
            CircuitWriter(builder, self._findings, self._family(block), parts, self._lost).write(scope)
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
        pins = [PinPlan(pin, True) for pin in interface.inputs] + [PinPlan(pin, False) for pin in interface.outputs]
        before = self._findings.error_count
        taken = Scope(block, "", interface)
        declare_interface(taken, interface, self._findings)
        if self._findings.error_count > before:
            return
        builder = NetlistBuilder(name)
        scope = self._lay_out(Scope(block, "", lost=block.lost), tuple(pins), (), builder)
        if scope is None:
            return
        report_undriven(scope, (), self._findings)
        if not self._findings.error_count:
            warn_unused(builder.build(), scope, (), ClaimSet(), self._findings)

    # Claims

    def _with_breaks(self, claims: ClaimSet, breaks: Branch | None, scope: Scope) -> tuple[Claim, ...]:
        """The claims, `settles` last, those in the `breaks` list marked."""
        settles = Claim(name="settles", kind=ClaimKind.ALWAYS_THERE, formula=f.Settles(), text="settles")
        found = (*claims.claims, settles)
        expected: set[str] = set()
        for entry in breaks.branches if breaks is not None else ():
            name = written(entry)
            if "." in name:
                continue  # a figure of a storage part: known once the netlist is
            if not any(claim.name == name for claim in found):
                self._report_unknown_claim(entry.token(0), found, claims, scope)
            elif name in expected:
                self._repeated(name, entry, scope)
            expected.add(name)
        return tuple(replace(claim, expected_to_break=True) if claim.name in expected else claim for claim in found)

    def _broken_figures(self, netlist: Netlist, breaks: Branch | None, scope: Scope) -> frozenset[str]:
        """The claims about figures of storage parts (`q.set_up`) in the `breaks` list."""
        expected: set[str] = set()
        known = [claim.name for claim in timing_claims(netlist)]
        for entry in breaks.branches if breaks is not None else ():
            name = written(entry)
            if "." not in name:
                continue
            if name not in known:
                message = f"there is no claim called {quoted(name)} for this circuit"
                hint = nearest(name, known) or "such a claim is there where a family gives the figure"
                self._findings.error("unknown-claim", message, scope.block.place(entry), hint)
            elif name in expected:
                self._repeated(name, entry, scope)
            expected.add(name)
        return frozenset(expected)

    def _repeated(self, name: str, entry: Branch, scope: Scope) -> None:
        self._findings.error("name-taken", f"{quoted(name)} is in the list twice", scope.block.place(entry))

    def _report_unknown_claim(self, name: Token, found: tuple[Claim, ...], claims: ClaimSet, scope: Scope) -> None:
        if name in scope.lost or name in claims.refused:
            return
        hint = nearest(name, [claim.name for claim in found])
        if any(given.name == name for given in claims.givens):
            hint = "it is a given; only `must` and `can` claims break"
        message = f"there is no claim called {quoted(name)} for this circuit"
        self._findings.error("unknown-claim", message, scope.block.place(name), hint)


def written(claim_name: Branch) -> str:
    """The name of a claim as it is written: `clean`, `q.set_up`, `count[2].hold`."""
    first, *more = claim_name.tokens
    return str(first) + "".join(f"[{token}]" if token.isdigit() else f".{token}" for token in more)
