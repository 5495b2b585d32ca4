from hypothesis import given
from hypothesis import strategies as st

from verifier.report.pieces import Tone, clean, line, listing, paragraph, plain, wrapped


def test_a_character_that_could_steer_a_terminal_is_written_out() -> None:
    assert clean("bell\x1b[31m\u202e\n") == "bell\\x1b[31m\\u202e\\n"


def test_letters_of_any_script_are_left_alone() -> None:
    assert clean("Glöckchen 鐘") == "Glöckchen 鐘"


@given(st.text())
def test_cleaned_text_is_printable_and_cleaning_it_again_changes_nothing(text: str) -> None:
    assert clean(text).isprintable() or all(letter.isspace() or letter.isprintable() for letter in clean(text))
    assert "\x1b" not in clean(text)
    assert "\n" not in clean(text)
    assert clean(clean(text)) == clean(text)


@given(st.lists(st.text(alphabet="abc", min_size=1, max_size=30)), st.integers(min_value=1, max_value=20))
def test_wrapping_keeps_every_letter_and_no_line_is_too_wide(words: list[str], width: int) -> None:
    lines = wrapped(" ".join(words), width)
    assert "".join(lines).replace(" ", "") == "".join(words)
    assert lines
    assert all(len(row) <= width for row in lines)


def test_lines_break_between_words_as_late_as_they_can() -> None:
    assert wrapped("ring the great bell", 9) == ["ring the", "great", "bell"]


def test_a_paragraph_is_led_in_by_its_first_and_further_margins() -> None:
    rows = [
        plain(row) for row in paragraph("one two three four five six", width=24, first="- ", then="  ", tone=Tone.BAD)
    ]
    assert rows == ["- one two three four", "  five six"]


def test_listing_puts_and_before_the_last() -> None:
    assert [listing([]), listing(["a"]), listing(["a", "b"]), listing(["a", "b", "c"])] == [
        "",
        "a",
        "a and b",
        "a, b and c",
    ]


def test_a_plain_line_has_no_trailing_spaces() -> None:
    assert plain(line("beat  ", "  ")) == "beat"
