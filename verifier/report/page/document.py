"""The whole page: one HTML document that fetches nothing, and that its own policy forbids to fetch anything."""

from __future__ import annotations

import base64
import hashlib
from importlib.resources import files

from verifier.circuit.netlist import Netlist
from verifier.evidence.verdict import DesignResult
from verifier.report.drawing import style
from verifier.report.page.bench import bench, bench_record
from verifier.report.page.circuit_figure import drawing_figure
from verifier.report.page.claims import Runs, claim_article
from verifier.report.page.content import Content
from verifier.report.page.machine import Machine
from verifier.report.page.markup import Markup, data_block, element, joined
from verifier.report.page.names import circuit_id
from verifier.report.page.overview import found, heading, rests_on
from verifier.report.page.sweep_plot import sweeps_section

SCRIPTS = ("machine.js", "drawing.js", "viewer.js", "bench.js", "page.js")


def report_page(content: Content) -> str:
    """The page as text. The same content gives the same text."""
    circuits = [_circuit(content, place) for place in range(len(content.results))]
    main = element("main", found(content), circuits, sweeps_section(content.sweeps), rests_on(content), id="main")
    script = _script()
    body = element(
        "body",
        element("a", "Skip to what was found", href="#found", class_="skip"),
        heading(content),
        main,
        element("footer", f"Made by edgewright {content.version}."),
        Markup(f"<script>{script}</script>"),
    )
    return f"<!DOCTYPE html>\n{element('html', _head(content, script), body, lang='en')}\n"


def _head(content: Content, script: str) -> Markup:
    allowed = f"script-src '{_hash(script)}'; style-src 'unsafe-inline'"
    policy = f"default-src 'none'; {allowed}; base-uri 'none'; form-action 'none'"
    return element(
        "head",
        element("meta", charset="utf-8"),
        element("meta", http_equiv="Content-Security-Policy", content=policy),
        element("meta", name="viewport", content="width=device-width, initial-scale=1"),
        element("meta", name="color-scheme", content="light dark"),
        element("title", f"Edgewright report: {content.path}"),
        Markup(f"<style>{style()}\n{_asset('style.css')}</style>"),
    )


def _circuit(content: Content, place: int) -> Markup:
    result = content.results[place]
    design, identity = result.design, circuit_id(place)
    machine = content.machines.get((design.file, design.name))
    drawn = drawing_figure(design.netlist, f"{identity}-drawing")
    drawing = None if drawn is None else f"{identity}-drawing"
    runs = Runs()
    articles = [
        claim_article(
            result,
            place,
            number,
            content.proofs.get((design.file, design.name, judged.claim.name)),
            runs,
            drawing,
        )
        for number, judged in enumerate(result.claims)
    ]
    tried = None if machine is None else bench(design, f"{identity}-bench", drawing, bool(runs.known))
    return element(
        "section",
        element("h2", design.name, id=f"{identity}-title"),
        element("p", _told(result), class_="quiet"),
        drawn or element("p", "This circuit is too large to be drawn.", class_="quiet"),
        articles,
        tried or element("p", "This circuit is too large to be tried on a page.", class_="quiet"),
        _data(identity, design.netlist, machine, runs, result),
        id=identity,
        class_="circuit",
        aria_labelledby=f"{identity}-title",
    )


def _told(result: DesignResult) -> str:
    fits = f", fits {result.design.contract}" if result.design.contract else ""
    return f"{result.design.file}{fits}"


def _data(identity: str, netlist: Netlist, machine: Machine | None, runs: Runs, result: DesignResult) -> Markup:
    blocks = [data_block(f"{run.identity}-data", run.record()) for run in runs.known]
    if machine is not None:
        blocks.append(data_block(f"{identity}-bench-data", bench_record(result.design, machine, runs.known)))
    return joined(blocks)


def _asset(name: str) -> str:
    return files("verifier.report.page").joinpath(name).read_text(encoding="utf-8")


def _script() -> str:
    parts = "\n".join(_asset(name) for name in SCRIPTS)
    return f"(() => {{\n'use strict';\n{parts}}})();\n"


def _hash(script: str) -> str:
    return "sha256-" + base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
