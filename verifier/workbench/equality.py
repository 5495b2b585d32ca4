"""Do two circuits with the same pins behave the same for ever? One claim about the two of them side by side.

Registers need not correspond: only what the output pins show is compared, at every instant.
"""

from __future__ import annotations

from dataclasses import replace
from enum import Enum

from verifier.circuit.netlist import FlipFlop, Latch, NetId, Netlist, SetReset
from verifier.circuit.side_by_side import DifferentPins, SideBySide, side_by_side
from verifier.claims.claim import Claim, ClaimKind, Design, Given
from verifier.claims.formula import Apply, Compare, Comparison, Formula, Initially, Operator, Signal
from verifier.errors import CallError, SourceError
from verifier.evidence.verdict import DesignResult
from verifier.workbench.assumptions import given_told, power_up_told
from verifier.workbench.checking import DEFAULT_LIMIT_SECONDS, check_design, nothing
from verifier.workbench.judge import CONTRADICTORY_GIVENS, OnDepth

CLAIM = "same_behaviour"
NO_GIVENS = "the givens of the two circuits are not used: every run that the inputs permit is compared"


class PowerUp(Enum):
    """Which pairs of power-up states are compared."""

    ALL = "all"
    """Any state of the one with any state of the other."""
    MATCHING = "matching"
    """Outputs agree at the first instant, and so does storage of the same name."""


def equal(
    left: Design,
    right: Design,
    power_up: PowerUp | str = PowerUp.ALL,
    *,
    limit: float = DEFAULT_LIMIT_SECONDS,
    depth: int | None = None,
    on_depth: OnDepth = nothing,
) -> DesignResult:
    """Whether the outputs of the two agree at every instant: one claim, `proved`, `broken` or `undecided`.

    Raises:
        CallError: their pins differ, they have no outputs, or no power-up states match where only matching ones are
            asked for.
        InternalDisagreement: two independent ways of judging differ.
    """
    design = equality_design(left, right, _as_power_up(power_up))
    try:
        result = check_design(design, limit=limit, depth=depth, on_depth=on_depth)
    except SourceError as error:
        if any(finding.code == CONTRADICTORY_GIVENS for finding in error.diagnostics):
            raise CallError(
                f"{left.name} and {right.name} have no matching power-up states",
                "some output, or storage of the same name, always starts differently; compare from all power-up states",
            ) from error
        raise
    assumes = _assumptions(result, _as_power_up(power_up), bool(left.givens or right.givens))
    return replace(result, assumes=(*_compared(left, right), *assumes))


def _compared(left: Design, right: Design) -> list[str]:
    """Where the two stand, if in different files; and which claims only one of them has."""
    names = _names(left, right)
    told = []
    if left.file != right.file:
        told.append(f"compared: {names[0]} ({left.file}) with {names[1]} ({right.file})")
    ours, theirs = ({claim.name: claim.text for claim in design.claims} for design in (left, right))
    if ours == theirs:
        return told
    different = [
        *(f"only {names[0]} has {name}" for name in ours if name not in theirs),
        *(f"only {names[1]} has {name}" for name in theirs if name not in ours),
        *(f"{name} is not the same in both" for name in ours if ours[name] != theirs.get(name, ours[name])),
    ]
    return [*told, f"the claims of the two play no part ({'; '.join(different)})"]


def _names(left: Design, right: Design) -> tuple[str, str]:
    return (left.name, right.name) if left.name != right.name else (f"{left.name}@1", f"{right.name}@2")


def _assumptions(result: DesignResult, power_up: PowerUp, have_givens: bool) -> tuple[str, ...]:
    """Those of the two side by side, with the one rule about power-up in place of what it is made of."""
    netlist = result.design.netlist
    made_of = {*power_up_told(netlist), *(given_told(given) for given in result.design.givens)}
    rule = power_up_told(netlist, POWER_UP_MEANS[power_up]) or [f"power-up: {POWER_UP_MEANS[power_up]}"]
    kept = [sentence for sentence in result.assumes if sentence not in made_of]
    return (*kept, *rule, *([NO_GIVENS] if have_givens else []))


