"""The grammar file itself: no terminals overlap, the stored tables belong to it, words bind as the reference says."""

from __future__ import annotations

import json

import pytest

from verifier.claims import formula as f
from verifier.claims.formula import Formula
from verifier.language import loads, tables

WORDS = {f.Before: "before", f.Once: "once", f.Next: "next", f.Always: "always", f.Eventually: "eventually",
         f.Never: "never", f.AgainAndAgain: "again and again"}  # fmt: skip
BETWEEN = {f.Since: "since", f.Until: "until", f.OnlyWhen: "only when", f.LeadsTo: "leads to", f.Add: "+",
           f.Subtract: "-"}  # fmt: skip


def shown(node: Formula) -> str:
    """The formula with every operation in square brackets."""
    inner = [shown(child) for child in node.children]
    if isinstance(node, f.Signal):
        return node.name
    if isinstance(node, f.Literal):
        return str(node.value)
    if isinstance(node, f.Apply):
        word = node.operator.value
        return f"[{word} {inner[0]}]" if len(inner) == 1 else "[" + f" {word} ".join(inner) + "]"
    if isinstance(node, f.Select):
        return "[if {} then {} else {}]".format(*inner)
    if isinstance(node, f.Compare):
        return f"[{inner[0]} {node.comparison.value} {inner[1]}]"
    if isinstance(node, f.Step):
        return f"[{inner[0]} {node.word.value}]"
    if isinstance(node, f.Slice):
        return f"{inner[0]}<{node.high},{node.low}>"
    if isinstance(node, f.AtTheLast):
        return f"[{inner[0]} at the last {inner[1]}]"
    if isinstance(node, f.WithinTheLast):
        return f"[{inner[0]} within the last {node.bound.amount}]"
    if type(node) in WORDS:
        return f"[{WORDS[type(node)]} {inner[0]}]"
    return f"[{inner[0]} {BETWEEN[type(node)]} {inner[1]}]"


def parsed(claim: str) -> str:
    text = f"circuit bell\n    input a, b, c, d, n[4], m[4]\n    output ring\n    ring = a\n    must it: {claim}\n"
    return shown(loads(text, "bells.wiring").designs[0].claims[0].formula)


@pytest.mark.parametrize(
    ("claim", "meant"),
    [
        # Patterns are loosest.
        ("a implies b only when c or d", "[[a implies b] only when [c or d]]"),
        ("never a or b", "[never [a or b]]"),
        ("a and b leads to c implies d", "[[a and b] leads to [c implies d]]"),
        # `if` reaches as far right as it can.
        ("if a then b else c implies d", "[if a then b else [c implies d]]"),
        ("a implies if b then c else d or a", "[a implies [if b then c else [d or a]]]"),
        ("(if a then b else c) and d", "[[if a then b else c] and d]"),
        # `implies` groups to the right and is looser than `or`.
        ("a implies b implies c", "[a implies [b implies c]]"),
        ("a or b implies c xor d", "[[a or b] implies [c xor d]]"),
        # A run of one word is one operation; mixed words group to the left.
        ("a or b or c", "[a or b or c]"),
        ("a or (b or c)", "[a or [b or c]]"),
        ("a or b xor c or d", "[[[a or b] xor c] or d]"),
        ("a xor b and c or d", "[[a xor [b and c]] or d]"),
        ("a and b and c", "[a and b and c]"),
        # `since` and `until` bind tighter than `and`, and group to the left.
        ("a and b since c and d", "[a and [b since c] and d]"),
        ("a since b until c", "[[a since b] until c]"),
        ("not a since b changes", "[[not a] since [b changes]]"),
        # Postfix phrases are looser than prefix words.
        ("not a for good", "[always [not a]]"),
        ("once a for good", "[always [once a]]"),
        ("a == b for good", "[always [a == b]]"),
        ("a since b for good", "[a since [always b]]"),
        ("a again and again and b", "[[again and again a] and b]"),
        ("not a at the last b rises", "[[not a] at the last [b rises]]"),
        ("not a within the last 3 steps or b", "[[[not a] within the last 3] or b]"),
        # Prefix words, `not`, comparisons, step words, `before`, arithmetic.
        ("always a and b", "[[always a] and b]"),
        ("next not a and b", "[[next [not a]] and b]"),
        ("not always not a", "[not [always [not a]]]"),
        ("not n == m", "[not [n == m]]"),
        ("not a changes", "[not [a changes]]"),
        ("a changes == b changes", "[[a changes] == [b changes]]"),
        ("before a rises", "[[before a] rises]"),
        ("before n + 1 == m", "[[before [n + 1]] == m]"),
        ("n - m + 1 != 3", "[[[n - m] + 1] != 3]"),
        ("n + m[3..0] changes", "[[n + m<3,0>] changes]"),
        ("not n[2] changes", "[not [n<2,2> changes]]"),
        ("eventually always a implies b", "[[eventually [always a]] implies b]"),
    ],
)
def test_words_bind_as_the_reference_says(claim: str, meant: str) -> None:
    assert parsed(claim) == meant


