"""Time windows in a simulated session, where each intent has its time."""

from pathlib import Path

import pytest

from tests.driving.script import Script, intent, open_intent, procedure_with

BEAD = "{id: bead, title: Bead, undo: {do: Wipe it off}}"


def at(clock: str) -> str:
    return f"2026-03-01T{clock}Z"


def start_simulated_job(folder: Path, *written: str) -> Script:
    script = Script(folder, procedure_with(BEAD, *written), simulated=True)
    script.do_all(
        open_intent(at=at("08:00:00")),
        intent("start", operation="bead", at=at("08:00:00")),
        intent("finish", operation="bead", at=at("08:10:00")),
    )
    return script


@pytest.mark.parametrize(
    ("window", "start", "finish", "codes"),
    [
        ("at most 10 min", "08:11:00", "08:20:00", []),
        ("at most 10 min", "08:11:00", "08:20:01", ["too-late"]),
        ("at most 10 min", "08:20:01", "", ["too-late"]),
        ("at least 30 min", "08:40:00", "08:40:00", []),
        ("at least 30 min", "08:39:59", "", ["too-early"]),
        ("30 min .. 4 h", "08:39:59", "", ["too-early"]),
        ("30 min .. 4 h", "08:40:00", "12:10:00", []),
        ("30 min .. 4 h", "08:40:00", "12:10:01", ["too-late"]),
        ("1 h .. 1 d", "09:10:00", "23:59:59", []),
    ],
)
def test_lower_limit_blocks_the_start_and_upper_limit_the_start_and_the_finish(
    tmp_path: Path, window: str, start: str, finish: str, codes: list[str]
) -> None:
    script = start_simulated_job(tmp_path, f"{{id: head, title: Head, time: {{bead: {window}}}}}")
    if not finish:
        assert script.refused("start", operation="head", at=at(start)) == codes
        return
    script.do("start", operation="head", at=at(start))
    if codes:
        assert script.refused("finish", operation="head", at=at(finish)) == codes
    else:
        script.do("finish", operation="head", at=at(finish))


def test_time_window_implies_after(tmp_path: Path) -> None:
    script = Script(
        tmp_path, procedure_with(BEAD, "{id: head, title: Head, time: {bead: at most 10 min}}"), simulated=True
    )
    script.do_all(open_intent(at=at("08:00:00")))
    assert script.refused("start", operation="head", at=at("08:01:00")) == ["after-missing"]


def test_time_window_counts_from_the_last_finish(tmp_path: Path) -> None:
    script = start_simulated_job(
        tmp_path, "{id: head, title: Head, time: {bead: at most 10 min}, undo: {do: Lift it off}}"
    )
    script.do("start", operation="head", at=at("08:20:00"))
    assert script.refused("finish", at=at("08:31:00")) == ["too-late"]
    script.do_all(
        intent("pause", at=at("08:31:00")),
        intent("rework", operation="bead", reason="skinned over", at=at("08:32:00")),
        intent("start", operation="bead", at=at("08:33:00")),
        intent("finish", operation="bead", at=at("08:34:00")),
        intent("start", operation="head", at=at("08:35:00")),
        intent("finish", operation="head", at=at("08:44:00")),
    )


@pytest.mark.parametrize("about", ["time", "bead", "too-late", "time window", "window"])
def test_deviation_waives_a_time_window_by_any_of_its_names(tmp_path: Path, about: str) -> None:
    script = start_simulated_job(tmp_path, "{id: head, title: Head, time: {bead: at most 10 min}}")
    script.do("start", operation="head", at=at("08:20:00"))
    assert script.refused("finish", at=at("08:31:00")) == ["too-late"]
    script.do("deviate", operation="head", about=about, reason="still tacky", by="Kim", at=at("08:31:00"))
    script.do("finish", at=at("08:31:00"))


def test_deviation_waives_a_wait_before_the_start(tmp_path: Path) -> None:
    script = start_simulated_job(tmp_path, "{id: head, title: Head, time: {bead: at least 30 min}}")
    assert script.refused("start", operation="head", at=at("08:12:00")) == ["too-early"]
    script.do("deviate", operation="head", about="too-early", reason="warm day", by="Kim", at=at("08:12:00"))
    script.do("start", operation="head", at=at("08:12:00"))


def test_every_open_time_window_is_named_in_the_refusal(tmp_path: Path) -> None:
    script = start_simulated_job(
        tmp_path,
        "{id: primer, title: Primer, after: [bead]}",
        "{id: head, title: Head, time: {bead: at most 10 min, primer: 5 min .. 8 min}}",
    )
    script.do_all(
        intent("start", operation="primer", at=at("08:11:00")),
        intent("finish", operation="primer", at=at("08:12:00")),
    )
    assert script.refused("start", operation="head", at=at("08:16:00")) == ["too-early"]
    script.do("start", operation="head", at=at("08:17:00"))
    assert script.refused("finish", at=at("08:21:00")) == ["too-late", "too-late"]
    script.do("deviate", operation="head", about="bead", reason="still wet", by="Kim", at=at("08:21:00"))
    assert script.refused("finish", at=at("08:21:00")) == ["too-late"]  # the window without a deviation
    script.do("finish", at=at("08:20:00"))


def test_time_window_counts_from_each_place_of_a_repeated_operation(tmp_path: Path) -> None:
    text = procedure_with(
        "{id: bead, title: 'Bead {side}', each: side}",
        "{id: head, title: Head, time: {bead: at most 10 min}}",
        head="places: {side: [left, right]}\n",
    )
    script = Script(tmp_path, text, simulated=True)
    script.do_all(
        open_intent(at=at("08:00:00")),
        intent("start", operation="bead[left]", at=at("08:00:00")), intent("finish", at=at("08:01:00")),
    )  # fmt: skip
    assert script.refused("start", operation="head", at=at("08:02:00")) == ["after-missing"]
    script.do_all(
        intent("start", operation="bead[right]", at=at("08:03:00")), intent("finish", at=at("08:05:00")),
        intent("start", operation="head", at=at("08:06:00")),
    )  # fmt: skip
    assert script.refused("finish", at=at("08:12:00")) == ["too-late"]
    script.do("finish", at=at("08:11:00"))


def test_simulated_session_requires_a_valid_time_in_each_intent(tmp_path: Path) -> None:
    script = start_simulated_job(tmp_path, "{id: head, title: Head, time: {bead: at most 10 min}}")
    assert script.refused("start", operation="head") == ["value-missing"]
    assert script.refused("start", operation="head", at="noon") == ["bad-intent"]
    assert script.refused("start", operation="head", at=1772352000) == ["bad-intent"]
    assert script.query("status")["done"] == ["bead"]  # a query needs no time
    script.do("start", operation="head", at="2026-03-01T09:15:00+01:00")
    script.do("finish", at="2026-03-01t08:20:00z")


def test_session_that_is_not_simulated_refuses_a_time(tmp_path: Path) -> None:
    script = Script(tmp_path, procedure_with(BEAD))
    script.do_all(open_intent())
    assert script.refused("start", operation="bead", at=at("08:00:00")) == ["not-allowed"]


def test_clock_set_back_does_not_open_a_time_window(tmp_path: Path) -> None:
    script = start_simulated_job(tmp_path, "{id: head, title: Head, time: {bead: 30 min .. 4 h}}")
    assert script.refused("start", operation="head", at=at("07:00:00")) == ["too-early", "too-late"]
