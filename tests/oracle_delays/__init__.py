"""Brute-force reading of grammar/README.md, part IV: the delay views. Shares nothing with `verifier` but its plain data."""
