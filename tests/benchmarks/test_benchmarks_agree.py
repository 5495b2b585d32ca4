"""The benchmark's own code on tiny sizes: engines agree, a limit ends what does not end, a disagreement is loud.
Nothing is timed."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from benchmarks.answers import BOUNDED, ENGINES, OURS, Answer
from benchmarks.big_circuit import big_text
from benchmarks.climbing import Row, complaints
from benchmarks.families import FAMILIES, Family
from benchmarks.measuring import Measurement, Outcome
from benchmarks.suite import Question, family_questions, shelf_questions
from benchmarks.tables import growth, largest, ratios, row_cells, row_head, worst
from verifier.language import loads

BENCHMARKS = Path(__file__).resolve().parent
PEERS = [name for name in ENGINES if name not in (OURS, BOUNDED)]


def smallest_questions(family: Family) -> list[Question]:
    return list(family_questions(family, family.smallest))


@pytest.mark.parametrize("family", FAMILIES, ids=lambda family: family.name)
def test_all_engines_say_of_a_tiny_member_what_its_author_expects(family: Family) -> None:
    for question in smallest_questions(family):
        answers = {name: ENGINES[name](question.system) for name in (OURS, "decision diagrams")}
        if question.system.fairness is None:
            answers["fixed point"] = ENGINES["fixed point"](question.system)
        if question.expected:
            answers[BOUNDED] = ENGINES[BOUNDED](question.system)
        for name, answer in answers.items():
            assert answer is not None, f"{name} gave up on {question.title}"
            assert answer.reached is question.expected, f"{name} on {question.title}"
        lengths = {answer.frames for answer in answers.values() if answer is not None and answer.frames is not None}
        assert len(lengths) == question.expected, f"{question.title}: {answers}"


def test_the_families_ask_for_proofs_and_for_counterexamples_about_bad_frames_and_about_endless_runs() -> None:
    questions = [question for family in FAMILIES for question in smallest_questions(family)]
    kinds = {(question.system.fairness is None, question.expected) for question in questions}
    assert kinds >= {(True, True), (True, False), (False, False)}
    assert {question.family for question in questions} == {family.name for family in FAMILIES}


@pytest.mark.parametrize("name", ["decision diagrams", "fixed point"])
def test_a_peer_finds_an_endless_run_and_sees_where_there_is_none(name: str) -> None:
    (family,) = (family for family in FAMILIES if family.name == "ring")
    question = next(question for question in smallest_questions(family) if question.name.endswith("comes_again"))
    fairness = question.system.fairness
    assert fairness is not None
    unfair = replace(question.system, fairness=fairness[:1])
    fair_at_last = [ENGINES[name](replace(question.system, fairness=())), ENGINES[OURS](unfair), ENGINES[name](unfair)]
    assert [answer.reached if answer is not None else None for answer in fair_at_last] == [True] * 3
    if name == "decision diagrams":  # the other one takes its time
        assert ENGINES[name](question.system) == Answer(False)


def test_the_shelf_is_in_the_suite_with_every_claim_of_every_circuit() -> None:
    names = [question.name for question in shelf_questions()]
    assert len(names) == len(set(names))
    beat_source = {name.removeprefix("beat_source, ") for name in names if name.startswith("beat_source, ")}
    assert {"plain_mux: no_false_edge", "plain_mux: settles", "hold_until_agree_in_nands: settles"} <= beat_source


def measurement(outcome: Outcome, seconds: float = 0.1, frames: int | None = None) -> Measurement:
    return Measurement(outcome=outcome, processor_seconds=seconds, wall_seconds=seconds, frames=frames)


def row(expected: bool, size: int = 2, **measurements: Measurement) -> Row:
    system = next(shelf_questions()).system
    question = Question(family="bells", size=size, name="one", system=system, expected=expected)
    return Row(question, {name.replace("_", " "): found for name, found in measurements.items()})


def test_engines_that_differ_are_complained_about() -> None:
    reached, unreachable = measurement(Outcome.REACHED), measurement(Outcome.UNREACHABLE)
    apart = row(False, edgewright=unreachable, fixed_point=reached)
    assert any("disagree" in complaint for complaint in complaints([apart]))
    both_wrong = row(True, edgewright=unreachable, fixed_point=unreachable)
    assert len(list(complaints([both_wrong]))) == 2
    longer = row(
        True, edgewright=measurement(Outcome.REACHED, frames=4), bounded_search=measurement(Outcome.REACHED, frames=3)
    )
    assert any("length" in complaint for complaint in complaints([longer]))
    crash = row(False, edgewright=measurement(Outcome.CRASHED))
    assert any("crashed" in complaint for complaint in complaints([crash]))
    slow = row(False, edgewright=unreachable, fixed_point=measurement(Outcome.OUT_OF_TIME))
    assert not list(complaints([slow]))


def test_the_report_counts_what_is_undecided_at_the_limit_and_what_is_quick_at_the_floor() -> None:
    quick, slow = measurement(Outcome.UNREACHABLE, 0.001), measurement(Outcome.UNREACHABLE, 0.5)
    late = measurement(Outcome.OUT_OF_TIME, 20.0)
    two = row(False, 2, edgewright=quick, fixed_point=quick, decision_diagrams=slow, bounded_search=late)
    three = row(False, 3, edgewright=slow, fixed_point=late, decision_diagrams=quick)
    assert ratios([two], 20.0)[-1] == "| whole suite | 1 | 1.00 | 100.00 | 4000.00 |"
    assert largest([two, three], 20.0)[-1] == "| bells | one | 3+ | 2 | 3+ | none | 3 |"
    assert "| 100.0 | bells | one, n = 3 | 0.500 | decision diagrams | 0.005 |" in worst([two, three], 20.0)
    assert growth([two, three])[-2] == "| 3 | 0.500 | limit | 0.001 | - |"
    assert len(row_cells(three)) == len(row_head())


STOPPED = """
import sys
sys.path.insert(0, {tests!r})
from benchmarks.answers import Answer
from benchmarks.measuring import measured
from verifier.logic.bit_graph import BitGraph
from verifier.logic.transition_system import TransitionSystem

