"""The proofs of a whole report in words: each invariant made small, judged again, and told in nets of the circuit.

A result holds the system that its invariant is about, but not the model that knows which variable is which net. The
model is built once more; only where its graph is the beginning of the system's, node by node, are there words.
"""

from __future__ import annotations

import time
from collections.abc import Iterable
from dataclasses import replace

from verifier.claims.claim import Design, View
from verifier.claims.support import restricts
from verifier.evidence.certificate import recheck
from verifier.evidence.replay import Unconfirmed
from verifier.evidence.verdict import ClaimResult, DesignResult
from verifier.logic.bit_graph import BitGraph
from verifier.report.page.content import ClaimKey, Proof
from verifier.views.settled import SettledModel
from verifier.workbench.counted_rounds import counted_rounds
from verifier.workbench.invariant_words import invariant_in_words
from verifier.workbench.slim_invariant import slim_invariant

ROUNDS = (
    "A run that goes against it would have to go through one round after another for ever, where a round is over when "
    "everything that such a run owes has come once. None gets through {}."
)
SECONDS_FOR_ONE = 3.0
NOT_IN_TIME = "The invariant was not put into words: the time for the page ran out. `explain` does it for one claim."
NOT_TOLD = "What the proof rests on could not be put into words here; `explain` may do it."


def proofs_in_words(results: Iterable[DesignResult], deadline: float) -> dict[ClaimKey, Proof]:
    """For every claim of the settled view that has an invariant; after the deadline, that words are missing."""
    found: dict[ClaimKey, Proof] = {}
    for result in results:
        for judged in result.claims:
            if judged.invariant is None or judged.certified is None or judged.claim.view is not View.SETTLED:
                continue
            key = (result.design.file, result.design.name, judged.claim.name)
            late = time.monotonic() > deadline
            found[key] = Proof(notes=(NOT_IN_TIME,)) if late else _proof(result.design, judged, deadline)
    return found


def _proof(design: Design, judged: ClaimResult, deadline: float) -> Proof:
    system, invariant = judged.certified, judged.invariant
    if system is None or invariant is None:
        raise ValueError(f"{judged.claim.name} has no invariant")
    givens = tuple(given for given in design.givens if restricts(given, View.SETTLED))
    model = SettledModel(replace(design, givens=givens))
    model.system(judged.claim)
    if not _is_beginning(model.graph, system.graph):
        return Proof(notes=(NOT_TOLD,))
    slim = slim_invariant(system, invariant, min(deadline, time.monotonic() + SECONDS_FOR_ONE))
    try:
        recheck(system, slim.invariant)
    except Unconfirmed:
        return Proof(notes=(NOT_TOLD,))
    words = invariant_in_words(model, system, slim.invariant, judged.claim)
    notes = []
    rounds = counted_rounds(system)
    if rounds is not None:
        notes.append(ROUNDS.format(rounds.number))
    if words.hidden:
        notes.append("Clauses about the proof's own bookkeeping are left out here.")
    return Proof(sentences=words.sentences, notes=tuple(notes), alone=not slim.invariant.clauses)


def _is_beginning(graph: BitGraph, of: BitGraph) -> bool:
    length = len(graph)
    same_names = all(of.names.get(node) == name for node, name in graph.names.items())
    return same_names and graph.lefts == of.lefts[:length] and graph.rights == of.rights[:length]
