"""Remedies of a check: after the answer no, yes counts only after the remedy in turn. All data is invented."""

from datetime import UTC
from pathlib import Path

import pytest

from benchflow.commands.check import check_file
from benchflow.review.evidence.assessment import review_everything
from benchflow.review.log.loaded_log import load_log
from benchflow.session.history.history import history_text, plan_from_log
from benchflow.session.log.line_format import read
from tests.driving.script import Json, Script, intent, open_intent, procedure_with
from tests.driving.session_driver import read_procedure

REMEDIES = "[{do: Turn the shaft half a turn, tries: 2}, {do: Replace the rocker, stop: true}]"


def feeling(folder: Path, remedies: str = REMEDIES, *, keys: str = "", before: str = "", **opened: object) -> Script:
    check = f"check: [{{see: Both rockers are loose, id: loose, if not: {remedies}}}, clean]"
    one = f"{{id: one, title: One, {check}{keys}}}"
    shop = str(opened.pop("shop", ""))
    script = Script(folder, procedure_with(*([before] if before else []), one), shop=shop)
    script.do_all(open_intent(**opened))
    if before:
        script.do_all(intent("start", operation="fit"), intent("finish"))
    script.do_all(intent("start", operation="one"))
    return script


def answer(word: str, check: int | str = "loose") -> Json:
    return intent("tick-check", check=check, answer=word)


REMEDY = intent("remedy", name="loose")
FINISH_OPEN = ["check-open"]


def test_yes_counts_only_after_the_remedy(tmp_path: Path) -> None:
    script = feeling(tmp_path)
    script.do_all(answer("no"), answer("yes", 2))
    (reply,) = script.send(answer("yes"))
    assert [reason["code"] for reason in reply["refused"]] == ["remedy-first"]
    assert "carry out the remedy first. Turn the shaft half a turn (try 1 of 2)" in reply["refused"][0]["message"]
    assert script.refused("finish") == ["check-failed", "remedy-first"]
    (event,) = script.do("remedy", name="loose")
    assert (event["kind"], event["data"]["check"], event["data"]["verdict"]) == ("remedied", 1, "no")
    assert script.refused("finish") == FINISH_OPEN
    script.do_all(answer("yes"), intent("finish"))


def test_answer_that_waits_for_its_remedy_is_not_cleared(tmp_path: Path) -> None:
    script = feeling(tmp_path)
    script.do_all(answer("no"))
    assert script.refused("tick-check", check=1, undo=True) == ["remedy-first"]
    assert script.refused("tick-check", check=1, answer="no") == ["already-done"]


@pytest.mark.parametrize("remedies", [REMEDIES, "[{do: Turn the shaft, tries: 2}]"])
def test_stop_and_the_end_of_the_tries_are_final(tmp_path: Path, remedies: str) -> None:
    script = feeling(tmp_path, remedies)
    script.do_all(answer("no"), REMEDY, answer("no"), REMEDY, answer("no"), answer("yes", 2))
    assert script.refused("tick-check", check="loose") == ["check-failed"]
    assert script.refused("tick-check", check="loose", undo=True) == ["check-failed"]
    assert script.refused("remedy", name="loose") == ["not-allowed"]
    assert script.refused("finish") == ["check-failed"]
    script.do_all(intent("deviate", operation="one", about="loose", reason="agreed", by="Kim"), intent("finish"))


def test_answer_no_is_evidence_in_the_review(tmp_path: Path) -> None:
    script = feeling(tmp_path, "[{do: Turn the shaft, tries: 2}]")
    script.do_all(answer("no"), answer("no", 2))
    for about in ("loose", "check 2"):
        script.do_all(intent("deviate", operation="one", about=about, reason="agreed", by="Kim"))
    script.do_all(intent("finish"))
    (guard,) = review_everything(load_log(script.path, read_procedure)).guards
    assert {reason.kind for reason in guard.reasons} == {"check-no", "deviation"}


