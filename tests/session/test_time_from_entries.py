"""Time windows that count from an entry (`from`), end with an entry (`until`), or have closed."""

from pathlib import Path
from typing import Any

import pytest

from benchflow.procedure.reader import read
from benchflow.session.context import Context
from benchflow.session.json_lines import open_controller
from benchflow.session.shop.live_register import Register
from benchflow.session.state.clock import Now
from benchflow.session.view.clock_rows import clock_rows
from tests.driving.script import Script, intent, load_text, open_intent, procedure_with, read_procedure


def at(minute: float) -> str:
    return f"2026-03-01T{6 + int(minute) // 60:02}:{int(minute) % 60:02}:{round(minute % 1 * 60):02}Z"


class Clocked(Script):
    """A simulated session. Each intent has the minute at which it is sent."""

    def at(self, minute: float, kind: str, **fields: Any) -> None:
        self.do(kind, at=at(minute), **fields)

    def refused_at(self, minute: float, kind: str, **fields: Any) -> list[str]:
        return self.refused(kind, at=at(minute), **fields)

    def refusal_at(self, minute: float, kind: str, **fields: Any) -> str:
        (reply,) = self.send(intent(kind, at=at(minute), **fields))
        return " ".join(reason["message"] for reason in reply["refused"])


def clocked(folder: Path, *operations: str) -> Clocked:
    script = Clocked(folder, procedure_with(*operations), simulated=True)
    script.at(0, "open", **{k: v for k, v in open_intent().items() if k != "intent"})
    return script


SEAL = "{id: seal, title: Seal, undo: {do: Wipe it off}}"


def sealed(folder: Path, lower: str) -> Clocked:
    """The sealant is on since minute 2."""
    script = clocked(folder, SEAL, lower)
    script.at(1, "start", operation="seal")
    script.at(2, "finish")
    return script


# --- ends that are not included ---------------------------------------------------------------------


@pytest.mark.parametrize("window", ["below 10 min", "{limit: below 10 min}"])
def test_end_of_below_is_too_late(tmp_path: Path, window: str) -> None:
    script = sealed(tmp_path, f"{{id: lower, title: Lower, time: {{seal: {window}}}}}")
    assert script.refused_at(12, "start", operation="lower") == ["too-late"]
    script.at(11.5, "start", operation="lower")


@pytest.mark.parametrize("window", ["above 10 min", "{limit: above 10 min}"])
def test_end_of_above_is_too_early(tmp_path: Path, window: str) -> None:
    script = sealed(tmp_path, f"{{id: lower, title: Lower, time: {{seal: {window}}}}}")
    assert script.refused_at(12, "start", operation="lower") == ["too-early"]
    script.at(12.5, "start", operation="lower")


def test_ends_of_at_least_and_at_most_are_in_the_window(tmp_path: Path) -> None:
    script = sealed(tmp_path, "{id: lower, title: Lower, time: {seal: 10 .. 10 min}}")
    script.at(12, "start", operation="lower")


# --- a closed window --------------------------------------------------------------------------------


def test_closed_window_refuses_the_start_and_says_what_to_do(tmp_path: Path) -> None:
    script = sealed(tmp_path, "{id: lower, title: Lower, time: {seal: at most 10 min}}")
    assert script.refused_at(13, "start", operation="lower") == ["too-late"]
    assert "Redo step 1, or sign a deviation." in script.refusal_at(13, "start", operation="lower")
    script.at(13, "deviate", operation="lower", about="time", reason="still tacky")
    script.at(13, "start", operation="lower")
    script.at(20, "finish")


def test_window_that_is_about_to_close_lets_start(tmp_path: Path) -> None:
    script = sealed(tmp_path, "{id: lower, title: Lower, time: {seal: at most 10 min}}")
    script.at(12, "start", operation="lower")
    assert script.refused_at(13, "finish") == ["too-late"]


def test_paused_operation_whose_window_closed_is_not_continued(tmp_path: Path) -> None:
    script = sealed(tmp_path, "{id: lower, title: Lower, time: {seal: at most 10 min}}")
    script.at(5, "start", operation="lower")
    script.at(6, "pause")
    assert script.refused_at(13, "start", operation="lower") == ["too-late"]


def test_doing_the_earlier_operation_again_opens_the_window_again(tmp_path: Path) -> None:
    script = sealed(tmp_path, "{id: lower, title: Lower, time: {seal: at most 10 min}}")
    script.at(13, "rework", operation="seal", reason="skinned over")
    script.at(14, "start", operation="seal")
    script.at(15, "finish")
    script.at(16, "start", operation="lower")


@pytest.mark.parametrize(
    ("waive", "undo", "advice"),
    [
        ("", ", undo: {do: Wipe it off}", "Redo step 1, or sign a deviation."),
        (", waive: never", ", undo: {do: Wipe it off}", "Redo step 1."),
        (", waive: lead", ", undo: {do: Wipe it off}", "Redo step 1, or have a deviation signed (role: lead)."),
        ("", "", "Sign a deviation."),
        (", waive: never", "", "Nobody can waive it, and the procedure does not say how to undo step 1."),
    ],
)
def test_advice_about_a_closed_window_is_possible(tmp_path: Path, waive: str, undo: str, advice: str) -> None:
    lower = f"{{id: lower, title: Lower, time: {{seal: {{limit: at most 10 min{waive}}}}}}}"
    script = clocked(tmp_path, f"{{id: seal, title: Seal{undo}}}", lower)
    script.at(1, "start", operation="seal")
    script.at(2, "finish")
    assert script.refusal_at(13, "start", operation="lower").endswith(advice)


