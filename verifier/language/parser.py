"""From text to blocks of syntax trees, one logical line at a time, so that one mistake does not hide the next.

It finds forbidden characters, tabs, wrong indentation and wrong grammar. It does not know what a name stands for.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from lark import Lark, Token
from lark.exceptions import UnexpectedInput, UnexpectedToken

from verifier.language.expectations import expected_words, hint_for, is_word
from verifier.language.findings import Findings, quoted
from verifier.language.layout import CLOSING, OPENING, Line, Section, cut
from verifier.language.source import Source
from verifier.language.syntax import DEPTH_LIMIT, Block, BlockKind, Branch, place, too_deep
from verifier.language.tables import parser

TOKEN_LIMIT = 300_000
"""Words and signs in a file."""

LINE_TOKEN_LIMIT = 20_000
"""Words and signs in one statement."""

_BLOCK_KINDS = {kind.value: kind for kind in BlockKind}


@dataclass
class ParsedFile:
    """The blocks of one file in the order of writing, and its `use` lines."""

    source: Source
    blocks: list[Block] = field(default_factory=list)
    uses: list[Token] = field(default_factory=list)
    """The quoted file names."""


def parse(source: Source, findings: Findings) -> ParsedFile:
    """Everything in the text that can be parsed; the rest is in the findings."""
    findings.add_source(source)
    tabbed = _report_characters(source, findings)
    tokens = _tokens(source, findings)
    if not tokens:
        findings.error("empty-file", "there is nothing in this file", source.start(), "a file has at least one block")
    layout = cut(tokens, tabbed)
    for misplaced in layout.misplaced:
        findings.error("bad-indentation", misplaced.message, place(misplaced.token, source), misplaced.hint)
    parsed = ParsedFile(source)
    for section in layout.sections:
        _take_section(section, parsed, findings)
    return parsed


def _report_characters(source: Source, findings: Findings) -> frozenset[int]:
    """Reports characters that must not be there; gives the lines that hold a tab."""
    tabbed = set()
    for name, span in source.forbidden_characters():
        if name == "tab":
            tabbed.add(span.line)
            findings.error("tab", "there is a tab here", span, "use spaces; a tab is as wide as each editor likes")
        else:
            findings.error("control-character", f"there is an invisible {name} here", span, "delete it")
    return frozenset(tabbed)


def _tokens(source: Source, findings: Findings) -> Line:
    """The tokens of the text, stray characters reported and left out."""
    tokens: Line = []
    for token in parser().lex(source.clean_text):
        if token.type == "STRAY":
            _report_stray(token, source, findings)
        else:
            tokens.append(token)
        if len(tokens) > TOKEN_LIMIT or findings.full:
            if not findings.full:
                findings.error("too-large", "this file has too many words", place(token, source), "split it")
            return []
    return tokens


def _report_stray(token: Token, source: Source, findings: Findings) -> None:
    hints = {
        '"': 'the closing `"` is missing on this line',
        "!": "write `not`, or `!=` for unequal",
        "&": "write `and`",
        "|": "write `or`",
        "^": "write `xor`",
        "~": "write `not`",
        ";": "a statement ends with its line",
        "{": "blocks are made by indentation",
        "}": "blocks are made by indentation",
    }
    message = f"the character {quoted(str(token))} means nothing here"
    findings.error("stray-character", message, place(token, source), hints.get(str(token), ""))


def _take_section(section: Section, parsed: ParsedFile, findings: Findings) -> None:
    source = parsed.source
    header = _parse_line(section.header, "header", source, findings)
    statements = [_parse_line(line, "statement", source, findings) for line in section.statements]
    if header is None:
        return
    if header.rule == "use":
        parsed.uses.append(header.token(0))
        for line in section.statements:
            hint = "`use` stands alone; start a block before this line"
            findings.error("bad-indentation", "this line stands below a `use`", place(line[0], source), hint)
        return
    block = Block(
        kind=_BLOCK_KINDS[header.rule],
        name=header.token(0),
        header=header,
        statements=tuple(statement for statement in statements if statement is not None),
        source=source,
        complete=None not in statements,
    )
    parsed.blocks.append(block)
    if not section.statements:
        message = f"the {block.kind.value} {quoted(block.name)} has nothing in it"
        findings.error("empty-block", message, block.place(block.name), "its lines are indented below it")


def _parse_line(line: Line, start: str, source: Source, findings: Findings) -> Branch | None:
    """The tree of one logical line, or None when a finding says why there is none."""
    if len(line) > LINE_TOKEN_LIMIT or _bracket_depth(line) > DEPTH_LIMIT:
        _report_nesting(line[0], source, findings)
        return None
    tree = _feed(parser(), line, start, source, findings)
    deep = too_deep(tree) if tree is not None else None
    if deep is not None:
        _report_nesting(deep, source, findings)
        return None
    return tree


def _report_nesting(piece: Branch | Token, source: Source, findings: Findings) -> None:
    message = f"this statement is too long or nested deeper than {DEPTH_LIMIT} levels"
    findings.error("too-deep", message, place(piece, source), "give its inner pieces names of their own")


def _bracket_depth(line: Line) -> int:
    deepest = depth = 0
    for token in line:
        depth += (token.type in OPENING) - (token.type in CLOSING)
        deepest = max(deepest, depth)
    return deepest


def _feed(lalr: Lark, line: Line, start: str, source: Source, findings: Findings) -> Branch | None:
    interactive = lalr.parse_interactive(start=start)
    finish: Callable[[Token], object] = interactive.feed_eof
    acceptable: Callable[[], set[str]] = interactive.accepts
    previous: Token | None = None
    accepted: frozenset[str] = frozenset()
    try:
        for token in line:
            interactive.feed_token(token)
            previous = token
        tree = finish(line[-1])
    except UnexpectedToken as problem:
        accepted = frozenset(acceptable())
        at_end = problem.token.type == "$END"
        _report_unexpected(None if at_end else problem.token, previous, accepted, start, source, findings)
        return None
    except UnexpectedInput as problem:
        raise RuntimeError(f"the parser stopped in a way it never should: {problem}") from problem
    if not isinstance(tree, Branch):
        raise RuntimeError(f"the parser made {tree!r} of a {start}")
    return tree


def _report_unexpected(
    token: Token | None,
    previous: Token | None,
    accepted: frozenset[str],
    start: str,
    source: Source,
    findings: Findings,
) -> None:
    """Says which word is wrong. `token` is None at the end of the line; `previous` is the last word that was fine."""
    if previous is not None and previous.type in ("AND", "OR", "XOR") and accepted == {"LPAR"}:
        # `a and or b`: `or` could have begun `or(...)`, so the parser stumbles one word too late.
        token, accepted = previous, frozenset({"NAME", "NUMBER", "LPAR"})
    if token is None:
        if previous is None:
            raise RuntimeError("a logical line has no tokens")
        span = place(previous, source)
        message = f"this line ends too early: expected {expected_words(accepted)}"
        findings.error("unexpected-end", message, span, hint_for(None, accepted))
    elif previous is None and start == "header":
        hint = "these start in the first column: `contract`, `circuit`, `part`, `family`, `use`; all else is indented"
        findings.error("unexpected-word", f"no block starts with {quoted(token)}", place(token, source), hint)
    elif is_word(token) and "NAME" in accepted and "NUMBER" not in accepted:
        message = f"{quoted(token)} is a word of the language and cannot be a name"
        findings.error("keyword-as-name", message, place(token, source), "choose another name")
    else:
        message = f"{quoted(token)} cannot stand here: expected {expected_words(accepted)}"
        findings.error("unexpected-word", message, place(token, source), hint_for(token, accepted))
