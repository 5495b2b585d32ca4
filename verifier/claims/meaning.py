"""The textbook meaning of a formula: its value at every instant of a finite run (grammar/README.md, section 20).

Direct and slow on purpose: every word quantifies over instants as the table there says. It is the second opinion on
what the engines find, so it shares nothing with the monitors they use. Words whose value hangs on later instants
(`next`, `always` inside a formula, `leads to` without a bound, ...) and the words of the timed view are refused: a
finite run does not decide them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import reduce

from verifier.claims.formula import (
    PATTERNS,
    Add,
    Always,
    Apply,
    AtTheLast,
    Before,
    Bound,
    Compare,
    Comparison,
    Formula,
    Initially,
    Join,
    LeadsTo,
    Literal,
    Never,
    NeverGlitches,
    Once,
    OnlyWhen,
    Operator,
    Select,
    Settles,
    Signal,
    Since,
    Slice,
    Step,
    StepWord,
    Subtract,
    Unit,
    WithinTheLast,
)
from verifier.claims.run import Run

Values = tuple[int, ...]
"""The value at each instant of a run, an unsigned number of the formula's width."""

ValuesOf = Callable[[Formula], Values]

NodeValues = Callable[[Formula, ValuesOf], Values]
"""A node's values, given those of its children."""

_PRESENT = (Literal, Signal, Apply, Select, Compare, Add, Subtract, Slice, Join)


def evaluate(formula: Formula, run: Run) -> Values:
    """The value of the formula at every instant of the run.

    A pattern is 0 at the instants that break it: for `F leads to G within ...` these are the deadlines that pass unmet.

    Raises:
        ValueError: a word needs instants after the run or nanoseconds, or a pattern does not stand outermost.
    """
    return evaluate_bottom_up(formula, lambda node, of: values_on_finite_run(node, of, run))


def evaluate_bottom_up(formula: Formula, values: NodeValues) -> Values:
    """The values of the formula, worked out node by node, children first.

    Raises:
        ValueError: a pattern does not stand outermost.
    """
    # Keyed by identity: equal subtrees may be shared, and hashing a tree by content would recurse through all of it.
    known: dict[int, Values] = {}
    for node in children_first(formula):
        if isinstance(node, PATTERNS) and node is not formula:
            raise ValueError(f"a pattern stands outermost: {type(node).__name__}")
        known[id(node)] = values(node, lambda child: known[id(child)])
    return known[id(formula)]


def first_breach(claim_formula: Formula, run: Run) -> int | None:
    """The first instant at which the run breaks a `must` of this formula; None if it does not.

    A formula with no future word outermost is meant at every instant; so is what an outermost `always` speaks of.
    """
    judged = claim_formula.operand if isinstance(claim_formula, Always) else claim_formula
    if judged is not claim_formula and isinstance(judged, PATTERNS):
        raise ValueError(f"a pattern stands outermost: {type(judged).__name__}")
    return next((instant for instant, value in enumerate(evaluate(judged, run)) if not value), None)


def children_first(formula: Formula) -> Iterator[Formula]:
    """Every node once, however often it is shared, children before parents."""
    finished: set[int] = set()
    pending: list[tuple[Formula, bool]] = [(formula, False)]
    while pending:
        node, children_done = pending.pop()
        if id(node) in finished:
            continue
        if children_done:
            finished.add(id(node))
            yield node
        else:
            pending.append((node, True))
            pending.extend((child, False) for child in node.children)


def values_on_finite_run(node: Formula, of: ValuesOf, run: Run) -> Values:
    """One node's values at the instants of the run, `of` giving those of its children."""
    match node:
        case Before():
            return _before(of(node.operand))
        case Step():
            return _step(node, of(node.operand))
        case Once():
            return _once(of(node.operand))
        case Since():
            return _since(of(node.left), of(node.right))
        case AtTheLast():
            return _at_the_last(of(node.operand), of(node.trigger))
        case Initially():
            return (of(node.operand)[0],) * len(run)
        case WithinTheLast():
            return _within_the_last(node.bound, of(node.operand))
        case OnlyWhen():
            return tuple(
                int(not left or bool(right)) for left, right in zip(of(node.left), of(node.right), strict=True)
            )
        case Never():
            return tuple(int(not value) for value in of(node.operand))
        case LeadsTo():
            return _leads_to(node, of)
        case NeverGlitches():
            return tuple(int(events.may_glitch.isdisjoint(node.signal.nets)) for events in run.events)
        case Settles():
            return tuple(int(not (events.raced or events.oscillated)) for events in run.events)
        case _:
            return _present(node, of, run)


def _present(node: Formula, of: ValuesOf, run: Run) -> Values:
    """Words whose value at an instant hangs on that instant alone."""
    if not isinstance(node, _PRESENT):
        raise ValueError(f"a finite run of the settled view does not decide {type(node).__name__}")
    if isinstance(node, Literal):
        return (node.value,) * len(run)
    if isinstance(node, Signal):
        return tuple(_number([instant[net] for net in node.nets]) for instant in run.instants)
    operands = [of(child) for child in node.children]
    mask = (1 << node.width) - 1
    return tuple(_combined(node, [values[i] for values in operands]) & mask for i in range(len(run)))


def _number(bits: Sequence[bool]) -> int:
    return sum(1 << position for position, bit in enumerate(bits) if bit)


