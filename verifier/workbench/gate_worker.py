"""A process that carries out the orders of a gate, one after another, and is started by `gate_crew.py` alone.

It loads the solvers once, however many files it gets. It ends as soon as the process that started it is gone.
"""

from __future__ import annotations

import os
import signal
import threading
from multiprocessing.connection import Connection
from queue import SimpleQueue

from verifier.evidence.gate_outcome import Trouble, TroubleKind
from verifier.workbench.gate_judging import GateJudging
from verifier.workbench.gate_orders import Answer, GateTerms, Order, answer_with
from verifier.workbench.worker import limit_memory


def main(reading: int, writing: int) -> None:
    """Reads the terms and the bytes of memory it may use, then orders, from `reading`; writes answers to `writing`."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    orders, answers = Connection(reading, writable=False), Connection(writing, readable=False)
    waiting: SimpleQueue[Order] = SimpleQueue()
    try:
        terms: GateTerms
        terms, memory_bytes = orders.recv()
        limit_memory(memory_bytes)
        threading.Thread(target=_listen, args=(orders, waiting), daemon=True).start()
        judging = GateJudging(terms)
        while True:
            answers.send(_answer(judging, waiting.get()))
    except (EOFError, OSError):
        os._exit(1)  # nobody is there any more


def _listen(orders: Connection, waiting: SimpleQueue[Order]) -> None:
    """Hands orders on, and notices at once when the starter is gone."""
    try:
        while True:
            waiting.put(orders.recv())
    except (EOFError, OSError):
        os._exit(1)


def _answer(judging: GateJudging, order: Order) -> Answer:
    try:
        return judging.carry_out(order)
    except MemoryError:
        return answer_with(order, Trouble(kind=TroubleKind.LOST, text="the memory did not suffice"))
    except Exception as error:
        if "out of memory" in str(error):  # how z3 says it
            return answer_with(order, Trouble(kind=TroubleKind.LOST, text="the memory did not suffice"))
        return answer_with(order, Trouble(kind=TroubleKind.FAILURE, text=f"{type(error).__name__}: {error}"))
