"""The claims and givens of one contract or circuit, in the order of writing, and its `let` names, in any order."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from graphlib import CycleError, TopologicalSorter

from lark import Token

from verifier.claims import formula as f
from verifier.claims.claim import Claim, ClaimKind, Given, View
from verifier.claims.formula import Formula
from verifier.errors import Span
from verifier.language.findings import Findings, quoted
from verifier.language.formulas import FormulaWriter
from verifier.language.reading import RESERVED, NameTable
from verifier.language.scopes import Scope
from verifier.language.syntax import Block, Branch, walk_branches

_NAME_AT = {"let": 0, "given": 0, "claim": 1}
"""Where its name stands among the children of a statement."""

_VIEWS = {"any": View.ANY_DELAY, "settled": View.SETTLED, "timed": View.TIMED}


@dataclass(frozen=True)
class ClaimSet:
    """What one block claims, or a contract and a circuit together."""

    claims: tuple[Claim, ...] = ()
    givens: tuple[Given, ...] = ()
    lets: Mapping[str, Formula] = field(default_factory=dict)
    refused: frozenset[str] = frozenset()
    """Names that were to be claims; findings say what is wrong with them."""

    @property
    def names(self) -> list[str]:
        claims = [claim.name for claim in self.claims]
        return [*claims, *(given.name for given in self.givens), *self.lets]


def read_claims(scope: Scope, outer: ClaimSet, findings: Findings) -> ClaimSet:
    """The claims of the scope's block, added to those of its contract."""
    _report_shadows(scope, outer, findings)
    reader = _ClaimReader(scope, outer, findings)
    reader.take_all(scope.block.statements)
    named = {claim.name for claim in reader.claims} | {given.name for given in reader.givens}
    return ClaimSet(tuple(reader.claims), tuple(reader.givens), reader.lets, frozenset(reader.tried - named))