def test_rework_gets_past_the_end(tmp_path: Path) -> None:
    script = feeling(tmp_path, "[{do: Replace it, stop: true}]", keys=", undo: {do: Off}")
    script.do_all(answer("no"), intent("rework", operation="one", reason="another rocker"))
    script.do_all(intent("start", operation="one"), answer("yes"), answer("yes", 2), intent("finish"))


@pytest.mark.parametrize("name", ["loose", "Both rockers are loose", "1", 1, "check 1"])
def test_remedy_names_a_check(tmp_path: Path, name: str | int) -> None:
    script = feeling(tmp_path)
    script.do_all(answer("no"), intent("remedy", name=name, operation="one"))


def test_remedy_of_a_check_that_needs_none_is_refused(tmp_path: Path) -> None:
    script = feeling(tmp_path)
    assert script.refused("remedy", name="loose") == ["not-allowed"]
    script.do_all(answer("no", 2))
    assert script.refused("remedy", name="clean") == ["not-allowed"]
    assert script.refused("remedy", name="loosse") == ["unknown-name"]
    assert script.refused("remedy", name="3") == ["unknown-name"]
    script.do_all(answer("yes", 2), answer("no"))
    assert script.refused("remedy", name="loose", fastener=1) == ["not-allowed"]
    script.do_all(intent("deviate", operation="one", about="loose", reason="agreed", by="Kim"))
    assert script.refused("remedy", name="loose") == ["not-allowed"]
    script.do("finish")


def test_yes_before_a_no_does_not_count(tmp_path: Path) -> None:
    script = feeling(tmp_path)
    script.do_all(answer("yes"), answer("no"))
    assert script.refused("tick-check", check=1) == ["remedy-first"]


def test_correction_of_a_wrong_no_gets_past_the_remedy(tmp_path: Path) -> None:
    script = feeling(tmp_path)
    (event,) = script.do("tick-check", check=1, answer="no")
    assert script.refused("correct", event=event["seq"], value="no", reason="typed wrong") == ["unknown-name"]
    script.do_all(intent("correct", event=event["seq"], value="yes", reason="wrong key"), answer("yes", 2))
    script.do("finish")
    assert script.refused("correct", event=event["seq"], value="yes", reason="wrong key") == ["not-allowed"]


SHOP = "shop: 1\npeople: {Ann: {roles: [builder]}, Ida: {roles: [inspector]}}\n"


def test_correction_past_a_remedy_needs_the_signature_of_a_deviation(tmp_path: Path) -> None:
    script = feeling(tmp_path, keys=", waive: inspector", shop=SHOP, by="Ann")
    (event,) = script.do("tick-check", check=1, answer="no")
    correction = {"event": event["seq"], "value": "yes", "reason": "wrong key"}
    assert script.refused("correct", by="Ann", **correction) == ["not-allowed"]
    (event,) = script.do("correct", by="Ida", **correction)
    assert event["data"]["role"] == "inspector"


def test_correction_does_not_get_past_a_remedy_that_nobody_can_waive(tmp_path: Path) -> None:
    script = feeling(tmp_path, keys=", waive: never")
    (event,) = script.do("tick-check", check=1, answer="no")
    assert script.refused("correct", event=event["seq"], value="yes", reason="wrong key") == ["not-allowed"]
    assert script.refused("deviate", operation="one", about="loose", reason="so be it", by="Kim") == ["not-allowed"]


FIT = "{id: fit, title: Fit it, undo: {do: Take it off}}"
REDO = "[{do: Fit it anew, redo: [fit]}]"


def test_redo_takes_the_operation_back_and_the_count_stays(tmp_path: Path) -> None:
    script = feeling(tmp_path, REDO, before=FIT, keys=", after: [fit]")
    script.do_all(answer("yes", 2), answer("no"))
    (event,) = script.do("remedy", name="loose")
    assert event["data"]["redo"] == ["fit"]
    assert script.query("status")["in_progress"] is None
    script.do_all(intent("start", operation="fit"), intent("finish"), intent("start", operation="one"))
    assert script.refused("finish") == FINISH_OPEN
    script.do_all(answer("no"))
    assert script.refused("remedy", name="loose") == ["not-allowed"]


