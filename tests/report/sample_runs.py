"""Small hand-made designs and runs of the carillon that the tests of the reports lay out."""

from __future__ import annotations

from collections.abc import Sequence

from verifier.circuit.builder import NetlistBuilder
from verifier.circuit.netlist import GateKind, InputClass, Netlist
from verifier.claims.claim import Claim, ClaimKind, Design
from verifier.claims.formula import Apply, Formula, OnlyWhen, Operator, Settles, Signal, Step, StepWord
from verifier.claims.run import Instant, Run, StepEvents
from verifier.evidence.verdict import ClaimResult, Verdict

QUIET = StepEvents()


def plain_multiplexer() -> Netlist:
    """Nets 0 tempo, 1 lever, 2 choose, 3 beat."""
    builder = NetlistBuilder("plain_mux")
    builder.input("tempo", InputClass.FREE_RUNNING)
    builder.input("lever", InputClass.BY_HAND)
    builder.input("choose", InputClass.BY_HAND)
    builder.gate("beat", GateKind.SELECT, ["choose", "tempo", "lever"])
    builder.output("beat")
    return builder.build()


def run_of(*rows: str, events: Sequence[StepEvents] | None = None) -> Run:
    """A run from rows of binary digits, one row an instant, one digit a net in the order of the nets."""
    instants: tuple[Instant, ...] = tuple(tuple(digit == "1" for digit in row) for row in rows)
    return Run(instants, tuple(events or [QUIET] * len(rows)))


def signal(name: str, *nets: int) -> Signal:
    return Signal(name=name, nets=nets, width=len(nets))


def step(of: Formula, word: StepWord) -> Step:
    return Step(word=word, operand=of)


def both(*parts: Formula) -> Apply:
    return Apply(operator=Operator.AND, operands=parts)


def either(*parts: Formula) -> Apply:
    return Apply(operator=Operator.OR, operands=parts)


def negated(part: Formula) -> Apply:
    return Apply(operator=Operator.NOT, operands=(part,))


TEMPO, LEVER, CHOOSE, BEAT = signal("tempo", 0), signal("lever", 1), signal("choose", 2), signal("beat", 3)

NO_FALSE_EDGE = Claim(
    name="no_false_edge",
    kind=ClaimKind.MUST,
    formula=OnlyWhen(
        left=step(BEAT, StepWord.CHANGES), right=either(step(TEMPO, StepWord.CHANGES), step(LEVER, StepWord.CHANGES))
    ),
    text="beat changes only when tempo changes or lever changes",
    expected_to_break=True,
)
RUN_FROM_TEMPO = Claim(
    name="run_from_tempo",
    kind=ClaimKind.CAN,
    formula=both(step(BEAT, StepWord.RISES), step(TEMPO, StepWord.RISES)),
    text="beat rises and tempo rises",
)
SETTLES = Claim(name="settles", kind=ClaimKind.ALWAYS_THERE, formula=Settles(), text="settles")
FALSE_EDGE = run_of("1000", "1011")


def multiplexer_design(*claims: Claim) -> Design:
    return Design(
        netlist=plain_multiplexer(),
        file="beat_source.wiring",
        claims=claims or (NO_FALSE_EDGE, RUN_FROM_TEMPO, SETTLES),
        contract="beat_source",
    )


def judged(
    claim: Claim, verdict: Verdict, run: Run | None = None, *, empty: bool = False, reason: str = ""
) -> ClaimResult:
    return ClaimResult(
        claim=claim, verdict=verdict, engine="by hand", seconds=0.25, run=run, empty=empty, reason=reason
    )
