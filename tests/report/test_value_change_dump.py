"""Value change dumps, read back by two libraries that share no code with each other or with us.

`vcdvcd` parses whole files by lines; the reader of `pyvcd` is a tokeniser. Both follow IEEE 1364-2005, clause 18 (value
change dump files), which is the standard that the file is written to; clause numbers are from memory.
"""

from __future__ import annotations

import importlib
import io
import sys
from pathlib import Path

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from report.random_runs import HOSTILE, WORDS, circuits_and_runs, netlist_of
from report.sample_runs import FALSE_EDGE, plain_multiplexer, run_of
from vcd.reader import TokenKind, tokenize
from vcdvcd import VCDVCD

from verifier.circuit.netlist import Net, Netlist
from verifier.claims.run import Run, StepEvents
from verifier.report.value_change_dump import NEXT_MOVE, value_change_dump, variables_of

Values = dict[str, int]


def history_by_tokens(text: str) -> tuple[list[tuple[int, Values]], list[str]]:
    """Every state that the file goes through, with its time, by full name; and these names in the order of
    their codes, which is that of the variables as long as each has one character.

    A state ends where a comment or the next time begins.
    """
    scope: list[str] = []
    names: dict[str, list[str]] = {}
    history: list[tuple[int, Values]] = []
    values: Values = {}
    now, in_header = 0, True
    for token in tokenize(io.BytesIO(text.encode())):
        if token.kind is TokenKind.SCOPE:
            scope.append(token.scope.ident)
        elif token.kind is TokenKind.UPSCOPE:
            scope.pop()
        elif token.kind is TokenKind.VAR:
            names.setdefault(token.var.id_code, []).append(".".join([*scope, token.var.ref_str]))
        elif token.kind is TokenKind.ENDDEFINITIONS:
            in_header = False
        elif token.kind is TokenKind.CHANGE_TIME:
            if values:
                history.append((now, dict(values)))
            now = token.time_change
        elif token.kind is TokenKind.COMMENT and not in_header:
            assert token.comment == NEXT_MOVE
            history.append((now, dict(values)))
        elif token.kind is TokenKind.CHANGE_SCALAR:
            values |= dict.fromkeys(names[token.scalar_change.id_code], int(token.scalar_change.value))
        elif token.kind is TokenKind.CHANGE_VECTOR:
            values |= dict.fromkeys(names[token.vector_change.id_code], int(token.vector_change.value))
    history.append((now, dict(values)))
    return history, [name for _, group in sorted(names.items()) for name in group]


def expected_history(netlist: Netlist, run: Run) -> list[tuple[int, list[int]]]:
    """Time and values of all variables, in their order, for every instant at which something changes, and the end."""
    variables = list(variables_of(netlist).values())
    times = run.times or range(len(run))
    rows: list[tuple[int, list[int]]] = []
    for time, instant in zip(times, run.instants, strict=True):
        values = [int("".join(str(int(instant[net])) for net in reversed(nets)), 2) for nets in variables]
        if not rows or rows[-1][1] != values:
            rows.append((time, values))
    return rows


def changes_only(history: list[tuple[int, list[int]]]) -> list[tuple[int, list[int]]]:
    kept: list[tuple[int, list[int]]] = []
    for time, values in history:
        if not kept or kept[-1][1] != values:
            kept.append((time, values))
    return kept


def test_the_two_readers_are_independent_of_each_other() -> None:
    for reader, other in (("vcdvcd", "vcd"), ("vcd.reader", "vcdvcd")):
        source = Path(importlib.import_module(reader).__file__ or "").parent
        imported = [
            line.split()[1].partition(".")[0]
            for path in source.rglob("*.py")
            for line in path.read_text(encoding="utf-8").splitlines()
            if line.split() and line.split()[0] in ("import", "from") and len(line.split()) > 1
        ]
        assert imported
        assert other not in imported
        assert "verifier" not in imported
    assert {"vcdvcd", "vcd"} <= sys.modules.keys()


@settings(deadline=None, max_examples=50)
@given(circuits_and_runs(loops=False))
def test_a_tokeniser_reads_back_every_move_in_its_order(drawn: tuple[Netlist, Run]) -> None:
    netlist, run = drawn
    history, _ = history_by_tokens(value_change_dump(netlist, run))
    names = [f"tower.{name}" + bits_of(nets) for name, nets in variables_of(netlist).items()]
    assert changes_only([(time, [values[name] for name in names]) for time, values in history]) == expected_history(
        netlist, run
    )
    assert history[-1][0] == (run.times or range(len(run)))[-1] + 1


def bits_of(nets: tuple[int, ...]) -> str:
    return f"[{len(nets) - 1}:0]" if len(nets) > 1 else ""