def test_redo_of_the_operation_itself_clears_it(tmp_path: Path) -> None:
    script = feeling(tmp_path, "[{do: Begin again, redo: [one]}]")
    script.do_all(answer("yes", 2), answer("no"), REMEDY)
    assert script.refused("finish") == ["check-open", "check-open"]


def test_redo_does_not_clear_a_stop_of_something_else(tmp_path: Path) -> None:
    value = ", record: {gap: {ask: Gap, unit: mm, limit: at most 1 mm, above: [{do: Scrap it, stop: true}]}}"
    script = feeling(tmp_path, "[{do: Begin again, redo: [one]}]", keys=value)
    script.do_all(answer("no"), intent("record", name="gap", value="2 mm"))
    assert script.refused("remedy", name="loose") == ["not-allowed"]


def test_remedy_of_a_value_does_not_clear_the_stop_of_a_check(tmp_path: Path) -> None:
    value = ", record: {gap: {ask: Gap, unit: mm, limit: at most 1 mm, above: [{do: Begin again, redo: [one]}]}}"
    script = feeling(tmp_path, "[{do: Scrap it, stop: true}]", keys=value)
    script.do_all(answer("no"), intent("record", name="gap", value="2 mm"))
    assert script.refused("remedy", name="gap") == ["not-allowed"]


def test_fresh_part_sets_the_count_back(tmp_path: Path) -> None:
    script = feeling(tmp_path, "[{do: Fit another rocker, fresh: true}]")
    for _ in range(3):
        script.do_all(answer("no"), REMEDY)
    script.do_all(answer("yes"), answer("yes", 2), intent("finish"))


def test_remedy_at_a_place_of_a_repeated_operation(tmp_path: Path) -> None:
    check = "check: [{see: 'Rocker {cylinder} is loose', id: loose, if not: [{do: 'Turn {cylinder}'}]}]"
    text = procedure_with(f"{{id: one, title: One, each: cylinder, {check}}}", head="places: {cylinder: ['1', '2']}\n")
    script = Script(tmp_path, text)
    script.do_all(open_intent(), intent("start", operation="one[2]"), answer("no"))
    assert script.refused("remedy", name="loose[1]") == ["unknown-name"]
    (event,) = script.do("remedy", name="loose[2]")
    assert event["data"]["do"] == "Turn 2"
    script.do_all(answer("no"))
    assert script.refused("finish") == ["check-failed"]


@pytest.mark.parametrize(("undo", "found"), [("", ["unreachable-remedy"]), (", undo: {do: Take it off}", [])])
def test_redo_of_a_check_is_proven(tmp_path: Path, undo: str, found: list[str]) -> None:
    check = f"check: [{{see: It is loose, id: loose, if not: {REDO}}}]"
    one = f"{{id: one, title: One, after: [fit], {check}}}"
    path = tmp_path / "p.yaml"
    path.write_text(procedure_with(f"{{id: fit, title: Fit it{undo}}}", one), encoding="utf-8")
    findings = [each for each in check_file(path, None)["findings"] if each["severity"] == "error"]
    assert [each["code"] for each in findings] == found


def test_log_is_audited_and_the_history_names_the_remedy(tmp_path: Path) -> None:
    script = feeling(tmp_path)
    script.do_all(answer("no"), REMEDY, answer("yes"), answer("yes", 2), intent("finish"))
    script.audited()
    lines = list(read(script.path.read_bytes()).lines)
    text = " ".join("\n".join(history_text(lines, plan_from_log(lines, read_procedure), zone=UTC, damage=None)).split())
    assert "Check 1 (Both rockers are loose) answered NO. Remedy done: Turn the shaft half a turn" in text
