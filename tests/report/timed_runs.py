"""Runs of the delay views made by hand: which nets turn over when. The simulator confirms each before it is used."""

from __future__ import annotations

from collections.abc import Mapping

from verifier.claims.claim import Claim, Design
from verifier.claims.run import Run, StepEvents
from verifier.evidence.delay_simulator import DelaySimulator
from verifier.evidence.verdict import ClaimResult, Verdict
from verifier.language import loads
from verifier.report.pieces import plain
from verifier.report.verdicts import run_lines
from verifier.workbench.selection import with_timing_claims

Move = tuple[int, str]
"""A time in ns and the names of the nets that turn over then, with spaces between; no names: only time passes."""

NAND_MUX = """
circuit nand_mux
    input  tempo  free running high 40..60 ns, low 50 ns
    input  lever  by hand
    input  choose by hand apart 200 ns
    output beat
    other      = not choose              takes 2..5 ns
    from_tempo = nand(choose, tempo)     takes 2..5 ns
    from_lever = nand(other, lever)      takes 2..5 ns
    beat = nand(from_tempo, from_lever)  takes 2..5 ns
    must wide:                         low pulses of beat last at least 12 ns
    must clean_beat:                   pulses of beat last at least ? ns
    must quick:                        choose falls leads to beat rises within 12 ns
    must quickest:                     choose falls leads to beat rises within ? ns
    must recent:                       beat falls only when choose changes within the last 3 ns
    must slow_edges in timed view:     choose changes leads to beat rises within 1 rises of from_tempo
    must clean in timed view:          beat never glitches
    must clean_anyhow in any delay view: beat never glitches
    can  drops in any delay view:      beat falls
    can  stays_low in timed view:      not beat and before (not beat)
    must settled_one:                  never (beat and lever)
"""
HIGH = {"tempo": 1, "lever": 1, "choose": 1, "other": 0, "from_tempo": 0, "from_lever": 1, "beat": 1}
"""Both sources are high, so the beat ought to stay high when `choose` falls."""
HAZARD: tuple[Move, ...] = (
    (3, "choose"),
    (5, "from_tempo"),
    (7, "beat"),
    (8, "other"),
    (13, "from_lever"),
    (18, "beat"),
)

STAGE = """
family slow
    flipflop takes 4 ns, set-up 20 ns, hold 5 ns, clock width 25 ns, clear width 10 ns, settling 30 ns
    latch    takes 4 ns, set-up 20 ns, hold 5 ns, enable width 20 ns

circuit stage
    delays from slow
    input  d, clk, clr, en
    output q, p
    q = flipflop(d) on rise of clk, clear when clr low start 0
    p = latch(d) while en high
    must never_both in timed view: never (q and p)
"""
AT_REST = {"d": 0, "clk": 0, "clr": 1, "en": 0, "q": 0, "p": 0}


def design_of(text: str) -> Design:
    (design,) = loads(text, "bells.wiring").designs
    return with_timing_claims(design)


def claim_of(design: Design, name: str) -> Claim:
    (found,) = (claim for claim in design.claims if claim.name == name)
    return found


def run_in_time(design: Design, start: Mapping[str, int], *moves: Move, timed: bool = True) -> Run:
    """The run from these values of all nets; in the any-delay view the times are dropped."""
    netlist = design.netlist
    names = [net.name for net in netlist.nets]
    values = [bool(start[name]) for name in names]
    instants, times = [tuple(values)], [0]
    for at, moved in moves:
        for name in moved.split():
            place = names.index(name)
            values[place] = not values[place]
        instants.append(tuple(values))
        times.append(at)
    run = Run(tuple(instants), (StepEvents(),) * len(instants), times=tuple(times) if timed else None)
    assert DelaySimulator(netlist, timed).follow(run), "the circuit does not do this"
    return run


def page_of(
    design: Design, claim: str | Claim, run: Run, verdict: Verdict = Verdict.BROKEN, width: int = 80
) -> list[str]:
    """What `check` prints of a claim with this run."""
    stated = claim if isinstance(claim, Claim) else claim_of(design, claim)
    result = ClaimResult(claim=stated, verdict=verdict, engine="by hand", seconds=0.1, run=run)
    return [plain(row) for row in run_lines(design, result, width=width)]


def last_sentence(design: Design, claim: str | Claim, run: Run) -> str:
    """What is said below the table, on one line."""
    rows = page_of(design, claim, run)
    begins = max(place for place, row in enumerate(rows) if row.startswith("    broken at "))
    ends = next((place for place in range(begins, len(rows)) if "powered up" in rows[place]), len(rows))
    return " ".join(row.strip() for row in rows[begins:ends])
