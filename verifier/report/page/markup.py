"""Markup made of elements and escaped text: the one door through which anything gets onto the page.

Every text goes through `pieces.clean` and `html.escape`, so nothing that a wiring file says can become markup, script
or a character that reorders or hides what stands around it.
"""

from __future__ import annotations

import html
import json
from collections.abc import Iterable
from typing import Any

from verifier.report.pieces import clean

VOID = frozenset({"input", "meta", "link", "br", "hr"})


class Markup(str):
    """Text that is markup already."""

    __slots__ = ()


Child = str | Markup | Iterable["str | Markup"] | None


def escaped(text: str) -> Markup:
    return text if isinstance(text, Markup) else Markup(html.escape(clean(text)))


def element(name: str, /, *children: Child, **attributes: str | int | bool | None) -> Markup:
    """`<name attributes>children</name>`.

    `class_` is `class`, other underscores are hyphens; what is None or False is left out.
    """
    written = "".join(
        f" {_attribute(key)}" if value is True else f' {_attribute(key)}="{escaped(str(value))}"'
        for key, value in attributes.items()
        if value is not None and value is not False
    )
    opened = f"<{name}{written}>"
    return Markup(opened if name in VOID else f"{opened}{joined(*children)}</{name}>")


def joined(*children: Child) -> Markup:
    parts: list[str] = []
    for child in children:
        if child is None:
            continue
        parts += [escaped(child)] if isinstance(child, str) else map(escaped, child)
    return Markup("".join(parts))


def data_block(identity: str, record: Any) -> Markup:
    """Plain data for the script. `<` is written as `\\u003c`, so that no text in it can end the block."""
    written = json.dumps(record, separators=(",", ":")).replace("<", "\\u003c")
    return Markup(f'<script type="application/json" id="{escaped(identity)}">{written}</script>')


def _attribute(key: str) -> str:
    return key.rstrip("_").replace("_", "-")
