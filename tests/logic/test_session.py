"""The session: answers, cores, values, limits; and what it may and may not load."""

from __future__ import annotations

import itertools
import signal
import subprocess
import sys
import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from verifier.logic.bit_graph import FALSE, TRUE, BitGraph
from verifier.logic.session import Answer, LoadedGraph, NoAnswerError, Session, SessionLiteral, judge_script

Clauses = list[list[tuple[int, bool]]]
VARIABLES = 5


def random_clauses() -> st.SearchStrategy[Clauses]:
    literal = st.tuples(st.integers(0, VARIABLES - 1), st.booleans())
    return st.lists(st.lists(literal, min_size=0, max_size=3), max_size=12)


def models(clauses: Clauses) -> list[tuple[bool, ...]]:
    return [
        values
        for values in itertools.product((False, True), repeat=VARIABLES)
        if all(any(values[variable] == sign for variable, sign in clause) for clause in clauses)
    ]


def literal(variables: list[SessionLiteral], index: int, sign: bool) -> SessionLiteral:
    return variables[index] if sign else variables[index] ^ 1


@settings(deadline=None, max_examples=150)
@given(random_clauses(), st.lists(st.dictionaries(st.integers(0, VARIABLES - 1), st.booleans()), max_size=6))
def test_answers_values_and_cores_agree_with_trying_every_assignment(
    clauses: Clauses, questions: list[dict[int, bool]]
) -> None:
    session = Session()
    variables = [session.variable() for _ in range(VARIABLES)]
    for asked in range(len(questions)):
        session.add_clause(
            [
                literal(variables, *item)
                for item in (clauses[asked] if asked < len(clauses) else [(0, True), (0, False)])
            ]
        )
        assumptions = [literal(variables, *item) for item in questions[asked].items()]
        agreeing = models(clauses[: asked + 1] + [[item] for item in questions[asked].items()])
        if session.check(assumptions) is Answer.SATISFIABLE:
            assert tuple(session.values(variables)) in agreeing
        else:
            assert not agreeing
            core = session.core()
            assert core <= set(assumptions)
            kept = [[item] for item in questions[asked].items() if literal(variables, *item) in core]
            assert not models(clauses[: asked + 1] + kept)


@settings(deadline=None, max_examples=100)
@given(st.data())
def test_a_loaded_graph_has_the_values_of_the_graph(data: st.DataObject) -> None:
    graph = BitGraph()
    variables = [graph.variable(f"bell {index}") for index in range(4)]
    pool = [FALSE, TRUE, *variables]
    for _ in range(data.draw(st.integers(0, 20))):
        left, right = (data.draw(st.sampled_from(pool)) ^ data.draw(st.integers(0, 1)) for _ in range(2))
        pool.append(graph.conjunction(left, right))
    session = Session()
    loaded = LoadedGraph(session, graph)
    roots = data.draw(st.lists(st.sampled_from(pool), min_size=1))
    given_values = {variable: data.draw(st.booleans()) for variable in variables}
    positive = [loaded.literal(root & ~1) for root in roots]
    loaded.check_invariants()
    session_literals = [loaded.literal(variable) ^ (not value) for variable, value in given_values.items()]
    assert session.check(session_literals) is Answer.SATISFIABLE
    assert session.values(positive) == graph.evaluate([root & ~1 for root in roots], given_values)


def test_a_corrupted_loaded_graph_is_noticed() -> None:
    graph = BitGraph()
    a, b = graph.variable("a"), graph.variable("b")
    loaded = LoadedGraph(Session(), graph)
    loaded.literal(graph.conjunction(a, b))
    del loaded._variables[a >> 1]
    with pytest.raises(ValueError, match="its operand 1 is not"):
        loaded.check_invariants()


def test_an_answer_is_never_taken_for_a_truth_value() -> None:
    with pytest.raises(TypeError):
        bool(Answer.UNSATISFIABLE)


def pigeons(session: Session, holes: int) -> SessionLiteral:
    """Assuming the literal asks for one more pigeon than holes. Hard by resolution (Haken 1985, from memory)."""
    demanded = session.variable()
    sits = [[session.variable() for _ in range(holes)] for _ in range(holes + 1)]
    for pigeon in sits:
        session.add_clause([demanded ^ 1, *pigeon])
    for hole in range(holes):
        for first, second in itertools.combinations(range(holes + 1), 2):
            session.add_clause([sits[first][hole] ^ 1, sits[second][hole] ^ 1])
    return demanded


