"""Choice tables: their ends, gaps and stop rows, and the values that cannot be."""

from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchflow.procedure.model import PartChoice
from benchflow.procedure.reader import read
from benchflow.quantity import base, parse_quantity
from benchflow.session.rules.choice_tables import LookedUp, row_of
from tests.driving.script import Script, intent, open_intent, procedure_with
from tests.ordering.random_plans import examples

PRINTED = "[{up to: 0.10 mm, take: thin}, {up to: 0.20 mm, take: thick}]"


def choosing(folder: Path, rows: str, extra: str = "", unit: str = "mm") -> Script:
    text = procedure_with(
        f"{{id: one, title: One, record: {{gap: {{ask: Gap, unit: {unit}}}}}, "
        f"choose: {{shim: {{by: gap, from: {rows}{extra}}}}}}}"
    )
    script = Script(folder, text)
    script.do_all(open_intent(), intent("start", operation="one"))
    return script


def outcome(script: Script, value: str) -> object:
    """The parts that are proposed for a value, or the refusal code of `choose` and of `finish`."""
    script.do("record", name="gap", value=value)
    proposed = script.query("status")["proposed"]["shim"]
    if proposed:
        return proposed
    codes = script.refused("choose", name="shim", take="thin")
    assert script.refused("finish") == codes
    return codes


@pytest.mark.parametrize(
    ("rows", "extra", "expected"),
    [
        (PRINTED, "", {"-0.05 mm": "out-of-limit", "0.00 mm": "thin", "0.20 mm": "thick", "0.21 mm": "out-of-limit"}),
        (
            "[{at least: 0.05 mm, up to: 0.10 mm, take: thin}, {take: thick}]",
            "",
            {"0.0499 mm": "out-of-limit", "0.05 mm": "thin", "0.10 mm": "thin", "0.1001 mm": "thick", "9 mm": "thick"},
        ),
        (
            "[{above: 0.05 mm, below: 0.10 mm, take: thin}, {below: 0.20 mm, take: thick}]",
            "",
            {"0.05 mm": "out-of-limit", "0.0501 mm": "thin", "0.10 mm": "thick", "0.20 mm": "out-of-limit"},
        ),
        (
            "[{below: 0.05 mm, stop: The seat is worn. Ask the maker}, {up to: 0.10 mm, take: thin}]",
            "",
            {"0.04 mm": "out-of-limit", "0.05 mm": "thin"},
        ),
        (
            "[{up to: 0.10 mm, take: thin}, {at least: 0.11 mm, up to: 0.20 mm, take: thick}]",
            ", gaps: stop",
            {"0.10 mm": "thin", "0.105 mm": "out-of-limit", "0.11 mm": "thick"},
        ),
        (
            "[{up to: -0.10 mm, take: thin}, {up to: 0.10 mm, take: thick}]",
            "",
            {"-0.2 mm": "thin", "-0.05 mm": "thick"},
        ),
    ],
)
def test_each_value_has_the_part_of_its_row_or_none(
    tmp_path: Path, rows: str, extra: str, expected: dict[str, str]
) -> None:
    script = choosing(tmp_path, rows, extra)
    assert {value: outcome(script, value) for value in expected} == {v: [e] for v, e in expected.items()}


def test_temperature_below_zero_can_be(tmp_path: Path) -> None:
    script = choosing(tmp_path, "[{up to: 5 °C, take: thin}, {take: thick}]", unit="°C")
    assert outcome(script, "-10 °C") == ["thin"]


def test_stop_row_says_why_it_stops(tmp_path: Path) -> None:
    script = choosing(tmp_path, "[{up to: 0.10 mm, take: thin}, {stop: The seat is worn. Ask the maker.}]")
    script.do("record", name="gap", value="0.3 mm")
    (reply,) = script.send(intent("choose", name="shim", take="thin"))
    assert "The seat is worn. Ask the maker." in reply["refused"][0]["message"]


def test_deviation_about_the_choice_gets_past_a_gap(tmp_path: Path) -> None:
    script = choosing(tmp_path, PRINTED)
    script.do("record", name="gap", value="0.25 mm")
    script.do("deviate", operation="one", about="shim", reason="the maker agreed", by="Kim")
    assert script.refused("finish") == ["value-missing"]
    script.do_all(intent("choose", name="shim", take="thick"), intent("finish"))


