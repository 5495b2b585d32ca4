"""Asking the delay oracle about circuits that are written down as wiring text."""

from __future__ import annotations

from oracle_delays.comparison import judged_claims
from oracle_delays.whole_ns import Answer, Behaviour
from verifier.circuit.netlist import Netlist
from verifier.claims.claim import View
from verifier.language import loads


def wired(*lines: str, family: str = "") -> str:
    """A file with one circuit, `carillon`, and a family `foundry` if lines for it are given."""
    head = [f"family foundry\n    {family}\n", "circuit carillon", "    delays from foundry"] if family else []
    return "\n".join([*(head or ["circuit carillon"]), *(f"    {line}" for line in lines)]) + "\n"


def answers(text: str) -> dict[str, Answer]:
    """The answers on all claims of delay views, figures among them, by name."""
    (design,) = loads(text, "hand_worked.wiring").designs
    behaviours: dict[View, Behaviour] = {}
    found: dict[str, Answer] = {}
    for claim in judged_claims(design):
        behaviour = behaviours.setdefault(claim.view, Behaviour(design.netlist, claim.view))
        found[claim.name] = behaviour.answer(claim)
    return found


def verdicts(text: str) -> dict[str, str]:
    return {name: answer.verdict for name, answer in answers(text).items()}


def numbers(text: str) -> dict[str, int | None]:
    return {name: answer.number for name, answer in answers(text).items()}


def netlist(text: str) -> Netlist:
    return loads(text, "hand_worked.wiring").designs[0].netlist


def settles(text: str) -> bool:
    """In the any-delay view."""
    return Behaviour(netlist(text), View.ANY_DELAY).settles()