class _ClaimReader:
    def __init__(self, scope: Scope, outer: ClaimSet, findings: Findings) -> None:
        self._scope = scope
        self._block: Block = scope.block
        self._findings = findings
        self._writer = FormulaWriter(scope, outer.lets, findings)
        self.claims = list(outer.claims)
        self.givens = list(outer.givens)
        # Names that are taken: by nets, and by claims, givens and lets.
        self._names = NameTable([*scope.symbols, *outer.names])
        # The names of all claims and givens, those included that are refused.
        self.tried = set(outer.refused)

    @property
    def lets(self) -> Mapping[str, Formula]:
        return self._writer.lets

    def take_all(self, statements: Iterable[Branch]) -> None:
        """All names first; then each `let` before what uses it."""
        stated = [statement for statement in statements if statement.rule in _NAME_AT]
        free = [self._take_name(statement) for statement in stated]
        lets = {str(s.token(0)): s for s, is_free in zip(stated, free, strict=True) if s.rule == "let" and is_free}
        for name in self._in_order_of_use(lets):
            self._define(name, self._writer.value(lets[name].branch(1)))
        for statement, is_free in zip(stated, free, strict=True):
            if statement.rule == "given":
                self._take_given(statement, is_free)
            elif statement.rule == "claim":
                self._take_claim(statement, is_free)
            elif not is_free:
                self._take_nameless_let(statement)

    def _take_name(self, statement: Branch) -> bool:
        """Whether the name is free; it is taken from now on."""
        name = statement.token(_NAME_AT[statement.rule])
        free = self._is_free(name)
        if free:
            self._names.add(str(name))
        return free

    def _define(self, name: str, formula: Formula | None) -> None:
        if formula is None:
            self._writer.lose(name)
        else:
            self._writer.define(name, formula)

    def _take_nameless_let(self, statement: Branch) -> None:
        """A `let` whose name is taken: its formula may have mistakes of its own."""
        name = str(statement.token(0))
        self._writer.value(statement.branch(1))
        if name not in self._scope.symbols and name not in self.lets:
            self._writer.lose(name)

    def _in_order_of_use(self, lets: Mapping[str, Branch]) -> list[str]:
        """The names, each after those its formula uses. Those that are made of themselves are reported and lost."""
        uses = {name: _references(statement.branch(1)) & lets.keys() for name, statement in lets.items()}
        while not self._findings.full:
            try:
                return list(TopologicalSorter(uses).static_order())
            except CycleError as found:
                cycle = list(dict.fromkeys(found.args[1]))
                self._report_circle(sorted(cycle, key=list(lets).index), lets)
                uses = {name: used - set(cycle) for name, used in uses.items() if name not in cycle}
        return []

    def _report_circle(self, names: Sequence[str], lets: Mapping[str, Branch]) -> None:
        for name in names:
            self._writer.lose(name)
        message = f"the `let` {quoted(names[0])} is made of itself"
        if len(names) > 1:
            message += ", by way of " + ", ".join(quoted(name) for name in names[1:4]) + (" ..." if names[4:] else "")
        hint = "a `let` is a short name for its formula; write out in one of them what is meant"
        self._findings.error("recursive-let", message, self._span(lets[names[0]].token(0)), hint)

    def _take_given(self, statement: Branch, free: bool) -> None:
        name, tree = statement.token(0), statement.branch(1)
        self.tried.add(str(name))
        formula = self._writer.claim(tree)
        if free and formula is not None:
            text = folded_text(tree, self._block)
            self.givens.append(Given(name=str(name), formula=formula, text=text, span=self._span(statement)))

    def _take_claim(self, statement: Branch, free: bool) -> None:
        kind = ClaimKind(str(statement.token(0)))
        name, tree = statement.token(1), statement.branches[-1]
        self.tried.add(str(name))
        formula = self._writer.claim(tree)
        if not free or formula is None:
            return
        if kind is ClaimKind.CAN and isinstance(formula, f.PATTERNS):
            hint = "say what can happen, without `only when`, `never`, `leads to`"
            message = "`can` takes a plain formula, not a pattern"
            self._findings.error("can-pattern", message, self._span(tree), hint)
            return
        view = self._view(statement, formula)
        if view is None:
            return
        text, span = folded_text(tree, self._block), self._span(statement)
        self.claims.append(Claim(name=str(name), kind=kind, formula=formula, text=text, view=view, span=span))

    def _view(self, statement: Branch, formula: Formula) -> View | None:
        """The view a claim names; one that speaks of ns is a timed one."""
        tree = statement.find("view")
        timed = mentions_nanoseconds(formula)
        if tree is None:
            return View.TIMED if timed else View.SETTLED
        view = _VIEWS[str(tree.token(0))]
        if timed and view is not View.TIMED:
            message = f"this claim speaks of ns, which the {view.value} view does not know"
            self._findings.error("wrong-view", message, self._span(tree), "write `in timed view`, or nothing")
            return None
        return view

    def _is_free(self, name: Token) -> bool:
        span = self._span(name)
        if name in RESERVED:
            message = f"{quoted(name)} is a word of the language and cannot be a name"
            self._findings.error("keyword-as-name", message, span, "choose another name")
            return False
        return not self._names.is_taken(str(name), span, self._findings)

    def _span(self, piece: Branch | Token) -> Span:
        return self._block.place(piece)


def _report_shadows(scope: Scope, outer: ClaimSet, findings: Findings) -> None:
    """Reports nets of a circuit that are called like something in its contract."""
    for name in outer.names:
        if name in scope.symbols:
            message = f"the contract has something called {quoted(name)} already"
            findings.error("name-taken", message, scope.symbols[name].span, "choose another name")


def _references(tree: Branch) -> set[str]:
    return {str(branch.token(0)) for branch in walk_branches(tree) if branch.rule == "reference"}


def mentions_nanoseconds(formula: Formula) -> bool:
    for node in f.walk(formula):
        if isinstance(node, f.PulsesLast):
            return True
        bound = node.bound if isinstance(node, f.LeadsTo | f.WithinTheLast) else None
        if bound is not None and bound.unit is f.Unit.NANOSECONDS:
            return True
    return False


def folded_text(tree: Branch, block: Block) -> str:
    """The source of a piece of syntax on one line, without comments and with single spaces."""
    span = block.place(tree)
    lines = block.source.lines[span.line - 1 : span.end_line]
    lines[-1] = lines[-1][: span.end_column - 1]
    lines[0] = lines[0][span.column - 1 :]
    return " ".join(" ".join(line.split("#")[0] for line in lines).split())