@pytest.mark.parametrize("sign", ["==", "!=", "<", "<=", ">", ">="])
def test_each_sign_of_comparison_is_read_whole(sign: str) -> None:
    assert parsed(f"n{sign}m") == f"[n {sign} m]"


@pytest.mark.parametrize(
    "name", ["any", "clear", "fall", "high", "last", "low", "preset", "rise", "settled", "steps", "timed", "unknown"]
)
def test_soft_words_are_names_too(name: str) -> None:
    text = (
        f"circuit bell\n    input {name}, hold\n    output ring\n"
        f"    ring = latch({name}) while {name} high start unknown\n"
        f"    must {name}_: {name} at the last {name} only when {name}\n"
        f"    must it: pulses of {name} last at least 3 ns\n    can hold_: hold\n"
    )
    design = loads(text, "bells.wiring").designs[0]
    assert [pin.name for pin in design.netlist.inputs] == [name, "hold"]
    assert [claim.name for claim in design.claims] == [f"{name}_", "it", "hold_", "settles"]


def test_no_two_terminals_of_the_grammar_overlap() -> None:
    pytest.importorskip("interegular", reason="the strict mode of lark needs it")
    assert tables.parser_from_grammar(tables.grammar_text(), strict=True).terminals


def test_strict_mode_would_notice_an_overlap() -> None:
    overlapping = tables.grammar_text() + "\nOTHER: /[a-z]+[0-9]*/\n"
    overlapping = overlapping.replace("| STRAY ", "| STRAY | OTHER ", 1)
    with pytest.raises(Exception, match="Collision"):
        tables.parser_from_grammar(overlapping, strict=True)


def test_the_stored_tables_are_those_of_the_grammar() -> None:
    """After a change of the grammar: `python tests/language/update_tables.py`."""
    stored = json.loads(tables._packaged(tables.TABLES_NAME))
    fresh = json.loads(tables.make_tables(tables.grammar_text()))
    assert stored["made from"] == fresh["made from"]
    assert len(stored["memo"]) == len(fresh["memo"])
    assert len(stored["data"]["parser"]["parser"]["states"]) == len(fresh["data"]["parser"]["parser"]["states"])


def test_both_ways_of_making_the_parser_read_the_same_trees() -> None:
    from_grammar = tables.parser_from_grammar(tables.grammar_text())
    from_tables = tables.parser_from_tables(json.loads(tables.make_tables(tables.grammar_text())))
    for line in (
        "ring, x[3..2] = join(a, not b) on rise of clk, clear when (a and b) low start 0x1F takes 3..15 ns",
        "must it in any delay view: a within the last 3 steps leads to b within ? rises of n[2]",
        "input a, b[4] free running high 3..4 ns, low 5 ns",
        "q = latch(d) while a high takes rise 3..10 ns, fall 4 ns start 0",
        "flipflop, jk takes 5 ns, set-up 20 ns, hold 0 ns, clear width 25 ns",
    ):
        assert from_grammar.parse(line, start="statement") == from_tables.parse(line, start="statement")


def test_tables_of_another_grammar_are_not_used(monkeypatch: pytest.MonkeyPatch) -> None:
    grammar = tables.grammar_text()
    stale = json.dumps({"made from": "something else", "data": {}, "memo": {}})
    monkeypatch.setattr(tables, "_packaged", lambda name: stale if name.endswith(".json") else grammar)
    tree = tables.parser.__wrapped__().parse("ring = pull", start="statement")
    assert tree.data == "assignment"
