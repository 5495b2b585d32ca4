"""Loading from disk: what can be read, and what `use` may bring in."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from verifier.errors import CallError, Diagnostic, SourceError
from verifier.language import load
from verifier.language.source import SIZE_LIMIT

BELL = "circuit bell\n    input pull\n    output ring\n    ring = pull\n"
INVERSE = "part inverse(a) gives b\n    b = not a\n"


def write(folder: Path, name: str, text: str) -> Path:
    path = folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")
    return path


def findings(path: Path | str) -> tuple[Diagnostic, ...]:
    with pytest.raises(SourceError) as caught:
        load(path)
    return caught.value.diagnostics


def test_spans_name_the_file_as_it_was_given(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write(tmp_path, "bells/parts.wiring", INVERSE.replace("not a", "not x"))
    write(tmp_path, "bells/bell.wiring", 'use "parts.wiring"\n' + BELL.replace("= pull", "= pul"))
    monkeypatch.chdir(tmp_path)
    assert [(found.span.file, found.code) for found in findings("bells/bell.wiring")] == [
        ("bells/bell.wiring", "unknown-name"), (os.path.join("bells", "parts.wiring"), "unknown-name"),
    ]  # fmt: skip
    assert load(write(tmp_path, "good.wiring", BELL)).path == str(tmp_path / "good.wiring")


def test_use_brings_in_contracts_parts_and_families_but_no_circuits(tmp_path: Path) -> None:
    contract = "contract chime\n    input pull\n    output ring\n    must it: ring != pull\n"
    family = "family ls\n    not takes 9..15 ns\n"
    write(tmp_path, "inner.wiring", INVERSE + BELL)
    write(tmp_path, "library.wiring", 'use "inner.wiring"\n' + contract + family + BELL)
    user = "circuit bell fits chime\n    delays from ls\n    ring = inverse(pull)\n"
    file = load(write(tmp_path, "main.wiring", 'use "library.wiring"\nuse "inner.wiring"\n' + user))
    assert [design.name for design in file.designs] == ["bell"]
    assert [claim.name for claim in file.designs[0].claims] == ["it", "settles"]
    assert file.designs[0].file == str(tmp_path / "main.wiring")
    assert file.designs[0].netlist.gates[0].takes is not None


def test_a_name_may_not_come_from_two_files(tmp_path: Path) -> None:
    write(tmp_path, "library.wiring", INVERSE)
    found = findings(write(tmp_path, "main.wiring", 'use "library.wiring"\n' + INVERSE + BELL))
    assert [(finding.code, finding.span.line) for finding in found] == [("name-taken", 2)]


def test_files_that_use_one_another_are_an_error_at_the_use_that_closes_the_loop(tmp_path: Path) -> None:
    write(tmp_path, "one.wiring", 'use "two.wiring"\n' + INVERSE)
    write(tmp_path, "two.wiring", 'use "main.wiring"\n')
    found = findings(write(tmp_path, "main.wiring", 'use "one.wiring"\n' + BELL))
    assert [(finding.code, Path(finding.span.file).name, finding.span.line) for finding in found] == [
        ("use-loop", "two.wiring", 1)
    ]


@pytest.mark.parametrize("written", ["../outside.wiring", "sub/../../outside.wiring", "link/outside.wiring"])
def test_use_may_not_climb_out_of_the_folder_unless_it_is_allowed(tmp_path: Path, written: str) -> None:
    write(tmp_path, "outside.wiring", INVERSE)
    write(tmp_path, "inside/sub/other.wiring", INVERSE)
    (tmp_path / "inside" / "link").symlink_to(tmp_path)
    path = write(tmp_path, "inside/main.wiring", f'use "{written}"\n' + BELL)
    assert [finding.code for finding in findings(path)] == ["use-outside"]
    assert load(path, allow_outside=True).designs[0].name == "bell"


def test_use_of_an_absolute_path_elsewhere_is_refused(tmp_path: Path) -> None:
    outside = write(tmp_path, "outside.wiring", INVERSE)
    path = write(tmp_path, "inside/main.wiring", f'use "{outside}"\n' + BELL)
    assert [finding.code for finding in findings(path)] == ["use-outside"]


def test_a_file_in_a_folder_below_may_be_used_and_may_reach_back_up(tmp_path: Path) -> None:
    write(tmp_path, "top.wiring", INVERSE)
    write(tmp_path, "sub/library.wiring", 'use "../top.wiring"\n')
    path = write(tmp_path, "main.wiring", 'use "sub/library.wiring"\n' + BELL.replace("= pull", "= inverse(pull)"))
    assert len(load(path).designs[0].netlist.gates) == 1


@pytest.mark.parametrize(
    ("name", "content", "code"),
    [
        ("binary.wiring", b"circuit\x00", "not-text"),
        ("latin.wiring", b"# caf\xe9\n", "not-text"),
        ("large.wiring", b"#" * (SIZE_LIMIT + 1), "too-large"),
    ],
)
def test_a_file_that_is_no_text_is_one_finding_at_its_start(
    tmp_path: Path, name: str, content: bytes, code: str
) -> None:
    path = tmp_path / name
    path.write_bytes(content)
    found = findings(path)
    assert [(finding.code, finding.span.line, finding.span.column) for finding in found] == [(code, 1, 1)]
    user = write(tmp_path, "main.wiring", f'use "{name}"\n' + BELL)
    assert [(finding.code, finding.span.file) for finding in findings(user)] == [(code, str(user))]


def test_a_file_of_the_largest_size_is_read(tmp_path: Path) -> None:
    path = write(tmp_path, "large.wiring", BELL + "#" * (SIZE_LIMIT - len(BELL)))
    assert load(path).designs[0].name == "bell"


def test_windows_line_ends_and_a_byte_order_mark_are_fine(tmp_path: Path) -> None:
    path = tmp_path / "bell.wiring"
    path.write_bytes(b"\xef\xbb\xbf" + BELL.replace("\n", "\r\n").encode())
    assert load(path).designs[0].name == "bell"


def test_what_cannot_be_opened_is_a_wrong_call(tmp_path: Path) -> None:
    with pytest.raises(CallError, match="there is no file"):
        load(tmp_path / "missing.wiring")
    with pytest.raises(CallError, match="is a folder"):
        load(tmp_path)
    with pytest.raises(CallError, match=r"there is no file bell\\x00\.wiring"):
        load("bell\x00.wiring")
    fifo = tmp_path / "pipe"
    os.mkfifo(fifo)
    with pytest.raises(CallError, match="no regular file"):
        load(fifo)


def test_a_used_folder_is_an_error_at_the_use(tmp_path: Path) -> None:
    (tmp_path / "sub").mkdir()
    found = findings(write(tmp_path, "main.wiring", 'use "sub"\n' + BELL))
    assert [(finding.code, finding.span.line) for finding in found] == [("missing-file", 1)]


def test_statements_below_a_use_are_an_error(tmp_path: Path) -> None:
    write(tmp_path, "library.wiring", INVERSE)
    found = findings(write(tmp_path, "main.wiring", 'use "library.wiring"\n    input pull\n' + BELL))
    assert [(finding.code, finding.span.line) for finding in found] == [("bad-indentation", 2)]


def test_a_part_that_is_wrong_is_reported_once_however_often_it_is_used(tmp_path: Path) -> None:
    part = "part p(a) gives b\n    b = x\n"
    found = findings(write(tmp_path, "main.wiring", part + BELL.replace("= pull", "= p(pull) or p(p(pull))")))
    assert [(finding.code, finding.span.line) for finding in found] == [("unknown-name", 2)]


def test_parts_that_multiply_without_bound_are_an_error(tmp_path: Path) -> None:
    parts = "part p0(a) gives b\n    b = not a\n" + "".join(
        f"part p{n + 1}(a) gives b\n    b = p{n}(a) or p{n}(not a)\n" for n in range(30)
    )
    found = findings(write(tmp_path, "main.wiring", parts + BELL.replace("= pull", "= p30(pull)")))
    assert {finding.code for finding in found} == {"too-large"}


def test_importing_the_language_loads_no_parser_and_no_solver() -> None:
    check = (
        "import sys, verifier.language; "
        "print([m for m in ('lark', 'z3', 'rich', 'verifier.language.parser') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", check], capture_output=True, text=True, timeout=60, check=False)
    assert (done.stdout, done.stderr) == ("[]\n", "")
