"""How long the command takes as a whole process, and how much memory: the figures of DEVELOPERS.md.

Run from the project's root with the environment's Python: `python tests/benchmarks/whole_process.py`.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
SPECS = sorted((ROOT / "specs").glob("*.wiring"))
ROUNDS = 9


@dataclass(frozen=True)
class Cost:
    seconds: float
    """The fastest of the rounds: what else the machine does only adds to it."""
    peak_mib: float


def cost_of(command: list[str], rounds: int = ROUNDS) -> Cost:
    """Runs the command that often, its output thrown away."""
    seconds = []
    peak = 0.0
    for _ in range(rounds):
        begin = time.perf_counter()
        process = subprocess.Popen(command, cwd=ROOT, stdout=subprocess.DEVNULL)
        _, status, usage = os.wait4(process.pid, 0)
        seconds.append(time.perf_counter() - begin)
        process.returncode = os.waitstatus_to_exitcode(status)
        if process.returncode not in (0, 1, 3):
            raise SystemExit(f"{' '.join(command)} ended with {process.returncode}")
        peak = max(peak, usage.ru_maxrss / 1024)
    return Cost(min(seconds), peak)


def main() -> None:
    check = [sys.executable, "-m", "verifier", "check"]
    libraries = cost_of([sys.executable, "-c", "import z3, lark, rich"])
    first = cost_of([*check, "specs/beat_source.wiring"])
    shelf = [(path.name, cost_of([*check, str(path.relative_to(ROOT))], rounds=3)) for path in SPECS]
    print(f"{'what':34} {'seconds':>8} {'MiB':>6}")
    print(f"{'import z3, lark, rich':34} {libraries.seconds:8.3f} {libraries.peak_mib:6.0f}")
    for name, cost in shelf:
        print(f"{name:34} {cost.seconds:8.3f} {cost.peak_mib:6.0f}")
    total, peak = sum(cost.seconds for _, cost in shelf), max(cost.peak_mib for _, cost in shelf)
    print(f"{'whole shelf, one process each':34} {total:8.3f} {peak:6.0f}   goals: 20 s, 300 MiB")
    print(f"ratio of beat_source.wiring to the libraries: {first.seconds / libraries.seconds:.2f}   goal: 2.5")


if __name__ == "__main__":
    main()
