"""Reads a drawing back from its SVG alone and says everything that is wrong with its geometry.

It knows the netlist and the SVG, and nothing of how the drawing was made.
"""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from dataclasses import dataclass, field
from itertools import combinations
from xml.etree import ElementTree

from verifier.circuit.netlist import Driver, FlipFlop, Gate, Latch, NetId, Netlist, SetReset
from verifier.report.drawing import Drawing

SPACE = "{http://www.w3.org/2000/svg}"
CHARACTER = 0.6
"""Width of a character in heights, from memory: what common monospaced fonts have (0.55 to 0.602)."""

Stretch = tuple[float, float, float, float]
"""Left, top, right, bottom; level or upright."""

Point = tuple[float, float]


@dataclass(frozen=True)
class Box:
    left: float
    top: float
    right: float
    bottom: float

    def meets(self, other: Box) -> bool:
        across = self.left < other.right and other.left < self.right
        return across and self.top < other.bottom and other.top < self.bottom

    def holds(self, point: Point) -> bool:
        return self.left <= point[0] <= self.right and self.top <= point[1] <= self.bottom


@dataclass
class Element:
    nets: tuple[NetId, ...]
    """What it drives; of an output pin the net it shows."""
    kinds: set[str]
    x: float
    y: float
    reach: Box | None = None


@dataclass
class Picture:
    """What is to be seen."""

    board: Box
    elements: list[Element] = field(default_factory=list)
    wires: dict[NetId, list[Stretch]] = field(default_factory=dict)
    dots: dict[NetId, set[Point]] = field(default_factory=dict)
    texts: list[tuple[str, Box]] = field(default_factory=list)

    def of_kind(self, kind: str) -> list[Element]:
        return [element for element in self.elements if kind in element.kinds]


def picture_of(drawing: Drawing) -> Picture:
    root = ElementTree.fromstring(drawing.svg)
    board = next(part for part in root.iter(f"{SPACE}rect") if part.get("class") == "board")
    picture = Picture(Box(0, 0, float(board.attrib["width"]), float(board.attrib["height"])))
    for group in root.iter(f"{SPACE}g"):
        kinds = set(group.get("class", "").split())
        if "net" in kinds:
            net = int(group.attrib["data-net"])
            line = next(part for part in group if part.get("class") == "line")
            picture.wires[net] = _stretches(line.attrib["d"])
            picture.dots[net] = {(float(dot.attrib["cx"]), float(dot.attrib["cy"])) for dot in group if dot.get("cx")}
        elif "element" in kinds:
            _read_element(picture, group, kinds)
    return picture


def _read_element(picture: Picture, group: ElementTree.Element, kinds: set[str]) -> None:
    x, y = map(float, re.findall(r"-?[\d.]+", group.attrib["transform"]))
    nets = tuple(map(int, group.attrib["data-element"].split()))
    element = Element(nets, kinds, x, y)
    for part in group:
        if part.get("class") == "reach":
            top, width, height = (float(part.attrib[name]) for name in ("y", "width", "height"))
            element.reach = Box(x, y + top, x + width, y + top + height)
        elif part.tag == f"{SPACE}text":
            picture.texts.append((part.text or "", _text_box(part, x, y)))
    picture.elements.append(element)


def _text_box(part: ElementTree.Element, x: float, y: float) -> Box:
    size = 11 if part.get("class") == "name" else 10
    width = len(part.text or "") * CHARACTER * size
    start = {"start": 0.0, "middle": -width / 2, "end": -width}[part.attrib["text-anchor"]]
    left, base = x + float(part.attrib["x"]) + start, y + float(part.attrib["y"])
    return Box(left, base - 0.75 * size, left + width, base + 0.2 * size)


def _stretches(path: str) -> list[Stretch]:
    found = []
    for x, y, turn, to in re.findall(r"M(-?[\d.]+) (-?[\d.]+)([HV])(-?[\d.]+)", path):
        found.append(
            (float(x), float(y), float(to), float(y)) if turn == "H" else (float(x), float(y), float(x), float(to))
        )
    return found


