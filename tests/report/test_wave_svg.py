"""Drawings of runs, read back by an XML parser. SVG: the W3C recommendation "Scalable Vector Graphics 1.1", 2011.

Title and description of a picture for those who do not see it: its section 5.4, with WAI-ARIA's `aria-labelledby`.
"""

from __future__ import annotations

import re
from xml.etree import ElementTree

from hypothesis import given, settings
from report.random_runs import HOSTILE, WORDS, circuits_and_runs, netlist_of
from report.sample_runs import FALSE_EDGE, plain_multiplexer, run_of

from verifier.circuit.netlist import Netlist
from verifier.claims.claim import View
from verifier.claims.run import Run, StepEvents
from verifier.report.signals import shown_signals
from verifier.report.wave_layout import Mark, WaveDiagram, WaveRow, wave_diagram
from verifier.report.wave_svg import left_of, picture_size, wave_svg

SVG = "{http://www.w3.org/2000/svg}"
Element = ElementTree.Element


def diagram_of(netlist: Netlist, run: Run, *marks: Mark, title: str = "") -> WaveDiagram:
    view = View.SETTLED if run.times is None else View.TIMED
    return wave_diagram(netlist, run, shown_signals(netlist), title=title, view=view, marks=marks)


def all_of(root: Element, tag: str, class_: str | None = None) -> list[Element]:
    return [node for node in root.iter(f"{SVG}{tag}") if class_ is None or node.get("class") == class_]


def number(node: Element, name: str) -> float:
    return float(node.get(name, "nan"))


def levels_drawn(row: Element, xs: list[float]) -> list[int]:
    """Whether the line is above or below just behind each of these places, from the heights along its path."""
    (path,) = all_of(row, "path", "wave-line")
    words = re.findall("[MHVQ]|-?[0-9.]+", path.get("d", ""))
    height, heights, reached = 0.0, [], 0.0
    at = 0
    while at < len(words):
        match words[at]:
            case "M":
                reached, height, at = float(words[at + 1]), float(words[at + 2]), at + 3
            case "H":
                heights.append((reached, float(words[at + 1]), height))
                reached, at = float(words[at + 1]), at + 2
            case "V":
                height, at = float(words[at + 1]), at + 2
            case _:
                reached, height, at = float(words[at + 3]), float(words[at + 4]), at + 5
    middle_of_name = number(all_of(row, "text")[0], "y") - 6
    return [int(next(height for first, last, height in heights if first <= x + 5 <= last) < middle_of_name) for x in xs]


def numbers_drawn(row: Element, drawn: WaveRow, xs: list[float]) -> list[int]:
    """The number of the last span that begins at or before each of these places."""
    _, *texts = all_of(row, "text")
    starts = [(number(text, "x") - 10, int(text.text or "")) for text in texts]
    return [next(value for left, value in reversed(starts) if left <= x) for x in xs]


@settings(deadline=None, max_examples=60)
@given(circuits_and_runs())
def test_every_value_can_be_read_off_the_drawing_at_the_place_of_its_instant(made: tuple[Netlist, Run]) -> None:
    diagram = diagram_of(*made)
    root = ElementTree.fromstring(wave_svg(diagram))
    xs = [float(left_of(diagram) + diagram.x_of(instant)) for instant in range(len(diagram.numbers))]
    drawn = {group.get("data-signal"): group for group in all_of(root, "g", "wave-row")}
    assert list(drawn) == [row.name for row in diagram.rows]
    for row in diagram.rows:
        group = drawn[row.name]
        read = numbers_drawn(group, row, xs) if row.width > 1 else levels_drawn(group, xs)
        assert read == list(row.values)
    bands = all_of(root, "rect", "wave-instant")
    assert [number(band, "x") for band in bands] == xs
    assert [band.get("data-instant") for band in bands] == [str(place) for place in range(len(xs))]


@settings(deadline=None, max_examples=60)
@given(circuits_and_runs((*WORDS, *HOSTILE)))
def test_no_name_breaks_the_picture(made: tuple[Netlist, Run]) -> None:
    netlist, run = made
    text = wave_svg(diagram_of(netlist, run, title="<script>&\x00"))
    root = ElementTree.fromstring(text)
    assert root.tag == f"{SVG}svg"
    assert not all_of(root, "script")
    assert "\x1b" not in text
    assert "\u202e" not in text


def test_the_picture_needs_nothing_else_and_follows_light_and_dark() -> None:
    text = wave_svg(diagram_of(plain_multiplexer(), FALSE_EDGE))
    root = ElementTree.fromstring(text)
    assert not any("href" in name for node in root.iter() for name in node.attrib)
    assert not re.search(r"url\(|@import|@font-face|https?://(?!www\.w3\.org/2000/svg\")", text)
    assert "@media (prefers-color-scheme: dark)" in text


