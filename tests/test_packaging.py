"""The package as a user gets it: a plain `pip install .` into a new environment, and a run from another folder.

Slow (it fetches the runtime packages), so one test does all of it.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

PROJECT = Path(__file__).resolve().parent.parent
SOURCES = ("pyproject.toml", "README.md", "verifier", "grammar", "specs/families")
"""All that an installation needs; the tests and the circuits of the shelf are not among it."""

TWO_BELLS = """\
use "families/ls.wiring"
circuit two_bells
    delays from ls
    input  low_key, high_key
    output low_bell, high_bell
    must never_both: never (low_bell and high_bell)
    low_bell  = low_key
    high_bell = high_key and not low_key
"""


def run(*command: str | Path, folder: Path) -> subprocess.CompletedProcess[str]:
    environment = {name: value for name, value in os.environ.items() if not name.startswith("PYTHON")}
    return subprocess.run(
        command, cwd=folder, env=environment, capture_output=True, text=True, timeout=600, check=False
    )


def test_a_plain_install_works_from_any_folder(tmp_path: Path) -> None:
    project, elsewhere, environment = tmp_path / "project", tmp_path / "elsewhere", tmp_path / "environment"
    project.mkdir()
    elsewhere.mkdir()
    for name in SOURCES:
        source = PROJECT / name
        if source.is_dir():
            shutil.copytree(source, project / name, ignore=shutil.ignore_patterns("__pycache__"))
        else:
            shutil.copy(source, project / name)
    made = run(sys.executable, "-m", "venv", environment, folder=elsewhere)
    assert made.returncode == 0, made.stderr
    python = environment / "bin" / "python"
    installed = run(python, "-m", "pip", "install", "--quiet", "--disable-pip-version-check", project, folder=elsewhere)
    assert installed.returncode == 0, installed.stderr
    shutil.rmtree(project)  # nothing may be read from the sources any more

    (elsewhere / "two_bells.wiring").write_text(TWO_BELLS)
    checked = run(environment / "bin" / "edgewright", "check", "two_bells.wiring", folder=elsewhere)
    assert checked.returncode == 0, checked.stderr
    assert "proved      never_both" in checked.stdout
    reported = run(
        environment / "bin" / "edgewright", "report", "two_bells.wiring", "-o", "two_bells.html", folder=elsewhere
    )
    assert reported.returncode == 0, reported.stderr
    assert "class Viewer" in (elsewhere / "two_bells.html").read_text(encoding="utf-8")
    (elsewhere / "two_bells.wiring").write_text(TWO_BELLS.replace("families/ls", "families/hc"))
    other_family = run(environment / "bin" / "edgewright", "check", "two_bells.wiring", folder=elsewhere)
    assert other_family.returncode == 2
    assert "no family called `ls`" in other_family.stderr
    assert "proved      settles" in checked.stdout

    version = run(environment / "bin" / "edgewright", "--version", folder=elsewhere)
    assert version.stdout.startswith("edgewright ")
    as_module = run(python, "-m", "verifier", "check", "no_such.wiring", folder=elsewhere)
    assert as_module.returncode == 2
    assert "no_such.wiring" in as_module.stderr
