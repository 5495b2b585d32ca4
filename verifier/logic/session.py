"""The one class that asks z3: variables and clauses go in; answers, cores and values come out.

It knows bits and nothing else: what a variable stands for (a register, a frame, an activation) is its caller's
business. There are two answers to a check, and an exception when there is none; no function returns "no solution" for
"stopped looking".

Measured for the choices made here (z3 5.4, median us per check; 40 registers, 500 conjunctions, a quiet machine):

    logic "QF_BV" (the plain incremental SAT solver)   61 satisfiable   11 unsatisfiable
    logic "QF_FD" (the same behind three translators)  77               21
    the SMT solver                                    120               25
    any of them with a time limit per check         + 90             + 50     (z3 starts a timer)
    any of them with z3's own handling of Ctrl-C    + 20             + 10

So there is neither timer nor signal handler at first: a check begins with a small allowance of z3's own resource units,
and only one that uses them up goes on in slices with a timer. z3 keeps what it learned between slices, and Python
handles Ctrl-C and deadlines between two of them.

Everything is a clause, with a variable for each conjunction. As nested terms a big graph loads twice as fast, but each
later addition goes through z3's simplifier; over random machines of 32 claims each, clauses took 10 to 45 % less time.
"""

from __future__ import annotations

import ctypes
import time
import weakref
from collections.abc import Iterable, Sequence
from enum import Enum
from functools import cache
from typing import NoReturn

from verifier.logic.bit_graph import VARIABLE, BitGraph, Literal
from verifier.logic.z3_library import Handle, load_library, new_context, raise_error

SessionLiteral = int
"""`2 * variable` or `2 * variable + 1` for its negation, numbered by the session; not a literal of any graph."""

SEED = 1
FIRST_ALLOWANCE = 20_000
"""Resource units; about 30 ms."""
SLICE_MILLISECONDS = 200
"""How long Ctrl-C or a deadline may go unnoticed."""


class Answer(Enum):
    SATISFIABLE = 1
    UNSATISFIABLE = -1

    def __bool__(self) -> NoReturn:
        raise TypeError("compare an answer with a member of Answer")


class NoAnswerError(Exception):
    """A check ended without an answer. The session is still good: the same check may be asked again."""


@cache
def _engine_context() -> Handle:
    """One for the process: making a context takes 9 ms, as long as dozens of checks. Not for several threads."""
    return new_context()


def _release(context: Handle, solver: Handle, handles: list[Handle | None]) -> None:
    library = load_library()
    library.Z3_solver_dec_ref(context, solver)
    for handle in handles:
        if handle is not None:
            library.Z3_dec_ref(context, handle)


