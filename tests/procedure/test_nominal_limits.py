"""One quantity as a limit: accepted for values, refused where half its last digit makes no sense."""

import pytest

from benchflow.procedure.model import AboveReading, EqualWithin, Fixed
from benchflow.procedure.reader import read
from benchflow.quantity import interval, parse_quantity, show
from benchflow.session.shop.register_reader import read_shop

HEAD = """benchflow: 1
id: trial
title: A trial
{top}sections:
  - title: All
    operations:
      - {{id: before, title: Before, record: {{start: {{ask: Start, unit: mm}}}}}}
      - id: first
        title: First
        after: [before]
        {line}
"""


def problems(line: str, top: str = "") -> list[str]:
    return [f"{problem.code}: {problem.message}" for problem in read(HEAD.format(line=line, top=top)).problems]


@pytest.mark.parametrize(
    "limit", ["0.15 mm", "0.006 in (0.15 mm)", "above start by 0.5 mm", "above start by 0.02 in (0.5 mm)"]
)
@pytest.mark.parametrize("key", ["limit", "used"])
def test_value_may_have_a_nominal_limit(limit: str, key: str) -> None:
    assert problems(f"record: {{x: {{ask: X, unit: mm, {key}: {limit}}}}}") == []


def test_nominal_in_a_relative_limit_is_half_its_last_digit_wide() -> None:
    reading = read(HEAD.format(line="record: {x: {ask: X, unit: mm, limit: above start by 0.5 mm}}", top=""))
    assert reading.procedure is not None
    bound = reading.procedure.operations[1].record[0].bound
    assert isinstance(bound, AboveReading)
    assert (bound.by.low, bound.by.high) != (None, None)
    assert [show(end) for end in (bound.by.low, bound.by.high) if end is not None] == ["0.45 mm", "0.55 mm"]
    assert bound.text == "above start by 0.5 mm"


def test_text_of_a_nominal_limit_stays_as_written() -> None:
    reading = read(HEAD.format(line="record: {x: {ask: X, unit: in, limit: 0.006 in (0.15 mm)}}", top=""))
    assert reading.procedure is not None
    bound = reading.procedure.operations[1].record[0].bound
    assert isinstance(bound, Fixed)
    assert bound.text == "0.006 in (0.15 mm)"


def test_equal_within_has_the_wider_of_two_printed_columns() -> None:
    line = "record: {x: {ask: X, unit: mm, readings: 2, limit: equal within 0.25 mm (0.010 in)}}"
    reading = read(HEAD.format(line=line, top=""))
    assert reading.procedure is not None
    bound = reading.procedure.operations[1].record[0].bound
    assert isinstance(bound, EqualWithin)
    high = interval(bound.limit).high
    assert high is not None
    assert high * 1000 == parse_quantity("0.254 mm").value


@pytest.mark.parametrize(
    ("line", "top"),
    [
        ("time: {before: 10 min}", ""),
        ("time: {before: {limit: 10 min}}", ""),
        ("check: [Done]", "instruments: {mic: {kind: length, covers: 25 mm}}\n"),
        ("check: [Done]", "instruments: {mic: {kind: length, uncertainty: 0.004 mm}}\n"),
    ],
)
def test_time_range_and_uncertainty_refuse_a_single_quantity(line: str, top: str) -> None:
    (found,) = problems(line, top)
    assert found.startswith("bad-quantity")
    assert "single value is not a limit" in found


def test_range_in_the_register_refuses_a_single_quantity() -> None:
    text = "instruments: {mic: {kind: length, range: 25 mm}}\n"
    assert "bad-quantity" in [problem.code for problem in read_shop(text).problems]


def test_limit_without_a_unit_is_refused() -> None:
    assert [found.partition(":")[0] for found in problems("record: {x: {ask: X, limit: '0.15'}}")] == ["bad-quantity"]
    assert problems("record: {x: {ask: X, unit: count, limit: '3'}}") == []
