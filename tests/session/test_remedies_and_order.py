"""What a remedy takes back: operations that depend on the named one, temporary settings, other builds."""

from pathlib import Path

import pytest

from tests.driving.script import Json, Script, intent, open_intent, procedure_with

LOW = "record: {v: {ask: V, unit: mm, limit: 1 .. 2 mm, below: [{do: again, redo: [a]}]}}"


def opened(folder: Path, *operations: str, head: str = "") -> Script:
    script = Script(folder, procedure_with(*operations, head=head))
    script.do_all(open_intent())
    return script


def through(*names: str) -> list[Json]:
    return [each for name in names for each in (intent("start", operation=name), intent("finish"))]


@pytest.mark.parametrize("undo", ["", "undo: {do: x}, "])
@pytest.mark.parametrize(
    "between",
    [
        "{id: m, title: M, UNDOafter: [a]}",
        "{id: m, title: M, UNDOtemporary: {restored-by: z}}",
    ],
)
def test_remedy_takes_back_only_what_can_be_undone(tmp_path: Path, between: str, undo: str) -> None:
    script = opened(
        tmp_path,
        "{id: a, title: A, undo: {do: x}}",
        between.replace("UNDO", undo),
        f"{{id: b, title: B, after: [m], {LOW}}}",
        "{id: z, title: Z, after: [b]}",
    )
    script.do_all(*through("a", "m"), intent("start", operation="b"), intent("record", name="v", value="0.5 mm"))
    if undo:
        (event,) = script.do("remedy", name="v")
        assert event["data"]["redo"] == ["a", "m"]
        return
    (reply,) = script.send(intent("remedy", name="v"))
    (reason,) = reply["refused"]
    assert (reason["code"], reason["operation"]) == ("not-allowed", "m")
    assert "also undoes “M”" in reason["message"]


@pytest.mark.parametrize("finished", [False, True])
def test_job_is_not_closed_with_a_temporary_setting_that_may_be_made(tmp_path: Path, finished: bool) -> None:
    by = "m" if finished else "z"
    script = opened(tmp_path, f"{{id: m, title: M, temporary: {{restored-by: {by}}}}}", "{id: z, title: Z, after: [m]}")
    script.do_all(intent("start", operation="m"), intent("finish" if finished else "pause"))
    assert script.refused("close", unfinished="out of time") == ["temporary-left"]
