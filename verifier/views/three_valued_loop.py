"""Large loops by three-valued simulation: a sound short cut that may see outcomes the loop does not have.

E. B. Eichelberger, "Hazard detection in combinational and sequential switching circuits", IBM J. R&D 9, 1965.
Procedure A: what changes outside goes to X, and every member to the join of its value and its function, until nothing
changes. Procedure B: the outside goes to its new values, and every member to its function, until nothing changes.
Whatever the loop can end in, and every state it can visit for ever, agrees with the result of B (Brzozowski and Seger
1995): X members are left free.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from verifier.circuit.netlist import Driver, FlipFlop, Gate, Latch, NetId, SetReset
from verifier.logic.bit_graph import FALSE, TRUE, BitGraph, Literal
from verifier.views.gate_logic import (
    Rails,
    asynchronous_rails,
    gate_rails,
    is_unknown,
    join,
    known,
    latch_rails,
    level_rails,
    set_reset_rails,
)
from verifier.views.loop_result import Chooser, LoopResult, Surroundings
from verifier.views.loop_table import LoopTable
from verifier.views.table_logic import literal_of

MOST_EXISTENCE_BITS = 18
"""Up to this many members and outside nets, whether a stable state exists is worked out for every value outside."""


def race_three_valued(graph: BitGraph, table: LoopTable, around: Surroundings, choose: Chooser) -> LoopResult:
    """A set of states that contains every outcome of the race; a member that leaves its start may move at will."""
    latch_was_open = {latch.output: known(bit) for latch, bit in zip(table.latches, around.was_open, strict=True)}
    values = {net: known(around.start[net]) for net in (member.output for member in table.members)}
    settled = {net: known(around.outside[net]) for net in table.outside}
    changing = {net: join(graph, known(around.before[net]), settled[net]) for net in table.outside}
    for net, restless in around.restless.items():
        high, low = changing[net]
        changing[net] = Rails(graph.disjunction(high, restless), graph.disjunction(low, restless))
    values = _until_steady(graph, table, values | changing, latch_was_open, joining=True)
    moves = {net: is_unknown(graph, values[net]) for net in around.watched}
    values = _until_steady(graph, table, values | settled, latch_was_open, joining=False)
    unknown = {member.output: is_unknown(graph, values[member.output]) for member in table.members}
    return LoopResult(
        values={
            net: graph.select(bit, choose(), values[net].high) if bit != FALSE else values[net].high
            for net, bit in unknown.items()
        },
        several=graph.any_of(unknown.values()),
        unstable=FALSE,
        rises=moves,
        falls=moves,
    )


def stable_at(graph: BitGraph, table: LoopTable, outside: Mapping[NetId, Literal], choose: Chooser) -> LoopResult:
    """Any stable state; any state at all where none is stable, or where that cannot be told."""
    values = {member.output: choose() for member in table.members}
    rails = {net: known(literal) for net, literal in (values | dict(outside)).items()}
    always_open = {latch.output: known(TRUE) for latch in table.latches}
    stable: list[Literal] = []
    obeys: list[Literal] = []
    for member in table.members:
        own = values[member.output]
        stable.append(graph.equivalence(own, _target(graph, member, rails, always_open).high))
        if member.start is not None:
            obeys.append(_obeys_start(graph, member, rails, always_open))
    is_stable = graph.all_of(stable)
    exists = _stable_state_exists(graph, table, outside)
    return LoopResult(
        values=values,
        several=FALSE,
        unstable=is_stable ^ 1,
        possible=graph.disjunction(graph.conjunction(is_stable, graph.all_of(obeys)), exists ^ 1),
    )


def _obeys_start(
    graph: BitGraph, member: Driver, rails: Mapping[NetId, Rails], was_open: Mapping[NetId, Rails]
) -> Literal:
    """A gate has its start; storage has it unless its pins decide otherwise."""
    at_start = graph.equivalence(rails[member.output].high, TRUE if member.start else FALSE)
    if isinstance(member, Gate):
        return at_start
    at_high = _target(graph, member, {**rails, member.output: known(TRUE)}, was_open).high
    at_low = _target(graph, member, {**rails, member.output: known(FALSE)}, was_open).high
    return graph.disjunction(at_start, graph.equivalence(at_high, at_low))


def _until_steady(
    graph: BitGraph, table: LoopTable, values: dict[NetId, Rails], was_open: Mapping[NetId, Rails], joining: bool
) -> dict[NetId, Rails]:
    """Every pass moves each member at most one step up (or down) a lattice of height 1, so one pass a member is
    enough."""
    for _ in range(len(table.members) + 1):
        moved = False
        for member in table.members:
            target = _target(graph, member, values, was_open)
            if joining:
                target = join(graph, values[member.output], target)
            moved = moved or target != values[member.output]
            values[member.output] = target
        if not moved:
            break
    return values


def _target(graph: BitGraph, member: Driver, values: Mapping[NetId, Rails], was_open: Mapping[NetId, Rails]) -> Rails:
    match member:
        case Gate():
            return gate_rails(graph, member.kind, [values[net] for net in member.inputs])
        case Latch():
            enable = level_rails(member.enable, values)
            was = was_open[member.output]
            is_open = Rails(graph.conjunction(was.high, enable.high), graph.disjunction(was.low, enable.low))
            return latch_rails(graph, is_open, values[member.data], values[member.output])
        case SetReset():
            return set_reset_rails(graph, values[member.set], values[member.reset], values[member.output])
        case FlipFlop():
            clear, preset = level_rails(member.clear, values), level_rails(member.preset, values)
            return asynchronous_rails(graph, clear, preset, values[member.output])


def _stable_state_exists(graph: BitGraph, table: LoopTable, outside: Mapping[NetId, Literal]) -> Literal:
    """A literal over the outside nets, from truth tables held in long integers; FALSE where that would be too large."""
    members, surroundings = len(table.members), len(table.outside)
    if members + surroundings > MOST_EXISTENCE_BITS:
        return FALSE
    scratch = BitGraph()
    nets = [member.output for member in table.members] + list(table.outside)
    variables = {net: scratch.variable(str(net)) for net in nets}
    rails = {net: known(variable) for net, variable in variables.items()}
    always_open = {latch.output: known(TRUE) for latch in table.latches}
    stable = scratch.all_of(
        scratch.equivalence(variables[member.output], _target(scratch, member, rails, always_open).high)
        for member in table.members
    )
    truth = _truth_table(scratch, stable, [variables[net] for net in nets])
    for member_index in range(members):
        truth |= truth >> (1 << member_index)
    exists = 0
    for row in range(1 << surroundings):
        exists |= (truth >> (row << members) & 1) << row
    return literal_of(graph, exists, [outside[net] for net in table.outside])


def _column(index: int, size: int) -> int:
    """Truth table of variable `index` among `log2(size)` variables."""
    half = 1 << index
    column, width = ((1 << half) - 1) << half, 2 * half
    while width < size:
        column |= column << width
        width *= 2
    return column


def _truth_table(graph: BitGraph, root: Literal, variables: Sequence[Literal]) -> int:
    size = 1 << len(variables)
    everything = (1 << size) - 1
    tables: dict[int, int] = {0: 0}
    for index, variable in enumerate(variables):
        tables[variable >> 1] = _column(index, size)
    for node in graph.cone([root]):
        if node not in tables:
            left, right = graph.lefts[node], graph.rights[node]
            tables[node] = (tables[left >> 1] ^ everything * (left & 1)) & (
                tables[right >> 1] ^ everything * (right & 1)
            )
    return tables[root >> 1] ^ everything * (root & 1)