def engine(system):
    while system.registers == () and system.inputs == ():
        pass
    return Answer(True, 7)

def dies(system):
    raise MemoryError

graph = BitGraph()
endless = TransitionSystem(graph=graph, registers=(), inputs=())
short = TransitionSystem(graph=graph, registers=(), inputs=(graph.variable("pull"),))
for found in (measured(engine, endless, 0.2), measured(engine, short, 5.0)):
    print(found.outcome.value, found.frames)
"""


def python(*arguments: str) -> subprocess.CompletedProcess[str]:
    """In a process of its own: the benchmark forks, which a process with threads should not."""
    return subprocess.run([sys.executable, *arguments], capture_output=True, text=True, timeout=120, check=False)


def test_an_engine_that_does_not_end_is_ended_at_its_limit() -> None:
    done = python("-c", STOPPED.format(tests=str(BENCHMARKS.parent)))
    assert done.stdout.splitlines() == ["time None", "reached 7"], done.stderr


def test_the_command_prints_its_report_and_ends_well_when_all_agree() -> None:
    done = python(str(BENCHMARKS / "engines.py"), "--quick", "--only", "synchronous", "--limit", "0.5")
    assert done.returncode == 0, done.stderr
    assert "| synchronous | full: never_full, n = 3 | reached | 14 |" in done.stdout
    assert "agree, with one another and with what the circuits expect" in done.stdout
    assert python(str(BENCHMARKS / "engines.py"), "--quick", "--only", "no such family").returncode == 2


def test_the_big_circuit_is_as_big_as_asked_for() -> None:
    (design,) = loads(big_text(flip_flops=12, gates=60), "big_sequencer.wiring").designs
    assert (len(design.netlist.flip_flops), len(design.netlist.gates)) == (12, 60)


PROBED = """
import sys
sys.path.insert(0, {tests!r})
from benchmarks.answers import BOUNDED, ENGINES
from benchmarks.families import FAMILIES
from benchmarks.measuring import measured
from benchmarks.solver_share import probe
from benchmarks.suite import family_questions

family = next(family for family in FAMILIES if family.name == "synchronous")
question = next(question for question in family_questions(family, 3) if question.expected)
found = measured(ENGINES[BOUNDED], question.system, 20.0, probe)
solver = found.solver
print(0 < solver.checks and 0 < solver.other_calls and solver.checks + solver.other_calls < found.wall_seconds)
"""


def test_the_probe_sees_time_inside_the_solver_and_less_than_there_was() -> None:
    done = python("-c", PROBED.format(tests=str(BENCHMARKS.parent)))
    assert done.stdout == "True\n", done.stderr