# --- from -------------------------------------------------------------------------------------------

HEAT = (
    "{id: heat, title: Heat, record: {casing-temp: {ask: T, unit: °C, limit: at least 120 °C}}, "
    "check: [{see: The burner is out, id: burner-out}]}"
)


def heated(folder: Path, fit: str) -> Clocked:
    """The casing is hot at minute 10; the operation is finished at minute 20."""
    script = clocked(folder, HEAT, fit)
    script.at(1, "start", operation="heat")
    script.at(5, "record", name="casing-temp", value="90 °C")
    script.at(10, "record", name="casing-temp", value="125 °C")
    script.at(15, "tick-check", check="burner-out")
    script.at(20, "finish")
    return script


def test_window_counts_from_the_last_entry_of_a_value(tmp_path: Path) -> None:
    script = heated(tmp_path, "{id: fit, title: Fit, time: {heat: {limit: at most 12 min, from: casing-temp}}}")
    script.at(22, "start", operation="fit")
    assert script.refused_at(23, "finish") == ["too-late"]
    assert "too late after casing-temp of “Heat”" in script.refusal_at(23, "finish")


def test_window_counts_from_a_check(tmp_path: Path) -> None:
    script = heated(tmp_path, "{id: fit, title: Fit, time: {heat: {limit: 30 min .. 40 min, from: burner-out}}}")
    assert script.refused_at(44, "start", operation="fit") == ["too-early"]
    script.at(45, "start", operation="fit")
    script.at(55, "finish")


def test_correction_of_the_entry_does_not_start_the_clock_again(tmp_path: Path) -> None:
    script = heated(tmp_path, "{id: fit, title: Fit, time: {heat: {limit: at most 12 min, from: casing-temp}}}")
    seq = [line["seq"] for line in script.log() if line["kind"] == "recorded"][-1]
    script.at(21, "correct", event=seq, value="126 °C", reason="misread")
    assert script.refused_at(23, "start", operation="fit") == ["too-late"]


# --- until ------------------------------------------------------------------------------------------

FIT = (
    "{id: fit, title: Fit, check: [{see: The ring is seated, id: seated}, The ring is straight], "
    "time: {heat: {limit: at most 12 min, from: casing-temp, until: seated}}}"
)


def test_upper_end_is_judged_when_the_check_is_ticked(tmp_path: Path) -> None:
    script = heated(tmp_path, FIT)
    script.at(21, "start", operation="fit")
    script.at(22, "tick-check", check="seated")
    script.at(50, "tick-check", check=2)
    script.at(51, "finish")


def test_check_that_is_ticked_too_late_is_refused(tmp_path: Path) -> None:
    script = heated(tmp_path, FIT)
    script.at(21, "start", operation="fit")
    assert script.refused_at(23, "tick-check", check=1) == ["too-late"]
    script.at(23, "tick-check", check=2)
    assert sorted(script.refused_at(23, "finish")) == ["check-open", "too-late"]
    script.at(24, "deviate", operation="fit", about="heat", reason="it went in by hand")
    script.at(24, "tick-check", check=1)
    script.at(24, "finish")


def test_check_cleared_and_ticked_again_too_late_is_refused(tmp_path: Path) -> None:
    script = heated(tmp_path, FIT)
    script.at(21, "start", operation="fit")
    script.at(22, "tick-check", check="seated")
    script.at(25, "tick-check", check="seated", undo=True)
    assert script.refused_at(26, "tick-check", check="seated") == ["too-late"]


def test_upper_end_is_judged_when_the_value_is_recorded(tmp_path: Path) -> None:
    fit = (
        "{id: fit, title: Fit, record: {depth: {ask: Depth, unit: mm}}, "
        "time: {heat: {limit: at most 3 min, until: depth}}}"
    )
    script = heated(tmp_path, fit)
    script.at(21, "start", operation="fit")
    assert script.refused_at(23.5, "record", name="depth", value="3 mm") == ["too-late"]
    script.at(23, "record", name="depth", value="3 mm")
    assert script.refused_at(40, "record", name="depth", value="4 mm") == ["too-late"]
    script.at(40, "finish")


def test_paused_operation_goes_on_after_the_entry_that_ended_its_window(tmp_path: Path) -> None:
    script = heated(tmp_path, FIT)
    script.at(21, "start", operation="fit")
    script.at(22, "tick-check", check="seated")
    script.at(23, "pause")
    script.at(60, "start", operation="fit")


def test_clock_names_the_entry_that_its_window_waits_for(tmp_path: Path) -> None:
    script = heated(tmp_path, FIT)
    script.at(21, "start", operation="fit")
    controller = open_controller(
        load_text(script.text), "p.yaml", script.path, read_procedure, simulated=True, register=Register(script.shop)
    )
    try:
        assert controller.state is not None
        (row,) = clock_rows(controller.state, Context(Now(at(21))))
    finally:
        controller.close()
    assert (row.since, row.advice) == ("Heat (casing-temp)", "Enter seated of step 2 (Fit) within 1:00 min.")


def test_names_that_are_not_entries_are_reported() -> None:
    text = procedure_with(HEAT, "{id: fit, title: Fit, time: {heat: {limit: at least 1 min, from: x, until: y}}}")
    found = {(problem.code, problem.message) for problem in read(text).problems}
    assert ("unknown-name", "`heat` has no recorded value and no check with the id `x`") in found
    assert ("unknown-name", "`fit` has no recorded value and no check with the id `y`") in found
    assert any(code == "until-without-limit" for code, _ in found)
