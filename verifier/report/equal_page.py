"""The page that `equal` prints: the answer, the run that tells the two circuits apart, and what the answer rests on."""

from __future__ import annotations

from verifier.claims.formula import Compare, Formula, Signal, walk
from verifier.claims.run import Run
from verifier.evidence.verdict import ClaimResult, DesignResult, Verdict
from verifier.report.pieces import Line, Tone, clean, line, listing, paragraph
from verifier.report.signals import shown_signals
from verifier.report.table import run_table
from verifier.report.verdicts import footer_lines, power_up_lines


def equal_lines(result: DesignResult, *, width: int) -> list[Line]:
    lines: list[Line] = []
    for claim in result.claims:
        lines += _answer(result, claim, width)
    if result.interrupted:
        lines += _sentence(result, "were being compared when this was interrupted: no answer yet", Tone.DOUBTFUL, width)
    return [*lines, line(), *footer_lines([result], width=width)]


def _sentence(result: DesignResult, end: str, tone: Tone, width: int) -> list[Line]:
    return paragraph(f"{clean(result.design.name)} {end}", width=width, tone=tone)


def _answer(result: DesignResult, claim: ClaimResult, width: int) -> list[Line]:
    if claim.verdict is Verdict.PROVED:
        return _sentence(result, "behave the same for ever", Tone.GOOD, width)
    if claim.run is None:
        reason = f"may or may not behave the same: {clean(claim.reason)}"
        return _sentence(result, reason, Tone.DOUBTFUL, width)
    netlist, run = result.design.netlist, claim.run
    signals = shown_signals(netlist)
    told = f"they differ at step {len(run) - 1}: {clean(_difference(claim.claim.formula, run))}"
    return [
        *_sentence(result, "do not behave the same; this is the shortest way to tell them apart:", Tone.BAD, width),
        line(),
        *run_table(netlist, run, signals, width=width),
        line(),
        *paragraph(told, width=width, first="    ", then="    ", tone=Tone.BAD),
        *power_up_lines(result.design, run, claim_shows={signal.name for signal in signals}, width=width),
        *_other_question(run, width),
    ]


def _other_question(run: Run, width: int) -> list[Line]:
    """Circuits that merely start differently deserve a second look."""
    if len(run) > 1:
        return []
    text = "they differ from the start; `--power-up matching` asks whether they do so from states that agree as well"
    return paragraph(text, width=width, first="    ", then="    ", tone=Tone.QUIET)


def _difference(formula: Formula, run: Run) -> str:
    """The pairs of outputs that do not agree at the last instant, with their values."""
    last = run.instants[-1]

    def value(signal: Formula) -> int:
        nets = signal.nets if isinstance(signal, Signal) else ()
        return sum(last[net] << position for position, net in enumerate(nets))

    pairs = [(node.left, node.right) for node in walk(formula) if isinstance(node, Compare)]
    return listing(
        [
            f"{left.name} is {value(left)}, {right.name} is {value(right)}"
            for left, right in pairs
            if isinstance(left, Signal) and isinstance(right, Signal) and value(left) != value(right)
        ]
    )
