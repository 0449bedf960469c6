"""Text from a file or a person must not control the terminal that shows it."""

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchflow.base.plaintext import clean, clean_line, unsafe_characters


@pytest.mark.parametrize(
    ("dirty", "shown"),
    [
        ("\x1b[31mred\x1b[0m", "[31mred[0m"),
        ("\x1b]52;c;aGVsbG8=\x07", "]52;c;aGVsbG8="),
        ("\x9b2Jgone", "2Jgone"),
        ("Seat \u202eti\u202c it", "Seat ti it"),
        ("\u2066left\u2069\u200f", "left"),
        ("nul\x00 bell\x07 del\x7f", "nul bell del"),
        ("two\r\nlines\rand\u2028three", "two\nlines\nand\nthree"),
        ("a\ttab", "a tab"),
        ("half\ud800", "half"),
        ("\ufeffmark", "mark"),
    ],
)
def test_unsafe_characters_are_removed_and_other_text_stays(dirty: str, shown: str) -> None:
    assert clean(dirty) == shown


@pytest.mark.parametrize("text", ["40 N·m ± 5 %", "Öl, ½ in, 90°, ⌀ 8", "می‌خواهم", "👩‍🔧", "two\nlines", ""])
def test_text_of_any_script_is_unchanged(text: str) -> None:
    assert clean(text) == text


def test_clean_line_gives_one_line() -> None:
    assert clean_line("  Seat \n the\tcam\x1b ") == "Seat the cam"


def test_unsafe_characters_are_listed_once() -> None:
    assert unsafe_characters("a\u202eb\x1bc\u202e") == ("\u202e", "\x1b")


@given(st.text(alphabet=st.characters(), max_size=200))
def test_cleaned_text_never_has_a_control_character(text: str) -> None:
    cleaned = clean(text)
    assert all(char == "\n" or unicodedata.category(char) not in ("Cc", "Cs") for char in cleaned)
    assert clean(cleaned) == cleaned
    assert not unsafe_characters(cleaned)
