"""A second run of `gate` over an unchanged shelf against the first, as whole processes.

`python tests/benchmarks/gate.py` prints it;
with `--write` the table goes into `results/gate.md`.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
sys.path[:0] = [str(ROOT)]

from verifier.claims.claim import View  # noqa: E402
from verifier.language import load  # noqa: E402

SHELF = sorted(str(path.relative_to(ROOT)) for path in (ROOT / "specs").glob("*.wiring"))


def is_timed(path: str) -> bool:
    return any(claim.view is View.TIMED for design in load(ROOT / path).designs for claim in design.claims)


def seconds_of(*arguments: str) -> float:
    """Of one run of the command line. Raises SystemExit when the gate is not passed."""
    started = time.perf_counter()
    command = [sys.executable, "-m", "verifier", "gate", *arguments]
    code = subprocess.run(command, cwd=ROOT, stdout=subprocess.DEVNULL).returncode
    if code != 0:
        raise SystemExit(f"{' '.join(arguments)} ended with {code}")
    return time.perf_counter() - started


def row(name: str, files: list[str], folder: str, options: list[str]) -> str:
    record = str(Path(folder) / "record.json")
    first = seconds_of(*files, *options, "--record", record)
    again = seconds_of(*files, *options, "--against", record)
    trusting = seconds_of(*files, *options, "--against", record, "--trust-unchanged")
    size = os.path.getsize(record) / 1024
    return (
        f"| {name} | {len(files)} | {first:.1f} | {again:.1f} | {first / again:.1f} "
        f"| {trusting:.1f} | {first / trusting:.1f} | {size:.0f} |"
    )


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--write", action="store_true")
    wanted = parser.parse_args()
    files = {path: is_timed(path) for path in SHELF}
    table = [
        "| what | files | first, s | again, s | times faster | again, trusting, s | times faster | record, KiB |",
        "|---|---|---|---|---|---|---|---|",
    ]
    print("\n".join(table))
    with tempfile.TemporaryDirectory() as folder:
        for processes in ("2", "1"):
            for name, chosen in (
                ("without timed files", [path for path, timed in files.items() if not timed]),
                ("timed files", [path for path, timed in files.items() if timed]),
                ("whole shelf", SHELF),
            ):
                told = f"{name}, {processes} process{'es' if processes != '1' else ''}"
                table.append(row(told, chosen, folder, ["--processes", processes]))
                print(table[-1], flush=True)
    if wanted.write:
        (ROOT / "tests/benchmarks/results/gate.md").write_text("\n".join(table) + "\n")


if __name__ == "__main__":
    main()
