"""Brute-force reading of grammar/README.md, parts II and III. Shares nothing with `verifier` but its plain data."""
