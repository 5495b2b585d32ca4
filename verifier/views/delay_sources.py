"""What the outside world may do in the delay views: `grammar/README.md`, 12.1, 30, 32 and 33."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

from verifier.circuit.netlist import Input, InputClass, NetId, Range
from verifier.errors import Diagnostic, SourceError
from verifier.logic.bit_graph import FALSE, TRUE, Literal
from verifier.logic.delay_system import Bit, Follower, SourceMove
from verifier.views.delay_elements import DelayedNets
from verifier.views.delay_timing import TimerBench

MOST_BITS_TOGETHER = 10


@dataclass(frozen=True, kw_only=True)
class Sources:
    moves: tuple[SourceMove, ...]
    holds_time: Literal = FALSE
    followers: tuple[Follower, ...] = ()


def untimed_sources(nets: DelayedNets) -> Sources:
    """Inputs wait for quiet."""
    quiet = nets.quiet()
    return Sources(moves=_moves(nets, {pin.name: quiet for pin in nets.netlist.inputs}))


def timed_sources(nets: DelayedNets, bench: TimerBench, patience: int | None = None) -> Sources:
    """With `patience`, an input that has stood for so many ns may always change, and never has to later than that.

    Raises SourceError when a free-running input has no ranges.
    """
    graph = nets.graph
    enabled: dict[str, Literal] = {}
    overdue: list[Literal] = []
    followers: list[Follower] = []
    by_hand = [pin for pin in nets.netlist.inputs if pin.input_class is InputClass.BY_HAND]
    apart = [_within(pin.apart, patience) for pin in by_hand if pin.apart is not None]
    hand_moves = graph.any_of([nets.changed(net) for pin in by_hand for net in pin.nets])
    waited = dict(zip(apart, bench.readings("hand", hand_moves, apart), strict=True)) if apart else {}
    for pin in nets.netlist.inputs:
        match pin.input_class:
            case InputClass.FREE_RUNNING:
                high, low = _ranges(pin, nets)
                may, must, follower = _free_running(nets, pin.nets[0], high, low, bench, patience)
                enabled[pin.name] = may
                overdue.append(must)
                followers.append(follower)
            case InputClass.BY_HAND:
                enabled[pin.name] = nets.quiet() if pin.apart is None else waited[_within(pin.apart, patience)]
            case _:
                enabled[pin.name] = TRUE
    return Sources(moves=_moves(nets, enabled), holds_time=graph.any_of(overdue), followers=tuple(followers))


def _free_running(
    nets: DelayedNets, net: NetId, high: Range, low: Range, bench: TimerBench, patience: int | None
) -> tuple[Literal, Literal, Follower]:
    """When it may change, when time has to wait for it, and the bit that says that it has changed before."""
    graph, name = nets.graph, nets.netlist.nets[net].name
    changed = nets.changed(net)
    may_from = [_within(stretch.low, patience) for stretch in (high, low)]
    must_by = [_within(stretch.high, patience) for stretch in (high, low)]
    high_may, low_may, *musts = bench.readings(f"{name} stands", changed, may_from + must_by, start=0)
    high_must, low_must = (
        reading if by == stretch.high else FALSE
        for reading, by, stretch in zip(musts, must_by, (high, low), strict=True)
    )
    moved = nets.bit(f"{name} moved")
    may = graph.select(nets.now[net], high_may, low_may)
    must = graph.select(nets.now[net], high_must, low_must)
    follower = Follower(bit=moved, next=graph.disjunction(moved.before, changed))
    return graph.disjunction(may, moved.now ^ 1), must, follower


def _within(amount: int, patience: int | None) -> int:
    return amount if patience is None else min(amount, patience)


def _ranges(pin: Input, nets: DelayedNets) -> tuple[Range, Range]:
    if pin.high is not None and pin.low is not None and len(pin.nets) == 1:
        return pin.high, pin.low
    span = nets.netlist.nets[pin.nets[0]].span
    if span is None:
        raise ValueError(f"{pin.name} has no timing")
    wide = len(pin.nets) > 1
    raise SourceError(
        [
            Diagnostic(
                code="no-timing",
                message=f"the timed view does not know how long `{pin.name}` stays high and low"
                if not wide
                else f"a free-running bus such as `{pin.name}` cannot be judged in the timed view",
                span=span,
                hint="split it into inputs of one bit"
                if wide
                else f"write `input {pin.name} free running high 40..60 ns, low 40..60 ns`",
            )
        ]
    )


def _moves(nets: DelayedNets, enabled: dict[str, Literal]) -> tuple[SourceMove, ...]:
    """Every set of input bits that may turn over together."""
    movable = [pin for pin in nets.netlist.inputs if pin.input_class is not InputClass.STRAPPED]
    free = [pin for pin in movable if pin.input_class is not InputClass.BY_HAND]
    groups: list[list[Input]] = [[pin] for pin in movable]
    if nets.netlist.inputs_may_change_together:
        groups = [[pin] for pin in movable if pin not in free] + ([free] if free else [])
    return tuple(move for group in groups for move in _moves_of(nets, group, enabled))


def _moves_of(nets: DelayedNets, group: list[Input], enabled: dict[str, Literal]) -> Iterator[SourceMove]:
    bits = [(pin, net) for pin in group for net in pin.nets]
    if len(bits) > MOST_BITS_TOGETHER:
        raise TooManyTogether(len(bits))
    for count in range(1, len(bits) + 1):
        for chosen in combinations(bits, count):
            pins = dict.fromkeys(pin.name for pin, _ in chosen)
            moved: tuple[Bit, ...] = tuple(nets.bits[net] for _, net in chosen)
            yield SourceMove(bits=moved, enabled=nets.graph.all_of(enabled[name] for name in pins))


class TooManyTogether(ValueError):
    def __init__(self, bits: int) -> None:
        super().__init__(f"{bits} input bits may change together; a delay view takes {MOST_BITS_TOGETHER} at the most")
