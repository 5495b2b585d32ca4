"""The catalogue of mistakes: for each code at least one bad text, what is said about it and where it is pointed at.

`«` and `»` mark the stretch that the finding must point at; they are taken out before the text is read.
"""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from verifier.errors import Diagnostic, Severity, SourceError, Span
from verifier.language import loads

BELL = "circuit bell\n    input pull\n    output ring\n"
"""A circuit that lacks only a line that drives `ring`."""

RUNG = BELL + "    ring = pull\n"
"""A circuit with nothing wrong with it."""

ADDER = "part half_adder(a, b) gives (sum, carry)\n    sum = xor(a, b)\n    carry = a and b\n"

LS = RUNG + "family ls\n"
"""A family that lacks its lines, below a right circuit."""

CHIME = "contract chime\n    input pull\n    output ring\n    must loud: ring rises only when pull rises\n"


@dataclass(frozen=True)
class Mistake:
    code: str
    text: str
    message: str
    hint: str = ""
    """A part of the hint that must be there."""


MISTAKES = [
    # Characters and layout
    Mistake("tab", "circuit bell\n«\t»input pull\n    output ring\n    ring = pull\n", "there is a tab here"),
    Mistake("control-character", RUNG + "    # «\x1b»[31m\n", "an invisible escape character"),
    Mistake("control-character", RUNG + "    # pu«\u202e»ll\n", "an invisible character U+202E"),
    Mistake("stray-character", BELL + "    ring = pull «&» pull\n", "the character `&` means nothing", "write `and`"),
    Mistake("stray-character", BELL + "    ring = pull «→» pull\n", "the character `→` means nothing here"),
    Mistake("stray-character", BELL + "    ring = «épull»\n", "`épull` is no name: `é` cannot stand", "ASCII letters"),
    Mistake("stray-character", BELL + "    ring = «cafe\u0301_двл2» or pull\n", "is no name"),
    Mistake("control-character", BELL + "    ring = pu«\x1b»ll\n", "an invisible escape character"),
    Mistake("control-character", RUNG + "    let a = pull«\r»    must b: ring\n", "carriage return", "line feed"),
    Mistake(
        "control-character", RUNG + "    let up«\u200b»per = pull\n    must a: upper\n", "invisible character U+200B"
    ),
    Mistake("stray-character", 'use «"»bells\n' + RUNG, 'the character `"`', 'closing `"` is missing'),
    Mistake("empty-file", "«»", "there is nothing in this file"),
    Mistake("empty-file", "«»# only a comment\n", "there is nothing in this file"),
    Mistake("empty-block", "circuit «bell»\n", "the circuit `bell` has nothing in it"),
    Mistake("empty-block", RUNG + "contract «chime»\n", "the contract `chime` has nothing in it"),
    Mistake("bad-indentation", "    «input» pull\n", "no block stands above it"),
    Mistake("bad-indentation", BELL + "   «ring» = pull\n", "indented less than the statements above", "column 5"),
    Mistake("bad-indentation", BELL + "      «ring» = pull\n", "indented deeper than the statements above"),
    # Grammar
    Mistake("unexpected-word", BELL + "    ring «pull»\n", "`pull` cannot stand here: expected `=`"),
    Mistake("unexpected-word", BELL + "    ring = pull«)»\n", "`)` cannot stand here: expected an operator"),
    Mistake("unexpected-word", BELL + "    ring = pull and «or» pull\n", "expected a name, a number or `(`"),
    Mistake("unexpected-word", BELL + "    ring = pull == «not» pull\n", "`not` cannot stand", "put parentheses"),
    Mistake("unexpected-word", RUNG + "    must a: (ring «only» when pull)\n", "expected `)`", "outermost"),
    Mistake("unexpected-word", RUNG + "    must a: not «never» pull\n", "`never` cannot stand here", "outermost"),
    Mistake("unexpected-word", RUNG + "    must a: ring «=» pull\n", "`=` cannot stand here", "written `==`"),
    Mistake("unexpected-word", RUNG + "    must a «ring»\n", "expected `:` or `in`"),
    Mistake("unexpected-word", "«bell» = 3\n", "no block starts with `bell`", "start in the first column"),
    Mistake("unexpected-word", "use «bells»\n", "expected a file name in double quotes"),
    Mistake(
        "unexpected-word",
        BELL + "    ring = flipflop(pull) on rise of pull takes 3 ns, «set»-up 20 ns\n",
        "`set` cannot stand here",
        "stand in a `family`",
    ),
    Mistake(
        "unexpected-word",
        BELL + "    ring = flipflop(pull) on rise of pull takes 3 ns, clear «width» 20 ns\n",
        "`width` cannot stand here",
        "stand in a `family`",
    ),
    Mistake("unexpected-word", LS + "    jk takes 3 ns, set-up «?» ns\n", "`?` cannot stand here: expected a number"),
    Mistake("unexpected-end", BELL + "    ring = pull takes rise 3 «ns»\n", "ends too early: expected `,`"),
    Mistake("unexpected-end", BELL + "    ring = pull «and»\n", "this line ends too early: expected a name"),
    Mistake("unexpected-end", BELL + "    ring = (pull and «pull»\n", "ends too early", "`(` in line 4, column 12"),
    Mistake("too-deep", BELL + "    ring = " + "not " * 99 + "«pull»\n", "nested deeper than 100 levels"),
    Mistake("too-deep", BELL + "    «ring» = " + "(" * 50_000 + "pull\n", "nested deeper than 100 levels"),
    Mistake("keyword-as-name", BELL + "    ring = pull\n    «output» = pull\n", "`output` is a word of the language"),
    Mistake("keyword-as-name", RUNG + "    «and» = pull\n", "`and` is a word of the language"),
    Mistake("keyword-as-name", "circuit «must»\n    output ring\n    ring = 1\n", "`must` is a word of the language"),
    Mistake("keyword-as-name", "circuit bell\n    input «latch»\n    output ring\n    ring = 1\n", "`latch` is a word"),
    Mistake("keyword-as-name", RUNG + "    must «settles»: ring\n", "`settles` is a word of the language"),
    # Names
    Mistake("unknown-name", BELL + "    ring = «pul»\n", "no net called `pul`", "did you mean `pull`?"),
    Mistake("unknown-name", BELL + "    ring = «pulley.x»\n".replace(".x»", "».x"), "no part called `pulley`"),
    Mistake("unknown-name", RUNG + "    must a: «rnig» rises\n", "no net called `rnig`", "did you mean `ring`?"),
    Mistake("unknown-name", RUNG + "    let up = ring rises\n    must a: «upp»\n", "no net called `upp`", "`up`"),
    Mistake(
        "unknown-name", "circuit bell fits «chim»\n    ring = pull\n" + CHIME, "no contract called `chim`", "`chime`"
    ),
    Mistake("unknown-name", RUNG + "    delays from «ls»\n", "no family called `ls`"),
    Mistake(
        "unknown-name",
        ADDER + BELL + "    s, c = half_adder(pull, pull)\n    ring = s or c or s.«a»\n",
        "`a` is an input of the part `s`",
    ),
    Mistake(
        "unknown-name",
        ADDER + BELL + "    s, c = half_adder(pull, pull)\n    ring = s or c or s.«carri»\n",
        "the part `s` has no net called `carri`",
        "`carry`",
    ),
    Mistake("unknown-name", LS + "    jk takes 3 ns, «setup 20 ns»\n", "no figure called `setup`", "mean `set-up`?"),
    Mistake("unknown-name", LS + "    jk takes 3 ns, «clock with 9 ns»\n", "no figure called", "mean `clock width`?"),
    Mistake("unknown-name", LS + "    not takes 3 ns, «fall 5 ns»\n", "no figure called `fall`", "`takes rise"),
    Mistake("unknown-part", BELL + "    ring = «nandd»(pull)\n", "no gate or part called `nandd`", "`nand`"),
    Mistake("unknown-part", RUNG + "    must a: «bong»(ring)\n", "no gate or part called `bong`"),
    Mistake("unknown-part", RUNG + "family ls\n    «nan» takes 3 ns\n", "a family has no `nan`", "`nand`"),
    Mistake(
        "unknown-claim", RUNG.replace("bell", "bell breaks «laud»") + "    must loud: ring\n", "no claim", "`loud`"
    ),
    Mistake(
        "unknown-claim",
        RUNG.replace("bell", "bell breaks «quiet»") + "    given quiet: never pull\n",
        "no claim called `quiet`",
        "it is a given",
    ),
    Mistake("name-taken", RUNG + RUNG.replace("bell", "«bell»"), "already a block called `bell`"),
    Mistake("name-taken", RUNG + "contract «bell»\n    input pull\n", "already a block called `bell`"),
    Mistake("name-taken", RUNG + "    must a: ring\n    must «a»: pull\n", "already something called `a`"),
    Mistake("name-taken", RUNG + "    let «ring» = pull\n", "already something called `ring`"),
    Mistake("name-taken", RUNG.replace("input pull", "input pull, «pull»"), "already something called `pull`"),
    Mistake("name-taken", RUNG.replace("bell", "bell breaks settles, «settles»"), "is in the list twice"),
    Mistake("name-taken", CHIME + "circuit bell fits chime\n    ring = loud\n    «loud» = pull\n", "the contract has"),
    Mistake("name-taken", RUNG + "family ls\n    nand takes 1 ns\n    «nand» takes 2 ns\n", "is given twice"),
    Mistake("name-too-long", RUNG + f"    let «{'l' * 65}» = pull\n", "has 65 characters", "at most 64"),
    Mistake("name-too-long", BELL + f"    ring = «{'l' * 300}»\n    {'l' * 300} = pull\n", "has 300 characters"),
    Mistake("case-clash", BELL + "    ring = Ring\n    «Ring» = pull\n", "by upper and lower case alone"),
    Mistake("case-clash", RUNG + RUNG.replace("bell", "«Bell»"), "`Bell` differs from `bell`"),
    Mistake("case-clash", RUNG + "    must a: ring\n    must «A»: pull\n", "`A` differs from `a`"),
    # Drivers
    Mistake("driven-twice", RUNG + "    «ring» = not pull\n", "`ring` is driven twice", "the first time is in line 4"),
    Mistake("driven-twice", RUNG + "    «pull» = ring\n", "`pull` is an input"),
    Mistake(
        "driven-twice",
        "circuit bell\n    output r[3]\n    r[1] = 0\n    r[0] = 0\n    «r[2..1]» = 0\n",
        "`r[1]` is driven twice",
        "line 3",
    ),
    Mistake(
        "driven-twice",
        ADDER + BELL + "    ring, c = half_adder(pull, c)\n    «ring», d = half_adder(pull, d)\n",
        "`ring` is driven twice",
    ),
    Mistake("undriven", "circuit bell\n    input pull\n    output «ring»\n", "nothing in `bell` drives `ring`"),
    Mistake("undriven", CHIME + "circuit «bell» fits chime\n    x = pull\n", "nothing in `bell` drives `ring`"),
    Mistake("undriven", RUNG + "    net «y[2]»\n    y[0] = pull\n", "drives `y[1]`", "`y[1] = ...`"),
    Mistake("undriven", "part p(a) gives «b»\n    c = a\n" + RUNG, "nothing in `p` drives `b`"),
    # Widths and numbers
    Mistake(
        "width-mismatch", BELL.replace("pull", "pull[3]") + "    ring = «pull»\n", "`pull` is 3 bits wide, but 1 bit"
    ),
    Mistake(
        "width-mismatch", BELL.replace("pull", "a[3], b[2]") + "    ring = (a and «b») == 0\n", "`b` is 2 bits wide"
    ),
    Mistake("width-mismatch", BELL.replace("pull", "a[3], b[2]") + "    ring = a == «b»\n", "3 bits are wanted here"),
    Mistake(
        "width-mismatch", RUNG.replace("ring\n", "ring\n    input a[3]\n", 1) + "    must m: «a»\n", "`a` is 3 bits"
    ),
    Mistake("width-mismatch", RUNG + "    input a[3]\n    must m: «a rises»\n", "`rises` is said of one bit, not of 3"),
    Mistake("width-mismatch", RUNG + "    input a[3]\n    must m: pulses of «a» last at least 3 ns\n", "one bit"),
    Mistake("not-one-bit", BELL + "    input a[2]\n    ring = flipflop(pull) on rise of «a»\n", "a clock is one bit"),
    Mistake("not-one-bit", BELL + "    input a[2]\n    ring = latch(pull) while «a» high\n", "an enable is one bit"),
    Mistake(
        "not-one-bit",
        BELL + "    input a[2]\n    ring = flipflop(pull) on rise of pull clear when «a» low\n",
        "a clear is one bit",
    ),
    Mistake("not-one-bit", BELL + "    input a[2]\n    ring = if «a» then pull else 0\n", "a condition is one bit"),
    Mistake("does-not-fit", BELL + "    input a[2]\n    ring = a == «4»\n", "`4` does not fit into 2 bits", "is 3"),
    Mistake("does-not-fit", RUNG + "    input a[2]\n    must m: a < «0x10»\n", "`0x10` does not fit into 2 bits"),
    Mistake("does-not-fit", BELL + "    ring = flipflop(pull) on rise of pull start «2»\n", "does not fit into 1 bit"),
    Mistake("bad-number", BELL + "    ring = «0b2»\n", "`0b2` is no number", "`0b0101`"),
    Mistake("bad-number", RUNG + "    must m: ring leads to pull within «0» rises of pull\n", "at least 1"),
    Mistake("bad-number", RUNG + "    must m: pull == «200ns»\n", "`200ns` is no number", "`200 ns`"),
    Mistake("number-too-large", BELL + "    ring = " + "«" + "9" * 5000 + "»\n", "too many digits"),
    Mistake("number-too-large", RUNG + "    input a[«99999»]\n", "`99999` is more than 1024"),
    Mistake("bad-width", RUNG + "    input a[«0»]\n", "a bus has at least one bit"),
    Mistake("bad-range", BELL + "    input a[4]\n    ring = «a[0..2]» == 0\n", "the bits 0..2 run upwards", "`[2..0]`"),
    Mistake("bad-range", BELL + "    ring = pull takes rise 3 ns, fall «5..3» ns\n", "the range 5..3 ends", "`3..5`"),
    Mistake("bad-number", LS + "    jk takes 3 ns, hold «5x» ns\n", "`5x` is no number"),
    Mistake("number-too-large", LS + "    jk takes 3 ns, hold «2000000000» ns\n", "is more than 1000000000"),
    Mistake("bad-range", BELL + "    ring = pull takes «5..3» ns\n", "the range 5..3 ends before it starts", "`3..5`"),
    Mistake("no-such-bit", BELL + "    input a[4]\n    ring = a[«4»]\n", "no bit 4 in `a`", "bits are 0 to 3"),
    Mistake("no-such-bit", RUNG + "    input a[4]\n    must m: a[«7»..2] == 0\n", "no bit 7 in `a`"),
    Mistake(
        "no-such-bit", "circuit bell\n    output r[2]\n    r[«5»] = 0\n    r[1] = 0\n    r[0] = 0\n", "no bit 5 in `r`"
    ),
    Mistake("not-a-bus", BELL + "    ring = «3»[0]\n", "a number has no bits"),
    Mistake("undeclared-bus", RUNG + "    «d[0]» = pull\n    d[1] = pull\n", "not declared as a bus", "`net d[4]`"),
    Mistake(
        "unknown-width", RUNG + "    «c» = flipflop(c + 1) on rise of pull\n", "nothing says how wide `c`", "`c[4]"
    ),
    Mistake("unknown-width", RUNG + "    j = join(pull, «5»)\n", "how wide this number is", "`0b0101`"),
    # Gates, parts and storage
    Mistake("wrong-pin-count", ADDER + BELL + "    ring, c = «half_adder(pull)»\n", "takes 2 inputs, not 1", "a, b"),
    Mistake(
        "wrong-pin-count", ADDER + BELL + "    «ring» = half_adder(pull, 0)\n", "gives 2 outputs, not 1", "sum, carry"
    ),
    Mistake("wrong-pin-count", ADDER + BELL + "    ring = not «half_adder»(pull, 0)\n", "inside an expression"),
    Mistake("wrong-pin-count", BELL + "    ring = «majority(pull, pull)»\n", "an odd number of inputs"),
    Mistake("wrong-pin-count", BELL + "    ring = «nand()»\n", "at least one input"),
    Mistake("wrong-pin-count", RUNG + "    must a: «majority(ring, pull)»\n", "an odd number of inputs"),
    Mistake("wrong-pin-count", BELL + "    ring = «jk(pull)» on rise of pull\n", "`jk` takes 2 inputs, not 1"),
    Mistake("wrong-pin-count", BELL + "    «ring, x» = nand(pull)\n", "only a part gives several outputs"),
    Mistake("recursive-part", "part p(a) gives b\n    b = «p»(a)\n" + RUNG, "the part `p` contains itself"),
    Mistake("recursive-let", RUNG + "    let «a» = a or pull\n", "the `let` `a` is made of itself", "write out"),
    Mistake(
        "recursive-let",
        RUNG + "    must it: b\n    let «a» = not c\n    let b = a\n    let c = once b\n    let d = c\n",
        "`a` is made of itself, by way of `b`, `c`",
    ),
    Mistake("missing-option", BELL + "    ring = «flipflop(pull)»\n", "what clocks this flipflop", "on rise of clock"),
    Mistake("missing-option", BELL + "    ring = «latch(pull)»\n", "while what this latch is open"),
    Mistake("wrong-option", BELL + "    ring = pull «on rise of pull»\n", "`on` cannot be said of a gate"),
    Mistake("wrong-option", LS + "    nand takes 3 ns, «set-up 20 ns»\n", "cannot be said of a nand", "a flip-flop or"),
    Mistake(
        "wrong-option",
        LS + "    flipflop, set_reset takes 3 ns, «hold 5 ns»\n",
        "`hold` cannot be said of a set_reset",
        "a flip-flop or latch",
    ),
    Mistake(
        "wrong-option",
        LS + "    latch takes 3 ns, hold 5 ns, «clock width 25 ns»\n",
        "`clock width` cannot be said of a latch",
        "a latch may have `set-up`, `hold`, `enable width`",
    ),
    Mistake("wrong-option", LS + "    jk takes 3 ns, «enable width 9 ns»\n", "cannot be said of a jk", "`clock width`"),
    Mistake("wrong-option", BELL + "    ring = latch(pull) while pull high «clear when pull low»\n", "said of a latch"),
    Mistake("repeated-option", BELL + "    ring = pull takes 3 ns «takes 4 ns»\n", "`takes` is said twice"),
    Mistake("repeated-option", RUNG + "    input a free running high 1 ns, «high» 2 ns\n", "`high` is said twice"),
    Mistake("repeated-option", BELL + "    ring = pull takes rise 3 ns, «rise» 4 ns\n", "`rise` is said twice", "fall"),
    Mistake("repeated-option", LS + "    jk takes 3 ns, hold 5 ns, «hold 5 ns»\n", "`hold` is said twice"),
    Mistake("storage-inside", BELL + "    ring = not «latch»(pull)\n", "`latch` stands alone after `=`"),
    Mistake("claim-word", BELL + "    ring = «pull changes»\n", "`changes` belongs in a claim, not in a wire"),
    Mistake("claim-word", BELL + "    ring = «pull implies pull»\n", "`implies` belongs in a claim", "not a or b"),
    # Blocks and claims
    Mistake("wrong-place", CHIME + "    «ring = pull»\n", "`=` cannot stand in a contract", "circuit or part"),
    Mistake("wrong-place", "part p(a) gives b\n    «input c»\n    b = a\n" + RUNG, "`input` cannot stand in a part"),
    Mistake(
        "pins-in-circuit", CHIME + "circuit bell fits chime\n    «input x»\n    ring = pull\n", "no pins of its own"
    ),
    Mistake("can-pattern", RUNG + "    can a: «never ring»\n", "`can` takes a plain formula, not a pattern"),
    Mistake("not-a-net", RUNG + "    must a: («ring and pull») never glitches\n", "a net is needed here"),
    Mistake(
        "wrong-view", RUNG + "    must a «in settled view»: ring within the last 3 ns\n", "this claim speaks of ns"
    ),
    # Files
    Mistake("missing-file", 'use «"no_such.wiring"»\n' + RUNG, "cannot use `no_such.wiring`: there is no file"),
    Mistake(
        "missing-file",
        'use «"families/lss.wiring"»\n' + RUNG,
        "cannot use `families/lss.wiring`: there is no file",
        "did you mean `families/ls.wiring`?",
    ),
    Mistake("missing-file", 'use «"families/none/../ls.wiring"»\n' + RUNG, "there is no file", "`families/ls.wiring`"),
    Mistake("use-outside", 'use «"../bells.wiring"»\n' + RUNG, "lies outside the folder", "--allow-outside"),
    Mistake("use-loop", 'use «"bells.wiring"»\n' + RUNG, "uses itself"),
    # Warnings
    Mistake("unused-net", RUNG + "    «spare» = not pull\n", "the net `spare` of `bell` is not used"),
    Mistake("unused-net", RUNG + "    input «lever»\n", "the input `lever` of `bell` is not used"),
    Mistake(
        "unused-net",
        CHIME.replace("pull\n", "pull, lever\n", 1) + "circuit «bell» fits chime\n    ring = pull\n",
        "`lever`",
    ),
    Mistake("no-circuit", "«»" + CHIME, "no circuit to check in this file"),
]

