"""Questions about endless runs turned into questions about bad frames.

Two ways, for the two halves of an answer. Both only add registers and inputs; the runs of the given system stay what
they are. Nothing is decided here.

`repeating` (A. Biere, C. Artho, V. Schuppan, "Liveness checking as safety checking", FMICS 2002): bad is reached
exactly when there is a lasso on which all fairness literals are seen on the loop.

`CountingSystem` (K. Claessen, N. Sorensson, "A liveness checking algorithm that counts", FMCAD 2012): bad is reached
when the fairness literals have all been seen `rounds` times over.

(F1) A lasso of `n` frames, way and loop together, on which all fairness is seen gives a bad run of the repeating system
of `n + 1` frames, and the other way round. So a shortest bad run is a shortest lasso.
(F2) If bad cannot be reached for some number of rounds, no fair endless run exists. If there is none, some number of
rounds, at most one more than the number of states, cannot be reached.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from verifier.logic.bit_graph import FALSE, Literal
from verifier.logic.transition_system import Counterexample, Invariant, Register, TransitionSystem


@dataclass(frozen=True)
class Lasso:
    """The frames from `loop_from` on can be repeated for ever."""

    frames: Counterexample
    loop_from: int


@dataclass(frozen=True)
class RepeatingSystem:
    system: TransitionSystem
    save: Literal
    """The input that says in which frame the loop begins."""

    def lasso_of(self, counterexample: Counterexample) -> Lasso:
        """The last frame only finds the state of frame `loop_from` again, so it is not part of the lasso."""
        begin = next(index for index, frame in enumerate(counterexample.frames) if frame.get(self.save, False))
        return Lasso(Counterexample(counterexample.frames[:-1]), begin)


def repeating(system: TransitionSystem) -> RepeatingSystem:
    """One frame is saved, at a moment of the solver's choice; bad when its state comes again and all was seen."""
    graph = system.graph
    fairness = system.fairness or ()
    save, saved = graph.variable("save"), graph.variable("saved")
    in_loop = graph.disjunction(save, saved)
    saves_now = graph.conjunction(save, saved ^ 1)
    registers = [Register(saved, in_loop)]
    same: list[Literal] = [saved]
    for register in system.registers:
        copy = graph.variable(f"saved {graph.names[register.variable >> 1]}")
        registers.append(Register(copy, graph.select(saves_now, register.variable, copy)))
        same.append(graph.equivalence(copy, register.variable))
    for literal in fairness:
        seen = graph.variable("seen")
        registers.append(Register(seen, graph.disjunction(seen, graph.conjunction(in_loop, literal))))
        same.append(seen)
    transformed = replace(
        system,
        registers=(*system.registers, *registers),
        inputs=(*system.inputs, save),
        bad=graph.all_of(same),
        fairness=None,
        preferences=(*system.preferences, save ^ 1),
    )
    return RepeatingSystem(transformed, save)


class CountingSystem:
    """The counting questions of one system, for one number of rounds after another.

    A round is over when each fairness literal has been 1 in some frame of it. The questions share the registers that
    say which literals were seen in this round; they differ in how rounds are counted: in unary by `after`, where the
    question for more rounds only adds registers, in binary by `below`.
    """

    def __init__(self, system: TransitionSystem) -> None:
        self._system = system
        graph = system.graph
        fairness = system.fairness or ()
        seen = [graph.variable("seen in this round") for _ in fairness]
        met = [graph.disjunction(before, now) for before, now in zip(seen, fairness, strict=True)]
        self.round_ends = graph.all_of(met)
        """1 in the frames in which the last fairness literal of a round is seen."""
        self._registers = [
            Register(before, graph.conjunction(now, self.round_ends ^ 1)) for before, now in zip(seen, met, strict=True)
        ]
        self._counters: list[Register] = []

    def plain(self) -> TransitionSystem:
        """The rounds without any counter; nothing is bad."""
        registers = (*self._system.registers, *self._registers)
        return replace(self._system, registers=registers, bad=FALSE, fairness=None)

    def below(self, rounds: int) -> TransitionSystem:
        """Bad: the round has ended that often (at least once), counted in binary."""
        graph, carry = self._system.graph, self.round_ends
        counter: list[Register] = []
        reached: list[Literal] = []
        for place in range(rounds.bit_length()):
            bit = graph.variable(f"round count {place}")
            counter.append(Register(bit, graph.exclusive_or(bit, carry)))
            carry = graph.conjunction(bit, carry)
            reached.append(bit if rounds >> place & 1 else bit ^ 1)
        plain = self.plain()
        return replace(plain, registers=(*plain.registers, *counter), bad=graph.all_of(reached))

    def no_round_ends(self) -> Invariant:
        """An invariant of `after(1)`, for a system in which a constraint or a fairness literal is the constant 0.

        What never comes is not seen, so no round ends, and none is counted.
        """
        fairness = self._system.fairness or ()
        never = [register.variable for register, now in zip(self._registers, fairness, strict=True) if now == FALSE]
        never.append(self.after(1).bad)
        return Invariant(tuple((variable ^ 1,) for variable in never))

    def after(self, rounds: int) -> TransitionSystem:
        """Bad: the round has ended that often (at least once)."""
        graph = self._system.graph
        while len(self._counters) < rounds:
            counter = graph.variable(f"rounds {len(self._counters) + 1}")
            earlier = self._counters[-1].variable if self._counters else FALSE ^ 1
            reached = graph.disjunction(counter, graph.conjunction(earlier, self.round_ends))
            self._counters.append(Register(counter, reached))
        return replace(
            self._system,
            registers=(*self._system.registers, *self._registers, *self._counters[:rounds]),
            bad=self._counters[rounds - 1].variable,
            fairness=None,
        )
