"""The page that `explain` prints: the verdict, then why, then what it rests on.

Of a run: what matters, with a dot for every value that does not, and the chain of causes. Of a proof: the invariant in
words, and what it leans on. What is not explained is said.
"""

from __future__ import annotations

from collections.abc import Sequence

from verifier.circuit.netlist import NetId, Netlist
from verifier.claims.claim import Claim, ClaimKind, Design
from verifier.evidence.explanation import (
    At,
    EndlessReason,
    Explanation,
    Kind,
    Leaned,
    Leaning,
    ProofWords,
    Reason,
    Smallness,
    Tried,
)
from verifier.evidence.verdict import DesignResult, Verdict
from verifier.report.breach import what_happened
from verifier.report.causal_chain import chain_lines
from verifier.report.doing import KEEP_TOGETHER
from verifier.report.pieces import Line, Piece, Tone, clean, line, listing, paragraph
from verifier.report.signals import Shown, level, shown_signals
from verifier.report.table import run_table
from verifier.report.verdicts import TONES, claim_lines, footer_lines, run_lines

WIDEST_PATTERN = 8
"""Bits of a bus that are shown in one column although some of them do not matter."""
TEXT = "  "
"""In front of running text."""


def explain_lines(explanation: Explanation, *, width: int) -> list[Line]:
    """The whole page."""
    design, result, reason = explanation.design, explanation.result, explanation.reason
    lines = [line(Piece(clean(design.name), Tone.HEADING), Piece(f"  ({clean(design.file)})", Tone.QUIET))]
    lines += claim_lines(result, name_width=len(result.claim.name), width=width)
    runs = run_lines(design, result, width=width) if reason is None else []
    told = "always there: " if result.claim.kind is ClaimKind.ALWAYS_THERE else f"{result.claim.kind.value} "
    if result.run is None or not runs:  # a run of the verdict begins with the claim
        lines += paragraph(told + clean(result.claim.text), width=width, first=TEXT, then="      ", tone=Tone.QUIET)
    if isinstance(reason, Reason):
        lines += _run_matters(explanation, reason, width)
    elif reason is not None:
        lines += _endless_matters(explanation, reason, width)
    elif runs:
        lines += [line(), *runs]
    if explanation.proof is not None:
        lines += [line(), line(Piece("Why it holds", Tone.HEADING)), *_proof(explanation.proof, result.empty, width)]
    if explanation.leaned:
        lines += [
            line(),
            line(Piece("What the proof leans on", Tone.HEADING)),
            *_leaned(explanation.leaned, result.verdict, width),
        ]
    lines += [row for note in explanation.notes for row in _not_explained(note, width)]
    judged = DesignResult(design=design, claims=(result,), assumes=explanation.assumes)
    return [*lines, line(), *footer_lines([judged], width=width)]


def _not_explained(note: str, width: int) -> list[Line]:
    return [line(), *paragraph(clean(note), width=width, first="note: ", then="      ", tone=Tone.DOUBTFUL)]


# A finite run


def _run_matters(explanation: Explanation, reason: Reason, width: int) -> list[Line]:
    design, claim, run = explanation.design, explanation.result.claim, reason.run
    netlist = design.netlist
    shows = reason.nets | {At(step, net) for name, step in reason.pins for net in _pin(netlist, name)}

    def matters(net: NetId, step: int) -> bool:
        return At(step, net) in shows

    signals, left_out = _columns(netlist, claim, shows, len(run))
    has_dots = any(not matters(net, step) for one in signals for net in one.nets for step in range(len(run)))
    deeds = [_deed(netlist, reason, step) for step in range(len(run))]
    word, tone = explanation.result.verdict.value, TONES[explanation.result.verdict]
    happened = f"{word} at step {len(run) - 1}: {clean(what_happened(claim, run, netlist))}"
    return [
        line(),
        line(Piece("What matters", Tone.HEADING)),
        *paragraph(_how_much(netlist, reason), width=width, first=TEXT, then=TEXT),
        line(),
        *run_table(netlist, run, signals, width=width, told=deeds, matters=matters),
        line(),
        *paragraph(happened, width=width, first="    ", then="    ", tone=tone),
        *(
            paragraph(_dots(design, reason, left_out), width=width, first="    ", then="    ", tone=Tone.QUIET)
            if has_dots
            else []
        ),
        *(
            paragraph(_tried(reason.tried, word), width=width, first="    ", then="    ", tone=Tone.QUIET)
            if not (has_dots and _is_forced(reason))
            else []
        ),
        *_chain(netlist, reason, width),
    ]


