"""The bench: the circuit with its switches and lamps, to be tried by hand on the page.

The markup is a frame with names in it; what the lamps show is the script's business, which asks the circuit's machine.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from verifier.circuit.netlist import Input, InputClass
from verifier.claims.claim import Claim, Design, View
from verifier.report.page.circuit_figure import circuit_copy
from verifier.report.page.machine import Machine
from verifier.report.page.markup import Markup, element, joined
from verifier.report.page.runs import PageRun
from verifier.report.pieces import clean

CLASS_TOLD = {
    InputClass.FREE: "free",
    InputClass.FREE_RUNNING: "free running",
    InputClass.BY_HAND: "by hand",
    InputClass.STRAPPED: "strapped: set it before power-up",
}


def bench(design: Design, identity: str, drawing: str | None, has_runs: bool) -> Markup:
    """Switches, lamps, the circuit, what the circuit may choose, and the claims as they stand."""
    title = f"{identity}-title"
    board = element(
        "div",
        element("div", _supply(), _switches(design.netlist.inputs, identity), _lamps(), class_="board"),
        circuit_copy(drawing, design.name),
        class_="pair",
    )
    return element(
        "section",
        element("h3", f"Try {design.name}", id=title),
        element(
            "p",
            "The same settled semantics as in the proofs, step by step. Delays are not in it: claims of the other "
            "views are not followed.",
            class_="quiet",
        ),
        element("noscript", element("p", "The bench needs JavaScript; everything else on this page does not.")),
        element(
            "div",
            board,
            element("p", class_="now", role="status"),
            element("div", class_="ways", role="group", aria_label="The circuit may go several ways", hidden=True),
            _recipe(identity) if has_runs else None,
            _followed(),
            _log(design.name),
            class_="bench",
            data_bench=identity,
            hidden=True,
        ),
        aria_labelledby=title,
        class_="try-it",
    )


def _supply() -> Markup:
    options = [("ask", "ask me"), ("coin", "toss a coin"), ("first", "take the first")]
    return element(
        "div",
        element("button", "Power up", type="button", class_="power"),
        element("button", "Undo", type="button", class_="undo", disabled=True),
        element("button", "Wait a step", type="button", class_="wait", disabled=True),
        element(
            "label",
            "When it may go several ways ",
            element("select", (element("option", text, value=value) for value, text in options), class_="deciding"),
        ),
        element("label", element("input", type="checkbox", class_="together"), " change several inputs in one step"),
        element("button", "Make the step", type="button", class_="step", hidden=True),
        class_="supply",
    )


def _switches(inputs: Sequence[Input], identity: str) -> Markup:
    return element(
        "fieldset",
        element("legend", "Switches"),
        [_switch(pin, place, identity) for place, pin in enumerate(inputs)],
        element("p", "This circuit has no inputs.") if not inputs else None,
        class_="switches",
    )


def _switch(pin: Input, place: int, identity: str) -> Markup:
    kind = element("span", CLASS_TOLD[pin.input_class], class_="quiet")
    if len(pin.nets) == 1:
        control = element(
            "button",
            element("span", class_="lever", aria_hidden="true"),
            element("span", pin.name, class_="name"),
            element("span", "0", class_="level"),
            type="button",
            role="switch",
            aria_checked="false",
            class_="switch",
            data_input=place,
        )
    else:
        number = f"{identity}-input-{place}"
        control = joined(
            element("label", pin.name, for_=number, class_="name"),
            element(
                "input",
                type="number",
                id=number,
                min=0,
                max=(1 << len(pin.nets)) - 1,
                value=0,
                class_="number-switch",
                data_input=place,
            ),
            element("button", f"Set {clean(pin.name)}", type="button", class_="set", data_input=place),
        )
    tick = None
    if pin.input_class is InputClass.FREE_RUNNING and len(pin.nets) == 1:
        tick = element("button", f"Step {clean(pin.name)}", type="button", class_="tick", data_input=place)
    return element("div", control, tick, kind, class_="input-row")


def _lamps() -> Markup:
    return element(
        "div",
        element("h4", "Lamps"),
        element("ul", class_="lamps outputs"),
        element("details", element("summary", "Inner nets"), element("ul", class_="lamps inner")),
        class_="lamp-board",
    )


def _recipe(identity: str) -> Markup:
    chooser = f"{identity}-recipe"
    return element(
        "div",
        element("label", "Do a found run by hand ", for_=chooser),
        element("select", element("option", "none", value=""), id=chooser, class_="recipe"),
        element("ol", class_="recipe-steps", hidden=True),
        class_="recipes",
    )


def _followed() -> Markup:
    return element(
        "details",
        element("summary", "Claims as they stand"),
        element("ul", class_="followed"),
        class_="more",
        open=True,
    )


def _log(name: str) -> Markup:
    return element(
        "details",
        element("summary", "What was done so far"),
        element(
            "div",
            element("table", class_="run log"),
            class_="wide",
            tabindex=0,
            role="region",
            aria_label=f"What was done with {name}",
        ),
        class_="more",
    )


def bench_record(design: Design, machine: Machine, runs: Sequence[PageRun]) -> dict[str, Any]:
    """As the page's script reads it. Every text is clean."""
    netlist = design.netlist
    pins = {net for pin in netlist.inputs for net in pin.nets}
    shown = {net for pin in netlist.outputs for net in pin.nets}
    inner = {
        name: nets
        for name, nets in netlist.signals.items()
        if not pins.intersection(nets) and not shown.issuperset(nets)
    }
    return {
        "machine": machine.record(),
        "names": [clean(net.name) for net in netlist.nets],
        "inputs": [
            {"name": clean(pin.name), "class": pin.input_class.value, "nets": list(pin.nets)} for pin in netlist.inputs
        ],
        "outputs": [{"name": clean(pin.name), "nets": list(pin.nets)} for pin in netlist.outputs],
        "inner": [{"name": clean(name), "nets": list(nets)} for name, nets in inner.items()],
        "named": [number for number, net in enumerate(netlist.nets) if not net.anonymous],
        "together": netlist.inputs_may_change_together,
        "claims": [_followed_record(claim, machine) for claim in design.claims],
        "texts": {clean(given.name): clean(given.text) for given in design.givens},
        "recipes": [run.identity for run in runs if run.view is View.SETTLED],
    }


def _followed_record(claim: Claim, machine: Machine) -> dict[str, Any]:
    return {
        "name": claim.name,
        "kind": claim.kind.value,
        "text": clean(claim.text),
        "followed": claim.name in machine.claims,
    }
