"""Limits, interruption, progress, and what a counterexample looks like when it has a choice."""

from __future__ import annotations

import signal
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import pytest

from engines.explicit import replayed
from engines.forcing import nothing_is_small_enough
from engines.machines import counter, equals, factors_of, machine, register_bits, shift_register
from verifier.engines import explicit_states
from verifier.engines.bounded_search import search
from verifier.engines.chooser import Chooser
from verifier.engines.decision import Reached, Undecided, Unreachable
from verifier.engines.endless import Contradictory, Endless, permitted_forever
from verifier.engines.explicit_search import search_endless_explicitly, search_explicitly
from verifier.engines.property_directed import prove
from verifier.logic.bit_graph import FALSE, TRUE, BitGraph
from verifier.logic.endless import CountingSystem

# 2^61 - 1 is prime (a Mersenne prime, from memory): no factors to be found, and a search without end in sight.
A_LARGE_PRIME = 2**61 - 1


@pytest.mark.parametrize("ask", [Chooser().decide, prove, lambda s, limit_seconds: search(s, 9, limit_seconds)])
def test_the_limit_holds_even_inside_one_hard_query(ask) -> None:  # type: ignore[no-untyped-def]
    system = factors_of(A_LARGE_PRIME, 32)
    started = time.monotonic()
    decision = ask(system, limit_seconds=0.7)
    assert time.monotonic() - started < 0.7 + 1.0  # half a second, and as much again for a busy machine
    assert isinstance(decision, Undecided)


def test_an_undecided_answer_says_how_long_and_how_far_it_looked() -> None:
    decision = Chooser().decide(counter(24, top=2**24 - 1, bad=2**23, enable=True), limit_seconds=0.5)
    assert isinstance(decision, Undecided)
    assert decision.searched_to > 4
    assert decision.reason == (f"no answer within 0.5 s; no counterexample in the first {decision.searched_to} steps")


def test_a_counterexample_deeper_than_the_depth_is_not_given() -> None:
    decision = Chooser().decide(shift_register(6), limit_seconds=30, depth=6)
    assert isinstance(decision, Undecided)
    assert decision.searched_to == 6
    assert "no counterexample in the first 6 steps" in decision.reason


def test_a_question_about_endless_runs_is_not_taken_for_one_about_bad_frames() -> None:
    with pytest.raises(ValueError, match="endless run"):
        Chooser().decide(replace(shift_register(3), fairness=()), limit_seconds=30)


def test_a_counterexample_of_exactly_the_depth_is_given() -> None:
    decision = Chooser().decide(shift_register(6), limit_seconds=30, depth=7)
    assert isinstance(decision, Reached)


def test_a_proof_needs_no_depth() -> None:
    decision = Chooser().decide(counter(3, top=5, bad=7, enable=True), limit_seconds=30, depth=0)
    assert isinstance(decision, Unreachable)


def test_a_chooser_is_as_good_as_new_after_it_ran_out_of_time() -> None:
    chooser = Chooser()
    system = counter(24, top=2**24 - 1, bad=2**23, enable=True)
    assert isinstance(chooser.decide(system, limit_seconds=0.3), Undecided)
    easier = replace(system, bad=system.registers[1].variable)
    decision = chooser.decide(easier, limit_seconds=30)
    assert isinstance(decision, Reached)
    assert len(decision.counterexample) == 3


def test_what_was_proved_under_constraints_is_not_believed_without_them() -> None:
    """An enable that is held low keeps the counter at 0; let go, it counts."""
    chooser = Chooser()
    free = counter(3, top=5, bad=4, enable=True)
    held = replace(free, constraints=(free.inputs[0] ^ 1,))
    for _ in range(2):
        assert isinstance(chooser.decide(held, limit_seconds=30), Unreachable)
        decision = chooser.decide(free, limit_seconds=30)
        assert isinstance(decision, Reached)
        assert len(decision.counterexample) == 5


def test_a_register_that_is_built_differently_is_another_circuit() -> None:
    chooser = Chooser()
    first = shift_register(3)
    stuck = replace(first, registers=(*first.registers[:2], replace(first.registers[2], next=FALSE)))
    for _ in range(2):
        assert isinstance(chooser.decide(stuck, limit_seconds=30), Unreachable)
        assert isinstance(chooser.decide(first, limit_seconds=30), Reached)


def test_what_the_progress_callback_raises_ends_the_search_and_the_chooser_stays_usable() -> None:
    chooser = Chooser()
    seen: list[int] = []

    def stop(frames: int) -> None:
        seen.append(frames)
        raise KeyboardInterrupt

    system = counter(20, top=9, bad=15)
    with nothing_is_small_enough():
        with pytest.raises(KeyboardInterrupt):
            chooser.decide(system, limit_seconds=30, progress=stop)
        assert seen
        assert isinstance(chooser.decide(system, limit_seconds=30), Unreachable)


