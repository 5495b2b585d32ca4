"""Ripple chains of gates for `+ - == != < <=`; what a constant operand decides costs no gate.

It knows gates and bits; it knows no text.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from enum import Enum

from verifier.circuit.netlist import GateKind, NetId


class Constant(Enum):
    """A bit that is known while the gates are laid out."""

    LOW = False
    HIGH = True


Bit = NetId | Constant

AddGate = Callable[[GateKind, Sequence[NetId], NetId | None], NetId]
"""Makes a gate that drives the given net, or a new one, and gives the net it drives."""


class Ripple:
    """Lays out chains of gates. Where `output` is given, that net is driven, by a buffer if need be."""

    def __init__(self, add_gate: AddGate) -> None:
        self._add_gate = add_gate

    def net(self, bit: Bit) -> NetId:
        """A net that carries the bit; a constant gets a gate of its own."""
        if isinstance(bit, Constant):
            return self._add_gate(GateKind.HIGH if bit.value else GateKind.LOW, (), None)
        return bit

    def add(self, left: Sequence[Bit], right: Sequence[Bit], outputs: Sequence[NetId | None]) -> list[Bit]:
        """The sum, cut at the width of the operands."""
        carry: Bit = Constant.LOW
        total = []
        for position, (a, b, output) in enumerate(zip(left, right, outputs, strict=True)):
            total.append(self._parity(a, b, carry, output))
            if position + 1 < len(left):
                carry = self._majority(a, b, carry, None)
        return total

    def subtract(self, left: Sequence[Bit], right: Sequence[Bit], outputs: Sequence[NetId | None]) -> list[Bit]:
        """The difference, cut at the width of the operands."""
        borrow: Bit = Constant.LOW
        total = []
        for position, (a, b, output) in enumerate(zip(left, right, outputs, strict=True)):
            total.append(self._parity(a, b, borrow, output))
            if position + 1 < len(left):
                borrow = self._borrow(a, b, borrow, None)
        return total

    def less(self, left: Sequence[Bit], right: Sequence[Bit], *, or_equal: bool, output: NetId | None) -> Bit:
        """`left < right`: the last borrow of `left - right`; with `or_equal`, of `left - right - 1`."""
        borrow: Bit = Constant.HIGH if or_equal else Constant.LOW
        for position, (a, b) in enumerate(zip(left, right, strict=True)):
            last = position + 1 == len(left)
            borrow = self._borrow(a, b, borrow, output if last else None)
        return borrow

    def equal(self, left: Sequence[Bit], right: Sequence[Bit], output: NetId | None) -> Bit:
        """All bits agree: an XNOR for each, and an AND of them."""
        last = output if len(left) == 1 else None
        agree = [self._agree(a, b, last) for a, b in zip(left, right, strict=True)]
        if len(agree) == 1:
            return agree[0]
        return self._add_gate(GateKind.AND, [self.net(bit) for bit in agree], output)

    def different(self, left: Sequence[Bit], right: Sequence[Bit], output: NetId | None) -> Bit:
        """Some bits differ: an XOR for each, and an OR of them."""
        last = output if len(left) == 1 else None
        differ = [self._parity(a, b, Constant.LOW, last) for a, b in zip(left, right, strict=True)]
        if len(differ) == 1:
            return differ[0]
        return self._add_gate(GateKind.OR, [self.net(bit) for bit in differ], output)

    def _agree(self, a: Bit, b: Bit, output: NetId | None) -> Bit:
        return self._parity(a, b, Constant.HIGH, output)

    def _parity(self, a: Bit, b: Bit, c: Bit, output: NetId | None) -> Bit:
        """`a xor b xor c`."""
        bits = (a, b, c)
        nets = [bit for bit in bits if not isinstance(bit, Constant)]
        odd = sum(bit is Constant.HIGH for bit in bits) % 2 == 1
        if len(nets) > 1:
            return self._add_gate(GateKind.XNOR if odd else GateKind.XOR, nets, output)
        if not nets:
            return self._driven(Constant(odd), output)
        return self._inverse(nets[0], output) if odd else self._driven(nets[0], output)

    def _borrow(self, a: Bit, b: Bit, c: Bit, output: NetId | None) -> Bit:
        """The majority of `not a`, `b` and `c`; the inverter is made only if it is needed."""
        if b is c and isinstance(b, Constant):
            return self._driven(b, output)
        alone = isinstance(b, Constant) and isinstance(c, Constant)
        if alone:
            return self._inverse(a, output)
        return self._majority(self._inverse(a, None), b, c, output)

    def _majority(self, a: Bit, b: Bit, c: Bit, output: NetId | None) -> Bit:
        bits = (a, b, c)
        nets = [bit for bit in bits if not isinstance(bit, Constant)]
        highs = sum(bit is Constant.HIGH for bit in bits)
        lows = sum(bit is Constant.LOW for bit in bits)
        if highs >= 2 or lows >= 2:
            return self._driven(Constant(highs >= 2), output)
        if highs and lows:
            return self._driven(nets[0], output)
        kind = GateKind.OR if highs else GateKind.AND if lows else GateKind.MAJORITY
        return self._add_gate(kind, nets, output)

    def _inverse(self, bit: Bit, output: NetId | None) -> Bit:
        if isinstance(bit, Constant):
            return self._driven(Constant(not bit.value), output)
        return self._add_gate(GateKind.NOT, [bit], output)

    def _driven(self, bit: Bit, output: NetId | None) -> Bit:
        """The bit itself, or the output net, made to carry it."""
        if output is None:
            return bit
        if isinstance(bit, Constant):
            return self._add_gate(GateKind.HIGH if bit.value else GateKind.LOW, (), output)
        return self._add_gate(GateKind.BUFFER, [bit], output)
