"""From an expression to gates: every gate that is written becomes a gate of the netlist.

It reports mismatched widths, unknown names and words that belong in claims. Storage is laid out in `storage.py`, parts
are laid out in `circuits.py`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from lark import Token

from verifier.circuit.builder import NetlistBuilder, check_pin_count
from verifier.circuit.netlist import Delay, Gate, GateKind, NetId
from verifier.language.arithmetic import Bit, Constant, Ripple
from verifier.language.complaints import (
    check_slice,
    fitting_number,
    report_bit,
    report_unknown,
    report_unknown_call,
    report_width,
)
from verifier.language.families import Family
from verifier.language.findings import Findings, quoted
from verifier.language.reading import Reader
from verifier.language.scopes import Scope, TooLargeError
from verifier.language.syntax import Branch, LostBlocks, run_operands
from verifier.language.widths import call_arguments, find_symbol, first_width, join_width, natural_width

NET_LIMIT = 200_000
"""Nets in one circuit."""

GATE_WORDS = {
    kind.value: kind
    for kind in (
        GateKind.AND, GateKind.OR, GateKind.XOR, GateKind.NAND, GateKind.NOR, GateKind.XNOR, GateKind.MAJORITY,
    )
}  # fmt: skip
STORAGE_WORDS = {"flipflop": 1, "toggle": 1, "jk": 2, "latch": 1, "set_reset": 2}
"""How many data inputs each takes."""

_CLAIM_WORDS = {
    "before": "before", "once": "once", "since": "since", "until": "until",
    "next": "next", "always": "always", "eventually": "eventually", "again_and_again": "again and again",
    "at_the_last": "at the last", "within_the_last": "within the last", "implies": "implies",
}  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Destination:
    """Nets that wait for a driver, and what the assignment says about what drives them."""

    nets: tuple[NetId, ...]
    start: tuple[bool | None, ...]
    """For each net."""
    takes: Delay | None = None


class Workbench:
    """The circuit under construction, and what all its gates share."""

    def __init__(
        self,
        builder: NetlistBuilder,
        findings: Findings,
        family: Family,
        parts: Iterable[str],
        lost: LostBlocks,
    ) -> None:
        self.builder = builder
        self.findings = findings
        self._parts = frozenset(parts)
        self._lost = lost
        self.callable_names = [*GATE_WORDS, *STORAGE_WORDS, "join", *self._parts]
        # Its delays are used where an assignment has no `takes`.
        self.family = family
        self._net_count = 0

    def may_be_part(self, name: str) -> bool:
        """Whether there is a part of that name, or may be one in a block that was not read."""
        return name in self._parts or self._lost.may_hold(name)

    def count_nets(self, count: int) -> None:
        """Raises TooLargeError when the circuit has too many nets."""
        self._net_count += count
        if self._net_count > NET_LIMIT:
            raise TooLargeError(f"this circuit has more than {NET_LIMIT} nets")


PartUse = Callable[[Branch, Scope, str], "list[NetId] | None"]
"""Lays out a part that is used inside an expression, and gives the nets of its one output."""


class GateWriter:
    """Lays out the gates of one assignment. `stem` is the name that anonymous nets begin with."""

    def __init__(self, bench: Workbench, scope: Scope, stem: str, use_part: PartUse) -> None:
        self._bench = bench
        self._scope = scope
        self._stem = stem
        self._use_part = use_part
        self._reader = Reader(scope.block, bench.findings)

    def drive(self, tree: Branch, into: Destination) -> None:
        """Drives the nets with the expression; what is mere wiring gets a buffer for each bit."""
        nets = self._lay_out(tree, len(into.nets), into)
        for bit, net in enumerate(nets or ()):
            if not self._bench.builder.is_driven(into.nets[bit]):
                self._add(GateKind.BUFFER, [net], into, bit)

    def nets(self, tree: Branch, width: int) -> list[NetId] | None:
        """The nets that carry the expression; None when a finding says why there are none."""
        return self._lay_out(tree, width, None)

    def one_bit(self, tree: Branch, what: str) -> NetId | None:
        """The net of a pin that is one bit wide, such as a clock."""
        width = natural_width(tree, self._scope)
        if width is not None and width != 1:
            message = f"{what} is one bit, but this is {width} bits wide"
            self._error("not-one-bit", message, tree, "choose a bit: `name[0]`")
            return None
        nets = self.nets(tree, 1)
        return nets[0] if nets is not None else None

    def _lay_out(self, tree: Branch, width: int, into: Destination | None) -> list[NetId] | None:
        rule = tree.rule
        if rule == "number":
            bits = self._constants(tree, width)
            return None if bits is None else self._constant_nets(bits, self._into(tree, width, into))
        if rule == "group":
            return self._lay_out(tree.branch(0), width, into)
        if rule in ("reference", "member"):
            return self._reference(tree, width)
        if rule == "index":
            return self._index(tree, width)
        if rule == "slice":
            return self._slice(tree, width)
        if rule == "call":
            return self._call(tree, width, into)
        if rule == "not":
            return self._gates(GateKind.NOT, tree.branches, tree, width, into)
        if rule in ("and", "or", "xor"):
            return self._gates(GATE_WORDS[rule], run_operands(tree), tree, width, into)
        if rule == "if":
            return self._select(tree, width, into)
        if rule in ("add", "subtract"):
            return self._sum(tree, width, into)
        if rule == "compare":
            return self._compare(tree, width, into)
        self._report_claim_word(tree)
        return None

    # Wiring

    def _reference(self, tree: Branch, width: int) -> list[NetId] | None:
        symbol = find_symbol(self._scope, tree)
        if symbol is None:
            report_unknown(tree, self._scope, (), self._bench.findings)
            return None
        if symbol.width is not None and symbol.width != width:
            self._report_width(tree, symbol.width, width)
            return None
        return list(symbol.nets) or None

    def _index(self, tree: Branch, width: int) -> list[NetId] | None:
        base = self._base(tree)
        position = self._reader.number(tree.token(1))
        if base is None or position is None:
            return None
        if position >= len(base):
            self._report_bit(tree, tree.token(1), len(base))
            return None
        if width != 1:
            self._report_width(tree, 1, width)
            return None
        return [base[position]]

    def _slice(self, tree: Branch, width: int) -> list[NetId] | None:
        base = self._base(tree)
        high, low = self._reader.number(tree.token(1)), self._reader.number(tree.token(2))
        if base is None or high is None or low is None:
            return None
        if not check_slice(tree, high, low, len(base), self._scope, self._bench.findings):
            return None
        if width != high - low + 1:
            self._report_width(tree, high - low + 1, width)
            return None
        return base[low : high + 1]

    def _base(self, tree: Branch) -> list[NetId] | None:
        base = tree.branch(0)
        width = natural_width(base, self._scope)
        if width is None and base.rule == "number":
            self._error("not-a-bus", "a number has no bits to choose from", base)
            return None
        return self.nets(base, width or 1)

    def _join(self, tree: Branch, width: int) -> list[NetId] | None:
        nets: list[NetId] = []
        arguments = call_arguments(tree)
        if not arguments:
            self._error("wrong-pin-count", "`join` takes at least one part", tree)
            return None
        for argument in reversed(arguments):
            part_width = join_width(argument, self._scope, {}, self._bench.findings)
            part = self.nets(argument, part_width) if part_width is not None else None
            if part is None:
                return None
            nets += part
        if len(nets) != width:
            self._report_width(tree, len(nets), width)
            return None
        return nets

    # Gates

    def _gates(
        self, kind: GateKind, operands: list[Branch], tree: Branch, width: int, into: Destination | None
    ) -> list[NetId] | None:
        """A gate for each bit."""
        try:
            check_pin_count(kind, len(operands))
        except ValueError as problem:
            self._error("wrong-pin-count", str(problem), tree)
            return None
        own = first_width(operands, self._scope, None)
        if own is not None and own != width:
            self._report_width(tree, own, width)
            return None
        destination = self._into(tree, width, into)
        laid_out = [self.nets(operand, width) for operand in operands]
        pins = [nets for nets in laid_out if nets is not None]
        if len(pins) != len(laid_out):
            return None
        return [self._add(kind, [nets[bit] for nets in pins], destination, bit) for bit in range(width)]

    def _select(self, tree: Branch, width: int, into: Destination | None) -> list[NetId] | None:
        condition, when_high, when_low = tree.branches
        own = first_width([when_high, when_low], self._scope, None)
        if own is not None and own != width:
            self._report_width(tree, own, width)
            return None
        destination = self._into(tree, width, into)
        selector = self.one_bit(condition, "a condition")
        high, low = self.nets(when_high, width), self.nets(when_low, width)
        if selector is None or high is None or low is None:
            return None
        pins = [[selector, high[bit], low[bit]] for bit in range(width)]
        return [self._add(GateKind.SELECT, pins[bit], destination, bit) for bit in range(width)]

    def _call(self, tree: Branch, width: int, into: Destination | None) -> list[NetId] | None:
        callee = str(tree.token(0))
        if callee in GATE_WORDS:
            return self._gates(GATE_WORDS[callee], call_arguments(tree), tree, width, into)
        if callee == "join":
            return self._join(tree, width)
        if callee in STORAGE_WORDS:
            hint = f"give it a name of its own: `name = {callee}(...) ...`"
            self._error("storage-inside", f"{quoted(callee)} stands alone after `=`", tree.token(0), hint)
            return None
        if id(tree) not in self._scope.calls:
            if self._bench.may_be_part(callee):
                # It contains itself, is too large or was not read: a finding says so already.
                return None
            report_unknown_call(tree, self._bench.callable_names, self._scope, self._bench.findings)
            return None
        nets = self._use_part(tree, self._scope, self._stem)
        if nets is not None and len(nets) != width:
            self._report_width(tree, len(nets), width)
            return None
        return nets

    def _sum(self, tree: Branch, width: int, into: Destination | None) -> list[NetId] | None:
        own = first_width(tree.branches, self._scope, None)
        if own is not None and own != width:
            self._report_width(tree, own, width)
            return None
        left, right = self._bits(tree.branch(0), width), self._bits(tree.branch(1), width)
        if left is None or right is None:
            return None
        ripple = self._ripple(tree, into)
        targets: list[NetId | None] = list(into.nets) if into is not None else [None] * width
        work = ripple.add if tree.rule == "add" else ripple.subtract
        return [ripple.net(bit) for bit in work(left, right, targets)]

    def _compare(self, tree: Branch, width: int, into: Destination | None) -> list[NetId] | None:
        if width != 1:
            self._report_width(tree, 1, width)
            return None
        sides = tree.branches
        operands_width = first_width(sides, self._scope, None) or self._widest(sides)
        left, right = self._bits(sides[0], operands_width), self._bits(sides[1], operands_width)
        if left is None or right is None:
            return None
        ripple = self._ripple(tree, into)
        output = into.nets[0] if into is not None else None
        sign = str(tree.token(1))
        if sign in (">", ">="):
            left, right, sign = right, left, "<" + sign[1:]
        if sign == "==":
            bit = ripple.equal(left, right, output)
        elif sign == "!=":
            bit = ripple.different(left, right, output)
        else:
            bit = ripple.less(left, right, or_equal=sign == "<=", output=output)
        return [ripple.net(bit)]

    def _ripple(self, tree: Branch, into: Destination | None) -> Ripple:
        def add_gate(kind: GateKind, inputs: Sequence[NetId], output: NetId | None) -> NetId:
            if output is None or into is None:
                return self._add(kind, inputs, self._into(tree, 1, None), 0)
            return self._add(kind, inputs, into, into.nets.index(output))

        return Ripple(add_gate)

    def _bits(self, tree: Branch, width: int) -> list[Bit] | None:
        """An operand of a chain; numbers stay constants and cost no gates."""
        while tree.rule == "group":
            tree = tree.branch(0)
        if tree.rule == "number":
            constants = self._constants(tree, width)
            return None if constants is None else list(constants)
        nets = self.nets(tree, width)
        return None if nets is None else list(nets)

    def _widest(self, numbers: list[Branch]) -> int:
        found = [self._reader.number(branch.token(0)) or 0 for branch in numbers if branch.rule == "number"]
        return max(1, *(number.bit_length() for number in found)) if found else 1

    # Numbers

    def _constants(self, tree: Branch, width: int) -> list[Constant] | None:
        value = fitting_number(tree.token(0), width, self._scope, self._bench.findings)
        return None if value is None else [Constant(bool(value >> bit & 1)) for bit in range(width)]

    def _constant_nets(self, bits: Sequence[Constant], into: Destination) -> list[NetId]:
        kinds = [GateKind.HIGH if bit is Constant.HIGH else GateKind.LOW for bit in bits]
        return [self._add(kind, [], into, bit) for bit, kind in enumerate(kinds)]

    # Nets and findings

    def _into(self, tree: Branch, width: int, into: Destination | None) -> Destination:
        """The given destination, or new anonymous nets that stand where the expression stands."""
        if into is not None:
            return into
        self._bench.count_nets(width)
        span = self._scope.block.place(tree)
        nets = tuple(self._bench.builder.anonymous(self._stem, span=span) for _ in range(width))
        return Destination(nets=nets, start=(None,) * width)

    def _add(self, kind: GateKind, inputs: Sequence[NetId], into: Destination, bit: int) -> NetId:
        takes = into.takes or self._bench.family.delays.get("if" if kind is GateKind.SELECT else kind.value)
        gate = Gate(output=into.nets[bit], kind=kind, inputs=tuple(inputs), start=into.start[bit], takes=takes)
        return self._bench.builder.add(gate)

    def _report_width(self, tree: Branch, width: int, wanted: int) -> None:
        report_width(tree, width, wanted, self._scope, self._bench.findings)

    def _report_bit(self, tree: Branch, token: Token, width: int) -> None:
        report_bit(tree, token, width, self._scope, self._bench.findings)

    def _report_claim_word(self, tree: Branch) -> None:
        words = str(tree.token(1)) if tree.rule == "step" else _CLAIM_WORDS.get(tree.rule, tree.rule)
        hint = "`a implies b` is written `not a or b`" if tree.rule == "implies" else "storage remembers; wires do not"
        self._error("claim-word", f"`{words}` belongs in a claim, not in a wire", tree, hint)

    def _error(self, code: str, message: str, piece: Branch | Token, hint: str = "") -> None:
        self._bench.findings.error(code, message, self._scope.block.place(piece), hint)
