"""Judging saved certificates against proving again, as whole processes: `python tests/benchmarks/recheck.py`."""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from benchmarks import families  # noqa: E402

CIRCUITS = {
    "round-robin arbiter, 6 players": families.arbiter(6),
    "switcher, 5 sources": families.switcher(5),
    "serial adder, 3 bits": families.serial_adder(3),
}


def seconds_of(command: list[str]) -> float:
    """Of one run of the command line. Raises SystemExit when it ends with anything but 0 or 1."""
    started = time.perf_counter()
    code = subprocess.run([sys.executable, "-m", "verifier", *command], cwd=ROOT, stdout=subprocess.DEVNULL).returncode
    if code not in (0, 1):
        raise SystemExit(f"{' '.join(command)} ended with {code}")
    return time.perf_counter() - started


def main() -> None:
    print(f"{'circuit':34} {'check':>8} {'recheck':>8}")
    with tempfile.TemporaryDirectory() as folder:
        for number, (name, text) in enumerate(CIRCUITS.items()):
            file, certificates = Path(folder) / f"{number}.wiring", str(Path(folder) / f"certificates {number}")
            file.write_text(text, encoding="utf-8")
            proving = seconds_of(["check", str(file), "--certificates", certificates])
            judging = seconds_of(["recheck", certificates, str(file)])
            print(f"{name:34} {proving:8.2f} {judging:8.2f}")


if __name__ == "__main__":
    main()
