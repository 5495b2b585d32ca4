"""Why a verdict is what it is, as plain frozen data: what `explain` finds and its page prints."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from verifier.circuit.netlist import NetId
from verifier.claims.claim import Design
from verifier.claims.run import Run
from verifier.evidence.verdict import ClaimResult


class Smallness(Enum):
    """What is known of the size of a set that suffices."""

    SMALLEST = "no smaller set does"
    IRREDUCIBLE = "none of them can be left out; whether a smaller set does was not found out"
    LOOSE = "some of them may not matter: the time ran out"


@dataclass(frozen=True, order=True)
class At:
    """A net at an instant of a run."""

    step: int
    net: NetId


class How(Enum):
    """What ties a value to the values it comes from."""

    OUTSIDE = "from outside"
    GATE = "by its pins"
    CLOCKED = "clocked"
    FORCED = "cleared or preset"
    OPEN = "through an open latch"
    SET_RESET = "set or reset"
    HELD = "held"
    CHANCE = "one way of several"
    START = "at power-up"


@dataclass(frozen=True, kw_only=True)
class Link:
    """One value in the chain, and those it comes from."""

    at: At
    how: How
    because: tuple[At, ...] = ()
    clock: NetId | None = None
    """For `CLOCKED`."""


@dataclass(frozen=True, kw_only=True)
class Tried:
    """What the plain simulator made of other values in place of those that do not matter."""

    runs: int
    every: bool
    """True when there are no others."""
    differing: int
    """How many of the runs were not the one that is shown."""


@dataclass(frozen=True, kw_only=True)
class Reason:
    """What matters in a finite run: whatever else happens, a permitted run that agrees with it breaks (shows) the
    claim at the last step."""

    run: Run
    pins: tuple[tuple[str, int], ...]
    """Input pins at steps."""
    chances: tuple[At, ...]
    """Nets at steps at which the circuit could go several ways, and went this one; only where that matters."""
    unseen: tuple[int, ...]
    """Steps at which it matters which way the circuit goes; with it, only some way breaks (shows) the claim."""
    smallness: Smallness
    candidates: int
    """Of how many such values these are."""
    links: tuple[Link, ...]
    """The chain, earlier values first."""
    roots: tuple[At, ...]
    """The values that break (show) the claim by its own words."""
    whole: bool
    """False: the roots alone do not decide the claim, so the chain leaves something out."""
    fixed: frozenset[At]
    """The values that every permitted run has which agrees with what matters."""
    tried: Tried | None
    """None: it was too much for the simulator."""

    @property
    def nets(self) -> frozenset[At]:
        """The values of the chain that cannot be others, and those that the circuit chose."""
        links = (link.at for link in self.links)
        return frozenset((*self.chances, *(at for at in links if at in self.fixed)))


@dataclass(frozen=True, kw_only=True)
class EndlessReason:
    """What matters in an endless run, by the words of the claim alone: on every run of this shape with these values,
    whatever the other values of the nets it names, it is broken (shown)."""

    run: Run
    roots: tuple[At, ...]
    smallness: Smallness
    candidates: int
    links: tuple[Link, ...]
    """Where the roots come from, followed through the circuit in this run."""
    moving: tuple[NetId, ...]
    """Named nets that change in the loop."""

    @property
    def nets(self) -> frozenset[At]:
        return frozenset((*self.roots, *(link.at for link in self.links)))


@dataclass(frozen=True, kw_only=True)
class ProofWords:
    """An inductive invariant, minimised and judged again."""

    sentences: tuple[str, ...]
    """Each true at every instant of every permitted run."""
    as_claims: bool
    """Each of them could stand in a wiring file as a claim."""
    clauses_found: int
    clauses: int
    literals: int
    minimal: bool
    """No clause and no literal can be left out without the proof failing."""
    hidden: int = 0
    """Clauses about bookkeeping of the proof (what is owed to the future, counts of rounds), told in no sentence."""
    rounds: int | None = None
    """For a claim about endless runs: how many rounds the proof counts."""


class Kind(Enum):
    GIVEN = "given"
    INPUT = "input"
    START = "start"


class Leaning(Enum):
    LEANS = "leans on"
    NOT = "does not lean on"
    OPEN = "not found out"


@dataclass(frozen=True, kw_only=True)
class Leaned:
    """One assumption of a proof: what becomes of the claim without it."""

    kind: Kind
    what: str
    name: str
    """Of the given, the input or the net; empty for what is about all inputs."""
    leaning: Leaning
    run: Run | None = None
    """For `LEANS`: the run that breaks the claim when this alone is given up."""
    reason: str = ""
    """For `OPEN`."""
    together: bool = False
    """The claim was proved with this and every other one so marked given up at once."""


@dataclass(frozen=True, kw_only=True)
class Explanation:
    design: Design
    """With the claim alone."""
    result: ClaimResult
    assumes: tuple[str, ...]
    reason: Reason | EndlessReason | None = None
    proof: ProofWords | None = None
    leaned: tuple[Leaned, ...] = ()
    notes: tuple[str, ...] = ()
    """What was not explained, and why."""
