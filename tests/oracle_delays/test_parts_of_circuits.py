"""What is proved of a part of a circuit, the rest free to do anything, against brute force on the whole."""

from __future__ import annotations

from collections import Counter
from random import Random

import pytest

from oracle_delays.comparison import Expected, expected, key
from verifier.claims.asked_number import asked_bound
from verifier.claims.claim import Claim, ClaimKind
from verifier.claims.trigger import watched
from verifier.engines.delay_reachability import DelayedUnreachable, decide_delayed
from verifier.evidence.closure import recheck_states
from verifier.language import loads
from verifier.views.delay_cut import everything_behind, nets_asked_about
from verifier.views.delayed import DelayedModel

SEEDS = range(0, 40)
CHUNK = 8
PARTS_OF_A_CLAIM = 3
FAILS = {"broken", "shown"}


def claims_without_numbers(wanted: Expected) -> list[Claim]:
    """Those with an answer, and with no number to look for."""
    return [claim for claim in wanted.claims if key(claim) in wanted.answers and asked_bound(claim.formula) is None]


def random_part(random: Random, model: DelayedModel, claim: Claim) -> frozenset[int]:
    """Some of the elements that the claim may depend on."""
    asked = nets_asked_about(model.design.netlist, [watched(claim)])
    everything = everything_behind(model.design.netlist, asked)
    share = random.random()
    return frozenset(net for net in everything if net in asked or random.random() < share)


@pytest.mark.parametrize("first_seed", range(SEEDS.start, SEEDS.stop, CHUNK))
def test_what_is_proved_of_a_part_holds_in_the_whole(first_seed: int) -> None:
    for seed in range(first_seed, first_seed + CHUNK):
        random = Random(seed)
        wanted = expected(random)
        model = DelayedModel(wanted.design, timed=True)
        for claim in claims_without_numbers(wanted):
            for _ in range(PARTS_OF_A_CLAIM):
                kept = random_part(random, model, claim)
                part = model.part_system(claim, kept)
                found = decide_delayed(part.system, limit_seconds=20.0)
                if isinstance(found, DelayedUnreachable):
                    recheck_states(part.system, found.states, limit_seconds=20.0)
                    assert wanted.answers[key(claim)].verdict not in FAILS, (
                        f"seed {seed}, {claim.name} of {sorted(kept)}:\n{wanted.text}"
                    )


def test_parts_prove_some_claims_and_leave_others_open() -> None:
    verdicts = set()
    seen: Counter[str] = Counter()
    for seed in range(12):
        random = Random(seed)
        wanted = expected(random)
        model = DelayedModel(wanted.design, timed=True)
        for claim in claims_without_numbers(wanted):
            kept = random_part(random, model, claim)
            part = model.part_system(claim, kept)
            found = decide_delayed(part.system, limit_seconds=20.0)
            verdicts.add(wanted.answers[key(claim)].verdict)
            smaller = "smaller" if len(kept) < len(wanted.design.netlist.drivers) else "whole"
            seen[f"{smaller} {isinstance(found, DelayedUnreachable)}"] += 1
    assert seen["smaller True"] >= 5
    assert seen["smaller False"] >= 5
    assert verdicts >= {"broken", "proved"}


UNSTABLE_AT_FIRST = """
circuit bell_pair
    input lift
    output struck
    struck = nor(lift, damped) takes 2..3 ns start 1
    damped = nor(lift, struck) takes 2..3 ns start 1
    must stays_up: not struck falls
"""


def test_a_loop_that_is_cut_may_start_where_the_whole_loop_may() -> None:
    """Both gates are given 1 and neither stands there: alone, `struck` would have to stand at its function."""
    (design,) = loads(UNSTABLE_AT_FIRST, "bell_pair.wiring").designs
    claim = next(claim for claim in design.claims if claim.kind is ClaimKind.MUST)
    part = DelayedModel(design, timed=True).part_system(claim, frozenset(design.netlist.signals["struck"]))
    (struck,) = design.netlist.signals["struck"]
    (damped,) = design.netlist.signals["damped"]
    assert part.freed == (damped,)
    place = len(part.system.sources)
    assert part.system.elements[0].bit.name == "struck"
    found = decide_delayed(part.system, limit_seconds=20.0)
    assert not isinstance(found, DelayedUnreachable)
    assert found.instants[0].values[place]
    assert struck != damped
