"""Faults judged a second: one process, two, and a cluster of two workers: `python tests/benchmarks/faults.py`.

`--only beat_source` leaves out the larger circuit; `--write` puts the table into `results/faults.md`. The cluster is a
scheduler and two workers of `dask.distributed` on this machine, started here and ended here.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
sys.path[:0] = [str(ROOT)]

import verifier  # noqa: E402

FILES = {
    "beat_source": ROOT / "specs" / "beat_source.wiring",
    "sequencer": Path(__file__).resolve().parent / "sequencer.wiring",
}
HEADING = (
    "| file | faults (distinct) | where | seconds | distinct a second | noticed, harmless, unnoticed, undecided |\n"
    "|---|---|---|---|---|---|"
)


@contextmanager
def cluster_of_two() -> Iterator[str]:
    """The address of its scheduler, once both workers are there."""
    from distributed import Client

    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "scheduler.json"
        common = ["--scheduler-file", str(file), "--no-dashboard"]
        processes = [_started("dask_scheduler", folder, *common, "--port", "0")]
        try:
            while not file.exists() or not file.read_text():
                time.sleep(0.1)
            processes += [_started("dask_worker", folder, *common, "--no-nanny", "--nthreads", "1") for _ in range(2)]
            address = json.loads(file.read_text())["address"]
            with Client(address, set_as_default=False) as client:
                client.wait_for_workers(2)
            yield address
        finally:
            for process in processes:
                process.kill()
                process.wait()


def _started(module: str, folder: str, *options: str) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [sys.executable, "-m", f"distributed.cli.{module}", *options],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )


def row(name: str, where: str, **how: object) -> str:
    """One campaign, timed as a whole, the good circuits' verdicts included."""
    started = time.perf_counter()
    result = verifier.faults(FILES[name], **how)  # type: ignore[arg-type]
    seconds = time.perf_counter() - started
    judged = [one for campaign in result.circuits for one in campaign.judged]
    count = Counter(one.outcome.standing.value for one in judged for _ in one.fault.faults)
    told = ", ".join(str(count[standing]) for standing in ("noticed", "harmless", "unnoticed", "undecided"))
    line = (
        f"| {name} | {sum(count.values())} ({len(judged)}) | {where} | {seconds:.1f} | {len(judged) / seconds:.1f} |"
        f" {told} |"
    )
    print(line, flush=True)
    return line


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--only", choices=FILES, action="append")
    parser.add_argument("--write", action="store_true")
    call = parser.parse_args()
    print(HEADING, flush=True)
    lines: list[str] = []
    for name in call.only or FILES:
        lines.append(row(name, "one process", processes=1))
        lines.append(row(name, "two processes", processes=2))
        with cluster_of_two() as address:
            lines.append(row(name, "a cluster of two workers", cluster=address))
    load = f"Load of the machine at the end: {os.getloadavg()[1]:.1f} on {os.cpu_count()} cores."
    print(load)
    if call.write:
        text = "\n".join(["# Faults judged a second", "", HEADING, *lines, "", load, ""])
        (Path(__file__).resolve().parent / "results" / "faults.md").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
