"""Delays and the figures of storage, from the text to the netlist."""

from __future__ import annotations

from pathlib import Path

import pytest

from verifier.circuit.netlist import Delay, FlipFlop, Latch, Netlist, Range, Timing
from verifier.errors import Diagnostic, SourceError
from verifier.language import load, loads

EVERY_STORAGE = (
    "    input d, e, clk\n    output q, t, j, l, s\n    delays from ls\n"
    "    q = flipflop(d) on rise of clk\n    t = toggle(d) on fall of clk\n    j = jk(d, e) on rise of clk\n"
    "    l = latch(d) while e high\n    s = set_reset(d, e)\n"
)
INVERTER = "circuit bell\n    input pull\n    output ring\n    delays from ls\n    ring = not pull\n"


def netlist_of(body: str, family: str = "") -> Netlist:
    lines = "".join(f"    {line}\n" for line in family.split("\n")) if family else ""
    return loads((f"family ls\n{lines}" if lines else "") + f"circuit bell\n{body}", "bells.wiring").designs[0].netlist


def delays(netlist: Netlist) -> dict[str, Delay | None]:
    return {netlist.nets[net].name: driver.takes for net, driver in netlist.drivers.items()}


def timings(netlist: Netlist) -> dict[str, Timing | None]:
    storage: tuple[FlipFlop | Latch, ...] = (*netlist.flip_flops, *netlist.latches)
    return {netlist.nets[found.output].name: found.timing for found in storage}


@pytest.mark.parametrize(
    ("written", "rise", "fall"),
    [
        ("3..15 ns", Range(3, 15), Range(3, 15)),
        ("10 ns", Range(10, 10), Range(10, 10)),
        ("0..0x0F ns", Range(0, 15), Range(0, 15)),
        ("rise 3..10 ns, fall 4..11 ns", Range(3, 10), Range(4, 11)),
        ("fall 4..11 ns, rise 3..10 ns", Range(3, 10), Range(4, 11)),
        ("rise 3 ns,\n            fall 4 ns", Range(3, 3), Range(4, 4)),
    ],
)
def test_a_delay_is_the_same_at_a_net_and_in_a_family(written: str, rise: Range, fall: Range) -> None:
    body = "    input pull\n    output ring\n{}    ring = nand(pull, pull){}\n"
    at_net = netlist_of(body.format("", f" takes {written}"))
    from_family = netlist_of(body.format("    delays from ls\n", ""), f"nand takes {written}")
    assert delays(at_net) == delays(from_family) == {"ring": Delay(rise=rise, fall=fall)}


def test_other_options_may_stand_on_both_sides_of_a_delay() -> None:
    netlist = netlist_of(
        "    input d, clk\n    output q\n"
        "    q = flipflop(d) on rise of clk takes rise 3 ns, fall 4 ns, clear when d low start 1\n"
    )
    flip_flop = netlist.flip_flops[0]
    assert flip_flop.takes == Delay(rise=Range(3, 3), fall=Range(4, 4))
    assert flip_flop.clear is not None
    assert flip_flop.start is True


def test_the_figures_of_a_family_reach_every_storage_element_of_their_kind() -> None:
    netlist = netlist_of(
        EVERY_STORAGE,
        "flipflop, toggle takes rise 13..25 ns, fall 13..40 ns, set-up 20 ns, hold 5 ns, clock width 25 ns,\n"
        "    clear width 24 ns, settling 80 ns\n"
        "jk takes 4..20 ns\n"
        "latch takes 4..27 ns, enable width 20 ns, set-up 19 ns, hold 0 ns\n"
        "set_reset takes 3..27 ns",
    )
    full = Timing(set_up=20, hold=5, clock_width=25, clear_width=24, settling=80)
    latch = Timing(set_up=19, hold=0, clock_width=20)
    assert timings(netlist) == {"q": full, "t": full, "j": None, "l": latch}
    uneven = Delay(rise=Range(13, 25), fall=Range(13, 40))
    assert delays(netlist) == {
        "q": uneven,
        "t": uneven,
        "j": Delay(rise=Range(4, 20), fall=Range(4, 20)),
        "l": Delay(rise=Range(4, 27), fall=Range(4, 27)),
        "s": Delay(rise=Range(3, 27), fall=Range(3, 27)),
    }


@pytest.mark.parametrize(
    ("written", "timing"),
    [
        ("set-up 20 ns", Timing(set_up=20)),
        ("hold 0 ns", Timing(hold=0)),
        ("clock width 25 ns", Timing(clock_width=25)),
        ("clear width 25 ns", Timing(clear_width=25)),
        ("settling 80 ns, hold 5 ns", Timing(hold=5, settling=80)),
    ],
)
def test_each_figure_may_stand_alone(written: str, timing: Timing) -> None:
    for kind in ("flipflop", "toggle", "jk"):
        netlist = netlist_of(EVERY_STORAGE, f"{kind} takes 9 ns, {written}")
        assert [found for found in timings(netlist).values() if found is not None] == [timing]


