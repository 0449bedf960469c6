"""Conversion of names with places to text and back."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchflow.procedure.identity import StepId, ValueRef

name = st.text("abc-1", min_size=1)
place = st.none() | st.text("12abc *")


reading = st.none() | st.text("12abc *").filter(lambda text: text == text.strip())


@given(name, place, reading)
def test_text_of_an_identity_gives_the_same_identity(name: str, place: str | None, reading: str | None) -> None:
    assert ValueRef.parse(str(ValueRef(name, place))) == ValueRef(name, place)
    if place is not None:
        assert ValueRef.parse(str(ValueRef(name, place.strip(), reading))) == ValueRef(name, place.strip(), reading)
    assert StepId.parse(str(StepId(name, place))) == StepId(name, place)


@pytest.mark.parametrize(
    ("text", "ref"),
    [
        ("end-play", ValueRef("end-play")),
        ("journal[2]", ValueRef("journal", "2")),
        ("journal[2, left]", ValueRef("journal", "2", "left")),
        ("journal[*, *]", ValueRef("journal", "*", "*")),
        ("journal[*]", ValueRef("journal", "*")),
        ("journal[]", ValueRef("journal", "")),
        ("", ValueRef("")),
        ("journal[2", ValueRef("journal[2")),
        ("journal]2[", ValueRef("journal]2[")),
        ("journal[1][2]", ValueRef("journal[1]", "2")),
        ("[2]", ValueRef("[2]")),
        ("journal[2] ", ValueRef("journal[2] ")),
    ],
)
def test_text_is_split_only_where_it_is_a_name_with_a_place(text: str, ref: ValueRef) -> None:
    assert ValueRef.parse(text) == ref
    assert str(ref) == text


def test_reading_of_a_value_without_places_is_its_only_index() -> None:
    assert str(ValueRef("journal", None, reading="3")) == "journal[3]"


def test_space_after_a_comma_is_not_needed() -> None:
    assert ValueRef.parse("journal[2,left]") == ValueRef("journal", "2", "left")
