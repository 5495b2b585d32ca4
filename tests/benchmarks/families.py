"""Scalable circuits as wiring text: each family is a function from a size to the text of a file.

Every circuit's `breaks` list says which of its claims are expected to fail, so that an answer can be checked
against what the family was built to do, not only against the other engines. Nothing here decides or measures.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from benchmarks.multipliers import multipliers


@dataclass(frozen=True, kw_only=True)
class Family:
    name: str
    what: str
    """One line for the report."""
    text: Callable[[int], str]
    sizes: tuple[int, ...]
    """The ladder of sizes that the benchmark climbs."""
    smallest: int
    """The size the smoke test uses."""
    compares: tuple[str, str] | None = None
    """Two circuits of the text whose equality is the question, in place of claims."""


def _lines(*lines: str) -> str:
    return "\n".join(lines) + "\n"


def switcher(sources: int) -> str:
    """One of n pulse sources gets through; each has a register that waits until all the others have let go."""
    width = max(1, (sources - 1).bit_length())
    names = [f"source_{k}" for k in range(sources)]

    def others(k: int) -> str:
        return ", ".join(f"runs[{j}]" for j in range(sources) if j != k)

    registers = [
        f"    runs[{k}] = flipflop((choose == {k}) and nor({others(k)})) on fall of source_{k} start 0"
        for k in range(sources)
    ]
    gates = [f"    through_{k} = source_{k} and runs[{k}]" for k in range(sources)]
    pins = [f"    input {name} free running" for name in names]
    changes = " or ".join(f"{name} changes" for name in names)
    last = sources - 1
    return _lines(
        "circuit switcher breaks choice_is_at_once",
        *pins,
        f"    input choose[{width}] by hand",
        "    output beat",
        f"    net runs[{sources}]",
        *registers,
        *gates,
        f"    beat = {' or '.join(f'through_{k}' for k in range(sources))}",
        "    must one_at_a_time: (runs and (runs - 1)) == 0",
        f"    must no_false_edge: beat changes only when {changes}",
        f"    must choice_is_at_once: (choose == {last} and source_{last} falls) only when runs[{last}]",
        f"    must choice_is_heard: (choose == {last}) for good leads to runs[{last}]",
        f"    can  last_one_runs: beat and runs[{last}]",
    )


def arbiter(players: int) -> str:
    """Round robin: the search for the next hammer begins behind the one that struck last.

    The chain of passes goes round twice, so that it is no loop.
    """
    chain = ["    pass[0] = 0", f"    net pass[{2 * players + 1}]", f"    net found[{2 * players}]"]
    for place in range(2 * players):
        who = place % players
        here = f"(token[{who}] or pass[{place}])" if place < players else f"pass[{place}]"
        chain.append(f"    found[{place}] = ask[{who}] and {here}")
        chain.append(f"    pass[{place + 1}] = {here} and not ask[{who}]")
    chain += [f"    grant[{k}] = found[{k}] or (found[{k + players}] and not token[{k}])" for k in range(players)]
    last = players - 1
    rotated = f"join(grant[{last - 1}..0], grant[{last}])"
    return _lines(
        "circuit arbiter breaks turn_comes_early",
        "    input tempo free running",
        f"    input ask[{players}]",
        f"    output hammer[{players}]",
        f"    net token[{players}]",
        f"    net grant[{players}]",
        *chain,
        "    any_grant = grant != 0",
        f"    token = flipflop(if any_grant then {rotated} else token) on rise of tempo start 1",
        "    hammer = flipflop(grant) on rise of tempo start 0",
        "    must never_two: (hammer and (hammer - 1)) == 0",
        f"    must turn_comes: (ask[{last}] and not hammer[{last}]) leads to hammer[{last}] or not ask[{last}] "
        f"within {players} rises of tempo",
        f"    must turn_comes_early: (ask[{last}] and not hammer[{last}]) leads to hammer[{last}] or not ask[{last}] "
        f"within {players - 1} rises of tempo",
        f"    must nobody_starves: ask[{last}] for good leads to hammer[{last}]",
    )


def johnson(stages: int) -> str:
    last = stages - 1
    return _lines(
        "circuit johnson",
        "    input tempo free running",
        f"    output ring[{stages}]",
        f"    ring = flipflop(join(ring[{last - 1}..0], not ring[{last}])) on rise of tempo start 0",
        "    must no_island: never ring[2..0] == 0b010",
        "    must comes_again: always eventually ring == 0",
        f"    can  comes_round: ring == 0 and before ring[{last}]",
    )


def ring(stages: int) -> str:
    last = stages - 1
    return _lines(
        "circuit ring_counter",
        "    input tempo free running",
        f"    output ring[{stages}]",
        f"    ring = flipflop(join(ring[{last - 1}..0], ring[{last}])) on rise of tempo start 1",
        "    must one_only: (ring and (ring - 1)) == 0 and ring != 0",
        f"    can  last_strikes: ring[{last}]",
        "    must comes_again: always eventually ring[0]",
    )


def synchronous_counter(bits: int) -> str:
    """`short` skips the highest count; `full` has it."""
    top = 2**bits - 1
    return _lines(
        "contract counts",
        "    input tempo free running",
        f"    output count[{bits}]",
        f"    must never_full: never count == {top}",
        "circuit full fits counts, breaks never_full",
        "    count = flipflop(count + 1) on rise of tempo start 0",
        "circuit short fits counts",
        f"    count = flipflop(if count == {top - 1} then 0 else count + 1) on rise of tempo start 0",
    )


def ripple_counter(bits: int) -> str:
    """Each stage is clocked by the one before it; `short` stops one below the highest count."""
    top = 2**bits - 1
    stages = [f"    count[{k}] = toggle(1) on fall of count[{k - 1}] start 0" for k in range(1, bits)]
    higher = ", ".join(f"count[{k}]" for k in range(1, bits))
    return _lines(
        "contract counts",
        "    input tempo free running",
        f"    output count[{bits}]",
        f"    must never_full: never count == {top}",
        "circuit full fits counts, breaks never_full",
        "    count[0] = toggle(1) on fall of tempo start 0",
        *stages,
        "    must counts_up: tempo falls only when count == before count + 1",
        "circuit short fits counts",
        f"    count[0] = toggle(nand({higher})) on fall of tempo start 0",
        *stages,
    )


def queue(depth: int) -> str:
    """A shift-register queue of strokes to come, beside its specification: a ring of slots with one-hot pointers.

    The shift register lets everything move down on a take; a new stroke goes to the lowest free place.
    """
    last = depth - 1
    level_bits = depth.bit_length() + 1
    moved_held = f"join(0b0, held[{last}..1])" if depth > 1 else "0"
    lines = [
        "circuit queue breaks never_fills",
        "    input tempo free running",
        "    input put",
        "    input stroke",
        "    input take",
        "    output first",
        f"    net held[{depth}]",
        f"    net place[{depth}]",
        f"    net slot[{depth}]",
        f"    net writes[{depth}]",
        f"    net reads[{depth}]",
        f"    net level[{level_bits}]",
        f"    accepts = put and not held[{last}]",
        "    hands_out = take and held[0]",
        f"    net kept[{depth}]",
        f"    kept = if hands_out then {moved_held} else held",
        f"    held = flipflop(if accepts then join(kept[{last - 1}..0], 0b1) else kept) on rise of tempo start 0",
    ]
    for k in range(depth):
        above = f"place[{k + 1}]" if k < last else "0"
        below = f"kept[{k - 1}]" if k else "1"
        lines.append(f"    enters_{k} = accepts and {below} and not kept[{k}]")
        lines.append(
            f"    place[{k}] = flipflop(if enters_{k} then stroke else (if hands_out then {above} else place[{k}])) "
            "on rise of tempo start 0"
        )
        lines.append(
            f"    slot[{k}] = flipflop(if accepts and writes[{k}] then stroke else slot[{k}]) on rise of tempo start 0"
        )
    lines += [
        f"    writes = flipflop(if accepts then join(writes[{last - 1}..0], writes[{last}]) else writes) "
        "on rise of tempo start 1",
        f"    reads = flipflop(if hands_out then join(reads[{last - 1}..0], reads[{last}]) else reads) "
        "on rise of tempo start 1",
        "    level = flipflop(if accepts and not hands_out then level + 1 else "
        "(if hands_out and not accepts then level - 1 else level)) on rise of tempo start 0",
        "    first = place[0]",
        "    asked_for = (slot and reads) != 0",
        f"    must never_overflows: level <= {depth}",
        "    must in_order: held[0] only when first == asked_for",
        f"    must never_fills: not held[{last}]",
    ]
    return _lines(*lines)


def serial_adder(bits: int) -> str:
    """One full adder and a carry flip-flop add two numbers bit by bit; `stuck` forgets the carry into the last bit."""
    last = bits - 1

    def adder(name: str, carry_in: str, breaks: str) -> list[str]:
        return [
            f"circuit {name} fits adds{breaks}",
            f"    net step[{bits + 1}]",
            f"    net a[{bits}]",
            f"    net b[{bits}]",
            f"    step = flipflop(if done then step else join(step[{bits - 1}..0], 0b0)) on rise of tempo start 1",
            f"    done = step[{bits}]",
            f"    a = flipflop(join(0b0, if step[0] then left[{last}..1] else a[{last}..1])) on rise of tempo start 0",
            f"    b = flipflop(join(0b0, if step[0] then right[{last}..1] else b[{last}..1])) on rise of tempo start 0",
            "    x = if step[0] then left[0] else a[0]",
            "    y = if step[0] then right[0] else b[0]",
            "    carry = flipflop(majority(x, y, carry_in)) on rise of tempo start 0",
            f"    carry_in = {carry_in}",
            "    bit = xor(x, y, carry_in)",
            f"    sum = flipflop(if done then sum else join(bit, sum[{last}..1])) on rise of tempo start 0",
        ]

    return _lines(
        "contract adds",
        "    input tempo free running",
        f"    input left[{bits}] strapped",
        f"    input right[{bits}] strapped",
        f"    output sum[{bits}]",
        "    output done",
        "    must adds_up: done only when sum == left + right",
        *adder("with_carry", "carry", ""),
        *adder("stuck", f"carry and not step[{last}]", ", breaks adds_up"),
    )


FAMILIES = (
    Family(name="switcher", what="n-source switcher", text=switcher, sizes=(2, 3, 4, 6, 8, 12, 16, 24), smallest=2),
    Family(
        name="arbiter", what="n-way round-robin arbiter", text=arbiter, sizes=(2, 3, 4, 5, 6, 8, 10, 12, 16), smallest=2
    ),
    Family(
        name="johnson",
        what="n-stage Johnson counter",
        text=johnson,
        sizes=(4, 6, 8, 12, 16, 24, 32, 48, 64, 96),
        smallest=4,
    ),
    Family(
        name="ring", what="n-stage ring counter", text=ring, sizes=(4, 6, 8, 12, 16, 24, 32, 48, 64, 96), smallest=4
    ),
    Family(
        name="synchronous",
        what="n-bit synchronous counter",
        text=synchronous_counter,
        sizes=(2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 16),
        smallest=3,
    ),
    Family(
        name="ripple",
        what="n-bit ripple counter",
        text=ripple_counter,
        sizes=(2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12),
        smallest=3,
    ),
    Family(name="queue", what="n-deep queue", text=queue, sizes=(2, 3, 4, 5, 6, 8, 10, 12, 16), smallest=2),
    Family(
        name="serial adder",
        what="n-bit serial adder",
        text=serial_adder,
        sizes=(2, 3, 4, 5, 6, 8, 10, 12, 16),
        smallest=2,
    ),
    Family(
        name="multiplier",
        what="n-bit multipliers, by rows against by columns",
        text=multipliers,
        sizes=(2, 3, 4, 5, 6, 7, 8),
        smallest=2,
        compares=("by_rows", "by_columns"),
    ),
)