class Session:
    """One incremental solver.

    (S1) `_handles[l]` is None or a term that this session holds a reference to; that of `2n` is never None.
    (S2) Every term is a variable or its negation, so every assumption and every core is made of those.
    """

    def __init__(self) -> None:
        self._library = load_library()
        self._context = _engine_context()
        self._bool_sort = self._library.Z3_mk_bool_sort(self._context)
        self._true: Handle = self._library.Z3_mk_true(self._context)
        logic = self._library.Z3_mk_string_symbol(self._context, b"QF_BV")
        self._solver: Handle = self._library.Z3_mk_solver_for_logic(self._context, logic)
        self._library.Z3_solver_inc_ref(self._context, self._solver)
        self._handles: list[Handle | None] = []
        self._declarations: dict[SessionLiteral, Handle] = {}
        """Positive literals that have been read from a model, to their declarations."""
        self._literal_of: dict[Handle, SessionLiteral] = {}
        """Inverse of `_handles` for the literals that have been assumed, for reading cores."""
        # Not at exit: the process gives everything back faster than thousands of calls do.
        weakref.finalize(self, _release, self._context, self._solver, self._handles).atexit = False
        self._set_effort(resource_units=FIRST_ALLOWANCE)

    @property
    def variable_count(self) -> int:
        """A model costs about 0.5 us a variable to build, read or not: a reason to start anew now and then."""
        return len(self._handles) // 2

    # Building

    def variable(self) -> SessionLiteral:
        """The positive literal of a new variable."""
        symbol = self._library.Z3_mk_int_symbol(self._context, len(self._handles))
        handle = self._library.Z3_mk_const(self._context, symbol, self._bool_sort)
        self._library.Z3_inc_ref(self._context, handle)
        self._handles += (handle, None)
        return len(self._handles) - 2

    def add_clause(self, literals: Sequence[SessionLiteral]) -> None:
        """From now on at least one of them is 1."""
        handles = (ctypes.c_void_p * len(literals))(*map(self._handle, literals))
        clause = self._library.Z3_mk_or(self._context, len(literals), handles)
        self._library.Z3_solver_assert(self._context, self._solver, clause)
        if self._library.Z3_get_error_code(self._context) != 0:
            raise_error(self._context)

    def _handle(self, literal: SessionLiteral) -> Handle:
        handle = self._handles[literal]
        if handle is None:
            handle = self._library.Z3_mk_not(self._context, self._handles[literal ^ 1])
            self._library.Z3_inc_ref(self._context, handle)
            self._handles[literal] = handle
        return handle

    # Asking

    def check(self, assumptions: Sequence[SessionLiteral], deadline: float | None = None) -> Answer:
        """Can all clauses and assumptions be 1 at once?

        `deadline` is a time of `time.monotonic`. Raises NoAnswerError when it passes first, or when z3 gives another
        reason.
        """
        handles = (ctypes.c_void_p * len(assumptions))()
        for index, literal in enumerate(assumptions):
            handle = self._handle(literal)
            handles[index] = handle
            self._literal_of[handle] = literal
        result = self._library.Z3_solver_check_assumptions(self._context, self._solver, len(assumptions), handles)
        if result == 0:
            result = self._check_in_slices(handles, deadline)
        return Answer(result)

    def _check_in_slices(self, handles: ctypes.Array[ctypes.c_void_p], deadline: float | None) -> int:
        try:
            while True:
                milliseconds = SLICE_MILLISECONDS
                if deadline is not None:
                    milliseconds = min(milliseconds, int(1000 * (deadline - time.monotonic())))
                if milliseconds <= 0:
                    raise NoAnswerError("the time ran out")
                self._set_effort(milliseconds=milliseconds)
                started = time.monotonic()
                result: int = self._library.Z3_solver_check_assumptions(
                    self._context, self._solver, len(handles), handles
                )
                if result != 0:
                    return result
                if time.monotonic() - started < milliseconds / 2000:
                    raise_error(self._context)
                    raise NoAnswerError(f"the solver gave up: {self._reason()}")
        finally:
            self._set_effort(resource_units=FIRST_ALLOWANCE)

    def _reason(self) -> str:
        reason: bytes = self._library.Z3_solver_get_reason_unknown(self._context, self._solver)
        return reason.decode()

    def _set_effort(self, resource_units: int = 0, milliseconds: int = 0xFFFFFFFF) -> None:
        """0 units and 2^32 - 1 ms are z3's words for no limit."""
        parameters = self._library.Z3_mk_params(self._context)
        self._library.Z3_params_inc_ref(self._context, parameters)
        for name, number in ((b"random_seed", SEED), (b"rlimit", resource_units), (b"timeout", milliseconds)):
            self._library.Z3_params_set_uint(self._context, parameters, self._symbol(name), number)
        self._library.Z3_params_set_bool(self._context, parameters, self._symbol(b"ctrl_c"), False)
        self._library.Z3_solver_set_params(self._context, self._solver, parameters)
        self._library.Z3_params_dec_ref(self._context, parameters)
        raise_error(self._context)

    def _symbol(self, name: bytes) -> Handle:
        symbol: Handle = self._library.Z3_mk_string_symbol(self._context, name)
        return symbol

    # Reading the last answer

    def core(self) -> set[SessionLiteral]:
        """After an unsatisfiable check: assumptions that suffice for it."""
        vector = self._library.Z3_solver_get_unsat_core(self._context, self._solver)
        self._library.Z3_ast_vector_inc_ref(self._context, vector)
        size = self._library.Z3_ast_vector_size(self._context, vector)
        found = {self._literal_of[self._library.Z3_ast_vector_get(self._context, vector, i)] for i in range(size)}
        self._library.Z3_ast_vector_dec_ref(self._context, vector)
        return found

    def values(self, variables: Iterable[SessionLiteral]) -> list[bool]:
        """After a satisfiable check: values of these positive literals of variables; 0 where z3 left one open.

        Constants are shared in a context, so comparing addresses does: 0.5 us a variable; evaluating takes 1.3 us.
        """
        model = self._library.Z3_solver_get_model(self._context, self._solver)
        raise_error(self._context)
        self._library.Z3_model_inc_ref(self._context, model)
        interpretation = self._library.Z3_model_get_const_interp
        found = [interpretation(self._context, model, self._declaration(v)) == self._true for v in variables]
        self._library.Z3_model_dec_ref(self._context, model)
        return found

    def _declaration(self, variable: SessionLiteral) -> Handle:
        declaration = self._declarations.get(variable)
        if declaration is None:
            declaration = self._library.Z3_get_app_decl(self._context, self._handle(variable))
            self._declarations[variable] = declaration
        return declaration


