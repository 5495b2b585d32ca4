"""Lets all tests import the helper modules of the folders here, as `oracle.search` or `report.sample_runs`."""

import os
import signal
import sys
from pathlib import Path

TESTS = str(Path(__file__).resolve().parent)
if TESTS not in sys.path:
    sys.path.insert(0, TESTS)

# What is printed is compared as it is at 80 columns, whatever terminal the tests are started from.
os.environ.pop("COLUMNS", None)

# A shell ignores Ctrl-C for what it runs in the background, and whatever the tests start would inherit that.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)
