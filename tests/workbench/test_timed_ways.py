"""Circuits of the timed view that have too many states to look at all of them."""

from __future__ import annotations

from verifier.claims.asked_number import with_amount
from verifier.claims.claim import Claim, Design, View
from verifier.engines.delay_reachability import DelayedUnreachable
from verifier.engines.delay_sampling import Samples
from verifier.evidence.closure import recheck_states
from verifier.evidence.delay_replay import replay_delayed
from verifier.evidence.verdict import Verdict
from verifier.language import loads
from verifier.views.delayed import DelayedModel
from verifier.workbench.checking import check
from verifier.workbench.timed_ways import FIRST_HORIZON, Parts

LONG_SECONDS = 120.0
"""No test waits for it on an idle machine."""


def row_of_buffers(buffers: int) -> Design:
    """Three inputs, a latch of cross-coupled NANDs, and behind it a row in which every gate multiplies the states."""
    row = [f"    beat{i} = beat{i - 1} takes 1..3 ns" for i in range(1, buffers)]
    text = f"""
circuit bell_row
    input tempo free running high 20..25 ns, low 20..25 ns
    input lever, choose by hand apart 60 ns
    output beat
    set_n    = nand(choose, tempo) takes 1..3 ns
    reset_n  = nand(lever, tempo) takes 1..3 ns
    held     = nand(set_n, held_off) takes 1..3 ns
    held_off = nand(reset_n, held) takes 1..3 ns
    beat0    = nand(held, tempo) takes 1..3 ns
{chr(10).join(row)}
    beat = beat{buffers - 1} takes 1..3 ns
    must full: pulses of beat last at least ? ns
"""
    (design,) = loads(text, "row.wiring").designs
    return design


def timed_claim(design: Design) -> Claim:
    return next(claim for claim in design.claims if claim.view is View.TIMED)


def test_one_gate_of_twenty_is_enough_for_a_proof_that_the_others_cannot_spoil() -> None:
    design = row_of_buffers(15)
    assert len(design.netlist.drivers) == 20
    parts = Parts(DelayedModel(design, timed=True), with_amount(timed_claim(design), 1), None)
    found = parts.go_on(LONG_SECONDS)
    assert found is not None
    part, proof = found
    assert parts.told == "1 of 20 elements looked at, the rest free"
    assert proof.states.count < 100
    recheck_states(part.system, proof.states, limit_seconds=LONG_SECONDS)


def test_samples_find_a_short_pulse_behind_twenty_gates() -> None:
    design = row_of_buffers(15)
    claim = with_amount(timed_claim(design), 2)
    model = DelayedModel(design, timed=True)
    found = Samples(model.system(claim), horizon=FIRST_HORIZON).go_on(LONG_SECONDS)
    assert found is not None
    times = tuple(instant.at for instant in found.instants)
    run = replay_delayed(design, model.instants_of(found.instants), times, claim, timed=True)
    assert run.times == times


SLOW_CLOCK = """
circuit slow_bell
    input  tempo free running high 500000..600000 ns, low 500000..600000 ns
    input  lever by hand apart 1000000 ns
    output beat
    n    = not tempo takes 3..15 ns
    beat = n and lever takes 4..20 ns
    must whole: pulses of beat last at least 4 ns
"""


def test_how_long_a_slow_clock_stands_is_not_counted() -> None:
    """Half a million ns to count are far more states than there is time for."""

    (result,) = check(loads(SLOW_CLOCK, "slow.wiring"), claim="whole", limit=LONG_SECONDS).designs[0].claims
    assert result.verdict is Verdict.PROVED
    assert result.states is not None
    assert result.states < 500_000
    assert "the rest free" in result.engine


def test_a_part_has_as_much_patience_as_its_claim_counts() -> None:
    """High for 500 ns is what the input promises; the gate takes off 11 of them at the most."""
    text = """
circuit slow_bell
    input  tempo free running high 500..600 ns, low 500..600 ns
    output beat
    beat = tempo takes 4..15 ns
    must whole: pulses of beat last at least {} ns
"""
    verdicts = []
    for amount in (489, 490):
        (design,) = loads(text.format(amount), "slow.wiring").designs
        found = Parts(DelayedModel(design, timed=True), timed_claim(design), None).go_on(LONG_SECONDS)
        verdicts.append(found is not None and isinstance(found[1], DelayedUnreachable))
    assert verdicts == [True, False]
