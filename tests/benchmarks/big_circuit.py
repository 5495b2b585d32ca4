"""A generated circuit of 1,000 flip-flops and 10,000 gates: how long reading, building and a bounded search take.

A process of its own, so that the peak of memory is its own too: `python tests/benchmarks/big_circuit.py`. The claim
holds (two flip-flops take the same function from different gates), so that the search has to go to its full depth.
"""

from __future__ import annotations

import random
import resource
import time

from verifier.engines.bounded_search import search
from verifier.engines.decision import Undecided
from verifier.language import loads
from verifier.views.settled import SettledModel

FLIP_FLOPS = 1_000
GATES = 10_000
DEPTH = 21
"""Instants: twenty steps."""
SEARCH_LIMIT_SECONDS = 120.0
RECENT = 400
"""Gates read inputs, flip-flops and so many of the gates just before them: cones are deep and wide."""


def big_text(flip_flops: int = FLIP_FLOPS, gates: int = GATES, seed: int = 1) -> str:
    """Random gates of two inputs, flip-flops that sample the last of them, and the pair the claim is about."""
    choices = random.Random(seed)
    inputs = ["lever", "choose", *(f"roll[{k}]" for k in range(16))]
    stored = [f"q{k}" for k in range(flip_flops - 2)]
    made: list[str] = []
    lines = [
        "circuit big_sequencer",
        "    input tempo free running",
        "    input lever, choose by hand",
        "    input roll[16]",
        "    output same",
    ]
    for k in range(gates - 6):
        sources = made[-RECENT:] if made and choices.random() < 0.7 else [*inputs, *stored]
        left, right = choices.choice(sources), choices.choice([*inputs, *stored, *made[-RECENT:]])
        kind = choices.choice(("and", "or", "nand", "nor", "xor", "xnor"))
        lines.append(f"    g{k} = {kind}({left}, {right})")
        made.append(f"g{k}")
    ends = made[-2 * flip_flops :]
    for name in stored:
        lines.append(f"    {name} = flipflop({choices.choice(ends)}) on rise of tempo start {choices.choice('01')}")
    left, right = made[-1], made[-2]
    lines += [
        f"    twin_a = flipflop(xor({left}, {right})) on rise of tempo start 0",
        f"    both_not = nand({left}, {right})",
        f"    twin_b = flipflop(nand(nand({left}, both_not), nand({right}, both_not))) on rise of tempo start 0",
        "    same = xnor(twin_a, twin_b)",
        "    must twins_agree: same",
    ]
    return "\n".join(lines) + "\n"


def main() -> None:
    text = big_text()
    begin = time.perf_counter(), time.process_time()
    (design,) = loads(text, "big_sequencer.wiring").designs
    read = time.perf_counter(), time.process_time()
    system = SettledModel(design).system(design.claims[0])
    built = time.perf_counter(), time.process_time()
    peak_built = _peak_mib()
    decision = search(system, DEPTH, SEARCH_LIMIT_SECONDS)
    done = time.perf_counter(), time.process_time()
    netlist = design.netlist
    print(f"{len(netlist.flip_flops)} flip-flops, {len(netlist.gates)} gates; {len(text) // 1024} KiB of text;")
    print(f"{len(system.registers)} registers and {len(system.graph)} nodes in the system of the claim.")
    print()
    print("| part | processor seconds | wall seconds | peak MiB | goal |")
    print("|---|---|---|---|---|")
    print(_row("reading", begin, read, peak_built, ""))
    print(_row("building", read, built, peak_built, "reading and building: 5 s, 500 MiB"))
    reached = decision.searched_to if isinstance(decision, Undecided) else "a counterexample, which is wrong"
    print(_row(f"bounded search, came to {reached}", built, done, _peak_mib(), "20 steps in 30 s"))


def _row(what: str, since: tuple[float, float], until: tuple[float, float], peak: float, goal: str) -> str:
    return f"| {what} | {until[1] - since[1]:.2f} | {until[0] - since[0]:.2f} | {peak:.0f} | {goal} |"


def _peak_mib() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


if __name__ == "__main__":
    main()