def _as_power_up(power_up: PowerUp | str) -> PowerUp:
    try:
        return PowerUp(power_up)
    except ValueError as error:
        raise CallError(f"there is no way to power up called {power_up}", "there is all and matching") from error


def equality_design(left: Design, right: Design, power_up: PowerUp = PowerUp.ALL) -> Design:
    """The two circuits on one board, with the claim that their outputs agree at every instant.

    Givens of the two designs do not restrict the comparison.

    Raises:
        CallError: their pins differ, or they have no outputs.
    """
    names = _names(left, right)
    try:
        board = side_by_side(left.netlist, right.netlist, *names)
    except DifferentPins as different:
        raise CallError(
            f"{left.name} and {right.name} cannot be compared: {different}",
            hint=_hint(different),
        ) from different
    if not left.netlist.outputs:
        raise CallError(
            f"{left.name} has no output, so there is nothing to compare it by",
            hint="only what the output pins show is compared: give both circuits an `output`",
        )
    outputs = [(pin.nets, _output(right.netlist, pin.name)) for pin in left.netlist.outputs]
    agree = _all_agree(board, outputs)
    claim = Claim(name=CLAIM, kind=ClaimKind.MUST, formula=agree, text=_text(left.netlist, names))
    givens: tuple[Given, ...] = ()
    if power_up is PowerUp.MATCHING:
        pairs = [*outputs, *_storage_pairs(left.netlist, right.netlist)]
        start = Initially(operand=_all_agree(board, pairs))
        givens = (Given(name="matching_start", formula=start, text="outputs and storage of one name start equal"),)
    return Design(netlist=board.netlist, file=left.file, claims=(claim,), givens=givens, span=left.span)


def _hint(different: DifferentPins) -> str:
    meant = [f"is `{here}` meant to be `{there}`?" for here, there in different.unpaired]
    rule = "only circuits with the same pins, in any order, can be equal; a contract that both fit makes sure of that"
    return " ".join([*meant, rule])


POWER_UP_MEANS = {
    PowerUp.ALL: "any stable state of the one is compared with any of the other",
    PowerUp.MATCHING: (
        "any stable state of the one is compared with any of the other in which the outputs, and storage of the same "
        "name, agree with it"
    ),
}


def _output(netlist: Netlist, name: str) -> tuple[NetId, ...]:
    return next(pin.nets for pin in netlist.outputs if pin.name == name)


def _storage_pairs(left: Netlist, right: Netlist) -> list[tuple[tuple[NetId, ...], tuple[NetId, ...]]]:
    """Storage bits with the same name in both."""
    theirs = {right.nets[part.output].name: part.output for part in _storage(right)}
    return [
        ((part.output,), (theirs[left.nets[part.output].name],))
        for part in _storage(left)
        if left.nets[part.output].name in theirs
    ]


def _storage(netlist: Netlist) -> list[FlipFlop | Latch | SetReset]:
    return [*netlist.flip_flops, *netlist.latches, *netlist.set_resets]


def _all_agree(board: SideBySide, pairs: list[tuple[tuple[NetId, ...], tuple[NetId, ...]]]) -> Formula:
    agreements: list[Formula] = []
    for ours, theirs in pairs:
        left = tuple(board.left_of[net] for net in ours)
        right = tuple(board.right_of[net] for net in theirs)
        agreements.append(Compare(comparison=Comparison.EQUAL, left=_signal(board, left), right=_signal(board, right)))
    return agreements[0] if len(agreements) == 1 else Apply(operator=Operator.AND, operands=tuple(agreements))


def _signal(board: SideBySide, nets: tuple[NetId, ...]) -> Signal:
    names = {bits: name for name, bits in board.netlist.signals.items()}
    return Signal(name=names.get(nets, board.netlist.nets[nets[0]].name), nets=nets, width=len(nets))


def _text(netlist: Netlist, names: tuple[str, str]) -> str:
    left, right = names
    return " and ".join(f"{left}.{pin.name} == {right}.{pin.name}" for pin in netlist.outputs)
