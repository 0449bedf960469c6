"""The result of guarded acceptance names the values that would be ok. All numbers are invented and checked by hand."""

from pathlib import Path

import pytest

from tests.driving.script import Script, intent, open_intent, procedure_with

HEAD = "instruments: {gauge: {kind: length, uncertainty: at most 0.02 mm}}\n"


@pytest.mark.parametrize(
    ("limit", "value", "acceptance"),
    [
        # u is 0.01 mm, the guard band 1.65 × 0.01 = 0.0165 mm.
        ("0.10 .. 0.20 mm", "0.115 mm", "0.117 .. 0.183 mm"),  # 0.1165 and 0.1835, rounded inwards
        ("at most 0.20 mm", "0.19 mm", "at most 0.183 mm"),
        ("at least 0.0040 in", "0.115 mm", "at least 0.119 mm"),  # 0.1016 + 0.0165 = 0.1181
        ("0.10 .. 0.13 mm", "0.115 mm", "none"),  # 3 u wide: at most 87 % at its middle
    ],
)
def test_acceptance_limits_are_in_the_log(tmp_path: Path, limit: str, value: str, acceptance: str) -> None:
    record = f"x: {{ask: X, unit: mm, with: gauge, decision: guarded, limit: {limit}}}"
    script = Script(tmp_path, procedure_with(f"{{id: measure, title: Measure, record: {{{record}}}}}", head=HEAD))
    script.do_all(open_intent(), intent("start", operation="measure"), intent("record", name="x", value=value))
    (recorded,) = (line["data"] for line in script.log() if line["kind"] == "recorded")
    assert recorded["acceptance"] == acceptance
    assert recorded["verdict"] == "not-proven"
    (reply,) = script.send(intent("finish"))
    assert [reason["code"] for reason in reply["refused"]] == ["not-proven"]
    assert acceptance == "none" or acceptance in reply["refused"][0]["message"]
