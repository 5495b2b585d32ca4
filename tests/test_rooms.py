"""Who may import whom; nothing may be imported against the order, not even inside a function."""

from __future__ import annotations

import ast
import subprocess
import sys
from collections.abc import Iterator
from importlib.util import find_spec
from pathlib import Path

import pytest

SPEC = find_spec("verifier")
assert SPEC is not None
assert SPEC.origin is not None
PACKAGE = Path(SPEC.origin).parent

GROUND = {"errors"}
EVERY_ROOM = GROUND | {"circuit", "claims", "language", "logic", "views", "engines", "evidence", "report"}
MAY_IMPORT = {
    "errors": set[str](),
    "circuit": GROUND,
    "logic": GROUND,
    "claims": GROUND | {"circuit"},
    "language": GROUND | {"circuit", "claims"},
    "views": GROUND | {"circuit", "claims", "logic"},
    "engines": GROUND | {"logic"},
    "evidence": GROUND | {"circuit", "claims", "logic"},
    "report": GROUND | {"circuit", "claims", "evidence"},
    "workbench": EVERY_ROOM,
    "face": EVERY_ROOM | {"workbench"},
    "help_texts": set[str](),
    "call": GROUND | {"face", "claims", "report", "help_texts"},
    "commands": GROUND | {"face", "call", "workbench", "language", "claims", "evidence", "report"},
    "cli": GROUND | {"call", "commands", "report"},
    "__main__": {"cli"},
}
"""`face` is `verifier/__init__.py`. A room may always import from itself."""

OTHER_LIBRARIES = {
    "language": {"lark"},
    "logic": {"z3", "numpy"},
    "engines": {"numpy"},
    "evidence": {"numpy"},
    "report": {"rich"},
    "workbench": {"distributed"},
}


def modules() -> list[Path]:
    return sorted(path for path in PACKAGE.rglob("*.py") if "grammar" not in path.relative_to(PACKAGE).parts)


def room_of(path: Path) -> str:
    first = path.relative_to(PACKAGE).parts[0].removesuffix(".py")
    return "face" if first == "__init__" else first


def imports_of(source: str) -> Iterator[str]:
    """Full names of all imported modules, wherever in the source they stand."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield "." * node.level + (node.module or "")


def offences(room: str, source: str) -> list[str]:
    """What this source imports against the rules of its room."""
    found = []
    for name in imports_of(source):
        top, _, rest = name.partition(".")
        if top == "verifier":
            other = rest.partition(".")[0] or "face"
            if other != room and other not in MAY_IMPORT[room]:
                found.append(name)
        elif top not in sys.stdlib_module_names and top not in OTHER_LIBRARIES.get(room, set()):
            found.append(name)
    return found


def test_there_are_modules_in_every_room() -> None:
    assert {room_of(path) for path in modules()} == set(MAY_IMPORT)


@pytest.mark.parametrize("path", modules(), ids=lambda path: str(path.relative_to(PACKAGE)))
def test_a_module_imports_only_what_its_room_may(path: Path) -> None:
    assert offences(room_of(path), path.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize(
    ("room", "source"),
    [
        ("engines", "from verifier.circuit.netlist import Netlist"),
        ("circuit", "import verifier.claims.claim"),
        ("claims", "def late():\n    import z3\n"),
        ("views", "import verifier"),
        ("report", "from ..workbench import judge"),
    ],
)
def test_an_import_against_the_order_is_noticed(room: str, source: str) -> None:
    assert len(offences(room, source)) == 1


def test_the_order_has_no_way_round() -> None:
    settled: set[str] = set()
    while len(settled) < len(MAY_IMPORT):
        free = {room for room, others in MAY_IMPORT.items() if others <= settled} - settled
        assert free, f"these rooms import each other: {set(MAY_IMPORT) - settled}"
        settled |= free


def names_in(*rooms: str) -> list[str]:
    paths = [path for path in modules() if room_of(path) in rooms]
    return [".".join(("verifier", *path.relative_to(PACKAGE).with_suffix("").parts)) for path in paths]


def loaded_after(statements: str) -> set[str]:
    """Top-level packages that a fresh interpreter has loaded after the statements."""
    script = f"{statements}\nimport sys\nprint(*{{name.partition('.')[0] for name in sys.modules}})"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    return set(done.stdout.split())


def test_language_circuit_and_claims_load_neither_solver_nor_console() -> None:
    names = [name.removesuffix(".__init__") for name in names_in("language", "circuit", "claims")]
    assert len(names) > 10
    loaded = loaded_after("\n".join(f"import {name}" for name in names))
    assert "verifier" in loaded
    assert loaded.isdisjoint({"z3", "rich"})


def test_the_package_itself_loads_next_to_nothing() -> None:
    assert loaded_after("import verifier").isdisjoint({"z3", "rich", "lark", "argparse"})


def test_help_needs_neither_parser_nor_solver_nor_console() -> None:
    call = "from verifier.cli import main\ntry:\n    main(['--help'])\nexcept SystemExit:\n    pass"
    assert loaded_after(call).isdisjoint({"z3", "rich", "lark"})
