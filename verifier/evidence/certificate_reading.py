"""Reads a saved certificate: what its header says it is about, and its invariant, matched to a present system by name.

Nothing else of the file is used: neither its transition relation nor its checks are believed, so a file that was
altered can make a proof fail to fit, but never make a wrong one fit.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from verifier.errors import CallError
from verifier.evidence.certificate import register_symbols
from verifier.logic.transition_system import Clause, Invariant, TransitionSystem

TITLE = "Edgewright certificate"
_INVARIANT = "(define-fun invariant () Bool "
_FIELD = re.compile(r"; ([a-z ]+): (.*)")
_TOKEN = re.compile(
    r" (?P<open>\(or false)(?= )| (?P<empty>false)(?=[ )])|(?P<close>\))"
    r"| \(not \|(?P<low>[^|]*)\|\)| \|(?P<high>[^|]*)\|"
)
"""The parts of an invariant, each with the space in front of it."""

NamedLiteral = tuple[str, bool]
"""Symbol of a register, and whether it is to be 1."""


@dataclass(frozen=True, kw_only=True)
class SavedCertificate:
    fields: Mapping[str, str]
    """What the header says: circuit, claim and so on."""
    clauses: tuple[tuple[NamedLiteral, ...], ...]
    body: str
    """The script without comments."""


def read_certificate(text: str, name: str) -> SavedCertificate:
    """Raises CallError when this is no certificate that Edgewright wrote, or what matters of it is damaged."""
    lines = text.splitlines()
    if not lines or lines[0] != f"; {TITLE}":
        raise CallError(f"{name} is no certificate of Edgewright")
    comments = [match for match in (_FIELD.fullmatch(line) for line in lines) if match is not None]
    fields = {match[1]: match[2] for match in reversed(comments)}
    if not {"circuit", "claim"} <= fields.keys():
        raise CallError(f"{name} does not say which circuit and which claim it is about")
    bodies = [line for line in lines if line.startswith(_INVARIANT)]
    if len(bodies) != 1 or not bodies[0].endswith(")"):
        raise CallError(f"{name} has no invariant that can be read")
    clauses = _clauses(bodies[0][len(_INVARIANT) : -1], name)
    return SavedCertificate(fields=fields, clauses=clauses, body=body_of(text))


def body_of(text: str) -> str:
    """The script without its comments."""
    return "\n".join(line for line in text.splitlines() if not line.startswith(";"))


def _clauses(text: str, name: str) -> tuple[tuple[NamedLiteral, ...], ...]:
    """Reads `true` or `(and true CLAUSE ...)`, each clause `false` or `(or false LITERAL ...)`."""
    if text == "true":
        return ()
    clauses: list[tuple[NamedLiteral, ...]] = []
    opened: list[NamedLiteral] | None = None
    end = len("(and true") if text.startswith("(and true ") and text.endswith(")") else len(text)
    while end < len(text) - 1:
        token = _TOKEN.match(text, end)
        if token is None or (opened is None) is not (token.lastgroup in ("open", "empty")):
            break
        end = token.end()
        match token.lastgroup:
            case "empty":
                clauses.append(())
            case "open":
                opened = []
            case "close":
                clauses.append(tuple(opened or ()))
                opened = None
            case kind if opened is not None:
                opened.append((token[kind or 0], kind == "high"))
    if end != len(text) - 1 or opened is not None:
        raise CallError(f"the invariant of {name} cannot be read")
    return tuple(clauses)


def matched_invariant(saved: SavedCertificate, system: TransitionSystem) -> Invariant | str:
    """The invariant over the registers of this system, or the first name that none of them has."""
    variables = {symbol: variable for variable, symbol in register_symbols(system).items()}
    clauses: list[Clause] = []
    for named in saved.clauses:
        missing = next((symbol for symbol, _ in named if symbol not in variables), None)
        if missing is not None:
            return missing
        clauses.append(tuple(variables[symbol] ^ (not positive) for symbol, positive in named))
    return Invariant(tuple(clauses))