WARNINGS = {"unused-net", "no-circuit"}


def without_marks(text: str) -> str:
    return text.replace("«", "").replace("»", "")


def marked_span(text: str) -> Span:
    """Where the marks stand. An empty stretch is the start of the file."""
    before, marked, _ = text.replace("»", "«").split("«")
    lines, end_lines = before.split("\n"), (before + marked).split("\n")
    return Span("bells.wiring", len(lines), len(lines[-1]) + 1, len(end_lines), len(end_lines[-1]) + 1)


def findings_of(text: str) -> tuple[Diagnostic, ...]:
    try:
        return loads(text, "bells.wiring").warnings
    except SourceError as error:
        return error.diagnostics


@pytest.mark.parametrize("mistake", MISTAKES, ids=lambda mistake: f"{mistake.code}: {mistake.message}"[:70])
def test_a_mistake_is_named_and_pointed_at(mistake: Mistake) -> None:
    found = findings_of(without_marks(mistake.text))
    assert [finding.code for finding in found] == [mistake.code]
    finding = found[0]
    assert mistake.message in finding.message
    assert mistake.hint in finding.hint
    assert finding.span == marked_span(mistake.text)
    assert finding.excerpt == without_marks(mistake.text).split("\n")[finding.span.line - 1]
    assert (finding.severity is Severity.WARNING) == (mistake.code in WARNINGS)


