"""The verdict and the distance beside each reading, as soon as it is entered. All data is invented."""

from pathlib import Path

import pytest

from benchflow.session.json_lines import open_controller
from benchflow.session.view.bench_view import ReadingInput
from tests.driving.script import Script, intent, load_text, open_intent, procedure_with, read_procedure


def entered(folder: Path, keys: str, *values: str) -> ReadingInput:
    """The value with its first readings, as the bench shows it."""
    script = Script(folder, procedure_with(f"{{id: one, title: One, record: {{gap: {{ask: Gap, {keys}}}}}}}"))
    script.do_all(open_intent(), intent("start", operation="one"))
    script.do_all(*(intent("record", name="gap", reading=n, value=value) for n, value in enumerate(values, 1)))
    controller = open_controller(load_text(script.text), "p.yaml", script.path, read_procedure, simulated=False)
    now = controller.view().now
    controller.close()
    assert now is not None
    (given,) = now.inputs
    assert isinstance(given, ReadingInput)
    return given


@pytest.mark.parametrize(
    ("keys", "value", "expected"),
    [
        ("unit: mm, limit: 0.10 .. 0.20 mm", "0.22 mm", ("high", "by 0.02 mm")),
        ("unit: mm, limit: 0.10 .. 0.20 mm", "0.07 mm", ("low", "by 0.03 mm")),
        ("unit: mm, limit: 0.10 .. 0.20 mm", "0.20 mm", ("ok", "")),
        ("unit: mm, limit: at most 0.25 mm", "0.3 mm", ("high", "by 0.05 mm")),
        ("unit: mm, limit: 0.10 .. 0.20 mm", "0.010 in", ("high", "by 0.054 mm")),
        ("unit: in, limit: at most 0.1 mm", "0.005 in", ("high", "by 0.001 in")),
        ("unit: mm, limit: 0.05 .. 0.20 mm (.002 .. .008 in)", "0.22 mm", ("high", "by 0.02 mm")),
        ("unit: mm, limit: 0.05 .. 0.20 mm (.002 .. .008 in)", "0.204 mm", ("high", "by 0.004 mm")),
        ("unit: mm, limit: 0.30 .. 0.60 mm (0.012 .. 0.024 in)", "0.65 mm", ("high", "by 0.05 mm")),
        ("unit: mm, limit: 0.30 .. 0.60 mm (0.012 .. 0.024 in)", "0.605 mm", ("ok", "")),
        ("unit: in, limit: 0.30 .. 0.60 mm (0.012 .. 0.024 in)", "0.65 mm", ("high", "by 0.0016 in")),
        ("unit: mm, limit: at most 0.008 in", "0.22 mm", ("high", "by 0.02 mm")),
        ("unit: mm, limit: 0.150 ± 0.025 mm", "0.2 mm", ("high", "by 0.025 mm")),
        ("unit: °C, limit: 12 .. 28 °C", "31 °C", ("high", "by 3 °C")),
        ("unit: mm, limit: below 0.10 mm", "0.10 mm", ("high", "")),
    ],
)
def test_distance_is_that_from_the_end_of_the_limit(
    tmp_path: Path, keys: str, value: str, expected: tuple[str, str]
) -> None:
    (reading,) = entered(tmp_path, keys, value).readings
    assert (reading.verdict, reading.distance) == expected


def test_first_of_several_readings_has_its_verdict_before_the_others_are_entered(tmp_path: Path) -> None:
    first, second = entered(tmp_path, "unit: mm, readings: 2, limit: 0.10 .. 0.20 mm", "0.25 mm").readings
    assert (first.verdict, first.distance) == ("high", "by 0.05 mm")
    assert first.gauge is not None
    assert first.gauge.value is not None
    assert second.gauge is not None
    assert (second.verdict, second.distance, second.gauge.value) == ("", "", None)


@pytest.mark.parametrize(
    ("judge", "values", "summary", "verdict"),
    [
        ("judge: mean, limit: 0.10 .. 0.20 mm", ("0.22 mm",), "mean so far 0.22 mm, HIGH by 0.02 mm", "high"),
        ("judge: mean, limit: 0.10 .. 0.20 mm", ("0.22 mm", "0.14 mm"), "mean 0.18 mm, ok", "ok"),
        ("judge: smallest, limit: at least 0.10 mm", ("0.09 mm",), "smallest so far 0.09 mm, LOW by 0.01 mm", "low"),
        ("judge: largest, limit: at most 0.20 mm", ("0.19 mm",), "largest so far 0.19 mm, ok", "ok"),
        ("judge: spread, limit: at most 0.02 mm", ("0.10 mm",), "", "none"),
        ("judge: spread, limit: at most 0.02 mm", ("0.10 mm", "0.13 mm"), "spread 0.03 mm, HIGH by 0.01 mm", "high"),
        ("limit: equal within 0.02 mm", ("0.10 mm", "0.13 mm"), "spread 0.03 mm, HIGH by 0.01 mm", "high"),
    ],
)
def test_readings_judged_together_have_their_statistic_from_the_first_one_on(
    tmp_path: Path, judge: str, values: tuple[str, ...], summary: str, verdict: str
) -> None:
    given = entered(tmp_path, f"unit: mm, readings: 2, {judge}", *values)
    assert (given.summary, given.summary_verdict) == (summary, verdict)


def test_reading_of_a_mean_has_no_verdict_of_its_own_but_its_distance(tmp_path: Path) -> None:
    first, _ = entered(tmp_path, "unit: mm, readings: 2, judge: mean, limit: 0.10 .. 0.20 mm", "0.22 mm").readings
    assert (first.verdict, first.distance) == ("none", "0.02 mm above")
