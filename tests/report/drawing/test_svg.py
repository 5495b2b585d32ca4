"""What a script, a reader and a screen reader find in a drawing, and that names in it stay text."""

from __future__ import annotations

import re
from dataclasses import replace
from xml.etree import ElementTree

import pytest
from report.drawing.geometry import SPACE, faults_in, picture_of
from report.drawing.random_circuits import random_circuit

from verifier.circuit.builder import NetlistBuilder
from verifier.circuit.netlist import Edge, FlipFlopKind, GateKind, Level, Netlist
from verifier.report.drawing import draw, style
from verifier.report.drawing.style import DARK, LIGHT, PRINTED

HOSTILE = (
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "</title></svg><svg onload=alert(1)>",
    "]]><!--",
    "&lt;b&gt;&#x3c;",
    "bell\x00\x08\x1b[2J\ufffe",
    "\u202eneddih",
    "\ud800",
    "{}url(javascript:alert(1))",
    "鐘" * 40,
)


def two_bells(name: str = "bell", circuit: str = "two_bells") -> Netlist:
    builder = NetlistBuilder(circuit)
    keys = [builder.input(f"key_{name}"), builder.input("lever")]
    builder.gate(f"high {name}", GateKind.NAND, keys)
    builder.flip_flop(name, f"high {name}", keys[1], clear=Level(keys[0], False), edge=Edge.FALL, start=False)
    builder.output(name)
    return builder.build()


def text_of(element: ElementTree.Element) -> str:
    return "".join(element.itertext())


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_name_is_text_and_nothing_else(name: str) -> None:
    netlist = two_bells(name, circuit=name)
    drawing = draw(netlist)
    harmless = draw(two_bells())
    root, other = ElementTree.fromstring(drawing.svg), ElementTree.fromstring(harmless.svg)
    assert [part.tag for part in root.iter()] == [part.tag for part in other.iter()]
    assert [sorted(part.attrib) for part in root.iter()] == [sorted(part.attrib) for part in other.iter()]
    assert faults_in(netlist, drawing) == []
    assert re.search("[\x00-\x09\x0b-\x1f\u202a-\u202e\ud800-\udfff\ufffe]", drawing.svg) is None


def test_a_name_with_markup_can_be_read_as_it_was_written() -> None:
    drawing = draw(two_bells("<b>&bell</b>"))
    titles = {text_of(part) for part in ElementTree.fromstring(drawing.svg).iter(f"{SPACE}title")}
    assert "<b>&bell</b>" in titles


def test_every_net_and_every_element_can_be_found_by_its_number() -> None:
    netlist = random_circuit(5, 20)
    drawing = draw(netlist, prefix="left")
    groups = {group.get("id"): group for group in ElementTree.fromstring(drawing.svg).iter(f"{SPACE}g")}
    numbers = set(range(len(netlist.nets)))
    assert set(drawing.nets) == set(drawing.elements) == numbers
    for net, identity in drawing.nets.items():
        assert groups[identity].get("data-net") == str(net)
        assert groups[identity].get("class") == "net"
    for net, identity in drawing.elements.items():
        assert groups[identity].get("data-element") == str(net)
        assert "element" in groups[identity].attrib["class"].split()


def test_ids_are_unique_and_begin_with_the_prefix() -> None:
    root = ElementTree.fromstring(draw(random_circuit(6, 20), prefix="first").svg)
    identities = [part.attrib["id"] for part in root.iter() if "id" in part.attrib]
    assert len(identities) == len(set(identities))
    assert all(identity.startswith("first-") for identity in identities)


def test_the_drawing_needs_nothing_from_outside_and_runs_nothing() -> None:
    svg = draw(two_bells()).svg
    assert re.findall(r"https?://[^\"]*", svg) == ["http://www.w3.org/2000/svg"]
    assert re.search(r"<script|<image|<foreignObject|@import|url\(|href|\son\w+=", svg) is None


