"""How long drawing takes, how often wires cross, and what other ways of ordering the columns would give.

    python tests/benchmarks/drawing.py [--write]

Random circuits, the same at every run. All orders are of the same columns with the same stops, all routed alike:
`as written` keeps the order of the netlist, the two libraries order the same graph by barycentres, each edge for
itself. Crossings are counted in the finished drawing. Times are processor times. `--write` puts the table into
`results/drawing.md`.
"""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

TESTS = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(TESTS))

from report.drawing.random_circuits import random_circuit  # noqa: E402

from verifier.circuit.netlist import Netlist  # noqa: E402
from verifier.report.drawing import draw  # noqa: E402
from verifier.report.drawing.graph import nodes_of  # noqa: E402
from verifier.report.drawing.layers import columns_of  # noqa: E402
from verifier.report.drawing.order import Columns, channel_sides, improve, ordered, with_stops  # noqa: E402
from verifier.report.drawing.plan import placed_and_routed  # noqa: E402

SIZES = ((25, 5), (60, 3), (150, 2))
"""Gates, and how many circuits of that size."""


def as_written(netlist: Netlist) -> Columns:
    nodes = nodes_of(netlist)
    return with_stops(nodes, columns_of(nodes))


def ours(netlist: Netlist) -> Columns:
    nodes = nodes_of(netlist)
    return ordered(nodes, columns_of(nodes))


def edges_of(columns: Columns) -> list[tuple[int, int]]:
    """From column to column; turns within one side of a channel are left out, for the libraries know none."""
    found: dict[tuple[int, int], None] = {}
    for channel in range(len(columns.columns) - 1):
        left, right = channel_sides(columns, channel)
        for net, starts in left.items():
            found.update(dict.fromkeys((start.item, end.item) for start in starts for end in right.get(net, ())))
    return list(found)


def by_igraph(netlist: Netlist) -> Columns:
    import igraph

    columns = as_written(netlist)
    column_of = {item: index for index, column in enumerate(columns.columns) for item in column}
    graph = igraph.Graph(n=len(column_of), edges=edges_of(columns), directed=True)
    layers = [column_of[item] for item in range(len(column_of))]
    place = graph.layout_sugiyama(layers=layers, maxiter=200)
    for column in columns.columns:
        column.sort(key=lambda item: place[item][0])
    return columns


def by_grandalf(netlist: Netlist) -> Columns:
    from grandalf.graphs import Edge, Graph, Vertex
    from grandalf.layouts import DummyVertex, SugiyamaLayout, VertexViewer

    columns = as_written(netlist)
    column_of = {item: index for index, column in enumerate(columns.columns) for item in column}
    vertices = {item: Vertex(item) for item in column_of}
    for vertex in vertices.values():
        vertex.view = VertexViewer(10, 10)
    edges = [Edge(vertices[start], vertices[end]) for start, end in edges_of(columns)]
    place: dict[int, float] = {}
    offset = 0.0
    for core in Graph(list(vertices.values()), edges).C:
        layout = SugiyamaLayout(core)
        layout.init_all(roots=[vertex for vertex in core.sV if not vertex.e_in()])
        layout.draw(12)
        shown = [vertex for vertex in core.sV if not isinstance(vertex, DummyVertex)]
        left = min(vertex.view.xy[0] for vertex in shown)
        place.update({vertex.data: vertex.view.xy[0] - left + offset for vertex in shown})
        offset = 20 + max(place.values())
    for column in columns.columns:
        column.sort(key=lambda item: place[item])
    return columns


def by_igraph_and_ours(netlist: Netlist) -> Columns:
    columns = by_igraph(netlist)
    improve(columns)
    return columns


def by_grandalf_and_ours(netlist: Netlist) -> Columns:
    columns = by_grandalf(netlist)
    improve(columns)
    return columns


ORDERS: dict[str, Callable[[Netlist], Columns]] = {
    "as written": as_written,
    "igraph": by_igraph,
    "grandalf": by_grandalf,
    "igraph, then `improve`": by_igraph_and_ours,
    "grandalf, then `improve`": by_grandalf_and_ours,
    "ours": ours,
}


def crossings(columns: Columns) -> int:
    """Crossings of wires of different nets in the finished drawing."""
    level, upright = [], []
    for wire in placed_and_routed(columns).wires:
        for (x, y), (right, bottom) in wire.stretches:
            (level if y == bottom else upright).append((wire.net, x, y, right, bottom))
    return sum(
        left < x < right and top < y < bottom
        for net, left, y, right, _ in level
        for other, x, top, _, bottom in upright
        if net != other
    )


def import_seconds(module: str) -> float:
    """Processor time of the import in a fresh interpreter; the least of five."""
    statement = f"import time; start = time.process_time(); import {module}; print(time.process_time() - start)"
    command = [sys.executable, "-c", statement]
    return min(float(subprocess.run(command, check=True, capture_output=True, text=True).stdout) for _ in range(5))


def table() -> str:
    rows = ["| gates | order | crossings | of `as written` | seconds to order |", "|---|---|---|---|---|"]
    for gates, count in SIZES:
        circuits = [random_circuit(seed, gates) for seed in range(count)]
        first = None
        for name, order in ORDERS.items():
            started = time.process_time()
            results = [order(circuit) for circuit in circuits]
            seconds = (time.process_time() - started) / count
            total = sum(map(crossings, results))
            first = first or total
            rows.append(f"| {gates} | {name} | {total // count} | {100 * total // first} % | {seconds:.2f} |")
    rows.append("")
    for gates, count in SIZES:
        started = time.process_time()
        sizes = [len(draw(random_circuit(seed, gates)).svg) for seed in range(count)]
        seconds = (time.process_time() - started) / count
        rows.append(f"Whole drawing of {gates} gates: {seconds:.2f} s, {sum(sizes) // count // 1024} KiB.")
    rows.append("")
    for module in ("igraph", "grandalf.layouts", "verifier.report.drawing"):
        rows.append(f"`import {module}`: {1000 * import_seconds(module):.0f} ms.")
    return "\n".join(rows) + "\n"


if __name__ == "__main__":
    text = table()
    print(text)
    if "--write" in sys.argv[1:]:
        (TESTS / "benchmarks" / "results" / "drawing.md").write_text(f"# Drawing\n\n{text}", encoding="utf-8")
