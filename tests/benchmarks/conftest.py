"""Lets the tests here import helper modules as `benchmarks.<module>`, whatever the order and the worker."""

import sys
from pathlib import Path

TESTS = str(Path(__file__).resolve().parent.parent)
if TESTS not in sys.path:
    sys.path.insert(0, TESTS)
