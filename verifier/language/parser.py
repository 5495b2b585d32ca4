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
from verifier.language.source import CARRIAGE_RETURN, Source
from verifier.language.syntax import DEPTH_LIMIT, Block, BlockKind, Branch, LostBlocks, place, too_deep
from verifier.language.tables import parser

TOKEN_LIMIT = 300_000
"""Words and signs in a file."""

LINE_TOKEN_LIMIT = 20_000
"""Words and signs in one statement."""

NAME_LIMIT = 64
"""Characters in a name: it must fit into a table."""

_BLOCK_KINDS = {kind.value: kind for kind in BlockKind}


@dataclass
class ParsedFile:
    """The blocks of one file in the order of writing, and its `use` lines."""

    source: Source
    blocks: list[Block] = field(default_factory=list)
    uses: list[Token] = field(default_factory=list)
    """The quoted file names."""
    lost: LostBlocks = field(default_factory=LostBlocks)


def parse(source: Source, findings: Findings) -> ParsedFile:
    """Everything in the text that can be parsed; the rest is in the findings."""
    findings.add_source(source)
    tabbed = _report_characters(source, findings)
    tokens, unreadable = _tokens(source, findings)
    if not tokens and not unreadable:
        findings.error("empty-file", "there is nothing in this file", source.start(), "a file has at least one block")
    layout = cut(tokens, tabbed)
    for misplaced in layout.misplaced:
        findings.error("bad-indentation", misplaced.message, place(misplaced.token, source), misplaced.hint)
    parsed = ParsedFile(source)
    for section in layout.sections:
        _take_section(section, parsed, unreadable, findings)
    return parsed


def _report_characters(source: Source, findings: Findings) -> frozenset[int]:
    """Reports characters that must not be there; gives the lines that hold a tab."""
    tabbed = set()
    for name, span in source.forbidden_characters():
        if name == "tab":
            tabbed.add(span.line)
            findings.error("tab", "there is a tab here", span, "use spaces; a tab is as wide as each editor likes")
        else:
            hint = "end lines with a line feed" if name == CARRIAGE_RETURN else "delete it"
            findings.error("control-character", f"there is an invisible {name} here", span, hint)
    return frozenset(tabbed)


def _tokens(source: Source, findings: Findings) -> tuple[Line, frozenset[int]]:
    """The tokens of the text, stray characters reported and left out, and the lines that had some."""
    tokens: Line = []
    unreadable: set[int] = set()
    reported: set[str] = set()
    for token in parser().lex(source.clean_text):
        if token.type == "STRAY":
            _report_stray(token, source, reported, findings)
            unreadable.add(token.line or 1)
        else:
            tokens.append(token)
            if len(token) > NAME_LIMIT and token.type == "NAME" and token not in reported:
                reported.add(str(token))
                message = f"the name {quoted(token)} has {len(token)} characters"
                findings.error("name-too-long", message, place(token, source), f"a name has at most {NAME_LIMIT}")
        if len(tokens) > TOKEN_LIMIT or findings.full:
            if not findings.full:
                findings.error("too-large", "this file has too many words", place(token, source), "split it")
            return [], frozenset({token.line or 1})
    return tokens, frozenset(unreadable)


def _report_stray(token: Token, source: Source, reported: set[str], findings: Findings) -> None:
    """Reports a character that means nothing; of a word with such letters, the first letter the first time."""
    span = source.word_at(token.line or 1, token.column or 1)
    word = source.lines[span.line - 1][span.column - 1 : span.end_column - 1]
    if len(word) > 1 or word.isalnum():
        if word not in reported:
            reported.add(word)
            message = f"{quoted(word)} is no name: {quoted(str(token))} cannot stand in one"
            findings.error("stray-character", message, span, "names consist of ASCII letters, digits and `_`")
        return
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