def _columns(netlist: Netlist, claim: Claim, shows: frozenset[At], steps: int) -> tuple[list[Shown], list[str]]:
    """Inputs, and whatever else has a value that matters; and the names of outputs that play no part."""
    nets = {at.net for at in shows}
    in_buses = {net: name for name, bits in netlist.signals.items() if len(bits) > 1 for net in bits}
    further = [in_buses.get(net, netlist.nets[net].name) for net in sorted(nets) if not netlist.nets[net].anonymous]
    signals = shown_signals(netlist, claim, [name for name in further if name in netlist.signals])
    kept = [one for one in signals if one.input_class is not None or not nets.isdisjoint(one.nets)]
    left_out = [one.name for one in signals if one not in kept]
    return [column for one in kept for column in _bit_by_bit(netlist, one, shows, steps)], left_out


def _bit_by_bit(netlist: Netlist, signal: Shown, shows: frozenset[At], steps: int) -> list[Shown]:
    """The bits that matter, of a wide bus of which not all do."""
    whole = all(At(step, net) in shows for step in range(steps) for net in signal.nets)
    if signal.input_class is not None or signal.width <= WIDEST_PATTERN or whole:
        return [signal]
    nets = {at.net for at in shows}
    return [Shown(name=netlist.nets[net].name, nets=(net,)) for net in signal.nets if net in nets]


def _pin(netlist: Netlist, name: str) -> tuple[NetId, ...]:
    return next(pin.nets for pin in netlist.inputs if pin.name == name)


def _deed(netlist: Netlist, reason: Reason, step: int) -> str:
    """What must be done at this step; what the inputs that do not matter do is not told."""
    run = reason.run
    shows = reason.nets | {At(at, net) for name, at in reason.pins for net in _pin(netlist, name)}
    told, free = [], False
    for pin in (Shown(name=pin.name, nets=pin.nets, input_class=pin.input_class) for pin in netlist.inputs):
        if not all(At(step, net) in shows for net in pin.nets):
            free = True
            continue
        value = pin.value(run.instants[step])
        if step == 0 or not all(At(step - 1, net) in shows for net in pin.nets):
            told.append(f"{pin.name}{KEEP_TOGETHER}{level(pin, value)}")
        elif value != pin.value(run.instants[step - 1]):
            change = f"goes to {value}" if pin.width > 1 else "rises" if value else "falls"
            told.append(f"{pin.name}{KEEP_TOGETHER}{change}")
    words = ", ".join(told)
    if step == 0:
        return f"power up with {words}" if words else "power up"
    return words or ("anything" if free else "wait")


def _how_much(netlist: Netlist, reason: Reason) -> str:
    steps = len(reason.run)
    inputs = len(netlist.inputs) * steps
    parts = [f"{len(reason.pins)} of the {inputs} values of inputs"] if inputs else []
    at_first = [netlist.nets[at.net].name for at in reason.chances if at.step == 0]
    if at_first:
        parts.append(f"how {clean(listing(at_first))} happened to power up")
    if reason.unseen:
        where = listing([f"step {step}" if step else "power-up" for step in reason.unseen])
        parts.append(f"which way the circuit goes at {where}")
    told = f"{listing(parts) or 'Nothing'}: {_size(reason.smallness, len(reason.pins) + len(at_first))}."
    follows = "The other values in the table follow from them." if reason.pins or at_first else ""
    return f"{told} {follows}".rstrip()


def _size(smallness: Smallness, number: int) -> str:
    if smallness is Smallness.SMALLEST and number == 0:
        return "it happens whatever the inputs do"
    return smallness.value


