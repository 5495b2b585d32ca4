"""A smaller invariant that still proves the claim: clauses and literals are left out one by one.

(I1) to (I3) of `verifier.logic.transition_system.Invariant` hold of every set of clauses that is kept. First what the
claim does not need goes: the clauses in the core of its check, those in the cores of their steps, and so on. Then one
clause after another is left out, with those that no longer follow, and one literal after another, as long as the claim
still follows. None can be left out in the end. (As inductive invariants are trimmed: Ivrii, Gurfinkel, Belov, "Small
inductive safe invariants", 2014; from memory.)

The result is to be judged again like any other (`evidence/certificate.py`): nothing here is believed.
"""

from __future__ import annotations

import time
from collections.abc import Collection, Iterable
from dataclasses import dataclass

from verifier.logic.session import Answer, LoadedGraph, NoAnswerError, Session, SessionLiteral
from verifier.logic.transition_system import Clause, Invariant, TransitionSystem

Clauses = frozenset[Clause]


@dataclass(frozen=True)
class Slim:
    invariant: Invariant
    minimal: bool
    """False: the time ran out before every clause and literal had been tried."""


def slim_invariant(system: TransitionSystem, invariant: Invariant, deadline: float | None) -> Slim:
    """Pre: the invariant proves that the system is never bad. Post: so does the slim one."""
    slimming = _Slimming(system, deadline)
    best = frozenset(tuple(sorted(clause)) for clause in invariant.clauses)
    try:
        for smaller in slimming.smaller_and_smaller(best):
            best = smaller
    except NoAnswerError:
        return Slim(_ordered(best), minimal=False)
    return Slim(_ordered(best), minimal=True)


def _ordered(clauses: Clauses) -> Invariant:
    return Invariant(tuple(sorted(clauses, key=lambda clause: (len(clause), clause))))


class _Slimming:
    def __init__(self, system: TransitionSystem, deadline: float | None) -> None:
        self._deadline = deadline
        self._session = Session()
        self._loaded = LoadedGraph(self._session, system.graph)
        self._next = {register.variable: register.next for register in system.registers}
        self._bad = self._loaded.literal(system.bad)
        self._switches: dict[Clause, SessionLiteral] = {}
        """Demands a clause now."""
        self._clause_of: dict[SessionLiteral, Clause] = {}
        self._breaches: dict[Clause, SessionLiteral] = {}
        """Demands that a clause is 0 in the next frame."""
        for constraint in system.constraints:
            self._session.add_clause([self._loaded.literal(constraint)])

    def smaller_and_smaller(self, clauses: Clauses) -> Iterable[Clauses]:
        kept = self._needed(clauses)
        yield kept
        while True:
            before = kept
            for clause in sorted(kept, key=lambda one: (-len(one), one)):
                if clause in kept:
                    kept = self._without(kept, clause)
                    yield kept
            for clause in sorted(kept, key=lambda one: (-len(one), one)):
                kept = self._shortened(kept, clause)
                yield kept
            if kept == before:
                return

    def _needed(self, clauses: Clauses) -> Clauses:
        """Clauses that prove the claim and each other, found by cores."""
        kept: set[Clause] = set()
        pending = [*self._core(clauses, self._bad)]
        while pending:
            clause = pending.pop()
            if clause not in kept:
                kept.add(clause)
                pending.extend(self._core(clauses, self._breach(clause)))
        return frozenset(kept)

    def _core(self, clauses: Clauses, demand: SessionLiteral) -> Clauses:
        if self._check(clauses, demand) is Answer.SATISFIABLE:
            raise ValueError("this is no invariant that proves the claim")
        return frozenset(self._clause_of[one] for one in self._session.core() if one in self._clause_of)

    def _without(self, kept: Clauses, clause: Clause) -> Clauses:
        """The clauses without this one and all that no longer follows, if the claim still does."""
        fewer = set(kept - {clause})
        falls = True
        while falls:
            if self._check(fewer, self._bad) is Answer.SATISFIABLE:
                return kept
            falls = False
            for other in sorted(fewer):
                if self._check(fewer, self._breach(other)) is Answer.SATISFIABLE:
                    fewer.discard(other)
                    falls = True
        return frozenset(fewer)

    def _shortened(self, kept: Clauses, clause: Clause) -> Clauses:
        """The clause without as many literals as possible. A shorter clause says more, so the others still follow."""
        for literal in clause:
            shorter = tuple(other for other in clause if other != literal)
            if not any(other & 1 for other in shorter):
                continue  # it would be 0 at the start, where all registers are 0
            with_shorter = kept - {clause} | {shorter}
            if self._check(with_shorter, self._breach(shorter)) is Answer.UNSATISFIABLE:
                kept, clause = with_shorter, shorter
        return kept

    def _check(self, clauses: Collection[Clause], demand: SessionLiteral) -> Answer:
        if self._deadline is not None and time.monotonic() > self._deadline:
            raise NoAnswerError("the time ran out")
        return self._session.check([demand, *map(self._switch, sorted(clauses))], self._deadline)

    def _switch(self, clause: Clause) -> SessionLiteral:
        switch = self._switches.get(clause)
        if switch is None:
            switch = self._switches[clause] = self._session.variable()
            self._clause_of[switch] = clause
            self._session.add_clause([switch ^ 1, *map(self._loaded.literal, clause)])
        return switch

    def _breach(self, clause: Clause) -> SessionLiteral:
        breach = self._breaches.get(clause)
        if breach is None:
            breach = self._breaches[clause] = self._session.variable()
            for literal in clause:
                following = self._loaded.literal(self._next[literal & ~1] ^ (literal & 1))
                self._session.add_clause([breach ^ 1, following ^ 1])
        return breach
