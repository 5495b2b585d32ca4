"""A second run of `gate` over an unchanged shelf against the first, as whole processes.

`python tests/benchmarks/gate.py` prints it;
with `--write` the table goes into `results/gate.md`. Seconds by the clock, in brackets of all processors together; the
factors are of the latter, which a busy machine disturbs less.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
sys.path[:0] = [str(ROOT)]

from verifier.claims.claim import View  # noqa: E402
from verifier.language import load  # noqa: E402

SHELF = sorted(str(path.relative_to(ROOT)) for path in (ROOT / "specs").glob("*.wiring"))


def is_timed(path: str) -> bool:
    return any(claim.view is View.TIMED for design in load(ROOT / path).designs for claim in design.claims)


@dataclass(frozen=True)
class Took:
    """Seconds of one run, the processes that it started included."""

    wall: float
    processor: float

    def __str__(self) -> str:
        return f"{self.wall:.1f} ({self.processor:.1f})"


def timed(*arguments: str) -> Took:
    """One run of the command line. Raises SystemExit when the gate is not passed."""
    command = [sys.executable, "-m", "verifier", "gate", *arguments, "--limit", "7200"]
    before, started = os.times(), time.perf_counter()
    code = subprocess.run(command, cwd=ROOT, stdout=subprocess.DEVNULL).returncode
    after = os.times()
    if code != 0:
        raise SystemExit(f"{' '.join(arguments)} ended with {code}")
    spent = after.children_user - before.children_user + after.children_system - before.children_system
    return Took(time.perf_counter() - started, spent)


def row(name: str, files: list[str], folder: str, options: list[str]) -> str:
    record = str(Path(folder) / "record.json")
    first = timed(*files, *options, "--record", record)
    again = timed(*files, *options, "--against", record)
    trusting = timed(*files, *options, "--against", record, "--trust-unchanged")
    size = os.path.getsize(record) / 1024
    return (
        f"| {name} | {len(files)} | {first} | {again} | {first.processor / again.processor:.1f} "
        f"| {trusting} | {first.processor / trusting.processor:.1f} | {size:.0f} |"
    )


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--write", action="store_true")
    parser.add_argument("--processes", nargs="+", default=["1", "2"])
    parser.add_argument("--only", nargs="+", default=[""], help="files whose names hold one of these words")
    wanted = parser.parse_args()
    files = {path: is_timed(path) for path in SHELF if any(word in path for word in wanted.only)}
    table = [
        "| what | files | first | again | times less | again, trusting | times less | record, KiB |",
        "|---|---|---|---|---|---|---|---|",
    ]
    print("\n".join(table))
    with tempfile.TemporaryDirectory() as folder:
        for name, chosen in (
            ("without timed files", [path for path, has_time in files.items() if not has_time]),
            ("timed files alone", [path for path, has_time in files.items() if has_time]),
            ("all of them", list(files)),
        ):
            if not chosen:
                continue
            for processes in wanted.processes:
                told = f"{name}, {processes} process{'es' if processes != '1' else ''}"
                table.append(row(told, chosen, folder, ["--processes", processes]))
                print(table[-1], flush=True)
    if wanted.write:
        (ROOT / "tests/benchmarks/results/gate.md").write_text("\n".join(table) + "\n")


if __name__ == "__main__":
    main()
