"""This project's engines against general-purpose ones, on the same transition systems: one command, one report.

Run from the project's root with the environment's Python: `python tests/benchmarks/engines.py`. See `README.md`
beside this file.
"""

from __future__ import annotations

import sys
from pathlib import Path

if __name__ == "__main__":
    sys.path[0] = str(Path(__file__).resolve().parent.parent)
    from benchmarks.command import main

    sys.exit(main())
