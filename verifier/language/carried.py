"""Files that come with the program: inside the package once installed, in the folders of a checkout otherwise."""

from __future__ import annotations

from pathlib import Path

_PACKAGE = Path(__file__).resolve().parents[1]

FAMILIES_PREFIX = "families/"
"""How a path begins that `use` may look for among the carried families."""


def grammar_folder() -> Path:
    """Holds the grammar and the parser's tables."""
    return _folder("grammar", "grammar")


def families_folder() -> Path:
    """Holds the wiring files with the delays of logic families."""
    return _folder("families", "specs/families")


def carried_family(written: str) -> Path | None:
    """The carried file that `use "families/..."` means, or None when there is none."""
    # Compared with what is there, never joined to the folder untried: no `..` leads out of it.
    return families_folder() / written.removeprefix(FAMILIES_PREFIX) if written in carried_names() else None


def carried_names() -> list[str]:
    """What can be written behind `use` to have a carried family."""
    return sorted(FAMILIES_PREFIX + path.name for path in families_folder().glob("*.wiring"))


def _folder(installed: str, in_checkout: str) -> Path:
    found = _PACKAGE / installed
    return found if found.exists() else _PACKAGE.parent / in_checkout
