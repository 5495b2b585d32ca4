"""`python -m verifier` does what the command `edgewright` does."""

import sys

from verifier.cli import main

if __name__ == "__main__":
    sys.exit(main())
