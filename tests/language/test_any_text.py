"""Whatever the text, loading it gives designs or findings and nothing else; whatever is found can be printed."""

from __future__ import annotations

import random
import re
from contextlib import suppress
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from verifier.claims.claim import WiringFile
from verifier.errors import CallError, Diagnostic, SourceError
from verifier.language import load, loads
from verifier.language.diagnostics import format_diagnostic
from verifier.language.findings import LIMIT

SAMPLE = """\
# everything there is
family ls
    nand, if takes 3..15 ns
    flipflop, jk takes rise 3..10 ns, fall 4..11 ns, set-up 20 ns, hold 5 ns, clock width 25 ns

part half_adder(a, b) gives (sum, carry)
    sum   = xor(a, b)
    inner = not a
    carry = a and (not inner and b)

part add_one(a[4]) gives y[4]
    y = a + 1

contract striker
    input  tempo free running high 40..60 ns, low 40 ns
    input  a, b by hand apart 200 ns
    input  data[4] strapped
    output beat, count[4]
    inputs may change together
    let both = a and b
    given fair: tempo again and again
    must m1: beat changes only when tempo changes or a changes
    must m2 in any delay view: never (a changes and beat changes)
    must m3: a for good leads to beat == b within ? rises of tempo
    must m4: high pulses of count[2] last at least 10 ns
    must m5: count never glitches
    must m6:
        (a since b or once both)   # over two lines
        implies data at the last tempo rises == 0x3
    can  c1: eventually join(a, b, 0b01) <= data[3..0]

circuit first fits striker, breaks m1, settles
    delays from ls
    net  z[2]
    count[4] = flipflop(count + 1) on rise of tempo, clear when (a and b) high start 5
    q        = latch(a) while b low start unknown
    r        = set_reset(a, not b) start 1 takes 3..15 ns
    s, c     = half_adder(q, r)
    z[0]     = if s.inner then c else 1
    z[1]     = add_one(data)[2] xor z[0]
    beat     = majority(z[0], z[1], s) and count >= 3

circuit alone
    input x
    output y
    y = jk(x, not y) on fall of x preset when x low
"""

WORDS = [*re.findall(r"[A-Za-z_0-9]+|[^\sA-Za-z_0-9]", SAMPLE), "?", "0b1", "\t", "\x1b", "é", '"', "@", "\u202e"]


def outcome(text: str) -> tuple[Diagnostic, ...]:
    """The findings of a text; fails when loading does anything but give designs or findings."""
    try:
        file = loads(text, "bells.wiring")
    except SourceError as error:
        found = error.diagnostics
        assert found
    else:
        assert isinstance(file, WiringFile)
        found = file.warnings
    lines = text.replace("\r\n", "\n").split("\n")
    for finding in found:
        assert 1 <= finding.span.line <= len(lines)
        assert 1 <= finding.span.column <= len(lines[finding.span.line - 1]) + 1
        assert all(line.isprintable() for line in format_diagnostic(finding))
    assert len(found) <= LIMIT
    return found


def test_the_sample_itself_is_almost_right() -> None:
    """One comparison in it binds otherwise than it looks; the rest is fine, and so mutants reach all of the code."""
    assert [finding.code for finding in outcome(SAMPLE)] == ["width-mismatch"]
    assert outcome(SAMPLE.replace("data at the last tempo rises", "(data at the last tempo rises)")) == ()


@settings(deadline=None, max_examples=80)
@given(st.randoms(use_true_random=False), st.integers(1, 8))
def test_a_mutated_file_gives_designs_or_findings(chance: random.Random, count: int) -> None:
    lines = SAMPLE.replace("data at the last tempo rises", "(data at the last tempo rises)").split("\n")
    for _ in range(count):
        index = chance.randrange(len(lines))
        pieces = re.findall(r"\s+|[A-Za-z_0-9]+|[^\sA-Za-z_0-9]", lines[index]) or [""]
        change = chance.randrange(5)
        if change == 0 and len(lines) > 1:
            del lines[index]
        elif change == 1:
            lines.insert(index, chance.choice(lines))
        elif change == 2:
            lines[index] = " " * chance.randrange(9) + lines[index].strip()
        elif change == 3:
            del pieces[chance.randrange(len(pieces))]
            lines[index] = "".join(pieces)
        else:
            pieces[chance.randrange(len(pieces))] = chance.choice(WORDS)
            lines[index] = "".join(pieces)
    outcome("\n".join(lines))


@settings(deadline=None, max_examples=40)
@given(st.lists(st.tuples(st.sampled_from(WORDS), st.sampled_from([" ", " ", "\n", "\n    ", ""])), max_size=60))
def test_random_words_give_designs_or_findings(words: list[tuple[str, str]]) -> None:
    outcome("circuit x\n    input a, b[4]\n    output c\n    c = a\n    " + "".join(map("".join, words)))


@settings(deadline=None, max_examples=40)
@given(st.text(max_size=200))
def test_random_text_gives_designs_or_findings(text: str) -> None:
    outcome(text)


@settings(deadline=None, max_examples=40)
@given(cut=st.integers(0, len(SAMPLE)))
def test_a_truncated_file_gives_designs_or_findings(cut: int) -> None:
    outcome(SAMPLE[:cut])


def test_random_bytes_give_designs_or_findings(tmp_path: Path) -> None:
    path = tmp_path / "bells.wiring"

    @settings(deadline=None, max_examples=40)
    @given(content=st.binary(max_size=200), at=st.integers(0, len(SAMPLE)))
    def check(content: bytes, at: int) -> None:
        path.write_bytes(SAMPLE.encode()[:at] + content + SAMPLE.encode()[at:])
        with suppress(SourceError, CallError):
            assert isinstance(load(path), WiringFile)

    check()


def test_any_nesting_is_an_error_and_never_too_much_for_the_stack() -> None:
    start = "circuit x\n    input a, b\n    output c\n"
    for deep in (
        "(" * 3000 + "a" + ")" * 3000,
        "not " * 5000 + "a",
        "if a then " * 3000 + "a" + " else b" * 3000,
        "a" + "[0]" * 3000,
        "nand(" * 3000 + "a" + ")" * 3000,
        "a" + " + a" * 3000,
        "a" + " xor a or a" * 3000,
    ):
        assert {finding.code for finding in outcome(f"{start}    c = {deep}\n")} == {"too-deep"}
    for deep in ("before " * 3000 + "a", "a" + " implies a" * 3000, "a" + " since a" * 3000, "a" + " rises" * 3000):
        assert "too-deep" in {f.code for f in outcome(f"{start}    c = a and b\n    must m: {deep}\n")}


def test_a_long_run_of_one_word_is_one_gate_and_not_deep() -> None:
    text = (
        "circuit x\n    input a\n    output c\n    c = a" + " and a" * 5000 + "\n    must m: a" + " or a" * 5000 + "\n"
    )
    file = loads(text, "bells.wiring")
    assert len(file.designs[0].netlist.gates[0].inputs) == 5001
    assert len(file.designs[0].claims[0].formula.children) == 5001
