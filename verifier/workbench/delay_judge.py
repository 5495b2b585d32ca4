"""How a claim of a delay view comes to its verdict: through view, engine and second opinion.

The rule is that of `judge.py`: no proof without a second look at every state or clause, no run without the plain
simulator having lived through it.
"""

from __future__ import annotations

import dataclasses
import time
from collections.abc import Callable, Sequence

from verifier.circuit.netlist import Netlist
from verifier.claims.asked_number import Growing, asked_bound, growing, replaced
from verifier.claims.claim import Claim, ClaimKind, Design, Given, View
from verifier.claims.formula import Literal, Settles, Unit
from verifier.claims.run import Instant, Run
from verifier.claims.support import restricts
from verifier.claims.trigger import trigger_claim
from verifier.engines.chooser import Chooser
from verifier.engines.decision import Reached, Undecided, Unreachable
from verifier.engines.endless_time import TimePasses, TimeStops, time_can_pass
from verifier.engines.first_instants import has_first_instant
from verifier.engines.quiescence import AlwaysRests, NeverAtRest, decide_rest
from verifier.errors import Diagnostic, SourceError, Span
from verifier.evidence.certificate import recheck
from verifier.evidence.delay_replay import replay_delayed
from verifier.evidence.replay import Unconfirmed
from verifier.evidence.rest import confirm_rest
from verifier.evidence.verdict import ClaimResult, Trigger, Verdict
from verifier.logic.delay_system import DelayedInstant, DelaySystem
from verifier.report.pieces import listing
from verifier.views.any_delay import untimed_system
from verifier.views.delay_sources import TooManyTogether
from verifier.views.delayed import DelayedModel
from verifier.workbench.measuring import LARGEST, measure, tightest
from verifier.workbench.selection import source_line
from verifier.workbench.timed_ways import TimedWays, proved, undecided

MOST_RECHECK_SECONDS = 10.0
MOST_SECONDS_FOR_TIME = 3.0
"""For finding out whether the givens let time pass for ever."""


MOST_COUNTING_BITS = 8
"""A circuit with more storage is not taken to count with all of it: a number beyond would take too long to judge."""


