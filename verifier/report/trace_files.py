"""Runs as files for other programs: a value change dump, comma-separated values and a drawing of each."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from verifier.claims.claim import Design, View
from verifier.claims.run import Run
from verifier.errors import CallError
from verifier.evidence.verdict import DesignResult
from verifier.report.pieces import Line, clean, line, listing
from verifier.report.records import safe_name, write_whole
from verifier.report.signals import Shown
from verifier.report.told_run import ToldRun, run_of_trigger, run_of_verdict
from verifier.report.trace_csv import trace_csv
from verifier.report.value_change_dump import value_change_dump
from verifier.report.wave_layout import WaveDiagram, wave_diagram
from verifier.report.wave_svg import wave_svg

TRIGGER = ".trigger"
"""Ends the names of the files that show the trigger of a claim."""


@dataclass(frozen=True, kw_only=True)
class TraceToWrite:
    """A run and everything that its files say of it."""

    name: str
    """Of its files, without what tells the kinds apart."""
    design: Design
    run: Run
    signals: tuple[Shown, ...]
    view: View
    remarks: tuple[str, ...]
    diagram: WaveDiagram


def _dumped(trace: TraceToWrite) -> str:
    return value_change_dump(trace.design.netlist, trace.run, remarks=trace.remarks)


def _tabulated(trace: TraceToWrite) -> str:
    return trace_csv(trace.design.netlist, trace.run, trace.signals, view=trace.view)


def _drawn(trace: TraceToWrite) -> str:
    return wave_svg(trace.diagram)


WRITERS: Mapping[str, Callable[[TraceToWrite], str]] = {"vcd": _dumped, "csv": _tabulated, "svg": _drawn}
"""Kinds of files by the ends of their names."""


def kinds_in(text: str) -> tuple[str, ...]:
    """The kinds in a list such as `vcd,svg`. Raises CallError when one is not known."""
    kinds = tuple(dict.fromkeys(kind.strip().lower() for kind in text.split(",") if kind.strip()))
    strange = [kind for kind in kinds if kind not in WRITERS]
    if strange or not kinds:
        what = f"there are no traces as {strange[0]}" if strange else "--traces-as names no kind of file"
        raise CallError(what, f"the kinds are {listing(list(WRITERS))}, with commas between")
    return kinds


def folder_made_ready(path: str, designs: Iterable[Design] = ()) -> Path:
    """The folder, created if it was missing. Raises CallError when it cannot be, or names of files would meet."""
    folder = Path(path)
    counted = Counter(f"{design.name}.{claim.name}" for design in designs for claim in design.claims)
    twice = next((name for name, count in counted.items() if count > 1), None)
    if twice is not None:
        raise CallError(f"two claims would share the traces of {twice}", "write those of each file into its own folder")
    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        raise CallError(f"cannot write traces into {path}: {error.strerror or error}") from error
    return folder


def traces_of(results: Iterable[DesignResult]) -> list[TraceToWrite]:
    """Every run that the verdicts come with, triggers included where they were asked for."""
    traces = []
    for result in results:
        for judged in result.claims:
            name = f"{result.design.name}.{judged.claim.name}"
            told = {name: run_of_verdict(result.design, judged), name + TRIGGER: run_of_trigger(result.design, judged)}
            traces += [_of_told(safe_name(name), run) for name, run in told.items() if run is not None]
    return traces


def _of_told(name: str, told: ToldRun) -> TraceToWrite:
    return TraceToWrite(
        name=name,
        design=told.design,
        run=told.run,
        signals=told.signals,
        view=told.claim.view,
        remarks=(told.title, told.says, f"{told.headline}: {told.happened()}"),
        diagram=told.diagram(),
    )


def trace_of_played(
    design: Design, run: Run, signals: tuple[Shown, ...], notes: Sequence[Sequence[str]]
) -> TraceToWrite:
    title = f"{clean(design.name)}: a sequence that was played"
    said = [f"step {index}: {note}" for index, texts in enumerate(notes) for note in texts]
    return TraceToWrite(
        name=safe_name(design.name),
        design=design,
        run=run,
        signals=signals,
        view=View.SETTLED,
        remarks=(title, *said),
        diagram=wave_diagram(design.netlist, run, signals, title=title, notes=notes),
    )


def write_traces(folder: Path, traces: Iterable[TraceToWrite], kinds: Sequence[str]) -> list[Path]:
    """One file of each kind for each trace, written whole or not at all.

    Raises:
        CallError: a file cannot be written.
    """
    written = []
    for trace in traces:
        for kind in kinds:
            path = folder / f"{trace.name}.{kind}"
            try:
                write_whole(path, WRITERS[kind](trace))
            except OSError as error:
                raise CallError(f"cannot write {path}: {error.strerror or error}") from error
            written.append(path)
    return written


def traces_line(traces: int, files: int, folder: str) -> Line:
    """`3 traces written to runs, 9 files`."""
    counted = f"{traces} trace{'' if traces == 1 else 's'}"
    return line(f"{counted} written to {clean(folder)}, {files} file{'' if files == 1 else 's'}")
