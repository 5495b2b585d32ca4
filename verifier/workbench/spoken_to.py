"""A fresh interpreter that is given orders and answers them, through pipes.

Neither forked (this process may have threads, and solvers that do not survive a fork) nor spawned by way of the
caller's own main module (which may be a script that would run again).
"""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import dataclass
from multiprocessing.connection import Connection


@dataclass(frozen=True)
class SpokenTo:
    process: subprocess.Popen[bytes]
    orders: Connection
    answers: Connection


def fresh_interpreter(program: str) -> SpokenTo:
    """Runs the program, which gets the two file descriptors that it talks through as its arguments.

    In a process group of its own, so that a Ctrl-C at the terminal reaches the calling process alone.
    """
    reading, orders = os.pipe()
    answers, writing = os.pipe()
    path = os.pathsep.join(entry or os.getcwd() for entry in sys.path)
    try:
        process = subprocess.Popen(
            [sys.executable, "-c", program, str(reading), str(writing)],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            pass_fds=(reading, writing),
            process_group=0,
            env={**os.environ, "PYTHONPATH": path},
        )
    except BaseException:
        os.close(orders)
        os.close(answers)
        raise
    finally:
        os.close(reading)
        os.close(writing)
    return SpokenTo(process, Connection(orders, readable=False), Connection(answers, writable=False))