class DelayJudge:
    """Judges the claims of one design in one of the delay views."""

    def __init__(
        self,
        design: Design,
        view: View,
        *,
        limit_seconds: float,
        depth: int | None,
        on_progress: Callable[[int], None] | None = None,
        witnesses: bool = False,
    ) -> None:
        """`limit_seconds` is for finding out what is permitted at all; with `witnesses`, the run that shows the trigger
        of a proved claim is kept.

        Raises SourceError when something in the circuit has no delay or no timing, or when nothing is permitted.
        """
        givens = tuple(given for given in design.givens if restricts(given, view))
        self.design = dataclasses.replace(design, givens=givens)
        self._timed = view is View.TIMED
        self._depth = depth
        self._on_progress = on_progress
        self._witnesses = witnesses
        self._model = DelayedModel(self.design, timed=self._timed)
        self._model.refuse()
        self.doubts: tuple[str, ...] = ()
        """Sentences about what could not be established beforehand."""
        self._require_runs(min(limit_seconds, MOST_SECONDS_FOR_TIME))
        self._deadline = 0.0

    def _require_runs(self, limit_seconds: float) -> None:
        """Raises SourceError when none is possible, or none that the givens permit: everything would be proved."""
        design = self.design
        if not has_first_instant(DelayedModel(dataclasses.replace(design, givens=()), timed=self._timed).anything()):
            raise self._refusal("no-power-up", f"the circuit {design.name} has no first instant in a delay view")
        fixed = dataclasses.replace(
            design,
            givens=tuple(given for given in design.givens if asked_bound(given.formula) is None),
        )
        if fixed.givens and not has_first_instant(DelayedModel(fixed, timed=self._timed).anything()):
            raise self._contradiction(fixed.givens, "no first instant obeys the {givens}")
        if fixed.givens and self._timed:
            match time_can_pass(DelayedModel(fixed, timed=True).anything(), limit_seconds=limit_seconds):
                case TimeStops():
                    raise self._contradiction(fixed.givens, "under the {givens} time cannot go on")
                case Undecided(reason=reason):
                    self.doubts = (f"timed view: not established: that the givens let time pass for ever ({reason})",)
                case TimePasses():
                    pass

    def _contradiction(self, givens: Sequence[Given], sentence: str) -> SourceError:
        told = f"given{'s' if len(givens) > 1 else ''} {listing([given.name for given in givens])}"
        message = f"circuit {self.design.name}: {sentence.format(givens=told)}"
        return self._refusal("contradictory-givens", message, givens[-1].span)

    def _refusal(self, code: str, message: str, span: Span | None = None) -> SourceError:
        span = span or self.design.span or Span(self.design.file, 1, 1, 1, 1)
        hint = "from this everything would follow, so nothing is judged"
        return SourceError([Diagnostic(code=code, message=message, span=span, excerpt=source_line(span), hint=hint)])

    def judge(self, claim: Claim, deadline: float) -> ClaimResult:
        """The verdict, once the second opinion agrees. Raises InternalDisagreement when it does not."""
        self._deadline = deadline
        try:
            return self._measured(claim)
        except TooManyTogether as too_many:
            return undecided(claim, "", str(too_many))

    def _measured(self, claim: Claim) -> ClaimResult:
        """For a `?` in the claim or in a given, the tightest number."""
        in_claim = asked_bound(claim.formula)
        in_givens = [given.name for given in self.design.givens if asked_bound(given.formula)]
        in_inputs = [f"apart of {pin.name}" for pin in self.design.netlist.inputs if pin.apart_asked and self._timed]
        if not in_givens and not in_inputs:
            longest = _longest_pulse_of_interest(self.design.netlist)
            return self._with_trigger(claim) if in_claim is None else measure(claim, self._with_trigger, longest)
        if in_claim is not None:
            return undecided(
                claim, "", "one number is measured at a time, and there is a `?` in a given or an input too"
            )
        if claim.kind is ClaimKind.CAN:
            return undecided(claim, "", "a given or an input has a `?`, which is measured for `must` alone")
        return self._leaning_on(claim, [*in_givens, *in_inputs])

    def _leaning_on(self, claim: Claim, asked: Sequence[str]) -> ClaimResult:
        """The tightest number of givens and inputs with which the claim is proved: the fewer runs obey, the easier."""
        ways = {way for given in self.design.givens if (way := growing(given.formula)) is not None}
        if any(pin.apart_asked for pin in self.design.netlist.inputs):
            ways.add(Growing.FEWER)
        permits = ways.pop() if len(ways) == 1 else Growing.UNCLEAR
        easier = {Growing.FEWER: Growing.MORE, Growing.MORE: Growing.FEWER}.get(permits, Growing.UNCLEAR)
        longest = _longest_pulse_of_interest(self.design.netlist)
        found = tightest(claim, Unit.NANOSECONDS, easier, lambda amount: self._assuming(amount, claim), longest)
        if found.measured is None:
            return found
        return dataclasses.replace(found, measured=dataclasses.replace(found.measured, of=listing(asked)))

    def _assuming(self, amount: int, claim: Claim) -> ClaimResult | None:
        """The result with this number in place of every `?` of givens and inputs; None when these contradict then."""
        givens = tuple(
            dataclasses.replace(given, formula=replaced(given.formula, amount)) for given in self.design.givens
        )
        netlist = self.design.netlist
        inputs = tuple(
            dataclasses.replace(pin, apart=amount, apart_asked=False) if pin.apart_asked else pin
            for pin in netlist.inputs
        )
        netlist = dataclasses.replace(netlist, inputs=inputs)
        design = dataclasses.replace(self.design, givens=givens, netlist=netlist)
        try:
            other = DelayJudge(
                design, View.TIMED, limit_seconds=self._left, depth=self._depth, on_progress=self._on_progress
            )
        except SourceError:
            return None
        other._deadline = self._deadline
        return other._with_trigger(claim)

    @property
    def _left(self) -> float:
        return max(self._deadline - time.monotonic(), 0.0)

    def _verdict(self, claim: Claim) -> ClaimResult:
        if isinstance(claim.formula, Settles):
            return self._rests(claim)
        return self._in_time(claim) if self._timed else self._by_steps(claim, self._model.system(claim))

    def _rests(self, claim: Claim) -> ClaimResult:
        """`settles` without delays: the engine looks at all quiet states, and so does the simulator."""
        anything = dataclasses.replace(claim, formula=Literal(value=1))
        match decide_rest(self._model.system(anything), limit_seconds=self._left):
            case NeverAtRest(instants=found, engine=engine):
                instants = self._model.instants_of(found)
                return self._confirmed(claim, engine, instants, tuple(0 for _ in instants))
            case AlwaysRests(engine=engine, quiet_states=quiet):
                try:
                    confirm_rest(self.design, self._model.instants_at(quiet), self._deadline)
                except Unconfirmed as unconfirmed:
                    return undecided(claim, engine, f"a proof could not be confirmed: {unconfirmed}")
                return dataclasses.replace(proved(claim, engine), states=len(quiet))
            case Undecided(reason=reason, engine=engine):
                return undecided(claim, engine, reason)

    def _in_time(self, claim: Claim) -> ClaimResult:
        def confirm(engine: str, found: tuple[DelayedInstant, ...]) -> ClaimResult:
            times = tuple(instant.at for instant in found)
            return self._confirmed(claim, engine, self._model.instants_of(found), times)

        return TimedWays(self._model, claim, self._deadline, self._depth, self._on_progress, confirm).result()

    def _by_steps(self, claim: Claim, delays: DelaySystem) -> ClaimResult:
        """Without delays it is a transition system like any other."""
        untimed = untimed_system(delays)
        system = untimed.system.cone_of_influence()
        match Chooser().decide(system, limit_seconds=self._left, depth=self._depth, progress=self._on_progress):
            case Reached() as reached:
                instants = self._model.instants_of(untimed.instants_of(reached.counterexample))
                return self._confirmed(claim, reached.engine, instants, tuple(0 for _ in instants))
            case Unreachable() as unreachable:
                try:
                    recheck(system, unreachable.invariant, min(max(self._left, 0.3), MOST_RECHECK_SECONDS))
                except Unconfirmed as unconfirmed:
                    return undecided(claim, unreachable.engine, f"a proof could not be confirmed: {unconfirmed}")
                result = proved(claim, unreachable.engine)
                return dataclasses.replace(result, invariant=unreachable.invariant, certified=system)
            case Undecided(reason=reason, engine=engine):
                return undecided(claim, engine, reason)

    def _confirmed(
        self, claim: Claim, engine: str, instants: tuple[Instant, ...], times: tuple[int, ...]
    ) -> ClaimResult:
        try:
            run: Run = replay_delayed(self.design, instants, times, claim, timed=self._timed)
        except Unconfirmed as unconfirmed:
            return undecided(claim, engine, f"a run was found, but could not be confirmed: {unconfirmed}")
        verdict = Verdict.SHOWN if claim.kind is ClaimKind.CAN else Verdict.BROKEN
        return ClaimResult(claim=claim, verdict=verdict, engine=engine, seconds=0.0, run=run)

    def _with_trigger(self, claim: Claim) -> ClaimResult:
        """Adds whether the trigger of a proved `must` can happen at all."""
        result = self._verdict(claim)
        if claim.kind is not ClaimKind.MUST:
            return result
        shown = trigger_claim(claim)
        if shown is None:
            return dataclasses.replace(result, trigger=Trigger.NONE)
        if result.verdict is not Verdict.PROVED:
            happens = Trigger.HAPPENS if result.verdict is Verdict.BROKEN else Trigger.OPEN
            return dataclasses.replace(result, trigger=happens)
        happening = self._verdict(shown)
        match happening.verdict:
            case Verdict.SHOWN:
                witness = happening.run if self._witnesses else None
                return dataclasses.replace(result, trigger=Trigger.HAPPENS, witness=witness)
            case Verdict.IMPOSSIBLE:
                return dataclasses.replace(result, trigger=Trigger.NEVER, empty=True)
            case _:
                return dataclasses.replace(result, trigger=Trigger.OPEN)


def _longest_pulse_of_interest(netlist: Netlist) -> int:
    """Twice the sum of all times that the circuit and its inputs can take, for all that storage can count to."""
    drivers = netlist.drivers.values()
    delays = sum(max(d.takes.rise.high, d.takes.fall.high) for d in drivers if d.takes is not None)
    inputs = sum(stretch.high for pin in netlist.inputs for stretch in (pin.high, pin.low) if stretch is not None)
    once = max(1, 2 * (delays + inputs + max((pin.apart or 0 for pin in netlist.inputs), default=0)))
    storage = len(netlist.flip_flops) + len(netlist.latches) + len(netlist.set_resets)
    return min(once << min(storage, MOST_COUNTING_BITS), LARGEST)
