"""A deviation from a time window is about the time that runs when it is signed."""

from pathlib import Path

import pytest

from tests.driving.script import Script, intent, procedure_with
from tests.driving.script import open_intent as opening

DAY = "2026-03-01T"
FIT = "{id: a, title: Fit A, undo: {do: Take it off}}"
SEAL = "{id: b, title: Seal, time: {a: at most 10 min}, undo: {do: Take it off}}"


def at(time: str) -> str:
    return f"{DAY}{time}:00Z"


def script_of(folder: Path, *operations: str) -> Script:
    script = Script(folder, procedure_with(*operations), simulated=True)
    script.do_all(opening(at=at("06:00")))
    return script


def do_first(script: Script, start: str, finish: str) -> None:
    script.do_all(intent("start", operation="a", at=at(start)), intent("finish", at=at(finish)))


def deviate(time: str, about: str = "a") -> dict[str, object]:
    return intent("deviate", operation="b", about=about, reason="tacky", by="Kim", at=at(time))


@pytest.mark.parametrize("about", ["a", "time"])
@pytest.mark.parametrize("signed", ["06:04", "06:20"])
def test_deviation_does_not_outlive_a_redo_of_what_the_window_counts_from(
    tmp_path: Path, about: str, signed: str
) -> None:
    script = script_of(tmp_path, FIT, SEAL)
    do_first(script, "06:01", "06:02")
    script.do_all(deviate(signed, about), intent("rework", operation="a", reason="dirt", at=at("06:21")))
    do_first(script, "06:22", "06:23")
    (reply,) = script.send(intent("start", operation="b", at=at("16:00")))
    (reason,) = reply["refused"]
    assert reason["code"] == "too-late"
    assert "The deviation signed by Kim was for an earlier time" in reason["message"]
    script.do_all(deviate("16:01", about), intent("start", operation="b", at=at("16:02")))
    script.do("finish", at=at("16:03"))


def test_deviation_covers_the_window_that_it_was_signed_for(tmp_path: Path) -> None:
    script = script_of(tmp_path, FIT, SEAL)
    do_first(script, "06:01", "06:02")
    script.do_all(deviate("06:20"), intent("start", operation="b", at=at("06:21")), intent("finish", at=at("09:00")))


def test_window_that_does_not_run_has_nothing_to_deviate_from(tmp_path: Path) -> None:
    script = script_of(tmp_path, FIT, SEAL)
    (reply,) = script.send(deviate("06:01"))
    (reason,) = reply["refused"]
    assert reason["code"] == "value-missing"
    assert "Do “Fit A” first" in reason["message"]


def test_window_that_nobody_can_waive_is_refused_as_such_before_it_runs(tmp_path: Path) -> None:
    script = script_of(tmp_path, FIT, SEAL.replace("at most 10 min", "{limit: at most 10 min, waive: never}"))
    (reply,) = script.send(deviate("06:01"))
    assert [reason["code"] for reason in reply["refused"]] == ["not-allowed"]


def test_window_from_a_reading_starts_again_when_it_is_read_again(tmp_path: Path) -> None:
    script = script_of(
        tmp_path,
        "{id: a, title: Fit A, record: {t: {ask: T, unit: mm}}, undo: {do: x}}",
        "{id: b, title: Seal, time: {a: {limit: at most 10 min, from: t}}}",
    )
    for read, finish in (("06:01", "06:02"), ("06:41", "06:42")):
        script.do_all(
            intent("start", operation="a", at=at(read)),
            intent("record", name="t", value="1 mm", at=at(read)),
            intent("finish", at=at(finish)),
        )
        if read == "06:01":
            script.do_all(deviate("06:30"), intent("rework", operation="a", reason="dirt", at=at("06:40")))
    assert script.refused("start", operation="b", at=at("07:00")) == ["too-late"]
