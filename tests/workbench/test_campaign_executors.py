"""The same campaign in this process, in worker processes and on a cluster; and when some of those die on the way."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest
from workbench.miswired import TWO_BELLS, all_faults, batch_of, design_of, verdicts_of

import verifier
from verifier.errors import CallError, InternalDisagreement
from verifier.evidence.fault_outcome import Standing
from verifier.language import loads
from verifier.workbench import fault_judge, fault_processes
from verifier.workbench.executors import Answer, InThisProcess
from verifier.workbench.fault_judge import Batch
from verifier.workbench.fault_processes import WorkerProcesses

BOARD = TWO_BELLS.replace("two_bells", "more_bells").replace(
    "    high_bell =", "    must rings: high_key only when high_bell or low_key\n    high_bell ="
)


def batches_of(text: str, size: int) -> list[Batch]:
    design = design_of(text)
    whole = batch_of(design, all_faults(design))
    faults = whole.faults
    return [
        Batch(design=design, verdicts=whole.verdicts, faults=faults[start : start + size], limit_seconds=20.0)
        for start in range(0, len(faults), size)
    ]


def told(answers: Iterator[Answer]) -> dict[tuple[int, int], tuple[Standing, str]]:
    """Batch and place of each answer to what it says; each may come once only."""
    found = list(answers)
    assert max(Counter((answer.batch, answer.place) for answer in found).values()) == 1
    return {(answer.batch, answer.place): said(answer) for answer in found}


def said(answer: Answer) -> tuple[Standing, str]:
    noticed = answer.outcome.noticed
    return answer.outcome.standing, "" if noticed is None else noticed.claim


def test_worker_processes_give_the_answers_that_this_process_gives() -> None:
    batches = batches_of(BOARD, 4)
    assert len(batches) > 2
    assert told(WorkerProcesses(2).answers(batches)) == told(InThisProcess().answers(batches))


def test_a_worker_that_is_killed_mid_way_loses_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    batches = batches_of(BOARD, 8)
    started: list[subprocess.Popen[bytes]] = []
    fresh = fault_processes.fresh_interpreter

    def noted(*arguments: str | int) -> subprocess.Popen[bytes]:
        started.append(fresh(*arguments))  # type: ignore[arg-type]
        return started[-1]

    monkeypatch.setattr(fault_processes, "fresh_interpreter", noted)
    answers = WorkerProcesses(2).answers(batches)
    first = next(answers)
    os.kill(started[0].pid, signal.SIGKILL)
    found = told(iter([first, *answers]))
    assert found == told(InThisProcess().answers(batches))
    assert len(started) > 2
    assert all(process.poll() is not None for process in started)


def test_a_fault_at_which_every_worker_dies_is_left_undecided_and_the_others_are_judged(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(
        fault_processes,
        "_PROGRAM",
        "import os, sys\n"
        "from verifier.workbench import fault_judge\n"
        "judge = fault_judge.FaultJudge.judge\n"
        "def dying(self, fault):\n"
        "    if fault.representative.name == 'low_bell: output stuck high':\n"
        "        os._exit(7)\n"
        "    return judge(self, fault)\n"
        "fault_judge.FaultJudge.judge = dying\n"
        "from verifier.workbench.fault_worker import main\n"
        "main(int(sys.argv[1]), int(sys.argv[2]))\n",
    )
    batches = batches_of(BOARD, 50)
    found = list(WorkerProcesses(1).answers(batches))
    lost = [answer for answer in found if answer.outcome.standing is Standing.UNDECIDED]
    assert [batches[0].faults[answer.place].representative.name for answer in lost] == ["low_bell: output stuck high"]
    assert "code 7" in lost[0].outcome.reason
    assert len(found) == len(batches[0].faults)


def test_a_disagreement_in_a_worker_is_raised_here(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        fault_processes,
        "_PROGRAM",
        "import sys\n"
        "from verifier.errors import InternalDisagreement\n"
        "from verifier.workbench import fault_judge\n"
        "def differ(self, fault):\n"
        "    raise InternalDisagreement('the two ways differ')\n"
        "fault_judge.FaultJudge.judge = differ\n"
        "from verifier.workbench.fault_worker import main\n"
        "main(int(sys.argv[1]), int(sys.argv[2]))\n",
    )
    with pytest.raises(InternalDisagreement, match="the two ways differ"):
        list(WorkerProcesses(1).answers(batches_of(BOARD, 50)))


def test_a_judge_without_memory_leaves_a_fault_undecided(monkeypatch: pytest.MonkeyPatch) -> None:
    def starved(*_: object) -> None:
        raise MemoryError

    monkeypatch.setattr(fault_judge.FaultJudge, "judge", starved)
    (answer, *_) = InThisProcess().answers(batches_of(BOARD, 1))
    assert answer.outcome.standing is Standing.UNDECIDED
    assert "memory" in answer.outcome.reason


def test_a_campaign_in_processes_has_the_outcomes_of_one_in_this_process() -> None:
    file = loads(BOARD, "miswired.wiring")
    assert verdicts_of(verifier.faults(file, processes=2)) == verdicts_of(verifier.faults(file, processes=1))


@pytest.fixture
def cluster(tmp_path: Path) -> Iterator[tuple[str, list[subprocess.Popen[bytes]]]]:
    """The address of a scheduler, and two workers: processes that nobody starts again."""
    pytest.importorskip("distributed")
    file = tmp_path / "scheduler.json"
    scheduler = _started("distributed.cli.dask_scheduler", tmp_path, "--port", "0", "--scheduler-file", str(file))
    workers: list[subprocess.Popen[bytes]] = []
    try:
        _wait_for(file)
        for name in ("north", "south"):
            options = ["--scheduler-file", str(file), "--no-nanny", "--nthreads", "1", "--name", name]
            workers.append(_started("distributed.cli.dask_worker", tmp_path, *options))
        yield json.loads(file.read_text(encoding="utf-8"))["address"], workers
    finally:
        for process in (*workers, scheduler):
            process.kill()
            process.wait()


def test_a_worker_of_the_cluster_that_is_killed_mid_way_loses_nothing(
    cluster: tuple[str, list[subprocess.Popen[bytes]]],
) -> None:
    from distributed import Client

    from verifier.workbench.fault_cluster import Cluster

    address, workers = cluster
    with Client(address, timeout=60, set_as_default=False) as client:
        client.wait_for_workers(2, timeout=60)
    batches = batches_of(BOARD, 3)
    with Cluster(address) as executor:
        assert executor.processes == 2
        answers = executor.answers(batches)
        first = next(answers)
        workers[0].kill()
        found = told(iter([first, *answers]))
    assert found == told(InThisProcess().answers(batches))


def test_nobody_at_the_address_is_told() -> None:
    pytest.importorskip("distributed")
    from verifier.workbench import fault_cluster

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(fault_cluster, "CONNECT_SECONDS", 1)
        with pytest.raises(CallError, match="no scheduler answers"):
            verifier.faults(loads(BOARD, "miswired.wiring"), cluster="tcp://127.0.0.1:9")


def test_without_the_package_the_hint_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(CallError) as refused:
        verifier.faults(loads(BOARD, "miswired.wiring"), cluster="tcp://127.0.0.1:9")
    assert "edgewright[cluster]" in refused.value.hint


def _started(module: str, folder: Path, *options: str) -> subprocess.Popen[bytes]:
    command = [sys.executable, "-m", module, *options, "--no-dashboard"]
    path = os.pathsep.join(entry or os.getcwd() for entry in sys.path)
    return subprocess.Popen(
        command,
        cwd=folder,
        env={**os.environ, "PYTHONPATH": path},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )


def _wait_for(file: Path) -> None:
    deadline = time.monotonic() + 60
    while not file.exists() or not file.read_text(encoding="utf-8"):
        assert time.monotonic() < deadline, "no scheduler started"
        time.sleep(0.1)
