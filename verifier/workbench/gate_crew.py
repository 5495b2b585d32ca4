"""The orders of a gate, carried out by several processes side by side.

A process that dies or does not answer in time loses the order it had, which leaves those claims undecided, and another
one takes its place. When something is raised, none is left behind.
"""

from __future__ import annotations

import contextlib
import os
import subprocess
import time
from multiprocessing.connection import Connection, wait

from verifier.evidence.gate_outcome import Trouble, TroubleKind
from verifier.workbench.gate import Plan
from verifier.workbench.gate_orders import Answer, GateTerms, Order, answer_with
from verifier.workbench.worker_pool import fresh_interpreter, memory_bytes, uninterrupted

GRACE_SECONDS = 3.0
"""How long after the end of its time an order is waited for: a process starts up within it."""
_PROGRAM = "import sys; from verifier.workbench.gate_worker import main; main(int(sys.argv[1]), int(sys.argv[2]))"


def work_side_by_side(plan: Plan, terms: GateTerms, processes: int) -> None:
    """Returns when the plan has no order left and every answer has been taken."""
    hands: list[_Hand] = []
    idle: list[_Hand] = []
    memory = min(memory_bytes(), 2 * memory_bytes() // processes)
    try:
        while True:
            while len(hands) - len(idle) < processes and (order := plan.next_order()) is not None:
                if not idle:
                    with uninterrupted():  # a process that nobody has noted down yet would outlive a Ctrl-C
                        hands.append(_Hand(terms, memory))
                        idle.append(hands[-1])
                idle.pop().give(order)
            busy = [hand for hand in hands if hand.order is not None]
            if not busy:
                return
            patience = max(min(hand.time_left for hand in busy), 0.0)
            speaking = wait([hand.answers for hand in busy], timeout=patience)
            for hand in busy:
                if hand.answers in speaking or hand.time_left <= 0:
                    answer = hand.hear(speaking=hand.answers in speaking)
                    plan.take(answer)
                    if hand.is_gone:
                        hand.end()
                        hands.remove(hand)
                    else:
                        idle.append(hand)
    finally:
        with uninterrupted():
            for hand in hands:
                hand.end()


class _Hand:
    """One process, and the order it is at."""

    def __init__(self, terms: GateTerms, memory: int) -> None:
        self.order: Order | None = None
        self.is_gone = False
        self._until = 0.0
        theirs, orders = os.pipe()
        answers, also_theirs = os.pipe()
        self._orders = Connection(orders, readable=False)
        self.answers = Connection(answers, writable=False)
        try:
            self._process = fresh_interpreter(_PROGRAM, theirs, also_theirs)
        finally:
            os.close(theirs)
            os.close(also_theirs)
        self._send((terms, memory))

    @property
    def time_left(self) -> float:
        return self._until - time.monotonic()

    def give(self, order: Order) -> None:
        self.order = order
        self._until = time.monotonic() + order.limit + GRACE_SECONDS
        self._send(order)

    def _send(self, message: object) -> None:
        try:
            self._orders.send(message)
        except OSError:
            self.is_gone = True  # it will be heard that it says nothing any more

    def hear(self, *, speaking: bool) -> Answer:
        """The answer to the order, or that there is none."""
        order, self.order = self.order, None
        assert order is not None
        if not speaking:
            self.is_gone = True
            return answer_with(order, _lost(f"no answer within {order.limit:.0f} s"))
        try:
            answer: Answer = self.answers.recv()
        except (EOFError, OSError):
            self.is_gone = True
            return answer_with(order, _lost("its process ended by itself"))
        return answer

    def end(self) -> None:
        self._process.kill()
        with contextlib.suppress(subprocess.TimeoutExpired):
            self._process.wait(timeout=5)
        self._orders.close()
        self.answers.close()


def _lost(text: str) -> Trouble:
    return Trouble(kind=TroubleKind.LOST, text=text)
