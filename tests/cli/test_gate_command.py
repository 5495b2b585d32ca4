"""`gate` as a command: how it ends, what it writes, and that what the README shows for it works as printed."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
from importlib.resources import files
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import yaml
from lxml import etree

from verifier.cli import main

ROOT = Path(__file__).resolve().parents[2]
BELLS = """\
circuit two_bells
    input  low_key, high_key
    output low_bell, high_bell
    must never_both: never (low_bell and high_bell)
    low_bell  = low_key
    high_bell = high_key and not low_key
"""
WILD = BELLS.replace(" and not low_key", "")


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A project with one file, the present folder."""
    (tmp_path / "specs").mkdir()
    (tmp_path / "specs" / "bells.wiring").write_text(BELLS)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_as_expected_is_0_and_the_page_ends_with_it(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["gate", "specs"]) == 0
    printed = capsys.readouterr().out
    assert printed.startswith("as expected      specs/bells.wiring  2 claims\n")
    assert "\n1 file: 2 proved\npassed: all as expected\n" in printed


def test_not_as_expected_is_1_with_the_claim_its_line_and_its_run(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / "specs" / "bells.wiring").write_text(WILD)
    assert main(["gate", "specs"]) == 1
    printed = capsys.readouterr().out
    assert "  broken      never_both at line 4  NOT AS EXPECTED: should be proved" in printed
    assert "low_bell is high and high_bell is high, which must never" in printed
    assert "NOT PASSED: 1 not as expected\n" in printed
    assert main(["gate", "specs", "--quiet"]) == 1
    assert "step  what to do" not in capsys.readouterr().out


@pytest.mark.parametrize(
    ("fail_on", "code"), [(None, 1), ("newly-broken", 1), ("weakened,disappeared", 0), ("none", 0)]
)
def test_a_change_ends_with_1_where_it_is_one_that_fails(
    fail_on: str | None, code: int, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["gate", "specs", "--record", "record.json"]) == 0
    (folder / "specs" / "bells.wiring").write_text(WILD.replace("two_bells", "two_bells breaks never_both"))
    options = [] if fail_on is None else ["--fail-on", fail_on]
    capsys.readouterr()
    assert main(["gate", "specs", "--against", "record.json", *options]) == code
    assert "newly-broken  two_bells: never_both" in capsys.readouterr().out


