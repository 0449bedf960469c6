"""Holds: what a signature or a waiver covers, and who can give it. All data is invented."""

from pathlib import Path

import pytest

from tests.driving.script import Json, Script, intent, open_intent, procedure_with

LOOK = (
    "{id: look, title: Look, hold: {by: inspector, for: the fit%s}, undo: {do: x}, "
    "record: {gap: {ask: Gap, unit: mm}}}",
    "{id: next, title: Next, after: [look]}",
    "{id: last, title: Last, after: [next]}",
    "{id: aside, title: Aside}",
)
SIGN = intent("sign", operation="look", by="Ina")
WAIVE = intent("deviate", operation="look", about="hold", reason="he is away", by="Ina")
FINISH = intent("finish")


def looking(folder: Path, keys: str = "", shop: str = "") -> Script:
    script = Script(folder, procedure_with(LOOK[0] % keys, *LOOK[1:]), shop=shop)
    script.do_all(open_intent(), intent("start", operation="look"))
    return script


def gap(value: str = "1 mm") -> Json:
    return intent("record", name="gap", value=value)


def corrected_after_finish(script: Script, proof: Json) -> Script:
    (reading,) = script.do("record", name="gap", value="1 mm")
    script.do_all(proof, FINISH, intent("correct", event=reading["seq"], value="7 mm", reason="misread"))
    return script


@pytest.mark.parametrize("proof", [SIGN, WAIVE], ids=["signed", "waived"])
def test_correction_after_finish_opens_the_hold_again(tmp_path: Path, proof: Json) -> None:
    script = corrected_after_finish(looking(tmp_path), proof)
    assert script.refused("start", operation="next") == ["hold-unsigned"]
    assert script.refused("start", operation="last") == ["after-missing", "hold-unsigned"]
    assert "next" in script.query("status")["blocked"]
    assert "hold-unsigned" in script.refused("close", unfinished="parts are missing")
    script.do_all(intent("start", operation="aside"), FINISH, proof)
    for operation in ("next", "last"):
        script.do_all(intent("start", operation=operation), FINISH)
    assert script.send(proof)[0]["refused"][0]["code"] == "already-done"
    script.do("close")


def test_close_says_whose_signature_no_longer_counts(tmp_path: Path) -> None:
    script = corrected_after_finish(looking(tmp_path), SIGN)
    (reply,) = script.send(intent("close", unfinished="parts are missing"))
    (message,) = [each["message"] for each in reply["refused"]]
    assert message == (
        "Hold of “Look”: inspector must sign for the fit. "
        "The signature of Ina no longer counts, because something was entered after it."
    )


def test_rework_closes_a_hold_that_was_opened_again(tmp_path: Path) -> None:
    script = corrected_after_finish(looking(tmp_path), SIGN)
    script.do("rework", operation="look", reason="it leaks")
    assert script.refused("start", operation="next") == ["after-missing"]
    script.do_all(intent("start", operation="look"), gap(), SIGN, FINISH, intent("start", operation="next"))


@pytest.mark.parametrize("before_start", [True, False])
def test_waiver_of_a_hold_covers_nothing_that_is_entered_later(tmp_path: Path, before_start: bool) -> None:
    script = Script(tmp_path, procedure_with(LOOK[0] % "", *LOOK[1:]))
    start = intent("start", operation="look")
    script.do_all(open_intent(), *((WAIVE, start) if before_start else (start, WAIVE)), gap())
    (reply,) = script.send(FINISH)
    (reason,) = reply["refused"]
    assert reason["code"] == "hold-unsigned"
    assert reason["message"].endswith("The waiver by Ina no longer counts, because something was entered after it.")
    script.do_all(WAIVE, FINISH)


def test_waiver_of_a_hold_covers_what_was_entered_before(tmp_path: Path) -> None:
    script = looking(tmp_path)
    script.do_all(gap(), WAIVE, intent("pause"), intent("start", operation="look"), FINISH)


SHOP = (
    "shop: 1\npeople:\n  Robin: {roles: [builder]}\n  Ina: {roles: [inspector]}\n"
    "  Both: {roles: [inspector, builder]}\n"
)


@pytest.mark.parametrize(
    ("keys", "allowed"),
    [("", {"Ina", "Both"}), (", waive: anyone", {"Ina", "Both"}), (", waive: builder", {"Both"})],
)
def test_waiver_of_a_hold_needs_the_role_that_signs_it(tmp_path: Path, keys: str, allowed: set[str]) -> None:
    for name in ("Robin", "Ina", "Both"):
        (folder := tmp_path / name).mkdir()
        script = looking(folder, keys, SHOP)
        script.do_all(gap())
        (reply,) = script.send({**WAIVE, "by": name})
        assert reply["ok"] == (name in allowed), reply
