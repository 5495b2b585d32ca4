"""Writes the parser's tables anew after a change of the grammar: `python tests/language/update_tables.py`."""

from __future__ import annotations

from pathlib import Path

from verifier.language.tables import TABLES_NAME, grammar_text, make_tables


def main() -> None:
    """Puts the tables beside the grammar of this checkout."""
    folder = Path(__file__).resolve().parents[2] / "grammar"
    (folder / TABLES_NAME).write_text(make_tables(grammar_text()), encoding="utf-8")


if __name__ == "__main__":
    main()
