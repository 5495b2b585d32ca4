"""Two multipliers of n by n bits as wiring text, and one with a mistake: what `equal` is asked about.

`by_rows` adds a shifted copy of the one number for each bit of the other, each addition with its carry rippling
along the row. `by_columns` first takes all products of two bits, then sums them column by column, lowest first,
with full and half adders in the order in which bits come in; carries go to the next column. `careless` is
`by_columns` with one carry of an OR of two bits that may both be high.
"""

from __future__ import annotations

PARTS = """\
part half_adder(a, b) gives (sum, carry)
    sum   = xor(a, b)
    carry = a and b
part full_adder(a, b, c) gives (sum, carry)
    sum   = xor(a, b, c)
    carry = majority(a, b, c)
"""


class _Lines:
    """Lines of one circuit, with fresh names for its nets."""

    def __init__(self) -> None:
        self.lines: list[str] = []
        self._count = 0

    def gate(self, expression: str) -> str:
        self._count += 1
        self.lines.append(f"    t{self._count} = {expression}")
        return f"t{self._count}"

    def add(self, bits: list[str]) -> tuple[str, str]:
        """Sum and carry of two or three bits."""
        part = "full_adder" if len(bits) == 3 else "half_adder"
        self._count += 1
        total, carry = f"s{self._count}", f"c{self._count}"
        self.lines.append(f"    {total}, {carry} = {part}({', '.join(bits)})")
        return total, carry


def _head(name: str, bits: int) -> list[str]:
    return [f"circuit {name}", f"    input a[{bits}]", f"    input b[{bits}]", f"    output p[{2 * bits}]"]


def _by_rows(bits: int) -> list[str]:
    made = _Lines()
    total = [made.gate(f"a[{k}] and b[0]") for k in range(bits)]
    product = [total.pop(0)]
    for row in range(1, bits):
        carry = None
        sums: list[str] = []
        for k in range(bits):
            operands = [made.gate(f"a[{k}] and b[{row}]")]
            operands += [total[k]] if k < len(total) else []
            operands += [carry] if carry is not None else []
            if len(operands) == 1:
                sums.append(operands[0])
                carry = None
                continue
            bit, carry = made.add(operands)
            sums.append(bit)
        product.append(sums[0])
        total = [*sums[1:], *([carry] if carry is not None else [])]
    product += total
    return [*_head("by_rows", bits), *made.lines, *_outputs(product, bits)]


def _by_columns(name: str, bits: int, careless: bool) -> list[str]:
    made = _Lines()
    columns: list[list[str]] = [[] for _ in range(2 * bits + 1)]
    for i in range(bits):
        for j in range(bits):
            columns[i + j].append(made.gate(f"a[{i}] and b[{j}]"))
    product = []
    for weight in range(2 * bits):
        column = columns[weight]
        while len(column) > 1:
            take = column[:3]
            del column[:3]
            bit, carry = made.add(take)
            if careless and weight == bits - 1 and len(take) == 2:
                carry = made.gate(f"{take[0]} or {take[1]}")
            column.append(bit)
            columns[weight + 1].append(carry)
        product.append(column[0] if column else "0")
    return [*_head(name, bits), *made.lines, *_outputs(product, bits)]


def _outputs(product: list[str], bits: int) -> list[str]:
    product = product + ["0"] * (2 * bits - len(product))
    return [f"    p[{weight}] = {bit}" for weight, bit in enumerate(product)]


def multipliers(bits: int) -> str:
    circuits = [_by_rows(bits), _by_columns("by_columns", bits, False), _by_columns("careless", bits, True)]
    return PARTS + "\n".join(line for circuit in circuits for line in circuit) + "\n"
