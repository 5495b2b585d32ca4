"""How fast states are found in time: nine gates that hold the choice of a pulse source until both sources agree.

    agree    = xnor(tempo, lever)           set_n    = nand(asked, agree)        asked = choose, delayed
    on_tempo = nand(set_n, on_lever)        reset_n  = nand(set_n, agree)
    on_lever = nand(reset_n, on_tempo)      beat     = nand(nand(tempo, on_tempo), nand(lever, on_lever))

Run from `tests`: `python -m benchmarks.delay_engine [low high]`, delays in ns, 2 and 5 if nothing is said. The question
is for the greatest N such that pulses of `beat` last at least N ns. Seconds are of processor time; memory is how much
the process grew since it began to search, at its peak. POSIX only.
"""

from __future__ import annotations

import resource
import sys
import time

from verifier.engines.delay_reachability import DelayedReached, DelayedUnreachable, decide_delayed
from verifier.logic.bit_graph import FALSE, BitGraph
from verifier.logic.delay_system import (
    Bit,
    Delay,
    DelayedElement,
    DelaySystem,
    Reading,
    SourceMove,
    Timer,
)

LIMIT_SECONDS = 120.0


def nine_gates(low: int, high: int, least_pulse: int) -> DelaySystem:
    """Bad: `beat` changes less than `least_pulse` ns after it changed last. Delays are in ns."""
    graph = BitGraph()

    def bit(name: str) -> Bit:
        return Bit(name, graph.variable(f"before {name}"), graph.variable(name))

    tempo, lever, choose = bit("tempo"), bit("lever"), bit("choose")
    names = ("asked", "agree", "set_n", "reset_n", "on_tempo", "on_lever", "a", "b", "beat")
    gates = {name: bit(name) for name in names}
    now = {name: gate.now for name, gate in gates.items()}

    def nand(left: int, right: int) -> int:
        return graph.conjunction(left, right) ^ 1

    targets = {
        "asked": choose.now,
        "agree": graph.equivalence(tempo.now, lever.now),
        "set_n": nand(now["asked"], now["agree"]),
        "reset_n": nand(now["set_n"], now["agree"]),
        "on_tempo": nand(now["set_n"], now["on_lever"]),
        "on_lever": nand(now["reset_n"], now["on_tempo"]),
        "a": nand(tempo.now, now["on_tempo"]),
        "b": nand(lever.now, now["on_lever"]),
        "beat": nand(now["a"], now["b"]),
    }
    delay = Delay(low, high)
    elements = tuple(DelayedElement(bit=gates[n], target=targets[n], rise=delay, fall=delay) for n in names)

    def changes(of: Bit) -> int:
        return graph.exclusive_or(of.before, of.now)

    tempo_free, tempo_due = Reading(30, graph.variable("tempo 30")), Reading(40, graph.variable("tempo 40"))
    hand_free = Reading(100, graph.variable("hand 100"))
    long_enough = Reading(least_pulse, graph.variable("beat stood"))
    timers = (
        Timer(name="tempo", most=40, reset=changes(tempo), start=30, readings=(tempo_free, tempo_due)),
        Timer(
            name="hand",
            most=100,
            reset=graph.disjunction(changes(lever), changes(choose)),
            start=100,
            readings=(hand_free,),
        ),
        Timer(name="beat", most=least_pulse, reset=changes(gates["beat"]), start=least_pulse, readings=(long_enough,)),
    )
    steady = graph.all_of(graph.equivalence(now[name], targets[name]) for name in names)
    return DelaySystem(
        graph=graph,
        timed=True,
        sources=(tempo, lever, choose),
        elements=elements,
        followers=(),
        timers=timers,
        moves=(
            SourceMove(bits=(tempo,), enabled=tempo_free.variable),
            SourceMove(bits=(lever,), enabled=hand_free.variable),
            SourceMove(bits=(choose,), enabled=hand_free.variable),
        ),
        first=steady,
        bad_at_first=FALSE,
        bad=graph.conjunction(changes(gates["beat"]), long_enough.variable ^ 1),
        holds_time=tempo_due.variable,
    )


def peak_bytes() -> int:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024


def main() -> None:
    low, high = (int(word) for word in sys.argv[1:3]) if len(sys.argv) > 2 else (2, 5)
    least_pulse, peak_before = 0, peak_bytes()
    print(f"delays {low}..{high} ns")
    while True:
        least_pulse += 1
        system = nine_gates(low, high, least_pulse)
        started = time.process_time()
        decision = decide_delayed(system, limit_seconds=LIMIT_SECONDS, memory_bytes=4 << 30)
        seconds = time.process_time() - started
        head = f"pulses of {least_pulse} ns"
        if isinstance(decision, DelayedReached):
            run = decision.instants
            print(f"{head}: broken in {seconds:.2f} s, a run of {len(run)} instants and {run[-1].at} ns")
            break
        if not isinstance(decision, DelayedUnreachable):
            print(f"{head}: undecided in {seconds:.2f} s, {decision.reason}")
            break
        count = decision.states.count
        print(
            f"{head}: proved, {count:,} states in {seconds:.2f} s, {count / seconds:,.0f} states/s,"
            f" {(peak_bytes() - peak_before) / count:.0f} bytes/state"
        )


if __name__ == "__main__":
    main()
