"""From an expression in a claim to a formula whose widths are checked."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NoReturn

from lark import Token

from verifier.claims import formula as f
from verifier.claims.formula import Bound, Formula, Operator
from verifier.errors import Span
from verifier.language.complaints import (
    check_slice,
    fitting_number,
    report_bit,
    report_unknown,
    report_unknown_call,
    report_width,
    text_of,
)
from verifier.language.findings import Findings, quoted
from verifier.language.reading import Reader
from verifier.language.scopes import Scope
from verifier.language.syntax import Branch, run_operands
from verifier.language.widths import call_arguments, find_symbol, first_width, join_width, natural_width

SIZE_LIMIT = 20_000
"""Nodes in one formula, its `let` names written out."""

DEPTH_LIMIT = 300
"""Levels of one formula, its `let` names written out."""

_OPERATORS = {operator.value: operator for operator in Operator}
_CALLS = ("and", "or", "xor", "nand", "nor", "xnor", "majority")
_COMPARISONS = {comparison.value: comparison for comparison in f.Comparison}
_STEP_WORDS = {word.value: word for word in f.StepWord}
_UNITS = {unit.value: unit for unit in f.Unit}
_FUTURE_PREFIXES = {
    "next": f.Next,
    "always": f.Always,
    "eventually": f.Eventually,
    "once": f.Once,
    "again_and_again": f.AgainAndAgain,
}


class _RefusedError(Exception):
    """The formula cannot be made; a finding says why."""


@dataclass(frozen=True)
class Size:
    nodes: int
    depth: int


class FormulaWriter:
    """Makes the formulas of one contract or circuit. `lets` holds the names defined so far and grows by `define`."""

    def __init__(self, scope: Scope, lets: Mapping[str, Formula], findings: Findings) -> None:
        self._scope = scope
        self._lets = dict(lets)
        self._findings = findings
        self._reader = Reader(scope.block, findings)
        # How large each formula of `_lets` is: written out in full, they may grow without bound.
        self._sizes = {name: measure(formula) for name, formula in lets.items()}
        self._room = SIZE_LIMIT
        self._lost: set[str] = set()

    @property
    def lets(self) -> Mapping[str, Formula]:
        return self._lets

    def define(self, name: str, formula: Formula) -> None:
        """Makes `name` stand for the formula in what is made from now on."""
        self._lets[name] = formula
        self._sizes[name] = measure(formula)

    def lose(self, name: str) -> None:
        """Makes `name` stand for something that findings say is wrong; formulas that use it are refused silently."""
        self._lost.add(name)

    def claim(self, tree: Branch) -> Formula | None:
        """The formula of a claim; None when a finding says why there is none."""
        return self._try(tree, 1)

    def value(self, tree: Branch) -> Formula | None:
        """The formula of a `let`, as wide as it is."""
        return self._try(tree, self._natural(tree) or self._number_width(tree))

    def _try(self, tree: Branch, width: int) -> Formula | None:
        self._room = SIZE_LIMIT
        try:
            formula = self._pattern(tree, width)
        except _RefusedError:
            if not self._findings.error_count:
                raise RuntimeError("a formula was refused without a finding") from None
            return None
        if measure(formula).depth > DEPTH_LIMIT:
            message = f"with its `let` names written out, this is nested deeper than {DEPTH_LIMIT} levels"
            self._findings.error("too-deep", message, self._span(tree))
            return None
        return formula

    # Patterns

    def _pattern(self, tree: Branch, width: int) -> Formula:
        span = self._span(tree)
        if tree.rule == "only_when":
            left, right = (self._bit(branch) for branch in tree.branches)
            return f.OnlyWhen(left=left, right=right, span=span)
        if tree.rule == "never":
            return f.Never(operand=self._bit(tree.branch(0)), span=span)
        if tree.rule == "leads_to":
            left, right = self._bit(tree.branch(0)), self._bit(tree.branch(1))
            bound = self._bound(tree.branch(2)) if len(tree.branches) > 2 else None
            return f.LeadsTo(left=left, right=right, bound=bound, span=span)
        if tree.rule == "never_glitches":
            return f.NeverGlitches(signal=self._signal(tree.branch(0)), span=span)
        if tree.rule == "pulses_last":
            return self._pulses(tree, span)
        return self._formula(tree, width)

    def _pulses(self, tree: Branch, span: Span) -> Formula:
        level = tree.find("level")
        pulses = f.Pulses.BOTH if level is None else f.Pulses(f"{level.token(0)} pulses")
        signal = self._signal(tree.branches[-1])
        if signal.width != 1:
            self._refuse("width-mismatch", "pulses are those of one bit", tree.branches[-1], "choose a bit: `name[0]`")
        amount = self._amount(tree.tokens[0])
        return f.PulsesLast(signal=signal, pulses=pulses, at_least=Bound(amount, f.Unit.NANOSECONDS), span=span)

    def _signal(self, tree: Branch) -> f.Signal:
        while tree.rule == "group":
            tree = tree.branch(0)
        formula = self._formula(tree, self._natural(tree) or 1)
        if isinstance(formula, f.Signal):
            return formula
        if isinstance(formula, f.Slice) and isinstance(formula.operand, f.Signal):
            nets = formula.operand.nets[formula.low : formula.high + 1]
            return f.Signal(name=text_of(tree), nets=nets, width=len(nets), span=formula.span)
        hint = "give it a net of its own in the circuit"
        return self._refuse("not-a-net", "a net is needed here, not an expression", tree, hint)

    def _bound(self, tree: Branch) -> Bound:
        amount = self._amount(tree.tokens[0])
        unit = _UNITS[str(tree.tokens[1])]
        if tree.rule == "for_steps":
            return Bound(amount, unit)
        if amount == 0:
            self._refuse("bad-number", f"the number of {unit.value} is at least 1", tree.tokens[0])
        return Bound(amount, unit, self._bit(tree.branches[0]))

    def _amount(self, token: Token) -> int | f.Tightest:
        amount = self._reader.amount(token)
        if amount is None:
            raise _RefusedError
        return amount

    # Formulas

    def _bit(self, tree: Branch) -> Formula:
        return self._formula(tree, 1)

    def _formula(self, tree: Branch, width: int) -> Formula:
        """The formula of a tree, which must have that width."""
        self._take_room(1, tree)
        rule, span = tree.rule, self._span(tree)
        if rule == "group":
            return self._formula(tree.branch(0), width)
        if rule == "number":
            return f.Literal(value=self._number(tree, width), width=width, span=span)
        own = self._natural(tree)
        if own is not None and own != width:
            report_width(tree, own, width, self._scope, self._findings)
            raise _RefusedError
        if rule in ("reference", "member"):
            return self._reference(tree, span)
        if rule == "call":
            return self._call(tree, width, span)
        if rule in ("index", "slice"):
            return self._slice(tree, span)
        if rule == "not":
            return self._apply(Operator.NOT, tree.branches, width, span)
        if rule in ("and", "or", "xor"):
            return self._apply(_OPERATORS[rule], run_operands(tree), width, span)
        if rule == "implies":
            return self._apply(Operator.IMPLIES, tree.branches, 1, span)
        if rule == "if":
            condition = self._bit(tree.branch(0))
            high, low = (self._formula(branch, width) for branch in tree.branches[1:])
            return f.Select(condition=condition, when_high=high, when_low=low, width=width, span=span)
        return self._word(tree, width, span)

    def _word(self, tree: Branch, width: int, span: Span) -> Formula:
        rule = tree.rule
        if rule == "compare":
            return self._compare(tree, span)
        if rule in ("add", "subtract"):
            left, right = (self._formula(branch, width) for branch in tree.branches)
            make = f.Add if rule == "add" else f.Subtract
            return make(left=left, right=right, width=width, span=span)
        if rule == "before":
            return f.Before(operand=self._formula(tree.branch(0), width), width=width, span=span)
        if rule == "step":
            return self._step(tree, span)
        if rule in ("since", "until"):
            left, right = (self._bit(branch) for branch in tree.branches)
            return (f.Since if rule == "since" else f.Until)(left=left, right=right, span=span)
        if rule == "at_the_last":
            operand, trigger = self._formula(tree.branch(0), width), self._bit(tree.branch(1))
            return f.AtTheLast(operand=operand, trigger=trigger, width=width, span=span)
        if rule == "within_the_last":
            amount, unit = self._amount(tree.tokens[1]), _UNITS[str(tree.tokens[2])]
            return f.WithinTheLast(operand=self._bit(tree.branch(0)), bound=Bound(amount, unit), span=span)
        if rule in _FUTURE_PREFIXES:
            return _FUTURE_PREFIXES[rule](operand=self._bit(tree.branch(0)), span=span)
        raise ValueError(f"no formula is made from {rule}")

    def _reference(self, tree: Branch, span: Span) -> Formula:
        name = text_of(tree)
        let = self._lets.get(name) if tree.rule == "reference" else None
        if let is not None:
            self._take_room(self._sizes[name].nodes, tree)
            return let
        if name in self._lost:
            raise _RefusedError
        symbol = find_symbol(self._scope, tree)
        if symbol is None:
            report_unknown(tree, self._scope, tuple(self._lets), self._findings)
            raise _RefusedError
        if not symbol.nets:
            raise _RefusedError
        return f.Signal(name=name, nets=symbol.nets, width=len(symbol.nets), span=span)

    def _call(self, tree: Branch, width: int, span: Span) -> Formula:
        callee = str(tree.token(0))
        arguments = call_arguments(tree)
        if callee == "join" and arguments:
            widths = [join_width(argument, self._scope, self._lets, self._findings) for argument in arguments]
            parts = tuple(
                self._formula(argument, part) for argument, part in zip(arguments, widths, strict=True) if part
            )
            if len(parts) != len(arguments):
                raise _RefusedError
            return f.Join(parts=parts, width=sum(part.width for part in parts), span=span)
        if callee not in _CALLS:
            report_unknown_call(tree, [*_CALLS, "join"], self._scope, self._findings)
            raise _RefusedError
        if not arguments or (callee == "majority" and len(arguments) % 2 == 0):
            number = "an odd number of inputs" if callee == "majority" else "at least one input"
            self._refuse("wrong-pin-count", f"{quoted(callee)} takes {number}, not {len(arguments)}", tree)
        return self._apply(_OPERATORS[callee], arguments, width, span)

    def _apply(self, operator: Operator, trees: list[Branch], width: int, span: Span) -> Formula:
        operands = tuple(self._formula(tree, width) for tree in trees)
        return f.Apply(operator=operator, operands=operands, width=width, span=span)

    def _slice(self, tree: Branch, span: Span) -> Formula:
        base = tree.branch(0)
        if base.rule == "number":
            self._refuse("not-a-bus", "a number has no bits to choose from", base)
        operand = self._formula(base, self._natural(base) or 1)
        positions = [self._reader.number(token) for token in tree.tokens]
        if None in positions:
            raise _RefusedError
        high, low = positions[0] or 0, positions[-1] or 0
        if tree.rule == "index" and high >= operand.width:
            report_bit(tree, tree.token(1), operand.width, self._scope, self._findings)
            raise _RefusedError
        if not check_slice(tree, high, low, operand.width, self._scope, self._findings):
            raise _RefusedError
        return f.Slice(operand=operand, high=high, low=low, width=high - low + 1, span=span)

    def _compare(self, tree: Branch, span: Span) -> Formula:
        width = first_width(tree.branches, self._scope, self._lets)
        width = width or max(self._number_width(branch) for branch in tree.branches)
        left, right = (self._formula(branch, width) for branch in tree.branches)
        return f.Compare(comparison=_COMPARISONS[str(tree.token(1))], left=left, right=right, span=span)

    def _step(self, tree: Branch, span: Span) -> Formula:
        word = _STEP_WORDS[str(tree.token(1))]
        width = self._natural(tree.branch(0)) or 1
        if width != 1 and word in (f.StepWord.RISES, f.StepWord.FALLS):
            hint = "choose a bit: `name[0]`; a bus `changes`"
            self._refuse("width-mismatch", f"`{word.value}` is said of one bit, not of {width}", tree, hint)
        return f.Step(word=word, operand=self._formula(tree.branch(0), width), span=span)

    # Numbers, widths and limits

    def _number(self, tree: Branch, width: int) -> int:
        value = fitting_number(tree.token(0), width, self._scope, self._findings)
        if value is None:
            raise _RefusedError
        return value

    def _number_width(self, tree: Branch) -> int:
        """The bits that a bare number needs; 1 for anything else."""
        while tree.rule == "group":
            tree = tree.branch(0)
        if tree.rule != "number":
            return 1
        return max(1, (self._reader.number(tree.token(0)) or 0).bit_length())

    def _natural(self, tree: Branch) -> int | None:
        return natural_width(tree, self._scope, self._lets)

    def _take_room(self, nodes: int, tree: Branch) -> None:
        self._room -= nodes
        if self._room < 0:
            message = f"with its `let` names written out, this claim has more than {SIZE_LIMIT} pieces"
            self._refuse("too-large", message, tree, "make it several claims")

    def _refuse(self, code: str, message: str, piece: Branch | Token, hint: str = "") -> NoReturn:
        self._findings.error(code, message, self._span(piece), hint)
        raise _RefusedError

    def _span(self, piece: Branch | Token) -> Span:
        return self._scope.block.place(piece)


def measure(formula: Formula) -> Size:
    """How many nodes and levels a formula has, names written out."""
    nodes = depth = 0
    pending = [(formula, 1)]
    while pending:
        node, level = pending.pop()
        nodes += 1
        depth = max(depth, level)
        pending.extend((child, level + 1) for child in node.children)
    return Size(nodes, depth)
