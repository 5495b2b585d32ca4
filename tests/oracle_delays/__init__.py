"""Brute-force reading of grammar/README.md, part IV: the delay views. Shares only plain data with `verifier`."""