def test_elements_say_in_words_what_they_are() -> None:
    builder = NetlistBuilder("words")
    low, high, pick = (builder.input(name) for name in ("low", "high", "pick"))
    builder.gate("chosen", GateKind.SELECT, [pick, high, low])
    builder.gate("both", GateKind.NAND, ["chosen", low])
    builder.flip_flop("kept", ["both", high], pick, kind=FlipFlopKind.JK, edge=Edge.FALL, preset=Level(low, False))
    builder.latch("held", "kept", Level(pick, False))
    builder.set_reset("struck", "held", low)
    builder.output("struck")
    root = ElementTree.fromstring(draw(builder.build()).svg)
    told = {group.attrib["aria-label"] for group in root.iter(f"{SPACE}g") if "aria-label" in group.attrib}
    assert told == {
        "input low",
        "input high",
        "input pick",
        "output struck",
        "select chosen: high while pick is high, low while it is low",
        "nand both of chosen and low",
        "JK flip-flop kept of both and high on fall of pick, preset when low low",
        "latch held of kept while pick low",
        "set-reset latch struck, set by held, reset by low",
    }


def with_parts() -> Netlist:
    """Two adders of one bit, one inside a part of its own."""
    builder = NetlistBuilder("adders")
    a, b, c = (builder.input(name) for name in "abc")
    builder.gate("s.first.sum", GateKind.XOR, [a, b])
    builder.gate("s.first.carry", GateKind.AND, [a, b])
    builder.gate("s", GateKind.XOR, ["s.first.sum", c])
    builder.signal("s.sum", ["s"])
    builder.gate("s.late", GateKind.AND, ["s.first.sum", c])
    builder.gate("t", GateKind.OR, ["s.first.carry", "s.late"])
    builder.output("s")
    builder.output("t")
    return builder.build()


def test_a_folded_part_is_one_box_with_the_pins_that_cross_its_border() -> None:
    netlist = with_parts()
    drawing = draw(netlist, frozenset({"s"}))
    picture = picture_of(drawing)
    (box,) = picture.of_kind("part")
    names = {netlist.nets[net].name for net in box.nets}
    assert names == {"s", "s.first.sum", "s.first.carry", "s.late"}
    assert {drawing.elements[net] for net in box.nets} == {drawing.elements[box.nets[0]]}
    assert {netlist.nets[net].name for net in drawing.nets} == {"a", "b", "c", "s", "s.first.carry", "s.late", "t"}
    assert {text for text, _ in picture.texts} >= {"a", "b", "c", "sum", "first.carry", "late"}


def test_a_part_within_a_part_can_be_folded_alone() -> None:
    (box,) = picture_of(draw(with_parts(), frozenset({"s.first"}))).of_kind("part")
    assert len(box.nets) == 2


def test_folding_an_outer_part_takes_the_inner_one_with_it() -> None:
    (box,) = picture_of(draw(with_parts(), frozenset({"s", "s.first"}))).of_kind("part")
    assert len(box.nets) == 4


def test_a_part_that_is_not_there_cannot_be_folded() -> None:
    with pytest.raises(ValueError, match=r"adders has no part 'bell'"):
        draw(with_parts(), frozenset({"bell"}))


def test_the_same_circuit_is_always_drawn_alike() -> None:
    netlist = random_circuit(7, 25)
    assert draw(netlist).svg == draw(replace(netlist)).svg


def test_a_circuit_with_nothing_in_it_can_be_drawn() -> None:
    builder = NetlistBuilder("empty")
    assert faults_in(builder.build(), draw(builder.build())) == []


def luminance(colour: str) -> float:
    """Relative luminance as WCAG 2.2 defines it."""
    parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """WCAG 2.2, "contrast ratio": from 1 to 21."""
    lighter, darker = sorted((luminance(one), luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def test_the_measure_of_contrast_is_that_of_the_standard() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.01)  # from memory: the first grey that fails AA


@pytest.mark.parametrize("colours", [LIGHT, DARK, PRINTED], ids=["light", "dark", "printed"])
def test_text_and_lines_stand_out_from_what_they_stand_on(colours: dict[str, str]) -> None:
    for ground in ("paper", "board", "body", "band"):
        assert contrast(colours["ink"], colours[ground]) >= 4.5
    for ground in ("paper", "board", "body"):
        assert contrast(colours["quiet"], colours[ground]) >= 4.5
    for line in ("wire", "high", "low", "quiet"):
        assert contrast(colours[line], colours["board"]) >= 3
    for line in ("high", "low", "wire"):
        assert contrast(colours[line], colours["band"]) >= 3


def test_values_differ_by_weight_or_dashes_and_not_by_colour_alone() -> None:
    rules = {name: re.search(rf"\.{name} \.line{{([^}}]*)}}", style()) for name in ("high", "low", "unknown")}
    shapes = set()
    for found in rules.values():
        assert found is not None
        shapes.add(re.sub(r"stroke:[^;]*;?", "", found[1]))
    assert len(shapes) == 3
