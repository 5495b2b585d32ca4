"""Two inverters with a clock of ns, for tests of claims in time: a tempo that runs freely and a rope that is pulled."""

from __future__ import annotations

from verifier import Design
from verifier.language import loads

BELL_TOWER = """\
circuit bell_tower
    input  tempo free running high 5..6 ns, low 5..6 ns
    input  rope by hand apart 20 ns
    output bell, chime
    bell  = not tempo takes 1..2 ns
    chime = not rope takes 1..2 ns
"""


def bell_tower(*lines: str, head: str = BELL_TOWER) -> Design:
    """The circuit with these claims, givens and gates; a text of several lines is several."""
    rows = "\n".join(lines).splitlines()
    (design,) = loads(head + "".join(f"    {row}\n" for row in rows), "bell_tower.wiring").designs
    return design