def _dots(design: Design, reason: Reason, left_out: Sequence[str]) -> str:
    if _is_forced(reason):
        rules = "the rules about inputs and the givens" if design.givens else "the rules about inputs"
        told = (
            f"a dot: what is there follows from the other values by {rules}; no other input sequence has these values"
        )
    else:
        end = "the circuit can still go so that it happens" if reason.unseen else "it happens all the same"
        told = f"a dot: an input may be either way there, as far as the rules about inputs permit, and {end}"
    return told + (f". No part in it: {clean(listing(left_out))}" if left_out else "")


def _is_forced(reason: Reason) -> bool:
    """Every input sequence with the values that matter was tried, and it is the one that is shown."""
    tried = reason.tried
    return tried is not None and tried.every and tried.differing == 0 and not reason.unseen


def _tried(tried: Tried | None, word: str) -> str:
    if tried is None:
        return "the plain simulator did not try other values: there was too much to try"
    if tried.differing == 0 and tried.every:
        return "no other input sequence has these values"
    if tried.differing == 1:
        number = "1 other input sequence has these values; it was played"
    elif tried.every:
        number = f"{tried.differing} other input sequences have these values; all were played"
    else:
        number = f"{tried.differing} of the other input sequences with these values were played"
    return f"{number}: {word} at that step too"


def _chain(netlist: Netlist, reason: Reason, width: int) -> list[Line]:
    rows = chain_lines(netlist, reason.run, reason.links, reason.roots, width=width)
    if not rows:
        return []
    return [line(), line(Piece("How it comes about", Tone.HEADING)), *rows]


# An endless run


def _endless_matters(explanation: Explanation, reason: EndlessReason, width: int) -> list[Line]:
    design, claim, run = explanation.design, explanation.result.claim, reason.run
    netlist = design.netlist
    inputs = frozenset(netlist.input_nets)

    def matters(net: NetId, step: int) -> bool:
        return net in inputs or At(step, net) in reason.nets

    signals, left_out = _columns(netlist, claim, reason.nets, len(run))
    happened = f"{explanation.result.verdict.value}: {clean(what_happened(claim, run, netlist))}"
    moving = [netlist.nets[net].name for net in reason.moving]
    in_loop = f"in the loop these change: {clean(listing(moving))}" if moving else "in the loop nothing changes"
    beside = f"; no part in it: {clean(listing(left_out))}" if left_out else ""
    return [
        line(),
        line(Piece("What matters", Tone.HEADING)),
        *paragraph(_how_much_for_ever(netlist, reason), width=width, first=TEXT, then=TEXT),
        line(),
        *run_table(netlist, run, signals, width=width, matters=matters),
        line(),
        *paragraph(happened, width=width, first="    ", then="    ", tone=TONES[explanation.result.verdict]),
        *paragraph(in_loop + beside, width=width, first="    ", then="    ", tone=Tone.QUIET),
        line(),
        line(Piece("How it comes about", Tone.HEADING)),
        *chain_lines(netlist, run, reason.links, reason.roots, width=width),
    ]


def _how_much_for_ever(netlist: Netlist, reason: EndlessReason) -> str:
    if reason.smallness is Smallness.LOOSE:
        return (
            f"The {reason.candidates} values of the nets that the claim names: too many to find out which of them it "
            "hangs on."
        )
    by_net: dict[NetId, list[int]] = {}
    for at in sorted(reason.roots):
        by_net.setdefault(at.net, []).append(at.step)
    told = [f"{netlist.nets[net].name} at step{'s' if len(steps) > 1 else ''} {listing([*map(str, steps)])}"
            for net, steps in by_net.items()]  # fmt: skip
    return f"By the words of the claim, {clean(listing(told)) or 'nothing'}: {reason.smallness.value}."


# A proof


def _proof(proof: ProofWords, empty: bool, width: int) -> list[Line]:
    lines: list[Line] = []
    if empty:
        text = "Its trigger can never happen, so it asks for nothing: that is what is proved."
        lines += paragraph(text, width=width, first=TEXT, then=TEXT, tone=Tone.DOUBTFUL)
    if not proof.clauses:
        text = (
            "It follows from one step alone: whatever state the circuit is in, reachable or not, no permitted step "
            "breaks the claim, and no first instant does. No invariant is needed."
        )
        return [*lines, *paragraph(text, width=width, first=TEXT, then=TEXT)]
    if proof.rounds is not None:
        lines += paragraph(_rounds(proof.rounds), width=width, first=TEXT, then=TEXT)
    if proof.sentences:
        heading = "At every instant of every permitted run:"
        lines += paragraph(heading, width=width, first=TEXT, then=TEXT)
        for sentence in proof.sentences:
            lines += paragraph(clean(sentence), width=width, first="    - ", then="      ")
    return [*lines, *paragraph(_standing(proof), width=width, first=TEXT, then=TEXT, tone=Tone.QUIET)]