@pytest.mark.parametrize(
    "call",
    [
        ["gate", "nowhere"],
        ["gate", "specs", "--against", "nowhere.json"],
        ["gate", "specs", "--against", "specs/bells.wiring"],
        ["gate", "specs", "--fail-on", "everything"],
        ["gate", "specs", "--trust-unchanged"],
        ["gate", "specs", "--record", "nowhere/record.json"],
    ],
)
def test_a_wrong_call_is_2(call: list[str], folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(call) == 2
    assert capsys.readouterr().err.startswith("edgewright: ")


def test_a_wrong_file_is_2_and_the_others_are_judged_but_no_record_is_written(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / "specs" / "wrong.wiring").write_text("circuit wrong\n    bell = nothing\n")
    assert main(["gate", "specs", "--processes", "1", "--record", "record.json"]) == 2
    told = capsys.readouterr()
    assert "wrong.wiring:2:12: error" in told.err
    assert "as expected      specs/bells.wiring" in told.out
    assert "WRONG            specs/wrong.wiring" in told.out
    assert not (folder / "record.json").exists()


def test_without_an_answer_is_3(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["gate", "specs", "--limit", "0.000001"]) == 3
    assert "NOT PASSED: 2 without an answer" in capsys.readouterr().out


def test_a_disagreement_is_4_and_is_not_hidden_by_the_other_files(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from verifier.errors import InternalDisagreement
    from verifier.workbench import gate_judging

    (folder / "specs" / "others.wiring").write_text(BELLS.replace("two_bells", "other_bells"))
    check = gate_judging.check

    def disagreeing(file: Any, **rest: Any) -> Any:
        if file.designs[0].name == "two_bells":
            raise InternalDisagreement("two ways of judging differ")
        return check(file, **rest)

    monkeypatch.setattr(gate_judging, "check", disagreeing)
    assert main(["gate", "specs", "--processes", "1"]) == 4
    told = capsys.readouterr()
    assert "two ways of judging differ" in told.err
    assert "INTERNAL ERROR   specs/bells.wiring" in told.out
    assert "as expected      specs/others.wiring" in told.out


def test_all_reports_are_written_at_once_and_json_goes_to_the_output_alone(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    main(["gate", "specs", "--record", "record.json"])
    (folder / "specs" / "bells.wiring").write_text(WILD)
    capsys.readouterr()
    reports = ["--junit", "gate.xml", "--sarif", "gate.sarif", "--markdown", "gate.md", "--json", "-"]
    assert main(["gate", "specs", "--against", "record.json", *reports]) == 1
    record = json.loads(capsys.readouterr().out)
    assert (record["passed"], record["why_not"]) == (False, "1 not as expected, 1 newly-broken")
    assert [(change["kind"], change["line"], change["fails"]) for change in record["changes"]] == [
        ("newly-broken", 4, True)
    ]
    claims = {claim["name"]: claim for circuit in record["circuits"] for claim in circuit["claims"]}
    assert claims["never_both"]["trace"]["steps"]
    schemas = ROOT / "tests" / "report" / "schemas"
    etree.XMLSchema(etree.parse(str(schemas / "junit-10.xsd"))).assertValid(etree.parse("gate.xml"))
    log = json.loads((folder / "gate.sarif").read_text())
    jsonschema.validate(log, json.loads((schemas / "sarif-2.1.0-rtm.5.json").read_text()), jsonschema.Draft4Validator)
    (region,) = {
        tuple(result["locations"][0]["physicalLocation"]["region"].values()) for result in log["runs"][0]["results"]
    }
    line = WILD.splitlines()[region[0] - 1]
    assert line[region[1] - 1 :].startswith("must never_both")
    assert "two_bells" in (folder / "gate.md").read_text()


def test_the_starting_process_loads_neither_parser_nor_solver(folder: Path) -> None:
    (folder / "specs" / "others.wiring").write_text(BELLS.replace("two_bells", "other_bells"))
    script = (
        "import sys; from verifier.cli import main; main(['gate', 'specs', '--processes', '2']); "
        "print(*sorted({name.partition('.')[0] for name in sys.modules} & {'z3', 'lark', 'numpy', 'rich'}), 'loaded')"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert "2 files: 4 proved" in done.stdout
    assert done.stdout.splitlines()[-1] == "loaded"


# What the README shows


def shown_file(marker: str) -> str:
    """The block that follows the marker in the README."""
    found = re.search(rf"<!-- file: {marker} -->\n```yaml\n(.*?)^```", (ROOT / "README.md").read_text(), re.S | re.M)
    assert found is not None, f"README.md has no block marked `file: {marker}`"
    return found[1]


def shell(command: str, folder: Path, **more: str) -> subprocess.CompletedProcess[str]:
    """As a job runs a step, with the `edgewright` of this environment in front."""
    python = Path(sys.executable).parent
    path = os.pathsep.join([str(python), os.environ["PATH"]])
    identity = {
        f"GIT_{who}_{what}": "carillon@example.invalid" for who in ("AUTHOR", "COMMITTER") for what in ("NAME", "EMAIL")
    }
    environment = {"HOME": str(folder), "GIT_CONFIG_NOSYSTEM": "1", **identity, **more, "PATH": path}
    return subprocess.run(
        ["bash", "-e", "-c", command], cwd=folder, env=environment, capture_output=True, text=True, timeout=300
    )


@pytest.fixture
def project(tmp_path: Path) -> Path:
    """A clone of a small project that has a record, as a job finds it after its checkout."""
    origin, clone = tmp_path / "origin", tmp_path / "clone"
    (origin / "specs").mkdir(parents=True)
    (origin / "specs" / "bells.wiring").write_text(BELLS)
    begun = shell(
        "git init -q -b main && edgewright gate specs --record record.json && git add -A && git commit -q -m bells",
        origin,
    )
    assert begun.returncode == 0, begun.stderr
    shutil.rmtree(clone, ignore_errors=True)
    assert shell(f"git clone -q {origin} {clone}", tmp_path).returncode == 0
    return clone


def run_job(project: Path) -> list[tuple[str, int]]:
    """The steps that the workflow of the README runs, and how they ended.

    Three stand-ins: the clone for the checkout, the present environment for the installation (there is no network
    here), and `main` for the base branch.
    """
    (job,) = yaml.safe_load(shown_file("ci-workflow"))["jobs"].values()
    variables = {name: text.replace("${{ github.base_ref }}", "main") for name, text in job["env"].items()}
    ended: list[tuple[str, int]] = []
    for step in job["steps"]:
        if "uses" in step or step["run"].startswith("pip install"):
            continue
        if any(code for _, code in ended) and step.get("if") != "always()":
            continue
        done = shell(step["run"], project, GITHUB_STEP_SUMMARY=str(project / "summary.md"), **variables)
        ended.append((step["name"], done.returncode))
    return ended


def test_the_workflow_of_the_readme_is_one_by_its_published_schema() -> None:
    """The schema that SchemaStore publishes for such files (Apache 2.0), out of the package check-jsonschema."""
    schema = files("check_jsonschema") / "builtin_schemas" / "vendor" / "github-workflows.json"
    # YAML 1.1 reads the bare word `on` as true; forges do not.
    workflow = {
        "on" if name is True else name: part for name, part in yaml.safe_load(shown_file("ci-workflow")).items()
    }
    jsonschema.validate(workflow, json.loads(schema.read_text()))


def test_the_workflow_of_the_readme_passes_an_unchanged_project_and_stops_a_broken_one(project: Path) -> None:
    ended = run_job(project)
    assert len(ended) == 3
    assert [code for _, code in ended] == [0, 0, 0]
    assert "passed, all as expected" in (project / "summary.md").read_text()
    (project / "summary.md").unlink()
    (project / "specs" / "bells.wiring").write_text(WILD.replace("two_bells", "two_bells breaks never_both"))
    assert [code for _, code in run_job(project)] == [0, 1, 0]
    assert "newly-broken" in (project / "summary.md").read_text()


def test_the_pre_commit_entry_of_the_readme_lets_good_commits_through_and_keeps_the_record(project: Path) -> None:
    (project / ".pre-commit-config.yaml").write_text(shown_file("pre-commit"))
    run = f"git add -A && {sys.executable} -m pre_commit run --all-files"
    home = str(project.parent / "hooks")
    first = shell(run, project, PRE_COMMIT_HOME=home)
    assert first.returncode == 0, first.stdout + first.stderr
    (project / "specs" / "bells.wiring").write_text(WILD)
    broken = shell(run, project, PRE_COMMIT_HOME=home)
    assert broken.returncode == 1
    assert "NOT AS EXPECTED: should be proved" in broken.stdout
    (project / "specs" / "bells.wiring").write_text(BELLS + "    can low_rings: low_bell\n")
    changed = shell(run, project, PRE_COMMIT_HOME=home)
    assert "files were modified by this hook" in changed.stdout
    again = shell(run, project, PRE_COMMIT_HOME=home)
    assert again.returncode == 0, again.stdout + again.stderr
    assert "low_rings" in (project / "record.json").read_text()


@pytest.mark.parametrize("form", ["--junit", "--sarif", "--markdown", "--record"])
def test_a_dash_prints_that_report_and_nothing_else(
    folder: Path, capsys: pytest.CaptureFixture[str], form: str
) -> None:
    begins = {"--junit": "<?xml", "--sarif": "{", "--markdown": "#", "--record": "{"}[form]
    assert main(["gate", "specs", form, "-"]) == 0
    told = capsys.readouterr()
    assert told.out.startswith(begins)
    assert "passed: all as expected" not in told.out
    assert not (folder / "-").exists()
    assert main(["gate", "specs", form, "-", "--json", "-"]) == 2
    assert "`-` is given twice" in capsys.readouterr().err
