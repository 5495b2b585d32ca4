"""s27 as shipped against s27 as transcribed, under `equal`. Brglez, Bryan, Kozminski, ISCAS 1989.

The shipped file has the same three registers in sixteen other gates (own computation: the functions are the same).
"""

from __future__ import annotations

from itertools import product

import pytest

import verifier
from outside.judging import HERE, design_of
from outside.netlist_data import GateList, shipped
from outside.published_circuits import design_from, with_gates_of_kind
from verifier import ClaimResult, Design, DesignResult, Verdict
from verifier.workbench.equality import PowerUp

PUBLISHED = (HERE / "benchmarks.wiring").read_text()
POWER_UPS = ["".join(bits) for bits in product("01", repeat=3)]
"""G5 G6 G7."""
OTHER_KIND = {"and": "nand", "or": "nor", "nand": "and", "nor": "or", "not": "buf"}


def as_transcribed(start: str = "", text: str = PUBLISHED) -> Design:
    begins = [f" start {bit}" for bit in start] or [""] * 3
    lines = [
        "circuit transcribed",
        "input in_0, in_1, in_2, in_3, clock",
        "output out_0",
        "G10, G11, G13, out_0 = s27_logic(in_0, in_1, in_2, in_3, G5, G6, G7)",
        f"G5 = flipflop(G10) on rise of clock{begins[0]}",
        f"G6 = flipflop(G11) on rise of clock{begins[1]}",
        f"G7 = flipflop(G13) on rise of clock{begins[2]}",
    ]
    return design_of(text[: text.index("# c17")] + "\n" + "\n    ".join(lines) + "\n")


def as_shipped(start: str = "", gate_list: GateList | None = None) -> Design:
    return design_from("shipped", gate_list or shipped("s27"), together=False, start=start)


def compared(left: Design, right: Design, power_up: PowerUp = PowerUp.ALL) -> tuple[DesignResult, ClaimResult]:
    result = verifier.equal(left, right, power_up, limit=30.0)
    (claim,) = result.claims
    return result, claim


def test_from_matching_power_up_states_they_are_proved_equal() -> None:
    _, claim = compared(as_shipped(), as_transcribed(), PowerUp.MATCHING)
    assert claim.verdict is Verdict.PROVED, claim.reason


# Without asking that the outputs start equal too: where the registers are equal, they must be.
@pytest.mark.parametrize("start", POWER_UPS)
def test_from_each_pair_of_equal_register_values_they_are_proved_equal(start: str) -> None:
    _, claim = compared(as_shipped(start), as_transcribed(start))
    assert claim.verdict is Verdict.PROVED, claim.reason


def test_from_any_pair_of_states_they_are_not_equal() -> None:
    _, claim = compared(as_shipped(), as_transcribed())
    assert claim.verdict is Verdict.BROKEN
    assert claim.run is not None
    assert len(claim.run) == 1


@pytest.mark.parametrize("net", sorted(shipped("s27").gates))
def test_any_gate_of_the_shipped_file_changed_is_noticed(net: str) -> None:
    kind = shipped("s27").gates[net][0]
    wrong = with_gates_of_kind(shipped("s27"), {net: OTHER_KIND[kind]})
    result, claim = compared(as_shipped("000", wrong), as_transcribed("000"))
    assert claim.verdict is Verdict.BROKEN, claim.reason
    assert claim.run is not None
    outputs = {pin.name: pin.nets[0] for pin in result.design.netlist.outputs}
    played = [own_output(wrong, result, claim), own_output(shipped("s27"), result, claim)]
    assert played[0][:-1] == played[1][:-1]
    assert played[0][-1] != played[1][-1]
    seen = [[int(instant[outputs[f"{side}.out_0"]]) for instant in claim.run.instants] for side in SIDES]
    assert seen == played


SIDES = ("shipped", "transcribed")


def own_output(gate_list: GateList, result: DesignResult, claim: ClaimResult) -> list[int]:
    """G17 at every instant, worked out from the gate list alone; all registers start low."""
    assert claim.run is not None
    state = dict.fromkeys(gate_list.next_of, 0)
    pins = {pin.name: pin.nets[0] for pin in result.design.netlist.inputs}
    outputs = []
    values: dict[str, int] = {}
    clock = None
    for instant in claim.run.instants:
        if clock == 0 and instant[pins["clock"]]:
            state = {register: values[data] for register, data in gate_list.next_of.items()}
        clock = int(instant[pins["clock"]])
        inputs = {f"G{index}": int(instant[pins[f"in_{index}"]]) for index in range(4)}
        values = gate_list.values(state | inputs)
        outputs.append(values["G17"])
    return outputs


TRANSCRIBED_GATES = [
    ("G14 = not G0", "G14 = nor(G0, G1)"),
    ("G8  = and(G14, G6)", "G8  = or(G14, G6)"),
    ("G15 = or(G12, G8)", "G15 = and(G12, G8)"),
    ("G16 = or(G3, G8)", "G16 = nor(G3, G8)"),
    ("G9  = nand(G16, G15)", "G9  = nor(G16, G15)"),
    ("G10 = nor(G14, G11)", "G10 = nand(G14, G11)"),
    ("G11 = nor(G5, G9)", "G11 = nand(G5, G9)"),
    ("G12 = nor(G1, G7)", "G12 = nand(G1, G7)"),
    ("G13 = nor(G2, G12)", "G13 = nor(G2, G14)"),
    ("G17 = not G11", "G17 = not G10"),
]


@pytest.mark.parametrize(("right", "wrong"), TRANSCRIBED_GATES)
def test_any_gate_of_the_transcription_changed_is_noticed(right: str, wrong: str) -> None:
    assert right in PUBLISHED
    changed = PUBLISHED.replace(right, wrong)
    for power_up in PowerUp:
        _, claim = compared(as_shipped("000"), as_transcribed("000", changed), power_up)
        assert claim.verdict is Verdict.BROKEN, (power_up, claim.reason)