def pins_in(driver: Driver) -> Counter[NetId]:
    """How many input pins each net has at an element."""
    match driver:
        case Gate():
            return Counter(driver.inputs)
        case FlipFlop():
            levels = [level.net for level in (driver.clear, driver.preset) if level]
            return Counter([*driver.data, driver.clock, *levels])
        case Latch():
            return Counter([driver.data, driver.enable.net])
        case SetReset():
            return Counter([driver.set, driver.reset])


def faults_in(netlist: Netlist, drawing: Drawing) -> list[str]:
    """Everything that is wrong. Nothing may be folded."""
    picture = picture_of(drawing)
    return [
        *_overlapping_elements(picture),
        *_wires_on_each_other(picture),
        *_wires_through_elements(picture),
        *_wrong_connections(netlist, picture),
        *_wrong_dots(picture),
        *_things_out_of_place(netlist, picture),
        *_covered_texts(picture),
    ]


def _overlapping_elements(picture: Picture) -> list[str]:
    boxed = [(element, element.reach) for element in picture.elements if element.reach]
    return [
        f"elements {one.nets} and {other.nets} overlap"
        for (one, box), (other, second) in combinations(boxed, 2)
        if box.meets(second)
    ]


def _wires_on_each_other(picture: Picture) -> list[str]:
    """Wires of two nets that share more than the point of a crossing, or that touch where one of them ends."""
    found = []
    for one, other in combinations(picture.wires, 2):
        for mine in picture.wires[one]:
            for theirs in picture.wires[other]:
                if _touch(mine, theirs) and not cross(mine, theirs):
                    found.append(f"nets {one} and {other} run into each other: {mine} {theirs}")
    return found


def _touch(mine: Stretch, theirs: Stretch) -> bool:
    return mine[0] <= theirs[2] and theirs[0] <= mine[2] and mine[1] <= theirs[3] and theirs[1] <= mine[3]


def cross(mine: Stretch, theirs: Stretch) -> bool:
    """The inside of the one goes through the inside of the other at a right angle."""
    level, upright = (mine, theirs) if mine[1] == mine[3] else (theirs, mine)
    if level[1] != level[3] or upright[0] != upright[2]:
        return False
    return level[0] < upright[0] < level[2] and upright[1] < level[1] < upright[3]


def _wires_through_elements(picture: Picture) -> list[str]:
    """A wire may only enter the box of an element to end there, at one of its sides."""
    found = []
    for element in picture.elements:
        box = element.reach
        if box is None:
            continue
        for net, stretches in picture.wires.items():
            for left, top, right, bottom in stretches:
                if not Box(left, top, right, bottom).meets(Box(box.left, box.top - 1, box.right, box.bottom + 1)):
                    level = top == bottom and box.top <= top <= box.bottom and left < box.right and box.left < right
                    upright = left == right and box.left < left < box.right and top < box.bottom and box.top < bottom
                    if not level and not upright:
                        continue
                ends_inside = (box.left < right <= box.right) != (box.left <= left < box.right)
                if top != bottom or not ends_inside:
                    found.append(f"net {net} runs through element {element.nets}")
    return found


def _ends(stretches: list[Stretch]) -> list[Point]:
    """Points where a wire of the net ends and nothing of the same net goes on."""
    points = [point for left, top, right, bottom in stretches for point in ((left, top), (right, bottom))]
    return [point for point in points if sum(Box(*stretch).holds(point) for stretch in stretches) == 1]


def _wrong_connections(netlist: Netlist, picture: Picture) -> list[str]:
    """Each net is one piece, it ends at its driver and at all its pins, and nowhere else."""
    found = []
    wanted: dict[NetId, Counter[int]] = defaultdict(Counter)
    drivers = netlist.drivers
    for index, element in enumerate(picture.elements):
        if "output" in element.kinds or "input" in element.kinds:
            wanted[element.nets[0]][index] += 1
            continue
        wanted[element.nets[0]][index] += 1
        for net, count in pins_in(drivers[element.nets[0]]).items():
            wanted[net][index] += count
    for net, stretches in picture.wires.items():
        if not _in_one_piece(stretches):
            found.append(f"net {net} is in pieces")
        met: Counter[int] = Counter()
        for end in _ends(stretches):
            at = [index for index, element in enumerate(picture.elements) if _is_at(element, net, end)]
            if not at and sum(wanted[net].values()) > 1:
                found.append(f"net {net} ends nowhere, at {end}")
            met.update(at)
        if met != wanted[net]:
            found.append(f"net {net} ends at {dict(met)}, not {dict(wanted[net])}")
    missing = wanted.keys() - picture.wires.keys()
    return found + [f"net {net} has no wires" for net in sorted(missing)]


