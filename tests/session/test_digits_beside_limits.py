"""Digits of figures beside their limits, in messages."""

from pathlib import Path

import pytest

from tests.session.test_printed_pairs import last_message, started


@pytest.mark.parametrize(
    ("keys", "values", "shown"),
    [
        (
            "record: {amb: {unit: mm, ask: A}, x: {unit: in, ask: X, "
            "limit: 'above amb by 0.13 .. 0.20 mm (0.005 .. 0.008 in)'}}",
            {"amb": "1 mm", "x": "0.0443 in"},
            ("0.0443 in LOW", "0.0444 .. 0.0474 in"),
        ),
        (
            "record: {amb: {unit: mm, ask: A}, x: {unit: in, ask: X, limit: above amb by 0.11 .. 0.20 mm}}",
            {"amb": "1 mm", "x": "0.0437 in"},
            ("0.0437 in LOW", "limit 0.043701 .. 0.0472 in"),
        ),
        (
            "record: {x: {ask: X, unit: mm}}, work-out: {d: {is: x / 3, unit: mm, limit: at most 0.10 mm}}",
            {"x": "0.300000001 mm"},
            ("0.1000000003 mm HIGH", "at most 0.10 mm"),
        ),
        (
            "record: {x: {ask: X, unit: mm, readings: 3, judge: mean, limit: below 0.10 mm}}",
            {"x[1]": "0.1 mm", "x[2]": "0.1 mm", "x[3]": "0.1000001 mm"},
            ("0.10000003 mm HIGH", "below 0.10 mm"),
        ),
    ],
)
def test_figure_out_of_limit_is_not_shown_as_its_end(
    tmp_path: Path, keys: str, values: dict[str, str], shown: tuple[str, str]
) -> None:
    script = started(tmp_path, keys)
    for name, value in values.items():
        script.do("record", **value_of(name, value))
    message = last_message(script)
    assert all(text in message for text in shown), message


def value_of(name: str, value: str) -> dict[str, str]:
    plain, _, slot = name.partition("[")
    return {"name": plain, "value": value, **({"reading": slot.rstrip("]")} if slot else {})}
