"""Runs every engine over the suite and keeps what came out.

In a family the sizes are climbed: an engine that does not decide a question at one size is not asked at larger
ones, where it counts as being at the limit too; a question that no engine decided is the last of its climb. Bounded
search alone is not made to sit out the limit where there is nothing to find: it looks for a moment, so that a
disagreement would show, and counts at the limit.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from benchmarks.answers import BOUNDED, ENGINES, OURS
from benchmarks.measuring import Measurement, Outcome, measured
from benchmarks.suite import SHELF, Question, families_named, family_questions, shelf_questions

MOMENT_SECONDS = 0.2


@dataclass(frozen=True)
class Row:
    """One question and what each engine made of it; an engine that is missing was not asked any more."""

    question: Question
    measurements: dict[str, Measurement]

    def decided(self, engine: str) -> Measurement | None:
        found = self.measurements.get(engine)
        return found if found is not None and found.outcome.is_decided else None

    def complaints(self) -> list[str]:
        """Every way in which engines differ from one another, or from what the circuit's author expects."""
        title = f"{self.question.family}, {self.question.title}"
        decided = {name: found for name in self.measurements if (found := self.decided(name)) is not None}
        expected = Outcome.REACHED if self.question.expected else Outcome.UNREACHABLE
        complaints = [
            f"{title}: {name} says {measurement.outcome.value}, the circuit's author {expected.value}"
            for name, measurement in decided.items()
            if measurement.outcome is not expected
        ]
        if len({measurement.outcome for measurement in decided.values()}) > 1:
            said = ", ".join(f"{name} {measurement.outcome.value}" for name, measurement in decided.items())
            complaints.append(f"{title}: the engines disagree: {said}")
        lengths = {name: m.frames for name, m in decided.items() if m.frames is not None}
        if len(set(lengths.values())) > 1:
            complaints.append(f"{title}: the shortest counterexamples differ in length: {lengths}")
        crashes = [(n, m) for n, m in self.measurements.items() if m.outcome is Outcome.CRASHED]
        complaints += [f"{title}: {name} crashed: {m.detail}" for name, m in crashes if name in (OURS, BOUNDED)]
        return complaints


@dataclass
class Climb:
    """One run of the suite; `rows` are in the order of asking."""

    limit_seconds: float
    on_row: Callable[[Row], None] = lambda row: None
    rows: list[Row] = field(default_factory=list)

    def shelf(self) -> None:
        for question in shelf_questions():
            self._ask(question, list(ENGINES))

    def family(self, name: str, sizes: int | None = None) -> None:
        """Climbs one family (or all whose name has this part), over the first so many sizes of its ladder."""
        for family in families_named(name):
            still: dict[str, list[str]] = {}
            for size in family.sizes[:sizes]:
                asked = [q for q in family_questions(family, size) if still.get(q.name, ENGINES)]
                for question in asked:
                    row = self._ask(question, still.get(question.name, list(ENGINES)))
                    still[question.name] = [engine for engine in row.measurements if row.decided(engine) is not None]
                if not asked:
                    break

    def _ask(self, question: Question, engines: list[str]) -> Row:
        measurements: dict[str, Measurement] = {}
        for engine in engines:
            limit = self.limit_seconds
            if engine == BOUNDED and not question.expected:
                limit = min(limit, MOMENT_SECONDS)
            measurements[engine] = measured(ENGINES[engine], question.system, limit)
        row = Row(question, measurements)
        self.rows.append(row)
        self.on_row(row)
        return row


def complaints(rows: list[Row]) -> Iterator[str]:
    for row in rows:
        yield from row.complaints()


def run(limit_seconds: float, only: str | None, sizes: int | None, on_row: Callable[[Row], None]) -> list[Row]:
    """The whole suite, or the part of it that `only` names."""
    climb = Climb(limit_seconds, on_row)
    if only in (None, SHELF):
        climb.shelf()
    if only != SHELF:
        climb.family("" if only is None else only, sizes)
    return climb.rows
