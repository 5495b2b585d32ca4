"""Lets the tests of this folder import the hand-made designs and runs in `sample_runs`."""

import sys
from pathlib import Path

SAMPLES = str(Path(__file__).resolve().parent.parent / "report")
if SAMPLES not in sys.path:
    sys.path.insert(0, SAMPLES)
