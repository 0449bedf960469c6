"""Complaints and findings of a come-back in the log, by intents. Names and figures are invented."""

from datetime import UTC, datetime
from pathlib import Path

import pytest

from benchflow.review.log.loaded_log import LoadedLog, load_log
from benchflow.session.history.event_text import event_text
from benchflow.session.history.log_titles import LogTitles
from benchflow.session.shop.register import hash_pin
from benchflow.session.state.events import event_of
from tests.driving.script import Script, intent, open_intent, procedure_with, read_procedure

SEAL = "{id: seal, title: Seal the cover, check: [The bead is whole]}"
SHOP = f"""\
shop: 1
people:
  Ann: {{roles: [builder]}}
  Ida: {{roles: [inspector], pin: {hash_pin("2417", bytes(16))}}}
"""
TODAY = datetime.now(UTC).date().isoformat()
FOUND = {"complaint": "drips", "finding": "The bead was broken", "outcome": "ours"}


def built(folder: Path, shop: str = "") -> Script:
    """A small job that is done and closed."""
    script = Script(folder, procedure_with(SEAL), shop=shop)
    script.do_all(
        open_intent(by="Ann"), intent("start", operation="seal"), intent("tick-check", check=1), intent("finish"),
        intent("close"),
    )  # fmt: skip
    return script


def loaded(script: Script) -> LoadedLog:
    return load_log(script.path, read_procedure)


def test_complaint_and_finding_are_accepted_after_the_end_of_the_job(tmp_path: Path) -> None:
    script = built(tmp_path)
    script.do("complaint", text="drips when hot", running="no", since="1,200 km", when="hot", retorque="no")
    script.do("found", **FOUND, operation="seal", hours="2.50", date=TODAY)
    script.audited()
    log = loaded(script)
    (complaint,), (cause,) = log.facts.complaints, log.facts.causes
    assert (complaint.text, complaint.since, complaint.running, complaint.touched) == (
        "drips when hot", "1,200 km", "no", "",
    )  # fmt: skip
    assert (cause.outcome, cause.title, cause.hours, cause.date, cause.in_force) == (
        "ours", "Seal the cover", "2.5", TODAY, True,
    )  # fmt: skip
    titles = LogTitles(log.plan)
    texts = [event_text(event, titles) for line in log.lines if (event := event_of(line)) is not None]
    answers = "not running; 1,200 km since the build; when hot; fasteners not checked again"
    assert f"Complaint: drips when hot ({answers})" in texts
    assert texts[-1] == (
        f"Come-back “drips”: The bead was broken; outcome: our work; step: Seal the cover; found on {TODAY}; "
        "2.5 h of work"
    )
    assert script.refused("lot", consumable="sealant", lot="1") == ["not-open"]


def test_finding_is_corrected_and_withdrawn_by_a_later_one(tmp_path: Path) -> None:
    script = built(tmp_path)
    first = script.do("found", **FOUND)[-1]["seq"]
    second = script.do("found", **{**FOUND, "outcome": "use"}, replaces=first)[-1]["seq"]
    assert [(cause.outcome, cause.in_force) for cause in loaded(script).facts.causes] == [
        ("ours", False),
        ("use", True),
    ]
    assert script.refused("withdraw", event=first, reason="again") == ["unknown-name"]
    assert script.refused("withdraw", event=second, reason=" ") == ["value-missing"]
    script.do("withdraw", event=second, reason="It was the other engine")
    assert [cause.in_force for cause in loaded(script).facts.causes] == [False, False]
    script.audited()


@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ({"outcome": "bad luck"}, "unknown-name"),
        ({"operation": "sael"}, "unknown-name"),
        ({"date": "2026-02-30"}, "bad-intent"),
        ({"date": "1999-01-01"}, "bad-intent"),  # before the build
        ({"date": "2999-01-01"}, "bad-intent"),  # in the future
        ({"hours": "a day"}, "bad-quantity"),
        ({"finding": ""}, "value-missing"),
        ({"replaces": 1}, "unknown-name"),
    ],
)
def test_wrong_field_of_a_finding_is_refused(tmp_path: Path, fields: dict[str, object], code: str) -> None:
    script = Script(tmp_path, procedure_with(SEAL))
    script.do_all(open_intent())
    assert script.refused("found", **{**FOUND, **fields}) == [code]


def test_wrong_answer_to_a_first_question_is_refused(tmp_path: Path) -> None:
    script = Script(tmp_path, procedure_with(SEAL))
    script.do_all(open_intent())
    assert script.refused("complaint", text="drips", running="maybe", since="40 bar", when="wet") == [
        "unknown-name", "unknown-name", "bad-quantity",
    ]  # fmt: skip
    (answer,) = script.send(intent("complaint", text="drips", since="40"))
    assert (
        answer["refused"][0]["message"].removesuffix(".")
        == "“40”: This is neither hours nor a distance. Write hours or a distance: 40 h or 1,200 km"
    )
    assert script.refused("complaint", text=" ") == ["value-missing"]


def test_finding_is_signed_by_a_person_of_the_register(tmp_path: Path) -> None:
    script = built(tmp_path, SHOP)
    assert script.refused("found", **FOUND, by="Eve") == ["not-allowed"]
    script.do("found", **FOUND, by="Ida", pin="2417")
    line = script.log()[-1]
    assert (line["by"], line["data"]["proven"]) == ("Ida", "pin")
    assert "2417" not in script.path.read_text(encoding="utf-8").rpartition('"kind":"found"')[2]
    script.audited()