def test_those_who_do_not_see_it_are_told_title_moves_and_breach() -> None:
    diagram = diagram_of(
        plain_multiplexer(), FALSE_EDGE, Mark(instant=1, text="broken at step 1"), title="no_false_edge is broken"
    )
    root = ElementTree.fromstring(wave_svg(diagram))
    title, description, *_ = root
    assert (title.tag, title.text) == (f"{SVG}title", "no_false_edge is broken")
    assert description.tag == f"{SVG}desc"
    assert description.text == (
        "step 0: power up with tempo high, lever low, choose low [tempo 1, lever 0, choose 0, beat 0]; "
        "step 1: flip choose up [choose 1, beat 1]; broken at step 1."
    )
    assert root.get("role") == "img"
    assert root.get("aria-labelledby", "").split() == [title.get("id"), description.get("id")]


def test_a_mark_is_a_triangle_and_words_at_its_instant() -> None:
    diagram = diagram_of(plain_multiplexer(), FALSE_EDGE, Mark(instant=1, text="broken at step 1"))
    (group,) = all_of(ElementTree.fromstring(wave_svg(diagram)), "g", "wave-mark-group")
    (triangle,) = all_of(group, "path", "wave-mark")
    (words,) = all_of(group, "text")
    assert (triangle.get("d") or "").startswith(f"M{left_of(diagram) + diagram.x_of(1)} ")
    assert words.text == "broken at step 1"
    assert group.get("data-instant") == "1"


def test_everything_lies_within_the_picture_and_a_long_mark_too() -> None:
    mark = Mark(instant=0, text="broken by a very long story that does not fit below two short steps")
    diagram = diagram_of(plain_multiplexer(), FALSE_EDGE, mark)
    width, height = picture_size(diagram)
    root = ElementTree.fromstring(wave_svg(diagram))
    assert (root.get("width"), root.get("height")) == (str(width), str(height))
    for text in all_of(root, "text"):
        assert number(text, "x") >= 0
        assert number(text, "x") + 8 * len(text.text or "") <= width
        assert 0 < number(text, "y") <= height


def test_a_loop_has_a_bracket_with_an_arrow_and_words() -> None:
    run = run_of("0010", "1010", "0010")
    diagram = diagram_of(plain_multiplexer(), Run(run.instants, run.events, loop_from=1))
    root = ElementTree.fromstring(wave_svg(diagram))
    (loop,) = all_of(root, "g", "wave-loop")
    bracket, _arrow = all_of(loop, "path")
    left, right = (left_of(diagram) + diagram.x_of(instant) for instant in (1, 3))
    assert re.findall(r"[ML]([0-9]+) ", bracket.get("d") or "") == [str(x) for x in (left, left, right, right)]
    assert all_of(root, "text")[-1].text == "then steps 1 to 2 again, for ever"
    assert len(all_of(root, "path", "wave-again")) == 4


def test_two_pictures_in_one_page_share_no_identifier_and_one_is_always_the_same() -> None:
    diagram, other = (diagram_of(plain_multiplexer(), FALSE_EDGE, title=title) for title in ("one", "other"))
    assert wave_svg(diagram) == wave_svg(diagram)
    identifiers = [set(re.findall(' id="([^"]+)"', wave_svg(each))) for each in (diagram, other)]
    assert identifiers[0]
    assert identifiers[0].isdisjoint(identifiers[1])


def test_several_moves_in_one_ns_share_one_number_and_have_a_double_ruler() -> None:
    run = Run(((False,), (True,), (False,), (True,)), (StepEvents(),) * 4, times=(0, 0, 1, 700))
    diagram = diagram_of(netlist_of({"tempo": 1}), run)
    root = ElementTree.fromstring(wave_svg(diagram))
    (axis,) = all_of(root, "g", "wave-axis")
    assert [text.text for text in all_of(axis, "text")] == ["ns", "0", "1", "700"]
    lines = [re.findall("[0-9]+", path.get("d") or "") for path in all_of(axis, "path", "wave-ruler")]
    left, right = (str(left_of(diagram) + diagram.x_of(instant)) for instant in (0, 1))
    assert sum(line[0] == left and line[2] == right for line in lines) == 2
    assert [text.text for text in all_of(root, "text")][-2:] == [
        "double ruler: no time passes, several moves in one ns, in their order",
        "slanted strokes: not to scale",
    ]


def test_a_circuit_without_signals_has_a_picture_of_its_steps() -> None:
    diagram = diagram_of(netlist_of({}), Run(((), ()), (StepEvents(), StepEvents())))
    root = ElementTree.fromstring(wave_svg(diagram))
    assert [text.text for text in all_of(root, "text")] == ["step", "0", "1"]
