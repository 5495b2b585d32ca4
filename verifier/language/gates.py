"""From an expression to gates: every gate that is written becomes a gate of the netlist.

It reports mismatched widths, unknown names and words that belong in claims. Storage and parts as statements are laid out
in `circuits.py`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from lark import Token

from verifier.circuit.builder import NetlistBuilder, check_pin_count
from verifier.circuit.netlist import Driver, Gate, GateKind, NetId, Range
from verifier.language.arithmetic import Bit, Constant, Ripple
from verifier.language.findings import Findings, nearest, quoted
from verifier.language.reading import Reader
from verifier.language.scopes import Scope, TooLargeError
from verifier.language.syntax import Branch, run_operands
from verifier.language.widths import (
    call_arguments,
    find_instance,
    find_symbol,
    first_width,
    natural_width,
    written_bits,
)

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
    "step": "changes, rises, falls, steady", "before": "before", "once": "once", "since": "since", "until": "until",
    "next": "next", "always": "always", "eventually": "eventually", "again_and_again": "again and again",
    "at_the_last": "at the last", "within_the_last": "within the last", "implies": "implies",
}  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Finish:
    """What an assignment says about the gates and storage that drive its targets."""

    start: tuple[bool | None, ...]
    """For each bit."""
    takes: Range | None = None


class Workbench:
    """The circuit under construction, and what all its gates share."""

    def __init__(self, builder: NetlistBuilder, findings: Findings, delays: Mapping[str, Range]) -> None:
        self.builder = builder
        self.findings = findings
        # The family's delay for each kind of part, by its word; used where an assignment has no `takes`.
        self.delays = delays
        self._net_count = 0

    def count_nets(self, count: int) -> None:
        """Raises TooLargeError when the circuit has too many nets."""
        self._net_count += count
        if self._net_count > NET_LIMIT:
            raise TooLargeError(f"this circuit has more than {NET_LIMIT} nets")

    def add(self, driver: Driver) -> NetId:
        return self.builder.add(driver)


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
        # Where the gate being laid out is written; anonymous nets stand there.
        self._tree: Branch | None = None
        self._finish: Finish | None = None

    def drive(self, tree: Branch, outputs: Sequence[NetId], finish: Finish) -> None:
        """Drives the nets with the expression; a plain reference becomes a buffer for each bit."""
        self._finish = finish
        nets = self._lay_out(tree, len(outputs), outputs)
        self._finish = finish
        if nets is None:
            return
        for bit, (net, output) in enumerate(zip(nets, outputs, strict=True)):
            if net != output or not self._bench.builder.is_driven(output):
                self._add(GateKind.BUFFER, [net], output, bit)

    def nets(self, tree: Branch, width: int) -> list[NetId] | None:
        """The nets that carry the expression; None when a finding says why there are none."""
        self._finish = None
        return self._lay_out(tree, width, None)

    def one_bit(self, tree: Branch, what: str) -> NetId | None:
        """The net of a pin that is one bit wide, such as a clock."""
        width = natural_width(tree, self._scope)
        if width is not None and width != 1:
            message = f"{what} is one bit, but this is {width} bits wide"
            self._error("wide-" + what.split()[-1], message, tree, "choose a bit: `name[0]`")
            return None
        nets = self.nets(tree, 1)
        return nets[0] if nets is not None else None

    def _lay_out(self, tree: Branch, width: int, outputs: Sequence[NetId] | None) -> list[NetId] | None:
        rule = tree.rule
        if rule == "number":
            bits = self._constants(tree, width)
            return None if bits is None else self._constant_nets(tree, bits, outputs)
        if rule == "group":
            return self._lay_out(tree.branch(0), width, outputs)
        if rule in ("reference", "member"):
            return self._reference(tree, width)
        if rule == "index":
            return self._index(tree, width)
        if rule == "slice":
            return self._slice(tree, width)
        if rule == "call":
            return self._call(tree, width, outputs)
        if rule == "not":
            return self._gates(GateKind.NOT, tree.branches, tree, width, outputs)
        if rule in ("and", "or", "xor"):
            return self._gates(GATE_WORDS[rule], run_operands(tree), tree, width, outputs)
        if rule == "if":
            return self._select(tree, width, outputs)
        if rule in ("add", "subtract"):
            return self._sum(tree, width, outputs)
        if rule == "compare":
            return self._compare(tree, width, outputs)
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
        self, kind: GateKind, operands: list[Branch], tree: Branch, width: int, outputs: Sequence[NetId] | None
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
        finish, targets = self._finish, self._targets(tree, width, outputs)
        laid_out = [self.nets(operand, width) for operand in operands]
        self._finish, self._tree = finish, tree
        pins = [nets for nets in laid_out if nets is not None]
        if len(pins) != len(laid_out):
            return None
        return [self._add(kind, [nets[bit] for nets in pins], targets[bit], bit) for bit in range(width)]

    def _select(self, tree: Branch, width: int, outputs: Sequence[NetId] | None) -> list[NetId] | None:
        condition, when_high, when_low = tree.branches
        own = first_width([when_high, when_low], self._scope, None)
        if own is not None and own != width:
            self._report_width(tree, own, width)
            return None
        finish, targets = self._finish, self._targets(tree, width, outputs)
        selector = self.one_bit(condition, "a condition")
        high, low = self.nets(when_high, width), self.nets(when_low, width)
        self._finish, self._tree = finish, tree
        if selector is None or high is None or low is None:
            return None
        return [
            self._add(GateKind.SELECT, [selector, high[bit], low[bit]], targets[bit], bit) for bit in range(width)
        ]

    def _call(self, tree: Branch, width: int, outputs: Sequence[NetId] | None) -> list[NetId] | None:
        callee = str(tree.token(0))
        if callee in GATE_WORDS:
            return self._gates(GATE_WORDS[callee], call_arguments(tree), tree, width, outputs)
        if callee == "join":
            return self._join(tree, width)
        if callee in STORAGE_WORDS:
            hint = f"give it a name of its own: `name = {callee}(...) ...`"
            self._error("storage-inside", f"{quoted(callee)} stands alone after `=`", tree.token(0), hint)
            return None
        if id(tree) not in self._scope.calls:
            report_unknown_call(tree, self._scope, self._bench.findings)
            return None
        nets = self._use_part(tree, self._scope, self._stem)
        if nets is not None and len(nets) != width:
            self._report_width(tree, len(nets), width)
            return None
        return nets

    def _sum(self, tree: Branch, width: int, outputs: Sequence[NetId] | None) -> list[NetId] | None:
        own = first_width(tree.branches, self._scope, None)
        if own is not None and own != width:
            self._report_width(tree, own, width)
            return None
        finish = self._finish
        left, right = self._bits(tree.branch(0), width), self._bits(tree.branch(1), width)
        if left is None or right is None:
            return None
        ripple = self._ripple(tree, finish, outputs)
        targets = list(outputs) if outputs is not None else [None] * width
        work = ripple.add if tree.rule == "add" else ripple.subtract
        return [ripple.net(bit) for bit in work(left, right, targets)]

    def _compare(self, tree: Branch, width: int, outputs: Sequence[NetId] | None) -> list[NetId] | None:
        if width != 1:
            self._report_width(tree, 1, width)
            return None
        finish = self._finish
        sides = tree.branches
        operands_width = first_width(sides, self._scope, None) or self._widest(sides)
        left, right = self._bits(sides[0], operands_width), self._bits(sides[1], operands_width)
        if left is None or right is None:
            return None
        ripple = self._ripple(tree, finish, outputs)
        output = outputs[0] if outputs is not None else None
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

    def _ripple(self, tree: Branch, finish: Finish | None, outputs: Sequence[NetId] | None) -> Ripple:
        bit_of = {net: bit for bit, net in enumerate(outputs or ())}

        def add_gate(kind: GateKind, inputs: Sequence[NetId], output: NetId | None) -> NetId:
            self._tree = tree
            self._finish = finish if output is not None else None
            net = output if output is not None else self._anonymous(tree)
            return self._add(kind, inputs, net, bit_of.get(net, 0))

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

    def _constant_nets(
        self, tree: Branch, bits: Sequence[Constant], outputs: Sequence[NetId] | None
    ) -> list[NetId]:
        finish, targets = self._finish, self._targets(tree, len(bits), outputs)
        self._tree, self._finish = tree, finish
        kinds = [GateKind.HIGH if bit is Constant.HIGH else GateKind.LOW for bit in bits]
        return [self._add(kind, [], targets[bit], bit) for bit, kind in enumerate(kinds)]

    # Nets and findings

    def _targets(self, tree: Branch, width: int, outputs: Sequence[NetId] | None) -> list[NetId]:
        return list(outputs) if outputs is not None else [self._anonymous(tree) for _ in range(width)]

    def _anonymous(self, tree: Branch) -> NetId:
        self._bench.count_nets(1)
        return self._bench.builder.anonymous(self._stem, span=self._scope.block.place(tree))

    def _add(self, kind: GateKind, inputs: Sequence[NetId], output: NetId, bit: int) -> NetId:
        start = self._finish.start[bit] if self._finish is not None else None
        takes = self._finish.takes if self._finish is not None else None
        takes = takes or self._bench.delays.get("if" if kind is GateKind.SELECT else kind.value)
        return self._bench.add(Gate(output=output, kind=kind, inputs=tuple(inputs), start=start, takes=takes))

    def _report_width(self, tree: Branch, width: int, wanted: int) -> None:
        report_width(tree, width, wanted, self._scope, self._bench.findings)

    def _report_bit(self, tree: Branch, token: Token, width: int) -> None:
        report_bit(tree, token, width, self._scope, self._bench.findings)

    def _report_claim_word(self, tree: Branch) -> None:
        words = _CLAIM_WORDS.get(tree.rule, tree.rule)
        hint = "`a implies b` is written `not a or b`" if tree.rule == "implies" else "storage remembers; wires do not"
        self._error("claim-word", f"`{words}` belongs in a claim, not in a wire", tree, hint)

    def _error(self, code: str, message: str, piece: Branch | Token, hint: str = "") -> None:
        self._bench.findings.error(code, message, self._scope.block.place(piece), hint)


# Findings that circuits and claims share


def fitting_number(token: Token, width: int, scope: Scope, findings: Findings) -> int | None:
    """The number, if it fits the width."""
    value = Reader(scope.block, findings).number(token)
    if value is not None and value >> width:
        most = (1 << width) - 1
        message = f"{quoted(token)} does not fit into {_bits(width)}"
        hint = f"the largest number there is {most}" if width <= 64 else ""
        findings.error("does-not-fit", message, scope.block.place(token), hint)
        return None
    return value


def join_width(tree: Branch, scope: Scope, lets: Mapping[str, object], findings: Findings) -> int | None:
    """The width of an operand of `join`, which nothing around it can give."""
    width = written_bits(tree) or natural_width(tree, scope, lets)  # type: ignore[arg-type]
    if width is None and tree.rule == "number":
        hint = "inside `join`, write `0`, `1`, or all bits as in `0b0101`"
        findings.error("unknown-width", "nothing says how wide this number is", scope.block.place(tree), hint)
        return None
    return width or 1


def check_slice(tree: Branch, high: int, low: int, width: int, scope: Scope, findings: Findings) -> bool:
    """Whether bits `high..low` exist."""
    if high >= width or low >= width:
        report_bit(tree, tree.token(1) if high >= width else tree.token(2), width, scope, findings)
        return False
    if high < low:
        message = f"the bits {high}..{low} run upwards"
        findings.error("bad-range", message, scope.block.place(tree), f"the higher bit comes first: `[{low}..{high}]`")
        return False
    return True


def report_bit(tree: Branch, token: Token, width: int, scope: Scope, findings: Findings) -> None:
    base = tree.branches[0] if tree.branches else None
    name = text_of(base) if base is not None else str(tree.token(0))
    message = f"there is no bit {token} in {quoted(name)}, which is {_bits(width)} wide"
    hint = f"its bits are 0 to {width - 1}" if width > 1 else "its one bit is bit 0"
    findings.error("no-such-bit", message, scope.block.place(token), hint)


def report_width(tree: Branch, width: int, wanted: int, scope: Scope, findings: Findings) -> None:
    message = f"{quoted(text_of(tree))} is {_bits(width)} wide, but {_bits(wanted)} {_verb(wanted)} wanted here"
    hint = "choose bits with `[3]` or `[3..0]`, or put buses together with `join(...)`"
    findings.error("width-mismatch", message, scope.block.place(tree), hint)


def report_unknown(tree: Branch, scope: Scope, more_names: Sequence[str], findings: Findings) -> None:
    """Reports a reference or member that names nothing."""
    if tree.rule == "reference":
        name = str(tree.token(0))
        if name in scope.instances:
            hint = f"its nets are `{name}.` and their name"
            message = f"{quoted(name)} is a part, not a net"
        else:
            message = f"there is no net called {quoted(name)}"
            hint = nearest(name, (*scope.symbols, *more_names))
        findings.error("unknown-name", message, scope.block.place(tree), hint)
        return
    base, token = tree.branch(0), tree.token(1)
    instance = find_instance(scope, base)
    if instance is None:
        known = [*scope.instances]
        message = f"there is no part called {quoted(text_of(base))} in here"
        findings.error("unknown-name", message, scope.block.place(base), nearest(text_of(base), known))
        return
    symbol = instance.symbols.get(str(token))
    inside = [name for name, known in instance.symbols.items() if not known.is_input]
    if symbol is not None:
        hint = "use the net that is connected to it"
        message = f"{quoted(token)} is an input of the part {quoted(text_of(base))}"
    else:
        hint = nearest(str(token), inside)
        message = f"the part {quoted(text_of(base))} has no net called {quoted(token)}"
    findings.error("unknown-name", message, scope.block.place(token), hint)


def report_unknown_call(tree: Branch, scope: Scope, findings: Findings, parts: Sequence[str] = ()) -> None:
    callee = tree.token(0)
    known = [*GATE_WORDS, *STORAGE_WORDS, "join", *parts]
    message = f"there is no gate or part called {quoted(callee)}"
    findings.error("unknown-part", message, scope.block.place(callee), nearest(str(callee), known))


def text_of(tree: Branch) -> str:
    """A short piece of syntax as it is written; other pieces are called `this`."""
    if tree.rule == "reference":
        return str(tree.token(0))
    if tree.rule == "member":
        return f"{text_of(tree.branch(0))}.{tree.token(1)}"
    if tree.rule == "index":
        return f"{text_of(tree.branch(0))}[{tree.token(1)}]"
    if tree.rule == "slice":
        return f"{text_of(tree.branch(0))}[{tree.token(1)}..{tree.token(2)}]"
    return "this"


def _bits(width: int) -> str:
    return "1 bit" if width == 1 else f"{width} bits"


def _verb(width: int) -> str:
    return "is" if width == 1 else "are"