@pytest.mark.skipif(sys.platform == "win32", reason="sends a POSIX signal")
def test_ctrl_c_during_a_hard_query_comes_through_as_keyboard_interrupt_soon() -> None:
    program = (
        "import sys; sys.path.insert(0, sys.argv[1])\n"
        "from engines.machines import factors_of\n"
        "from verifier.engines.chooser import Chooser\n"
        "system = factors_of(2**61 - 1, 32)\n"
        "print('started', flush=True)\n"
        "try:\n"
        "    Chooser().decide(system, limit_seconds=60)\n"
        "except KeyboardInterrupt:\n"
        "    print('interrupted', flush=True)\n"
    )
    tests = Path(__file__).resolve().parent.parent
    with subprocess.Popen([sys.executable, "-c", program, str(tests)], stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "started\n"
        time.sleep(1.5)  # by now it is inside the one query that never ends
        process.send_signal(signal.SIGINT)
        sent = time.monotonic()
        try:
            assert process.stdout.readline() == "interrupted\n"
            assert time.monotonic() - sent < 1.5
        finally:
            process.kill()


def test_preferences_are_kept_in_order_as_far_as_they_can_be() -> None:
    """Bad when the levers differ in frame 2. Wanted first: lever 1 is low; then: the levers are both high."""
    graph = BitGraph()
    frames = register_bits(graph, "frame", 2)
    first, second = graph.variable("lever 1"), graph.variable("lever 2")
    bad = graph.conjunction(frames[1], graph.exclusive_or(first, second))
    system = replace(
        machine(graph, frames, [TRUE, frames[0]], bad, inputs=[first, second]),
        preferences=(first ^ 1, graph.conjunction(first, second), second),
    )
    decision = Chooser().decide(system, limit_seconds=30)
    assert isinstance(decision, Reached)
    levers = [(values[first], values[second]) for values in replayed(system, decision.counterexample)]
    assert levers == [(False, True)] * 3


def test_without_preferences_inputs_stay_low_where_they_may() -> None:
    system = shift_register(5)
    decision = Chooser().decide(system, limit_seconds=30)
    assert isinstance(decision, Reached)
    assert [list(inputs.values()) for inputs in decision.counterexample.frames] == [[True], *[[False]] * 5]


def test_a_counterexample_is_the_same_whatever_was_decided_before() -> None:
    first = shift_register(5)
    chooser = Chooser()
    for bit in range(4):
        chooser.decide(replace(first, bad=first.registers[bit].variable), limit_seconds=30)
    after_others, alone = chooser.decide(first, limit_seconds=30), Chooser().decide(first, limit_seconds=30)
    assert after_others == alone


def test_constraints_that_run_out_are_contradictory() -> None:
    graph = BitGraph()
    count = register_bits(graph, "stroke", 3)
    after = [count[0] ^ 1, *count[:2]]
    system = machine(graph, count, after, FALSE, constraints=[graph.all_of(count) ^ 1])
    # 000, 100, 010, 101, 010, ...: never all ones. With the feedback broken: 000, 100, 110, then 111 is forbidden.
    assert isinstance(permitted_forever(system, 30), Endless)
    broken = machine(graph, count, [TRUE, *count[:2]], FALSE, constraints=[graph.all_of(count) ^ 1])
    assert permitted_forever(broken, 30) == Contradictory(3)


def test_constraints_that_forbid_frame_0_permit_no_frame() -> None:
    graph = BitGraph()
    lever = graph.variable("lever")
    system = machine(graph, [], [], FALSE, inputs=[lever], constraints=[lever, lever ^ 1])
    assert permitted_forever(system, 30) == Contradictory(0)


def test_a_period_beyond_the_depth_is_undecided() -> None:
    """A 5-bit Johnson counter has a period of 10; the constraint looks at all its bits and always holds."""
    graph = BitGraph()
    bits = register_bits(graph, "step", 5)
    not_0101 = equals(graph, bits, 0b00101) ^ 1
    system = machine(graph, bits, [bits[-1] ^ 1, *bits[:-1]], FALSE, constraints=[not_0101])
    assert isinstance(permitted_forever(system, 30, depth=9), Undecided)
    permission = permitted_forever(system, 30, depth=10)
    assert isinstance(permission, Endless)
    assert (len(permission.run), permission.loop_from) == (10, 0)


@pytest.mark.parametrize("fairness", [None, 2])
def test_walking_through_states_keeps_to_its_turn_and_to_the_limit(fairness: int | None) -> None:
    """As many inputs as fit, and hundreds of ways on from every state."""
    graph = BitGraph()
    bits = register_bits(graph, "bell", 16)
    levers = [graph.variable(f"lever {i}") for i in range(explicit_states.MOST_INPUTS)]
    after = [
        graph.select(levers[i % 12], bits[i - 1], graph.exclusive_or(bits[i - 3], levers[i - 5])) for i in range(16)
    ]
    system = machine(graph, bits, after, graph.all_of(bits), inputs=levers)
    started = time.monotonic()
    if fairness is None:
        search_explicitly(system, started + 0.1)
    else:
        endless = replace(system, fairness=(bits[3], graph.conjunction(bits[0], bits[7] ^ 1)))
        search_endless_explicitly(endless, CountingSystem(endless), started + 0.1)
    assert time.monotonic() - started < 0.1 + 0.5