def test_a_delay_of_its_own_leaves_storage_the_figures_of_its_family() -> None:
    netlist = netlist_of(
        "    input d, clk\n    output q[2]\n    delays from ls\n    q[1] = d\n"
        "    q[0] = flipflop(d) on rise of clk takes 9 ns\n",
        "flipflop takes 5..40 ns, set-up 20 ns",
    )
    assert timings(netlist) == {"q[0]": Timing(set_up=20)}
    assert delays(netlist) == {"q[0]": Delay(rise=Range(9, 9), fall=Range(9, 9)), "q[1]": None}


def test_storage_inside_a_part_and_on_a_bus_has_the_figures_too() -> None:
    netlist = (
        loads(
            "family ls\n    flipflop takes 5 ns, set-up 20 ns\n"
            "part held(d[2], clk) gives q[2]\n    q = flipflop(d) on rise of clk\n"
            "circuit bell\n    input d[2], clk\n    output q[2]\n    delays from ls\n    q = held(d, clk)\n",
            "bells.wiring",
        )
        .designs[0]
        .netlist
    )
    assert timings(netlist) == {"q[0]": Timing(set_up=20), "q[1]": Timing(set_up=20)}


@pytest.mark.parametrize("name", ["set", "up", "hold", "clock", "width", "enable", "settling", "rise", "fall", "clear"])
def test_the_words_of_delays_and_figures_are_names_everywhere_else(name: str) -> None:
    text = (
        "family ls\n"
        "    flipflop takes rise 3 ns, fall 4 ns, set-up 20 ns, hold 5 ns, clock width 9 ns, clear width 9 ns\n"
        f"circuit bell\n    input {name}, clk, n[2], up_[2]\n    output q, m[2]\n    delays from ls\n"
        f"    q = flipflop({name}) on rise of clk takes rise 3 ns, fall 4 ns, clear when {name} low\n"
        f"    m = n-up_\n    must it: {name} only when {name}\n"
    )
    design = loads(text, "bells.wiring").designs[0]
    assert [pin.name for pin in design.netlist.inputs] == [name, "clk", "n", "up_"]
    assert timings(design.netlist) == {"q": Timing(set_up=20, hold=5, clock_width=9, clear_width=9)}


def test_set_up_without_the_family_is_a_subtraction() -> None:
    netlist = netlist_of("    input set[2], up[2]\n    output y[2]\n    y = set-up\n")
    same = netlist_of("    input set[2], up[2]\n    output y[2]\n    y = set - up\n")
    assert netlist.gates == same.gates
    assert netlist.gates


# Families that come with the program


def written_in(folder: Path, text: str, name: str = "main.wiring") -> Path:
    path = folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")
    return path


def findings(path: Path) -> tuple[Diagnostic, ...]:
    with pytest.raises(SourceError) as caught:
        load(path)
    return caught.value.diagnostics


@pytest.mark.parametrize("family", ["ls", "hc"])
def test_a_carried_family_is_found_from_any_folder(tmp_path: Path, family: str) -> None:
    text = f'use "families/{family}.wiring"\n' + INVERTER.replace("from ls", f"from {family}")
    file = load(written_in(tmp_path, text))
    assert [design.name for design in file.designs] == ["bell"]
    assert delays(file.designs[0].netlist)["ring"] is not None


def test_a_family_beside_the_file_comes_before_the_carried_one(tmp_path: Path) -> None:
    written_in(tmp_path, "family ls\n    not takes 1 ns\n", "families/ls.wiring")
    file = load(written_in(tmp_path, 'use "families/ls.wiring"\n' + INVERTER))
    assert delays(file.designs[0].netlist) == {"ring": Delay(rise=Range(1, 1), fall=Range(1, 1))}


def test_a_carried_family_may_be_used_twice_and_by_a_used_file(tmp_path: Path) -> None:
    written_in(tmp_path, 'use "families/ls.wiring"\n', "sub/library.wiring")
    uses = 'use "sub/library.wiring"\nuse "families/ls.wiring"\nuse "families/hc.wiring"\n'
    assert delays(load(written_in(tmp_path, uses + INVERTER)).designs[0].netlist)["ring"] is not None


def test_the_path_of_a_carried_family_leads_nowhere_else(tmp_path: Path) -> None:
    """Not with `..`, not by another way of writing the same file, and not without the folder's name."""
    for written, code in (
        ("families/../beat_source.wiring", "missing-file"),
        ("families/../../specs/families/ls.wiring", "use-outside"),
        ("./families/ls.wiring", "missing-file"),
        ("ls.wiring", "missing-file"),
        ("families/", "missing-file"),
        ("families/" + "l" * 5000 + ".wiring", "missing-file"),
    ):
        path = written_in(tmp_path, f'use "{written}"\n' + INVERTER.replace("    delays from ls\n", ""))
        assert [finding.code for finding in findings(path)] == [code], written


def test_a_link_that_leads_out_is_not_cured_by_a_carried_family(tmp_path: Path) -> None:
    written_in(tmp_path, "family ls\n    not takes 1 ns\n", "outside/ls.wiring")
    path = written_in(tmp_path, 'use "families/ls.wiring"\n' + INVERTER, "inside/main.wiring")
    (tmp_path / "inside" / "families").symlink_to(tmp_path / "outside")
    assert [finding.code for finding in findings(path)] == ["use-outside"]
