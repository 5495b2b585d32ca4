"""The second opinion on a proof: an invariant written as an SMT-LIB 2.6 script that stands alone, and a fresh solver's
word on it.

The text is made from the transition system and the clauses alone; no term, name or solver of the engines is used, and
the solver reads the very text that a user can save and give to any other. It has three checks, each of which must
answer `unsat`:

    start  all registers 0, and some clause 0
    step   all clauses and constraints 1 in one frame, and some clause 0 in the next
    claim  all clauses and constraints 1 in a frame, and the bad bit 1 in it

Registers have names that are the same whenever the system is built in the same way, so that a saved invariant can be
read back (`certificate_reading.py`). It does not find invariants, and it does not judge whether the transition system
says what the circuit does.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

from verifier.errors import InternalDisagreement
from verifier.evidence.replay import Unconfirmed
from verifier.logic.bit_graph import VARIABLE, Literal
from verifier.logic.session import judge_script
from verifier.logic.transition_system import Invariant, TransitionSystem

CHECKS = ("start", "step", "claim")


def recheck(system: TransitionSystem, invariant: Invariant, limit_seconds: float = 10.0) -> None:
    """Returns when a fresh solver agrees with all three checks.

    Raises:
        InternalDisagreement: a check failed; the message names the first one.
        Unconfirmed: a check was not answered within the limit.
    """
    failed = failed_check(system, invariant, limit_seconds)
    if failed is not None:
        raise InternalDisagreement(f"a fresh solver does not agree with the proof: its check {failed}")


def failed_check(system: TransitionSystem, invariant: Invariant, limit_seconds: float = 10.0) -> str | None:
    """The first of the three checks that a fresh solver does not answer with `unsat`, and its answer; None if all are.

    Raises Unconfirmed when one was not answered within the limit.
    """
    answers = judge_script(certificate_text(system, invariant), limit_seconds)
    for check, answer in zip(CHECKS, answers, strict=False):
        if answer == "unknown":
            raise Unconfirmed(f"the fresh solver had no answer to the proof's check `{check}` in time")
        if answer != "unsat":
            return f"`{check}` is {answer}"
    if len(answers) != len(CHECKS):
        raise InternalDisagreement(f"a fresh solver gave {len(answers)} answers to {len(CHECKS)} checks")
    return None


def certificate_text(system: TransitionSystem, invariant: Invariant, header: Sequence[str] = ()) -> str:
    """The script; any solver that reads SMT-LIB 2.6 answers `unsat` three times when the invariant proves the claim.

    The lines of the header become comments.
    """
    comments = [f"; {comment_text(text)}" for text in header]
    return "\n".join([*comments, *_Script(system, invariant).lines()]) + "\n"


def comment_text(text: str) -> str:
    """The text on one line, with nothing but printable ASCII."""
    return "".join(character if " " <= character <= "~" else ascii(character)[1:-1] for character in text)


def register_symbols(system: TransitionSystem) -> dict[Literal, str]:
    """Variable of each register to its symbol in a certificate, without the quotes. No two are the same.

    A register keeps its name, as far as a quoted symbol can hold it; the second of one name is `name (2)`, and so on,
    in the order of the registers.
    """
    unique = _Unique()
    return {r.variable: unique.symbol(system.graph.names[r.variable >> 1]) for r in system.registers}


class _Script:
    def __init__(self, system: TransitionSystem, invariant: Invariant) -> None:
        if system.fairness is not None:
            raise InternalDisagreement("an invariant alone says nothing about endless runs")
        self._system = system
        self._clauses = invariant.clauses
        self._next = {register.variable: register.next for register in system.registers}
        clause_variables = dict.fromkeys(literal & ~1 for clause in invariant.clauses for literal in clause)
        for variable in clause_variables:
            if variable not in self._next:
                raise InternalDisagreement(f"an invariant speaks of variable {variable}, which is no register")
        steps = [self._next[variable] for variable in clause_variables]
        nodes = system.graph.cone([system.bad, *system.constraints, *steps, *clause_variables])
        self._names = _names(system, nodes)
        self._nodes = nodes

    def lines(self) -> Iterable[str]:
        yield "; An inductive invariant of a transition system. All registers are false in the first frame."
        yield "; Each of the three checks must answer unsat."
        yield "(set-logic QF_UF)"
        yield from self._declarations()
        yield f"(define-fun permitted () Bool {_all(map(self._text, self._system.constraints))})"
        yield f"(define-fun bad () Bool {self._text(self._system.bad)})"
        yield f"(define-fun invariant () Bool {_all(map(self._clause_now, self._clauses))})"
        yield f"(define-fun invariant-next () Bool {_all(map(self._clause_next, self._clauses))})"
        zeros = [
            f"(not {self._names[r.variable >> 1]})" for r in self._system.registers if r.variable >> 1 in self._names
        ]
        yield from _check("start", [*zeros, "(not invariant)"])
        yield from _check("step", ["invariant", "permitted", "(not invariant-next)"])
        yield from _check("claim", ["invariant", "permitted", "bad"])

    def _declarations(self) -> Iterable[str]:
        graph = self._system.graph
        for node in self._nodes:
            left = graph.lefts[node]
            if left != VARIABLE:
                right = graph.rights[node]
                yield f"(define-fun {self._names[node]} () Bool (and {self._text(left)} {self._text(right)}))"
            elif node:
                yield f"(declare-fun {self._names[node]} () Bool)"

    def _text(self, literal: Literal) -> str:
        if literal <= 1:
            return "true" if literal else "false"
        name = self._names[literal >> 1]
        return f"(not {name})" if literal & 1 else name

    def _clause_now(self, clause: Sequence[Literal]) -> str:
        return _any(self._text(literal) for literal in clause)

    def _clause_next(self, clause: Sequence[Literal]) -> str:
        return _any(self._text(self._next[literal & ~1] ^ (literal & 1)) for literal in clause)


def _check(name: str, assertions: Sequence[str]) -> Iterable[str]:
    yield f"; {name}"
    yield "(push 1)"
    for assertion in assertions:
        yield f"(assert {assertion})"
    yield "(check-sat)"
    yield "(pop 1)"


def _all(texts: Iterable[str]) -> str:
    joined = " ".join(texts)
    return f"(and true {joined})" if joined else "true"


def _any(texts: Iterable[str]) -> str:
    joined = " ".join(texts)
    return f"(or false {joined})" if joined else "false"


_CORE_SYMBOLS = ("true", "false", "not", "and", "or", "xor", "ite", "distinct", "=", "=>", "Bool")
_RESERVED = frozenset((*_CORE_SYMBOLS, "permitted", "bad", "invariant", "invariant-next"))
"""Symbols that mean something in the script. In SMT-LIB `|and|` and `and` are the same symbol."""


class _Unique:
    """Gives out symbols, each once."""

    def __init__(self) -> None:
        self._taken = set(_RESERVED)
        self._met: Counter[str] = Counter()

    def symbol(self, name: str) -> str:
        base = "".join(map(_quotable, name))
        symbol = base
        while symbol in self._taken:
            self._met[base] += 1
            symbol = f"{base} ({self._met[base] + 1})"
        self._taken.add(symbol)
        return symbol


def _names(system: TransitionSystem, nodes: Sequence[int]) -> dict[int, str]:
    """A symbol for each node, no two the same. Those of registers hang on nothing else; gates are `~1`, `~2`, ..."""
    graph, unique = system.graph, _Unique()
    names = {r.variable >> 1: f"|{unique.symbol(graph.names[r.variable >> 1])}|" for r in system.registers}
    gates = 0
    for node in nodes:
        if graph.lefts[node] != VARIABLE:
            gates += 1
            names[node] = f"~{gates}"
        elif node and node not in names:
            names[node] = f"|{unique.symbol(graph.names[node])}|"
    return {node: names[node] for node in nodes if node}


def _quotable(character: str) -> str:
    return character if " " <= character <= "}" and character not in "|\\" else "_"