def test_deviation_about_a_gap_does_not_cover_a_later_reading(tmp_path: Path) -> None:
    script = choosing(tmp_path, PRINTED)
    script.do("record", name="gap", value="0.25 mm")
    script.do("deviate", operation="one", about="shim", reason="the maker agreed", by="Kim")
    script.do_all(intent("choose", name="shim", take="thick"), intent("record", name="gap", value="0.90 mm"))
    assert script.refused("finish") == ["out-of-limit"]


def test_part_of_another_row_still_blocks_the_finish(tmp_path: Path) -> None:
    script = choosing(tmp_path, PRINTED)
    script.do_all(intent("record", name="gap", value="0.05 mm"), intent("choose", name="shim", take="thick"))
    assert script.refused("finish") == ["out-of-limit"]


def table_of(rows: str, extra: str = "") -> tuple[PartChoice | None, list[str]]:
    found = read(
        procedure_with(f"{{id: one, title: One, record: {{gap: {{unit: mm}}}}, "
                       f"choose: {{shim: {{by: gap, from: {rows}{extra}}}}}}}")
    )  # fmt: skip
    table = found.procedure.operations[0].choose[0] if found.procedure else None
    return table, [problem.code for problem in found.problems if problem.severity == "error"]


@pytest.mark.parametrize(
    ("rows", "code"),
    [
        ("[{below: 0.10 mm, take: a}, {above: 0.10 mm, take: b}]", "gap-in-table"),
        ("[{up to: 0.10 mm, take: a}, {at least: 0.10 mm, take: b}]", "overlap-in-table"),
        ("[{take: a}, {up to: 0.10 mm, take: b}]", "missing-key"),
        ("[{up to: 0.10 mm, below: 0.20 mm, take: b}]", "one-too-many"),
        ("[{up to: 0.10 mm, take: b, stop: no}]", "one-too-many"),
        ("[{up to: 0.10 mm}]", "missing-key"),
        ("[{up to: 0.10 mm, take: b}, {up to: 1 N·m, take: a}]", "wrong-dimension"),
    ],
)
def test_mistake_in_a_table_is_reported(rows: str, code: str) -> None:
    assert table_of(rows)[1] == [code]


def test_rows_that_meet_are_neither_a_gap_nor_an_overlap() -> None:
    for rows in (
        "[{below: 0.10 mm, take: a}, {at least: 0.10 mm, take: b}]",
        "[{up to: 0.10 mm, take: a}, {above: 0.10 mm, take: b}]",
    ):
        assert table_of(rows)[1] == []


@given(
    st.lists(st.integers(1, 40), min_size=2, max_size=6, unique=True).map(sorted),
    st.lists(st.booleans(), min_size=6, max_size=6),
    st.booleans(),
    st.integers(0, 84),
)
@settings(max_examples=examples(200), deadline=None)
def test_row_of_a_value_agrees_with_plain_comparisons(
    edges: list[int], closed: list[bool], open_end: bool, half: int
) -> None:
    """Ends are whole hundredths of a millimetre, values are halves of them."""
    ends = list(zip(edges[1:], closed, strict=False))
    rows = [f"{{{'up to' if c else 'below'}: {e / 100} mm, take: p{i}}}" for i, (e, c) in enumerate(ends)]
    rows[0] = rows[0].replace("{", f"{{at least: {edges[0] / 100} mm, ", 1)
    table, problems = table_of(f"[{', '.join([*rows, '{take: last}'] if open_end else rows)}]")
    assert table is not None, problems
    value = Fraction(half, 200)
    expected = None
    if value >= Fraction(edges[0], 100):
        expected = "last" if open_end else None
        for index, (end, is_closed) in enumerate(ends):
            if value < Fraction(end, 100) or (is_closed and value == Fraction(end, 100)):
                expected = f"p{index}"
                break
    shown = parse_quantity(f"{Decimal(half) / 200} mm")
    found = row_of(table, LookedUp(shown, base(shown), Fraction(0)))
    assert (found.take if found else None) == expected
