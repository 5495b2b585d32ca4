"""Hands the settled semantics of a design to the page: the bit graph of one step, without what it does not need."""

from __future__ import annotations

from verifier.claims.claim import Design
from verifier.logic.bit_graph import Literal
from verifier.report.page.machine import Machine
from verifier.views.hand_played import HandPlayed, hand_played

LARGEST = 60_000
"""Conjunctions that a page may carry for one circuit: about 0.8 MB."""


def machine_of(design: Design) -> Machine | None:
    """The machine behind the switches of this design; None when it would be too large for a page."""
    played = hand_played(design)
    graph = played.graph
    variables = [
        *(register.variable for register in played.registers),
        *played.switches.values(),
        *_choices_used(played),
    ]
    number = {0: 0} | {variable >> 1: place for place, variable in enumerate(variables, 1)}
    conjunctions: list[int] = []
    for node in graph.cone(_roots(played)):
        if node not in number:
            number[node] = len(number)
            operands = graph.lefts[node], graph.rights[node]
            conjunctions += [_renumbered(operand, number) for operand in operands]
    if len(conjunctions) > 2 * LARGEST:
        return None

    def of(literal: Literal) -> int:
        return _renumbered(literal, number)

    return Machine(
        registers=len(played.registers),
        switches=tuple(played.switches),
        choices=len(variables) - len(played.registers) - len(played.switches),
        conjunctions=tuple(conjunctions),
        now=tuple(map(of, played.now)),
        next=tuple(of(register.next) for register in played.registers),
        raced=of(played.raced),
        oscillated=of(played.oscillated),
        possible=of(played.possible),
        claims={name: of(literal) for name, literal in played.claims.items()},
        givens={name: of(literal) for name, literal in played.givens.items()},
        approximate=played.approximate,
    )


def _renumbered(literal: Literal, number: dict[int, int]) -> int:
    return 2 * number[literal >> 1] + (literal & 1)


def _roots(played: HandPlayed) -> list[Literal]:
    return [
        *played.now,
        *(register.next for register in played.registers),
        played.raced,
        played.oscillated,
        played.possible,
        *played.claims.values(),
        *played.givens.values(),
    ]


def _choices_used(played: HandPlayed) -> list[Literal]:
    used = set(played.graph.cone(_roots(played)))
    return [choice for choice in played.choices if choice >> 1 in used]