class LoadedGraph:
    """Nodes of one bit graph as variables of a session, loaded as they are asked for.

    (L1) The operands of a loaded node are loaded. (L2) In every model a node's variable has the node's value.
    """

    def __init__(self, session: Session, graph: BitGraph) -> None:
        self._session = session
        self._graph = graph
        self._variables: dict[int, SessionLiteral] = {}
        self._seen: set[int] = set()

    def literal(self, literal: Literal) -> SessionLiteral:
        if literal >> 1 not in self._variables:
            for node in sorted(self._graph.cone_beyond([literal], self._seen)):
                self._load(node)
        return self._variables[literal >> 1] ^ (literal & 1)

    def _load(self, node: int) -> None:
        add_clause, variables = self._session.add_clause, self._variables
        result = variables[node] = self._session.variable()
        left, right = self._graph.lefts[node], self._graph.rights[node]
        if left != VARIABLE:
            first, second = variables[left >> 1] ^ (left & 1), variables[right >> 1] ^ (right & 1)
            add_clause((result ^ 1, first))
            add_clause((result ^ 1, second))
            add_clause((result, first ^ 1, second ^ 1))
        elif node == 0:
            add_clause((result ^ 1,))

    def check_invariants(self) -> None:
        """Raises ValueError when (L1) is broken, or two nodes have one variable."""
        for node in self._variables:
            for operand in (self._graph.lefts[node], self._graph.rights[node]):
                if operand != VARIABLE and operand >> 1 not in self._variables:
                    raise ValueError(f"node {node} is loaded, its operand {operand >> 1} is not")
        if len(set(self._variables.values())) != len(self._variables):
            raise ValueError("two nodes are loaded as one variable")


@cache
def _judge_context() -> Handle:
    return new_context()


def judge_script(script: str, limit_seconds: float = 10.0) -> list[str]:
    """What z3 prints for an SMT-LIB script, line by line, in a context that no session has a part in.

    Nothing an earlier script said is left over: each starts with a reset. The answers are words because that is what a
    script has. It ends at the first `unknown`, which is the answer of a check that takes longer than the limit. Each
    `(check-sat)` stands on a line of its own.
    """
    answers = _evaluate(f"(reset)\n(set-option :timeout {int(1000 * limit_seconds)})\n")
    *parts, rest = script.split(_CHECK)
    for part in parts:
        started = time.monotonic()
        answers += _evaluate(part + _CHECK)
        if answers[-1:] == ["unknown"]:
            _raise_interrupt(time.monotonic() - started < 0.9 * limit_seconds)
            return answers
    return answers + _evaluate(rest)


def _raise_interrupt(was_early: bool) -> None:
    """z3 handles Ctrl-C itself while it evaluates a script; all one sees is a check canceled before its time."""
    if was_early and "cancel" in "".join(_evaluate("(get-info :reason-unknown)")):
        raise KeyboardInterrupt


_CHECK = "\n(check-sat)\n"


def _evaluate(script: str) -> list[str]:
    printed: bytes = load_library().Z3_eval_smtlib2_string(_judge_context(), script.encode())
    return printed.decode().split("\n")[:-1]