def test_every_finding_of_a_file_is_reported_in_source_order() -> None:
    text = (
        "circuit bell\n    input pull[0]\n    ring = pul\n    must : ring\n  output ring\n    x = 3 $ 4\n"
        "cirkit y\n    z = 1\ncircuit q\n    a = b\n"
    )
    found = findings_of(text)
    assert [finding.span.line for finding in found] == sorted(finding.span.line for finding in found)
    codes = [finding.code for finding in found]
    assert codes == [
        "bad-width", "unknown-name", "unexpected-word", "bad-indentation", "stray-character", "unexpected-word",
        "unknown-name",
    ]  # fmt: skip


def test_a_line_that_is_lost_does_not_make_others_look_wrong() -> None:
    """`lever` is declared, `ring` driven, `loud` claimed in lines that cannot be parsed; a real typo is still found."""
    text = (
        "contract chime\n    input pull\n    input lever by hnd\n    output ring, gong\n    must loud: ring rise\n"
        "    must quiet: pul or lever\n"
        "circuit bell fits chime, breaks loud\n    ring = lever and pull xr lever\n    gong = lever\n"
    )
    found = findings_of(text)
    assert [(finding.code, finding.span.line) for finding in found] == [
        ("unexpected-word", 3),
        ("unexpected-word", 5),
        ("unknown-name", 6),
        ("unexpected-word", 8),
    ]