def test_a_hard_check_gives_up_at_its_deadline_and_the_session_stays_good() -> None:
    session = Session()
    demanded = pigeons(session, 12)
    started = time.monotonic()
    with pytest.raises(NoAnswerError, match="time ran out"):
        session.check([demanded], deadline=started + 0.5)
    assert 0.4 < time.monotonic() - started < 1.5
    assert session.check([demanded ^ 1]) is Answer.SATISFIABLE


def test_a_check_that_needs_several_slices_comes_to_its_answer() -> None:
    session = Session()
    demanded = pigeons(session, 8)
    assert session.check([demanded]) is Answer.UNSATISFIABLE
    assert session.core() == {demanded}
    assert session.check([]) is Answer.SATISFIABLE


def test_a_deadline_in_the_past_does_not_keep_an_easy_check_from_its_answer() -> None:
    session = Session()
    assert session.check([session.variable()], deadline=0.0) is Answer.SATISFIABLE


def test_sessions_do_not_hear_of_each_other() -> None:
    first, second = Session(), Session()
    mine, theirs = first.variable(), second.variable()
    first.add_clause([mine])
    assert first.check([mine ^ 1]) is Answer.UNSATISFIABLE
    assert second.check([theirs ^ 1]) is Answer.SATISFIABLE


def test_a_script_starts_from_nothing() -> None:
    assert judge_script("(declare-fun x () Bool)(assert x)\n(check-sat)\n(assert (not x))\n(check-sat)\n") == [
        "sat",
        "unsat",
    ]
    assert judge_script("(declare-fun x () Bool)(assert (not x))\n(check-sat)\n") == ["sat"]


def test_an_ill_formed_script_is_answered_with_an_error_and_not_with_a_verdict() -> None:
    answers = judge_script("(assert y)\n(check-sat)\n")
    assert "unsat" not in answers
    assert "error" in answers[0]


def pigeon_script(holes: int) -> str:
    sits = [[f"p{pigeon}_{hole}" for hole in range(holes)] for pigeon in range(holes + 1)]
    lines = [f"(declare-fun {name} () Bool)" for pigeon in sits for name in pigeon]
    lines += [f"(assert (or {' '.join(pigeon)}))" for pigeon in sits]
    for hole in range(holes):
        for first, second in itertools.combinations(sits, 2):
            lines.append(f"(assert (or (not {first[hole]}) (not {second[hole]})))")
    return "\n".join([*lines, "(push 1)", "(check-sat)", "(pop 1)", "(check-sat)", ""])


def test_a_script_that_takes_too_long_ends_at_its_first_unknown() -> None:
    started = time.monotonic()
    assert judge_script(pigeon_script(12), limit_seconds=0.3) == ["unknown"]
    assert time.monotonic() - started < 1.5
    assert judge_script(pigeon_script(3)) == ["unsat", "unsat"]


@pytest.mark.skipif(sys.platform == "win32", reason="sends a POSIX signal")
def test_ctrl_c_while_a_script_is_judged_is_a_keyboard_interrupt() -> None:
    program = (
        "import sys\n"
        "from verifier.logic.session import judge_script\n"
        "script = sys.stdin.read()\n"
        "print('started', flush=True)\n"
        "try:\n"
        "    print(judge_script(script, 60))\n"
        "except KeyboardInterrupt:\n"
        "    print('interrupted')\n"
    )
    arguments = [sys.executable, "-c", program]
    with subprocess.Popen(arguments, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdin is not None
        assert process.stdout is not None
        process.stdin.write(pigeon_script(12))
        process.stdin.close()
        assert process.stdout.readline() == "started\n"
        time.sleep(1)
        process.send_signal(signal.SIGINT)
        sent = time.monotonic()
        try:
            assert process.stdout.readline() == "interrupted\n"
            assert time.monotonic() - sent < 1.5
        finally:
            process.kill()


def test_the_session_does_without_the_python_layer_of_z3() -> None:
    program = (
        "import sys\n"
        "from verifier.logic.session import Session\n"
        "session = Session()\n"
        "session.check([session.variable()])\n"
        "sys.exit('z3.z3' in sys.modules or 'z3' in sys.modules)\n"
    )
    assert subprocess.run([sys.executable, "-c", program], check=False).returncode == 0
