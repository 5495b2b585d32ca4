"""Whatever text goes onto the page comes back from a reader of HTML as the same text."""

from __future__ import annotations

import json
from html.parser import HTMLParser

from hypothesis import given
from hypothesis import strategies as st

from verifier.report.page.markup import Markup, data_block, element, joined
from verifier.report.pieces import clean


class Reader(HTMLParser):
    """Collects tags, attributes and text, by the standard library's own rules."""

    def __init__(self, markup: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str | None]] = []
        self.text = ""
        self.feed(markup)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += attrs

    def handle_data(self, data: str) -> None:
        self.text += data


@given(st.text())
def test_a_text_is_read_back_and_adds_no_tag(text: str) -> None:
    reader = Reader(element("p", text))
    assert reader.tags == ["p"]
    assert reader.text == clean(text)


@given(st.text())
def test_an_attribute_is_read_back_and_adds_no_other(text: str) -> None:
    reader = Reader(element("a", "here", title=text))
    assert reader.attributes == [("title", clean(text))]
    assert reader.tags == ["a"]


@given(st.recursive(st.text(), lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner)))
def test_data_in_a_page_is_read_back_and_cannot_end_its_block(record: object) -> None:
    block = data_block("run", record)
    assert block.count("<") == 2
    start = block.index(">") + 1
    assert json.loads(block[start : block.rindex("<")]) == record


def test_markup_is_not_escaped_twice_and_nothing_is_left_out() -> None:
    inner = element("b", "a < b")
    assert element("p", "x ", inner, None, ["y", inner]) == Markup(f"<p>x {inner}y{inner}</p>")
    assert joined() == ""
    assert (
        element("input", type="checkbox", disabled=True, hidden=False, max=None) == '<input type="checkbox" disabled>'
    )