def _rounds(rounds: int) -> str:
    return (
        f"A run that breaks it would have to go through one round after another for ever, where a round is over when "
        f"everything that such a run owes has come once. None gets through {rounds}."
    )


def _standing(proof: ProofWords) -> str:
    size = [f"{proof.clauses} clause{'s' if proof.clauses != 1 else ''}, {proof.literals} literals"]
    if proof.clauses_found > proof.clauses:
        size.append(f"of {proof.clauses_found} clauses that were found first")
    hidden = f"{proof.hidden} clause{'s' if proof.hidden != 1 else ''} about the proof's own bookkeeping"
    if not proof.sentences:
        what = f"The invariant is {hidden}, which cannot be told in words of nets. It holds"
    elif proof.hidden:
        what = f"With {hidden}, which cannot be told in words of nets, they hold"
    else:
        what = "They hold" if len(proof.sentences) > 1 else "It holds"
    them, they = ("it", "it") if what == "It holds" or not proof.sentences else ("them", "they")
    end = f"None of {them} can be left out" if proof.minimal else f"Maybe not all of {they} is needed: the time ran out"
    as_claims = ""
    if proof.as_claims and proof.sentences:
        each = "Each line" if len(proof.sentences) > 1 else "The line"
        as_claims = f" {each} may stand in the file as a `must`."
    return (
        f"{what} at the first instant, every step keeps {them}, and with {them} no step breaks the claim "
        f"({', '.join(size)}). {end}. A fresh solver agreed.{as_claims}"
    )


# What it leans on


def _leaned(leaned: Sequence[Leaned], verdict: Verdict, width: int) -> list[Line]:
    lines: list[Line] = []
    for which in Leaning:
        for one in (one for one in leaned if one.leaning is which):
            tone = {Leaning.LEANS: Tone.PLAIN, Leaning.NOT: Tone.QUIET, Leaning.OPEN: Tone.DOUBTFUL}[which]
            margin = TEXT + which.value.ljust(16) + "  "
            text = clean(one.what) + _end(one, verdict)
            lines += paragraph(text, width=width, first=margin, then=" " * len(margin), tone=tone)
    return [*lines, *_given_up(leaned, width)]


def _end(one: Leaned, verdict: Verdict) -> str:
    if one.run is None:
        return f" ({clean(one.reason)})" if one.reason else ""
    done = "breaks the claim" if verdict is Verdict.PROVED else "shows it"
    if one.run.loop_from is not None:
        return f" (without it an endless run {done})"
    last = len(one.run) - 1
    return f" (without it a run {done} at {f'step {last}' if last else 'power-up'})"


def _given_up(leaned: Sequence[Leaned], width: int) -> list[Line]:
    together = [one for one in leaned if one.together]
    alone = [one for one in leaned if one.leaning is Leaning.NOT and not one.together]
    lines: list[Line] = []
    if together:
        text = "Proved again, and the proof judged again, "
        if not alone and len(together) > 1:
            text += "with all that it does not lean on given up at once."
        elif not alone:
            text += "with that one given up."
        else:
            text += "with these given up at once: " + clean("; ".join(one.what for one in together)) + "."
        lines += [line(), *paragraph(text, width=width, first=TEXT, then=TEXT)]
    if alone:
        text = "Each of these can be given up too, but not with all the others: "
        text += clean("; ".join(one.what for one in alone)) + "."
        lines += paragraph(text, width=width, first=TEXT, then=TEXT)
    givens = [one.name for one in together if one.kind is Kind.GIVEN]
    if givens:
        text = f"As far as this claim goes, {clean(listing(givens))} may be removed from the file."
        lines += paragraph(text, width=width, first=TEXT, then=TEXT, tone=Tone.GOOD)
    return lines