ONE_MISTAKE = [
    "circuit bell\n    input a[«99999999»]\n    output ring\n    must m: a == 0\n    ring = a[0] and a[1] == a[2..1]\n",
    "circuit bell\n    input a\n    output r[«0»], s\n    r[0] = a\n    r[1] = r[0]\n    s = r == 3\n    can m: r\n",
    RUNG + "    net n[«2000»]\n    n = n + 1\n    must m: n == n\n",
    "contract chime\n    input a[«0»]\n    output ring\n    must m: a == 3\n"
    "circuit bell fits chime\n    ring = a == 3\n    must n: a steady\n",
    "part p(a[«0»], b) gives (c, d)\n    c = a == 2\n    d = b\n" + BELL + "    ring, x = p(3, pull)\n    must m: x\n",
    'use «"no_such.wiring"»\ncircuit bell fits chime\n    ring = pull\n',
    'use «"no_such.wiring"»\n' + BELL + "    delays from ls\n    ring, x = p(pull)\n    y = not q(x)\n    must m: y\n",
    "use «no_such»\ncircuit bell fits chime\n    ring = pull\n",
    'use "no_«\x1b»such.wiring"\ncircuit bell fits chime\n    ring = pull\n',
    "contract chime «for»\n    input pull\ncircuit bell fits chime\n    ring = pull\n",
    "circuit bell«\r»    input pull\r    output ring\r    ring = pull\r",
    BELL.replace("input pull", "input pu«\x07»ll") + "    ring = pull\n    must m: pull\n",
    BELL + "    ring = «двл» or двл\n    must m: двл\n",
]
"""Texts with one mistake, and things that hang on what the mistake took away."""


@pytest.mark.parametrize("text", ONE_MISTAKE)
def test_one_mistake_gives_one_error(text: str) -> None:
    (finding,) = findings_of(without_marks(text))
    assert finding.severity is Severity.ERROR
    assert finding.span == marked_span(text)


def test_a_mistake_on_another_line_is_found_beside_a_refused_one() -> None:
    text = 'use "no_such.wiring"\ncircuit bell\n    input a[0], pull\n    output ring\n    ring = pul or a\n'
    assert [finding.code for finding in findings_of(text)] == ["missing-file", "bad-width", "unknown-name"]


def test_a_hundred_warnings_do_not_hide_an_error() -> None:
    spare = "".join(f"    spare{number} = pull\n" for number in range(150))
    with pytest.raises(SourceError) as caught:
        loads(RUNG + spare + RUNG.replace("bell", "other").replace("= pull", "= pul"), "bells.wiring")
    assert [finding.code for finding in caught.value.diagnostics] == ["unknown-name"]


def test_the_texts_of_the_catalogue_without_a_mistake_load() -> None:
    for text in (RUNG, ADDER + RUNG, CHIME + "circuit bell fits chime\n    ring = pull\n"):
        assert loads(text, "bells.wiring").warnings == ()
