"""Digests of circuits and claims by what they are: the same for the same content, wherever and however it is written.

Where something stands (spans, file names) is left out; comments and line breaks never reach the data. Every part goes
in with its type and its length or as a digest of its own, so no choice of names can make one content look like another.
A digest is SHA-256 (FIPS 180-4). It recognises; it proves nothing.
"""

from __future__ import annotations

import dataclasses
import hashlib
from collections.abc import Mapping, Sequence
from enum import Enum
from pathlib import Path

from verifier.claims.claim import Claim, Design
from verifier.claims.support import restricts


def design_key(design: Design) -> str:
    """Equal for two designs exactly when they are equal but for spans and for the file they stand in."""
    return digest(dataclasses.replace(design, file="")).hex()


class ClaimKeys:
    """Keys of the claims of one design: of everything that a verdict hangs on, this version of Edgewright included.

    What the circuit and the claim are called, how the claim is worded and what is expected of it do not matter.
    """

    def __init__(self, design: Design, version: str) -> None:
        self._design = design
        self._version = version
        self._netlist = digest(dataclasses.replace(design.netlist, name=""))
        self._known: dict[str, tuple[Claim, str]] = {}
        """By name of the claim."""

    def key(self, claim: Claim) -> str:
        known = self._known.get(claim.name)
        if known is None or known[0] is not claim:
            known = self._known[claim.name] = claim, self._key(claim)
        return known[1]

    def _key(self, claim: Claim) -> str:
        givens = tuple(given.formula for given in self._design.givens if restricts(given, claim.view))
        parts = [claim.kind, claim.view, claim.formula, givens, self._version]
        return _joined(b"claim", "", [self._netlist, *map(digest, parts)]).hex()


def own_digest() -> str:
    """Of the sources of Edgewright itself."""
    package = Path(__file__).parent.parent
    found = hashlib.sha256()
    for path in sorted(package.rglob("*.py")):
        found.update(digest(str(path.relative_to(package))) + hashlib.sha256(path.read_bytes()).digest())
    return found.hexdigest()


def digest(value: object) -> bytes:
    """Of plain data: frozen dataclasses (fields that take part in comparing), tuples, mappings, sets, enums, texts,
    numbers, None; of any depth. Raises TypeError for anything else."""
    known: dict[int, bytes] = {}
    pending: list[tuple[object, bool]] = [(value, False)]
    while pending:
        item, children_done = pending.pop()
        if id(item) in known:
            continue
        parts = _parts(item)
        if parts is None:
            known[id(item)] = _leaf(item)
        elif children_done or not parts:
            known[id(item)] = _composite(item, [known[id(part)] for part in parts])
        else:
            pending.append((item, True))
            pending.extend((part, False) for part in parts)
    return known[id(value)]


def _parts(item: object) -> Sequence[object] | None:
    """What it is made of; None for a leaf. Everything given back lives as long as the item."""
    match item:
        case Enum():
            return None
        case tuple() | frozenset():
            return tuple(item)
        case Mapping():
            return [part for pair in item.items() for part in pair]
        case _ if dataclasses.is_dataclass(item) and not isinstance(item, type):
            return [getattr(item, field.name) for field in dataclasses.fields(item) if field.compare]
        case _:
            return None


def _composite(item: object, parts: list[bytes]) -> bytes:
    match item:
        case frozenset():
            return _joined(b"set", "", sorted(parts))
        case Mapping():
            pairs = sorted(key + value for key, value in zip(parts[::2], parts[1::2], strict=True))
            return _joined(b"mapping", "", pairs)
        case tuple():
            return _joined(b"tuple", "", parts)
        case _:
            return _joined(b"data", type(item).__name__, parts)


def _leaf(item: object) -> bytes:
    match item:
        case Enum():
            return _joined(b"enum", f"{type(item).__name__}.{item.name}", [])
        case bool():
            return _joined(b"bool", str(item), [])
        case int():
            return _joined(b"int", str(item), [])
        case str():
            return _joined(b"text", item, [])
        case None:
            return _joined(b"none", "", [])
        case _:
            raise TypeError(f"no digest of a {type(item).__name__}")


def _joined(tag: bytes, name: str, parts: Sequence[bytes]) -> bytes:
    """Tag and name with their lengths, the number of parts, and the parts, which are as long as each other."""
    encoded = name.encode("utf-8", "surrogatepass")
    head = b"%d:%b%d:%b%d:" % (len(tag), tag, len(encoded), encoded, len(parts))
    return hashlib.sha256(head + b"".join(parts)).digest()