@settings(deadline=None, max_examples=50, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(drawn=circuits_and_runs(loops=False))
def test_a_parser_of_whole_files_reads_back_the_values_at_every_instant(
    drawn: tuple[Netlist, Run], tmp_path: Path
) -> None:
    netlist, run = drawn
    path = tmp_path / "run.vcd"
    path.write_text(value_change_dump(netlist, run))
    read = VCDVCD(str(path))
    times = run.times or range(len(run))
    for name, nets in variables_of(netlist).items():
        signal = read[f"tower.{name}" + bits_of(nets)]
        values = [sum(instant[net] << place for place, net in enumerate(nets)) for instant in run.instants]
        # Asked for one time, the library gives one of the moves in it; so the times with one move are asked for.
        alone = {time: value for time, value in zip(times, values, strict=True) if list(times).count(time) == 1}
        assert {time: int(signal[time], 2) for time in alone} == alone
        moves = [(times[i], values[i]) for i in range(len(run)) if i == 0 or values[i] != values[i - 1]]
        assert [(time, int(value, 2)) for time, value in signal.tv] == moves
    assert read.endtime == times[-1] + 1
    assert read.timescale["unit"] == ("s" if run.times is None else "ns")


@settings(deadline=None, max_examples=50)
@given(circuits_and_runs((*WORDS, *HOSTILE)), st.sampled_from(("$end", "a b", "\x1b[2J", "ok")))
def test_no_name_breaks_the_file_and_no_two_names_meet(drawn: tuple[Netlist, Run], remark: str) -> None:
    netlist, run = drawn
    text = value_change_dump(netlist, run, remarks=[remark])
    assert text.isascii()
    assert all(letter.isprintable() or letter == "\n" for letter in text)
    history, names = history_by_tokens(text)
    assert len(set(names)) == len(names) == len(variables_of(netlist))
    finite = Run(run.instants, run.events, times=run.times)
    read = [(time, [values[name] for name in names]) for time, values in history]
    assert changes_only(read)[: len(expected_history(netlist, finite))] == expected_history(netlist, finite)


def test_parts_of_parts_are_scopes_and_changed_names_are_told() -> None:
    netlist = netlist_of({"s.inner.sum": 1, "s.carry": 1, "beat~1": 1, "beat_1": 1})
    assert value_change_dump(netlist, run_of("0000")).split("$timescale")[1].splitlines()[1:15] == [
        "$scope module tower $end",
        "$comment beat_1 is beat~1 $end",
        "$comment beat_1_2 is beat_1 $end",
        "$var wire 1 % beat_1 $end",
        "$var wire 1 & beat_1_2 $end",
        "$scope module s $end",
        '$var wire 1 " carry $end',
        "$scope module inner $end",
        "$var wire 1 ! sum $end",
        "$upscope $end",
        "$upscope $end",
        "$upscope $end",
        "$enddefinitions $end",
        "#0",
    ]


def test_every_one_of_two_thousand_nets_has_its_own_code() -> None:
    netlist = netlist_of({f"bell_{number}": 1 for number in range(2_000)})
    low, high = (False,) * 2_000, (True,) * 2_000
    text = value_change_dump(netlist, Run((low, high), (StepEvents(), StepEvents())))
    history, names = history_by_tokens(text)
    assert len(set(names)) == 2_000
    assert [(time, set(values.values())) for time, values in history] == [(0, {0}), (1, {1}), (2, {1})]


def test_the_bits_of_a_bus_without_a_name_of_its_own_keep_their_numbers() -> None:
    netlist = Netlist(name="tower", nets=(Net("bell[0]"), Net("bell[7]")), inputs=(), outputs=())
    read = history_by_tokens(value_change_dump(netlist, run_of("01")))[0]
    assert read == [(0, {"tower.bell[0]": 0, "tower.bell[7]": 1}), (1, {"tower.bell[0]": 0, "tower.bell[7]": 1})]


def test_a_run_of_steps_says_that_it_has_no_time() -> None:
    text = value_change_dump(plain_multiplexer(), FALSE_EDGE, remarks=["no_false_edge is broken"])
    assert text.splitlines()[:4] == [
        "$version edgewright $end",
        "$comment no_false_edge is broken $end",
        "$comment time counts steps: step 3 stands at 3 s, and how long a step takes is not said $end",
        "$timescale 1 s $end",
    ]


def test_the_end_of_an_endless_run_is_the_beginning_of_its_loop() -> None:
    run = run_of("0000", "1000", "1100")
    text = value_change_dump(plain_multiplexer(), Run(run.instants, run.events, loop_from=1))
    assert "$comment endless: from 1 on again and again; the last time shown is 1 once more $end" in text.splitlines()
    history, _ = history_by_tokens(text)
    assert [values["plain_mux.lever"] for _, values in history] == [0, 0, 1, 0]


def test_the_same_run_gives_the_same_text_without_a_date() -> None:
    text = value_change_dump(plain_multiplexer(), FALSE_EDGE)
    assert text == value_change_dump(plain_multiplexer(), FALSE_EDGE)
    assert "$date" not in text
