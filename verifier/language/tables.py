"""The parser, made from `wiring.lark`; its tables are computed beforehand, since computing them takes 0.2 s.

`wiring.tables.json` beside the grammar holds what lark computed from it. It is used only when it was made from exactly
this grammar by this version of lark; otherwise the parser is made from the grammar, with the same outcome. A test holds
the two together; `tests/language/update_tables.py` writes the file anew.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from functools import cache
from hashlib import sha256
from typing import Any

import lark
from lark.grammar import Rule
from lark.lexer import TerminalDef

from verifier.language.carried import grammar_folder
from verifier.language.syntax import Branch

STARTS = ["header", "statement"]
TABLES_NAME = "wiring.tables.json"


def grammar_text() -> str:
    return _packaged("wiring.lark")


@cache
def parser() -> lark.Lark:
    """The parser for headers and statements."""
    grammar = grammar_text()
    try:
        tables = json.loads(_packaged(TABLES_NAME))
    except (OSError, ValueError):
        return parser_from_grammar(grammar)
    if tables.get("made from") != _fingerprint(grammar):
        return parser_from_grammar(grammar)
    return parser_from_tables(tables)


def parser_from_grammar(grammar: str, *, strict: bool = False) -> lark.Lark:
    """The parser, computed from the grammar; `strict` makes lark refuse terminals that overlap."""
    return lark.Lark(
        grammar,
        parser="lalr",
        lexer="basic",
        start=STARTS,
        propagate_positions=True,
        maybe_placeholders=True,
        tree_class=Branch,
        strict=strict,
    )


def make_tables(grammar: str) -> str:
    """The text of the tables file for a grammar."""
    plain = lark.Lark(grammar, parser="lalr", lexer="basic", start=STARTS, propagate_positions=True)
    data, memo = plain.memo_serialize([TerminalDef, Rule])
    data["options"].pop("tree_class", None)
    tables = {"made from": _fingerprint(grammar), "data": data, "memo": memo}
    return json.dumps(tables, separators=(",", ":"), sort_keys=True) + "\n"


def parser_from_tables(tables: dict[str, Any]) -> lark.Lark:
    """The parser, from what `make_tables` wrote.

    JSON turned the numbers that are keys into text; here they become numbers again.
    """
    data = tables["data"]
    parse_table = data["parser"]["parser"]
    parse_table["states"] = {
        int(state): {int(token): action for token, action in actions.items()}
        for state, actions in parse_table["states"].items()
    }
    parse_table["tokens"] = {int(number): token for number, token in parse_table["tokens"].items()}
    memo = {int(number): value for number, value in tables["memo"].items()}
    load: Callable[..., lark.Lark] = lark.Lark._load_from_dict
    return load(data, memo, tree_class=Branch, propagate_positions=True)


def _fingerprint(grammar: str) -> str:
    major, minor, *_ = lark.__version__.split(".")
    return f"lark {major}.{minor}, grammar {sha256(grammar.encode()).hexdigest()}"


def _packaged(name: str) -> str:
    """The text of a file of the grammar folder."""
    return (grammar_folder() / name).read_text(encoding="utf-8")
