"""Limits with strict edges, nominals and two printed columns, entered in a session."""

from pathlib import Path

import pytest

from tests.driving.script import Script, intent, open_intent, procedure_with


def measuring(folder: Path, record: str) -> Script:
    script = Script(folder, procedure_with(f"{{id: measure, title: Measure, record: {{{record}}}}}"))
    script.do_all(open_intent(), intent("start", operation="measure"))
    return script


CASES = [
    ("mm", "0.13 .. 0.20 mm (0.005 .. 0.008 in)", ["0.13 mm", "0.005 in", "0.008 in"], ["0.126 mm", "0.21 mm"]),
    ("in", "0.006 in (0.15 mm)", ["0.0055 in", "0.0065 in", "0.15 mm"], ["0.00651 in", "0.00549 in", "0.166 mm"]),
    ("mm", "0.006 in (0.15 mm)", ["0.0055 in", "0.0065 in", "0.15 mm"], ["0.00651 in", "0.00549 in", "0.166 mm"]),
    ("°C", "below 40 °C", ["39.9 °C", "103.9 °F"], ["40 °C", "104 °F", "41 °C"]),
    ("mm", "above 0.5 mm", ["0.51 mm"], ["0.5 mm", "0.49 mm"]),
    ("N·m", "40 ± 4 N·m (30 ± 3 ft-lb)", ["36 N·m", "44 N·m", "33 ft-lb"], ["35.9 N·m", "33.1 ft-lb"]),
    ("N·m", "at most 40 N·m (about 30 ft-lb)", ["40 N·m"], ["30 ft-lb"]),
    ("count", "3", ["3"], ["4", "2"]),
]  # fmt: skip


@pytest.mark.parametrize(("unit", "limit", "within", "out"), CASES)
def test_reading_is_judged_by_the_limit_as_printed(
    tmp_path: Path, unit: str, limit: str, within: list[str], out: list[str]
) -> None:
    script = measuring(tmp_path, f"x: {{ask: X, unit: {unit}, limit: '{limit}'}}")
    for value in out:
        script.do_all(intent("record", name="x", value=value))
        assert "out-of-limit" in script.refused("finish"), value
    for value in within:
        (event,) = script.do("record", name="x", value=value)
        assert event["data"]["verdict"] == "ok", event
    script.do_all(intent("finish"))