def _is_at(element: Element, net: NetId, end: Point) -> bool:
    """The wire ends at the element's proper side: what it drives at the right, the rest at the left."""
    if element.reach is None:
        return net == element.nets[0] and end == (element.x, element.y)
    if not element.reach.holds(end):
        return False
    at_left = end[0] < (element.reach.left + element.reach.right) / 2
    return at_left or net in element.nets


def _in_one_piece(stretches: list[Stretch]) -> bool:
    reached, pending = {0}, [0]
    while pending:
        mine = stretches[pending.pop()]
        for index, theirs in enumerate(stretches):
            if index not in reached and _touch(mine, theirs):
                reached.add(index)
                pending.append(index)
    return len(reached) == len(stretches)


def _wrong_dots(picture: Picture) -> list[str]:
    """A dot stands exactly where a net leaves in three or four directions."""
    found = []
    for net, stretches in picture.wires.items():
        directions: dict[Point, set[str]] = defaultdict(set)
        points = {point for one, other in combinations(stretches, 2) if (point := _meeting(one, other))}
        for x, y in points:
            for left, top, right, bottom in stretches:
                if top == bottom == y and left <= x <= right:
                    directions[x, y] |= {way for way, there in (("west", left < x), ("east", x < right)) if there}
                if left == right == x and top <= y <= bottom:
                    directions[x, y] |= {way for way, there in (("north", top < y), ("south", y < bottom)) if there}
        wanted = {point for point, ways in directions.items() if len(ways) > 2}
        if wanted != picture.dots[net]:
            found.append(f"net {net} has dots at {sorted(picture.dots[net])}, not {sorted(wanted)}")
    return found


def _meeting(one: Stretch, other: Stretch) -> Point | None:
    if not _touch(one, other):
        return None
    return max(one[0], other[0]), max(one[1], other[1])


def _things_out_of_place(netlist: Netlist, picture: Picture) -> list[str]:
    found = []
    if any(pin.x != picture.board.left for pin in picture.of_kind("input")):
        found.append("an input is not at the left border")
    if any(pin.x != picture.board.right for pin in picture.of_kind("output")):
        found.append("an output is not at the right border")
    if len(picture.of_kind("input")) != len(netlist.input_nets):
        found.append("an input is missing")
    if len(picture.of_kind("output")) != sum(len(pin.nets) for pin in netlist.outputs):
        found.append("an output is missing")
    if {element.nets[0] for element in picture.elements if element.reach} != netlist.drivers.keys():
        found.append("an element is missing")
    for element in picture.elements:
        box = element.reach
        if box and not (box.left > 0 and box.top >= 0 and box.right < picture.board.right):
            found.append(f"element {element.nets} is not inside the border")
        if box and box.bottom > picture.board.bottom:
            found.append(f"element {element.nets} is not inside the border")
    return found


def _covered_texts(picture: Picture) -> list[str]:
    """Text stands in the box of its own element, or outside the border, and on no wire and no other text."""
    found = []
    board = picture.board
    for text, box in picture.texts:
        homes = sum(_inside(box, element.reach) for element in picture.elements if element.reach)
        outside = box.right < board.left or box.left > board.right
        if homes + outside != 1:
            found.append(f"the text {text!r} stands in {homes} elements")
        for net, stretches in picture.wires.items():
            if any(_touch((box.left, box.top, box.right, box.bottom), stretch) for stretch in stretches):
                found.append(f"net {net} runs through the text {text!r}")
    for (one, box), (other, second) in combinations(picture.texts, 2):
        if box.meets(second):
            found.append(f"the texts {one!r} and {other!r} overlap")
    return found


def _inside(box: Box, other: Box) -> bool:
    return other.left <= box.left and box.right <= other.right and other.top <= box.top and box.bottom <= other.bottom