def _take_section(section: Section, parsed: ParsedFile, unreadable: frozenset[int], findings: Findings) -> None:
    source = parsed.source
    header = None
    if unreadable.isdisjoint(token.line for token in section.header):
        header = _parse_line(section.header, "header", source, findings)
    if header is None or (header.rule == "use" and _marred_words(section.header, source)):
        is_use = section.header[0].type == "USE"
        parsed.lost |= LostBlocks(_names_in(section.header, source), of_files=is_use)
        header = None
    statements: list[Branch] = []
    lost: set[str] = set()
    for line in section.statements:
        readable = unreadable.isdisjoint(token.line for token in line)
        statement = _parse_line(line, "statement", source, findings) if readable else None
        if statement is None:
            lost |= _names_in(line, source)
        else:
            statements.append(statement)
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
        statements=tuple(statements),
        source=source,
        lost=frozenset(lost),
    )
    parsed.blocks.append(block)
    if not section.statements:
        message = f"the {block.kind.value} {quoted(block.name)} has nothing in it"
        findings.error("empty-block", message, block.place(block.name), "its lines are indented below it")


def _names_in(line: Line, source: Source) -> frozenset[str]:
    """The names in a line that could not be parsed, those included that a forbidden character has cut in pieces."""
    return _marred_words(line, source) | {str(token) for token in line if token.type == "NAME"}


def _marred_words(line: Line, source: Source) -> frozenset[str]:
    """The words of the physical lines with forbidden characters; no further finding is made of such a line."""
    found = (source.marred_words.get(number, frozenset()) for number in {token.line or 1 for token in line})
    return frozenset[str]().union(*found)


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
    fed = 0
    try:
        for token in line:
            interactive.feed_token(token)
            fed += 1
        tree = finish(line[-1])
    except UnexpectedToken:
        if _marred_words(line, source):
            return None
        _report_unexpected(line, fed, _accepted(lalr, line[:fed], start), start, source, findings)
        return None
    except UnexpectedInput as problem:
        raise RuntimeError(f"the parser stopped in a way it never should: {problem}") from problem
    if not isinstance(tree, Branch):
        raise RuntimeError(f"the parser made {tree!r} of a {start}")
    return tree


def _accepted(lalr: Lark, line: Line, start: str) -> frozenset[str]:
    """The terminals that can follow these tokens.

    They are fed to a fresh parser: the one that stumbled has taken steps on the wrong token already.
    """
    interactive = lalr.parse_interactive(start=start)
    for token in line:
        interactive.feed_token(token)
    acceptable: Callable[[], set[str]] = interactive.accepts
    return frozenset(acceptable())


def _report_unexpected(
    line: Line, fed: int, accepted: frozenset[str], start: str, source: Source, findings: Findings
) -> None:
    """Says which word is wrong: the one after the first `fed` words, or the end of the line."""
    if fed and line[fed - 1].type in ("AND", "OR", "XOR") and accepted == {"LPAR"}:
        # `a and or b`: `or` could have begun `or(...)`, so the parser stumbles one word too late.
        fed, accepted = fed - 1, frozenset({"NAME", "NUMBER", "LPAR"})
    if fed == len(line):
        message = f"this line ends too early: expected {expected_words(accepted)}"
        hint = _unclosed(line) or hint_for(None, accepted)
        findings.error("unexpected-end", message, place(line[-1], source), hint)
        return
    token = line[fed]
    if fed == 0 and start == "header":
        hint = "these start in the first column: `contract`, `circuit`, `part`, `family`, `use`; all else is indented"
        findings.error("unexpected-word", f"no block starts with {quoted(token)}", place(token, source), hint)
        return
    wrong_name = _wrong_name(line, fed, accepted)
    if wrong_name is not None:
        message = f"{quoted(wrong_name)} is a word of the language and cannot be a name"
        findings.error("keyword-as-name", message, place(wrong_name, source), "choose another name")
        return
    message = f"{quoted(token)} cannot stand here: expected {expected_words(accepted)}"
    findings.error("unexpected-word", message, place(token, source), hint_for(token, accepted))


def _wrong_name(line: Line, fed: int, accepted: frozenset[str]) -> Token | None:
    """The word of the language that stands where a name must."""
    token = line[fed]
    if is_word(token) and "NAME" in accepted and "NUMBER" not in accepted and fed > 0:
        return token
    if fed <= 1 and is_word(line[0]) and len(line) > 1 and line[1].type == "EQUAL":
        return line[0]
    return None


def _unclosed(line: Line) -> str:
    """A hint that names the last bracket that is never closed."""
    opened: list[Token] = []
    for token in line:
        if token.type in OPENING:
            opened.append(token)
        elif token.type in CLOSING and opened:
            opened.pop()
    if not opened:
        return ""
    return f"the `{opened[-1]}` in line {opened[-1].line}, column {opened[-1].column} is never closed"
