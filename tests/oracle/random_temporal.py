"""Random small designs with claims that need an endless run, and givens that restrict endless runs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from random import Random

from oracle.laws import (
    LAWS,
    NO_LAWS,
    again,
    always,
    both,
    changes,
    either,
    eventually,
    following,
    implies,
    no,
    once,
    until,
)
from oracle.random_designs import random_design
from oracle.random_formulas import FormulaMaker, text_of
from oracle.wiring import can, design_of, must
from verifier.circuit.netlist import InputClass, Netlist
from verifier.claims.claim import Claim, Design, Given
from verifier.claims.formula import Formula, LeadsTo, Never, OnlyWhen, Signal

MOST_FUTURE_WORDS = 3
"""In one claim, laws excepted: each doubles what the oracle has to walk."""
CLASSES = {InputClass.FREE_RUNNING: 5, InputClass.FREE: 3, InputClass.BY_HAND: 2, InputClass.STRAPPED: 1}


class TemporalMaker(FormulaMaker):
    """Draws formulas in which words of the past, the present and the future stand in one another."""

    def __init__(self, random: Random, netlist: Netlist) -> None:
        super().__init__(random, netlist)
        self.future_left = 0
        self.running = [
            Signal(name=netlist.nets[net].name, nets=(net,))
            for pin in netlist.inputs
            if pin.input_class is InputClass.FREE_RUNNING
            for net in pin.nets[:1]
            if len(pin.nets) == 1
        ]

    def formula(self, depth: int) -> Formula:
        if self.future_left > 0 and self.random.random() < 0.4:
            return self.future(depth)
        return super().formula(depth)

    def future(self, depth: int) -> Formula:
        self.future_left -= 1
        kind = self.random.randrange(6)
        if kind == 0:
            return following(self.formula(depth - 1))
        if kind == 1:
            return always(self.formula(depth - 1))
        if kind == 2:
            return eventually(self.formula(depth - 1))
        if kind == 3:
            return again(self.formula(depth - 1))
        if kind == 4:
            return eventually(always(self.formula(depth - 1)))
        return until(self.formula(depth - 1), self.formula(depth - 1))

    def temporal(self) -> Formula:
        """At least one word of the future somewhere."""
        self.future_left = self.random.randrange(1, MOST_FUTURE_WORDS + 1)
        outside = self.random.random()
        if outside < 0.5:
            return self.future(2)
        if outside < 0.75:
            return once(self.future(1)) if self.random.random() < 0.3 else no(self.future(2))
        return self.random.choice((both, either, implies))(self.formula(1), self.future(1))

    def present(self, depth: int = 1) -> Formula:
        self.future_left = 0
        return super().formula(depth)

    # Claims

    def claim(self, name: str) -> Claim:
        if self.random.random() < 0.1:
            self.future_left = 0
            return super().claim(name)
        if self.random.random() < 0.3:
            formula = self.random.choice((self.temporal, self._contradiction, self._stuck))()
            if self.random.random() < 0.1:
                self.future_left = 0
                formula = eventually(self._rare())
            return can(name, formula, text_of(formula))
        makers: tuple[tuple[Callable[[], Formula], int], ...] = (
            (self.temporal, 3),
            (self._answered, 4),
            (self._likely, 4),
            (self._law, 3),
            (self._pattern, 3),
            (self._plainly_always, 1),
        )
        formula = self.random.choices([maker for maker, _ in makers], [weight for _, weight in makers])[0]()
        return must(name, formula, text_of(formula))

    def _law(self) -> Formula:
        laws = LAWS if self.random.random() < 0.7 else NO_LAWS
        law = laws[self.random.choice(sorted(laws))]
        formula = law(self.present(), self.present())
        return always(formula) if self.random.random() < 0.2 else formula

    def _plainly_always(self) -> Formula:
        """What a finite piece of a run breaks, if it can go on."""
        self.future_left = 0
        return always(no(self._rare()))

    def _contradiction(self) -> Formula:
        """Often impossible, often only nearly so."""
        one, other = self.present(), self.present(0)
        if self.random.random() < 0.4:
            law = self.random.choice((LAWS, LAWS, NO_LAWS))
            return no(law[self.random.choice(sorted(law))](one, other))
        if self.random.random() < 0.5:
            return both(always(no(one)), self.random.choice((again, eventually))(either(both(one, other), one)))
        return both(until(one, other), always(no(both(other, self.bit()))))

    def _stuck(self) -> Formula:
        """A signal that stays for good, which a free-running input does not, nor what it drives."""
        signal = self.random.choice(self.running) if self.running and self.random.random() < 0.5 else self.bit()
        kept = self.random.choice((signal, no(signal), no(changes(signal))))
        return always(kept) if self.random.random() < 0.5 else eventually(always(both(kept, self.present())))

    def _likely(self) -> Formula:
        """Often true, and for a reason: what the free-running inputs bring about, or what is there already."""
        signal = self.random.choice(self.running) if self.running and self.random.random() < 0.7 else self.bit()
        goal = either(self.random.choice((signal, no(signal), changes(signal))), self.present())
        kind = self.random.randrange(4)
        if kind == 0:
            return again(goal)
        if kind == 1:
            return eventually(goal)
        if kind == 2:
            return LeadsTo(left=self.present(), right=goal)
        return implies(always(self.present()), again(both(goal, self._disjunction())))

    def _answered(self) -> Formula:
        """`leads to` without a bound, about the future itself now and then."""
        self.future_left = self.random.choice((0, 0, 1, 2))
        left = self.formula(1)
        if self.random.random() < 0.3:
            left = both(left, always(self.formula(1)))
        right = self.random.choice((self._disjunction, self._reply))()
        return LeadsTo(left=left, right=either(right, no(left)) if self.random.random() < 0.15 else right)

    def _pattern(self) -> Formula:
        self.future_left = 2
        kind = self.random.randrange(4)
        if kind == 0:
            return OnlyWhen(left=self._trigger(), right=self.formula(2))
        if kind == 1:
            return Never(operand=both(self.formula(1), self.formula(2)))
        if kind == 2:
            return implies(self.formula(1), self.formula(2))
        return self._leads_to()

    def given(self, name: str) -> Given:
        kind = self.random.random()
        self.future_left = 0
        if kind < 0.15:
            return super().given(name)
        if kind < 0.5:
            formula: Formula = again(self.present())
        elif kind < 0.7:
            formula = LeadsTo(left=self.present(), right=self.present())
        elif kind < 0.8:
            formula = self._stuck()
        else:
            formula = self.temporal()
        return Given(name=name, formula=formula, text=text_of(formula))


def random_temporal_design(random: Random) -> Design:
    netlist = _with_classes(random, random_design(random).netlist)
    maker = TemporalMaker(random, netlist)
    claims = [maker.claim(f"claim_{number}") for number in range(random.choice((1, 1, 2)))]
    givens = [maker.given(f"given_{number}") for number in range(random.choices((0, 1, 2), (70, 24, 6))[0])]
    return design_of(netlist, claims, givens)


def _with_classes(random: Random, netlist: Netlist) -> Netlist:
    inputs = tuple(
        replace(pin, input_class=random.choices(list(CLASSES), list(CLASSES.values()))[0]) for pin in netlist.inputs
    )
    return replace(netlist, inputs=inputs)
