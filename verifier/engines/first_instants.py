"""Whether a delay system has any first instant at all."""

from __future__ import annotations

from verifier.logic.delay_system import DelaySystem
from verifier.logic.session import Answer, LoadedGraph, Session


def has_first_instant(system: DelaySystem) -> bool:
    """One that is possible and permitted."""
    session = Session()
    loaded = LoadedGraph(session, system.graph)
    for condition in (system.first, system.permitted_at_first):
        session.add_clause([loaded.literal(condition)])
    return session.check([]) is Answer.SATISFIABLE
