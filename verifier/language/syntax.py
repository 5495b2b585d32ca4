"""The syntax tree: lark's tree with typed access to its pieces, and the blocks of a file.

It says how a file is written, not whether it makes sense.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum

from lark import Token, Tree

from verifier.errors import Span
from verifier.language.source import Source

DEPTH_LIMIT = 100
"""Levels of a statement's tree; the walks over it are recursive and rest on this limit."""

RUNS = frozenset({"and", "or", "xor"})
"""Operators whose repetition without parentheses is one operation on many operands."""


class Branch(Tree[Token]):
    """An inner node; `data` names the grammar rule."""

    @property
    def rule(self) -> str:
        return str(self.data)

    @property
    def branches(self) -> list[Branch]:
        """The children that are branches."""
        return [child for child in self.children if isinstance(child, Branch)]

    @property
    def tokens(self) -> list[Token]:
        """The children that are tokens."""
        return [child for child in self.children if isinstance(child, Token)]

    def branch(self, index: int) -> Branch:
        """Raises TypeError when that child is no branch: the code and the grammar disagree."""
        child = self.children[index]
        if not isinstance(child, Branch):
            raise TypeError(f"child {index} of {self.rule} is {child!r}")
        return child

    def token(self, index: int) -> Token:
        """Raises TypeError when that child is no token: the code and the grammar disagree."""
        child = self.children[index]
        if not isinstance(child, Token):
            raise TypeError(f"child {index} of {self.rule} is {child!r}")
        return child

    def find(self, rule: str) -> Branch | None:
        """The first child made by this rule."""
        return next((branch for branch in self.branches if branch.rule == rule), None)


def place(piece: Branch | Token, source: Source) -> Span:
    """Where a piece of syntax stands."""
    meta = piece if isinstance(piece, Token) else piece.meta
    return Span(source.name, meta.line or 1, meta.column or 1, meta.end_line or 1, meta.end_column or 1)


def run_operands(tree: Branch) -> list[Branch]:
    """`a and b and c` is parsed as a pair of a pair; here are all operands of the run, in order."""
    operands: list[Branch] = []
    node = tree
    while node.rule == tree.rule:
        operands.append(node.branch(1))
        node = node.branch(0)
    operands.append(node)
    return operands[::-1]


def too_deep(tree: Branch) -> Branch | None:
    """A branch below the depth limit, if there is one. A run counts as one level."""
    pending = [(tree, 1)]
    while pending:
        node, depth = pending.pop()
        if depth > DEPTH_LIMIT:
            return node
        for index, child in enumerate(node.children):
            if isinstance(child, Branch):
                same_run = index == 0 and node.rule in RUNS and child.rule == node.rule
                pending.append((child, depth if same_run else depth + 1))
    return None


def walk_branches(tree: Branch) -> Iterator[Branch]:
    """Every branch of the tree, each parent before its children, in the order of writing."""
    pending = [tree]
    while pending:
        node = pending.pop()
        yield node
        pending.extend(reversed(node.branches))


@dataclass(frozen=True)
class LostBlocks:
    """What is known of blocks that could not be read; nothing is reported that one of them may have cured."""

    names: frozenset[str] = frozenset()
    """Names in headers that could not be parsed."""
    of_files: bool = False
    """Whether there is a `use` whose file was not read: its blocks may have any name."""

    def may_hold(self, name: str) -> bool:
        return self.of_files or name in self.names

    def __or__(self, other: LostBlocks) -> LostBlocks:
        return LostBlocks(self.names | other.names, self.of_files or other.of_files)


class BlockKind(Enum):
    CONTRACT = "contract"
    CIRCUIT = "circuit"
    PART = "part"
    FAMILY = "family"


@dataclass(frozen=True, kw_only=True)
class Block:
    """One header with the statements below it that could be parsed."""

    kind: BlockKind
    name: Token
    header: Branch
    statements: tuple[Branch, ...]
    source: Source
    lost: frozenset[str] = frozenset()
    """Names in its statements that could not be parsed: they may be declared, driven or claimed in there."""

    def place(self, piece: Branch | Token) -> Span:
        return place(piece, self.source)

    def all(self, rule: str) -> list[Branch]:
        """The statements made by this rule."""
        return [statement for statement in self.statements if statement.rule == rule]
