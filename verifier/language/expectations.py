"""What a syntax error says: which word stands wrong, and what could have stood there, in words of the language."""

from __future__ import annotations

from collections.abc import Set

from lark import Token

SYMBOLS = {
    "LPAR": "(", "RPAR": ")", "LSQB": "[", "RSQB": "]", "COMMA": ",", "DOT": ".", "DOTS": "..", "EQUAL": "=",
    "COLON": ":", "PLUS": "+", "MINUS": "-", "ASKED": "?",
}  # fmt: skip

# Most telling first. What is not in here is a word of the language and is shown as it is written.
_GROUPS: tuple[tuple[frozenset[str], str], ...] = (
    (frozenset({"NAME", "NUMBER", "LPAR"}), "a name, a number or `(`"),
    (frozenset({"NAME"}), "a name"),
    (frozenset({"NUMBER", "ASKED"}), "a number or `?`"),
    (frozenset({"NUMBER"}), "a number"),
    (frozenset({"EQUAL"}), "`=`"),
    (frozenset({"COLON"}), "`:`"),
    (frozenset({"RPAR"}), "`)`"),
    (frozenset({"RSQB"}), "`]`"),
    (frozenset({"AND", "OR", "IMPLIES"}), "an operator such as `and`"),
    (frozenset({"$END"}), "the end of the line"),
    (frozenset({"LPAR"}), "`(`"),
    (frozenset({"STRING"}), "a file name in double quotes"),
    (frozenset({"COMMA"}), "`,`"),
)

_AFTER_A_VALUE = frozenset({
    "AND", "OR", "XOR", "IMPLIES", "SINCE", "UNTIL", "FOR", "AGAIN", "AT", "WITHIN_THE_LAST", "COMPARISON", "CHANGES",
    "RISES", "FALLS", "STEADY", "PLUS", "MINUS", "LSQB", "DOT", "ONLY", "LEADS", "NEVER", "LPAR",
})  # fmt: skip
_BEFORE_A_VALUE = frozenset({
    "NAME", "NUMBER", "LPAR", "AND", "OR", "XOR", "NOT", "IF", "BEFORE", "ONCE", "NEXT", "ALWAYS", "EVENTUALLY",
    "NEVER", "PULSES",
})  # fmt: skip
# Once a group is named, these are no news: they go with it.
_COVERED = {"a name, a number or `(`": _BEFORE_A_VALUE, "an operator such as `and`": _AFTER_A_VALUE}

SOFT_WORDS = frozenset({
    "ANY", "CLEAR", "FALL", "HIGH", "LAST", "LOW", "PRESET", "RISE", "SETTLED", "STEPS", "TIMED", "UNKNOWN",
})  # fmt: skip
"""Words that are names wherever the grammar does not ask for them."""

_FIGURE_STARTS = frozenset({"set", "hold", "clock", "enable", "settling"})
_SHOWN = 4


def expected_words(accepted: Set[str]) -> str:
    """The few likeliest continuations, as in "a name, `:` or `in`"; empty when nothing can follow."""
    rest = set(accepted) - {"STRAY"}
    if "NAME" in rest:
        rest -= SOFT_WORDS
    shown: list[str] = []
    for group, text in _GROUPS:
        if group <= rest:
            shown.append(text)
            rest -= group | _COVERED.get(text, frozenset())
    shown += [f"`{word_of(name)}`" for name in sorted(rest)]
    if len(shown) <= 1:
        return "".join(shown)
    shown = shown[:_SHOWN]
    return ", ".join(shown[:-1]) + " or " + shown[-1]


def word_of(terminal: str) -> str:
    """How a terminal is written."""
    return SYMBOLS.get(terminal, terminal.lower().replace("_", " "))


def is_word(token: Token) -> bool:
    """Whether the token is a word of the language that can never be a name."""
    return token.type not in SOFT_WORDS and token.type != "NAME" and token[:1].isalpha()


def hint_for(token: Token | None, accepted: Set[str]) -> str:
    """Help for the mistakes that are made most often."""
    if "NUMBER" in accepted and "LPAR" in accepted and token is not None:
        if token.type in ("NOT", "IF", "BEFORE", "NEXT", "ALWAYS", "EVENTUALLY", "ONCE"):
            return f"put parentheses around the part that starts with `{token}`"
        if token.type in ("NEVER", "PULSES"):
            return f"`{token}` stands outermost in a claim, once, and never inside parentheses"
    if (accepted == {"CLEAR", "PRESET"} and token in _FIGURE_STARTS) or (accepted == {"WHEN"} and token == "width"):
        return "figures such as `set-up` stand in a `family`, not at a net"
    if token is not None and token.type in ("ONLY", "LEADS") and "RPAR" in accepted:
        return f"`{token} ...` is a pattern: it stands outermost in a claim, once, and never inside parentheses"
    if token is not None and token.type == "EQUAL" and "COMPARISON" in accepted:
        return "equality is written `==`"
    if token is not None and token.type == "COMPARISON":
        return "a comparison has two sides; join several with `and`" if "AND" in accepted else ""
    if token is not None and is_word(token) and token.type not in _AFTER_A_VALUE and "NAME" in accepted:
        return f"`{token}` is a word of the language; nothing can be called that"
    return ""
