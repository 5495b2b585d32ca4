"""Results of a gate, made by hand, that the tests of its reports lay out; some names are as hostile as can be."""

from __future__ import annotations

from verifier.errors import Diagnostic, Span
from verifier.evidence.gate_outcome import (
    Change,
    ChangeKind,
    CircuitOutcome,
    ClaimOutcome,
    FileOutcome,
    GateResult,
    How,
    Recorded,
    Trouble,
    TroubleKind,
)
from verifier.evidence.verdict import Verdict

HOSTILE = (
    "low|bell",
    "<script>ring()</script>",
    "`bell`",
    "[bell](http://bells.invalid)",
    "bell\x1b[2J\x00\ufffe\ud800",
    "**bell** _bell_ @carillon #1 {0} &amp;",
    "]]>",
    "a\nb\rc\u2028d",
)
TABLE = """\
    step  what to do      low_bell
    ----  --------------  --------
       0  power up           [1]

    broken: <b>```</b> ]]>"""


def claim(
    name: str,
    verdict: Verdict = Verdict.PROVED,
    *,
    expected: Verdict = Verdict.PROVED,
    line: int = 3,
    tells: str = "",
    reason: str = "",
    file: str = "bells.wiring",
) -> ClaimOutcome:
    recorded = Recorded(
        claim=name, kind="must", view="settled", says=f"never {name}", stated=f"never {name}", key="k", verdict=verdict
    )
    return ClaimOutcome(
        recorded=recorded,
        expected=expected,
        how=How.JUDGED,
        reason=reason,
        span=Span(file, line, 5, line, 15),
        tells=tells,
        record={"name": name, "seconds": 0.25},
    )


def gate_result(*names: str, file: str = "bells.wiring") -> GateResult:
    """For each name: a circuit with a claim that holds, one that is broken, one without an answer, and changes."""
    circuits = []
    changes = []
    for name in names:
        claims = (
            claim(name, file=file),
            claim(f"{name} 2", Verdict.BROKEN, tells=TABLE + name, line=4, file=file),
            claim(f"{name} 3", Verdict.UNDECIDED, reason=f"no time for {name}", line=5, file=file),
        )
        circuits.append(CircuitOutcome(name=name, file=file, claims=claims, span=Span(file, 2, 1, 2, 9)))
        changes += [
            Change(
                kind=ChangeKind.NEWLY_BROKEN,
                file=file,
                circuit=name,
                claim=f"{name} 2",
                why=("was proved, is broken",),
                span=Span(file, 4, 5, 4, 15),
            ),
            Change(kind=ChangeKind.DISAPPEARED, file=file, circuit=name, claim=f"{name} 4", why=(f"was {name}",)),
            Change(kind=ChangeKind.DISAPPEARED, file="gone.wiring", circuit=f"{name} 5", why=("2 claims",)),
            Change(kind=ChangeKind.APPEARED, file=file, circuit=name, claim=name, why=("proved",)),
        ]
    finding = Diagnostic(
        code="unknown-name", message=f"nothing is called {names[0]}", span=Span("wrong.wiring", 7, 3, 7, 9), hint="look"
    )
    troubles = (
        Trouble(kind=TroubleKind.INPUT, text="wrong", findings=(finding,)),
        Trouble(kind=TroubleKind.DISAGREEMENT, text=f"two ways of {names[0]}", circuit=names[0]),
        Trouble(kind=TroubleKind.LOST, text="the memory did not suffice"),
    )
    return GateResult(
        files=(
            FileOutcome(path=file, circuits=tuple(circuits)),
            FileOutcome(path="wrong.wiring", troubles=troubles),
        ),
        changes=tuple(changes),
        fail_on=frozenset({ChangeKind.NEWLY_BROKEN, ChangeKind.DISAPPEARED}),
        against="record.json",
        notices=(f"note of {names[0]}",),
    )


PASSED = GateResult(
    files=(
        FileOutcome(
            path="bells.wiring",
            circuits=(CircuitOutcome(name="two_bells", file="bells.wiring", claims=(claim("never_both"),)),),
        ),
        FileOutcome(path="families.wiring"),
    )
)