def _combined(node: Formula, operands: Sequence[int]) -> int:
    """The node's function of its operands; bits above the node's width are to be dropped."""
    if isinstance(node, Apply):
        return _applied(node.operator, operands, node.width)
    if isinstance(node, Select):
        condition, when_high, when_low = operands
        return when_high if condition else when_low
    if isinstance(node, Compare):
        return int(_compared(node.comparison, *operands))
    if isinstance(node, Add):
        return operands[0] + operands[1]
    if isinstance(node, Subtract):
        return operands[0] - operands[1]
    if isinstance(node, Slice):
        return operands[0] >> node.low
    if isinstance(node, Join):
        return reduce(lambda high, part: high << part[0].width | part[1], zip(node.parts, operands, strict=True), 0)
    raise ValueError(f"no function for {type(node).__name__}")


def _applied(operator: Operator, operands: Sequence[int], width: int) -> int:
    """Bit by bit; bits above the width are to be dropped."""
    if operator is Operator.NOT:
        return ~operands[0]
    if operator is Operator.IMPLIES:
        return ~operands[0] | operands[1]
    if operator in (Operator.AND, Operator.NAND):
        combined = reduce(lambda left, right: left & right, operands)
    elif operator in (Operator.OR, Operator.NOR):
        combined = reduce(lambda left, right: left | right, operands)
    elif operator in (Operator.XOR, Operator.XNOR):
        combined = reduce(lambda left, right: left ^ right, operands)
    elif operator is Operator.MAJORITY:
        ones = [sum(operand >> bit & 1 for operand in operands) for bit in range(width)]
        combined = _number([2 * count > len(operands) for count in ones])
    else:
        raise ValueError(f"no meaning for the operator {operator}")
    return ~combined if operator in (Operator.NAND, Operator.NOR, Operator.XNOR) else combined


def _compared(comparison: Comparison, left: int, right: int) -> bool:
    return {
        Comparison.EQUAL: left == right,
        Comparison.DIFFERENT: left != right,
        Comparison.LESS: left < right,
        Comparison.LESS_OR_EQUAL: left <= right,
        Comparison.GREATER: left > right,
        Comparison.GREATER_OR_EQUAL: left >= right,
    }[comparison]


def _before(values: Values) -> Values:
    return tuple(values[max(i - 1, 0)] for i in range(len(values)))


def _step(node: Step, values: Values) -> Values:
    pairs = list(zip(_before(values), values, strict=True))
    if node.word is StepWord.CHANGES:
        return tuple(int(old != new) for old, new in pairs)
    if node.word is StepWord.STEADY:
        return tuple(int(old == new) for old, new in pairs)
    wanted = (0, 1) if node.word is StepWord.RISES else (1, 0)
    return tuple(int(pair == wanted) for pair in pairs)


def _once(held: Values) -> Values:
    return tuple(int(any(held[j] for j in range(i + 1))) for i in range(len(held)))


def _since(left: Values, right: Values) -> Values:
    def holds(i: int) -> bool:
        # The latest j with `right` leaves the fewest k to ask about, so it decides for all of them.
        j = _last(right, i)
        return j is not None and all(left[k] for k in range(j + 1, i + 1))

    return tuple(int(holds(i)) for i in range(len(left)))


def _at_the_last(operand: Values, trigger: Values) -> Values:
    latest = [_last(trigger, i) for i in range(len(trigger))]
    return tuple(0 if j is None else operand[j] for j in latest)


def _last(values: Values, i: int) -> int | None:
    """The greatest j <= i at which the values are not 0."""
    return next((j for j in range(i, -1, -1) if values[j]), None)


def _within_the_last(bound: Bound, held: Values) -> Values:
    if bound.unit is not Unit.STEPS:
        raise ValueError(f"a finite run of the settled view does not count {bound.unit.value} back")
    steps = amount_of(bound)
    return tuple(int(any(held[j] for j in range(max(i - steps, 0), i + 1))) for i in range(len(held)))


def _leads_to(node: LeadsTo, of: ValuesOf) -> Values:
    if node.bound is None:
        raise ValueError("a finite run does not decide a `leads to` without a bound")
    trigger, goal = of(node.left), of(node.right)
    counted = None if node.bound.of is None else of(node.bound.of)
    broken: set[int] = set()
    for i in range(len(trigger)):
        if trigger[i]:
            deadline = _deadline(node.bound, i, counted, len(trigger))
            if deadline is not None and not any(goal[j] for j in range(i, deadline + 1)):
                broken.add(deadline)
    return tuple(int(i not in broken) for i in range(len(trigger)))


def _deadline(bound: Bound, i: int, counted: Values | None, length: int) -> int | None:
    """The last instant at which the goal of a trigger at `i` counts; None when it lies beyond the run."""
    amount = amount_of(bound)
    if bound.unit is Unit.STEPS:
        return i + amount if i + amount < length else None
    if counted is None or bound.unit not in (Unit.RISES, Unit.FALLS):
        raise ValueError(f"a finite run of the settled view does not count {bound.unit.value}")
    wanted = (0, 1) if bound.unit is Unit.RISES else (1, 0)
    edges = [j for j in range(i + 1, length) if (counted[j - 1], counted[j]) == wanted]
    reached = [i, *edges]
    return reached[amount] if amount < len(reached) else None


def amount_of(bound: Bound) -> int:
    """The number of the bound; ValueError when it is still asked for."""
    if not isinstance(bound.amount, int):
        raise ValueError("the number asked for must be found before the claim means anything")
    return bound.amount
