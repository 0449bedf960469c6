"""Logs changed by somebody who seals every line again: the audit finds each change. All data is invented."""

import json
from datetime import timedelta
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from benchflow.commands.audit import audit
from benchflow.review.answer_text import filing_lines
from benchflow.review.archive.database import open_database
from benchflow.review.archive.filing import file_logs
from benchflow.review.audit.audit_file import audit_file
from benchflow.review.audit.audit_report import AuditFinding, AuditReport
from benchflow.review.audit.audited_log import with_audit
from benchflow.review.evidence.assessment import review_everything
from benchflow.review.log.loaded_log import load_log
from benchflow.review.sheets.build_sheet import build_sheet
from benchflow.session.log.timestamps import format_timestamp, parse_timestamp
from benchflow.session.procedure_loading import procedure_reader_with_cache
from benchflow.session.shop.people_record import people_digest
from benchflow.session.shop.register import hash_pin
from benchflow.session.state.events import RULES, PersonRecord
from tests.driving.forged_log import ForgedLog
from tests.driving.script import Script, intent, open_intent, procedure_with, read_procedure

SHOP = f"""\
shop: 1
id: 3f0c9e2b7a514d86a1c2e4b5d6f70819
people:
  Robin: {{roles: [builder]}}
  Ida: {{roles: [inspector], pin: {hash_pin("2417", bytes(16))}}}
  Max: {{roles: [inspector]}}
"""
HEAD = """\
state:
  pistons: {values: [at-deck, down], start: at-deck}
  valves: {values: [shut, open], start: shut}
interference:
- {never: {pistons: at-deck, valves: open}, because: an open valve would reach them}
moves:
  turn-down: {title: Turn the pistons down, sets: {pistons: down}}
joints:
  studs: {title: Studs, layout: "3 1 2 4"}
kit:
  consumables: {sealant: {title: Sealant, lot: required}}
waive: inspector
"""
OPERATIONS = (
    "{id: seal, title: Seal it, uses: [sealant], check: [It is clean], undo: {do: Wipe it off}}",
    "{id: studs, title: Tighten, after: [seal], tighten: {joint: studs, stages: [20 N·m, 40 N·m]}}",
    "{id: gap, title: Measure, after: [seal], record: {gap: {ask: Gap, unit: mm, limit: 0.10 .. 0.20 mm, "
    "above: [{do: Grind it}]}}, hold: {by: inspector, for: the gap}}",
    "{id: open-valves, title: Open the valves, sets: {valves: open}}",
    "{id: late, title: Do it soon, after: [seal], time: {seal: at most 2 h}}",
)
TEXT = procedure_with(*OPERATIONS, head=HEAD)


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """The log of a whole job in two runs of the program."""
    script = Script(tmp_path_factory.mktemp("built"), TEXT, shop=SHOP)
    script.do_all(
        open_intent(),
        intent("start", operation="seal"),
        intent("lot", consumable="sealant", lot="L-1"),
        intent("tick-check", check=1),
        intent("finish"),
        intent("start", operation="studs"),
        *(intent("tick", joint="studs", fastener=each) for each in (1, 2, 3, 4, 1, 2, 3, 4)),
        intent("finish"),
        intent("start", operation="gap"),
        intent("record", name="gap", value="0.25 mm"),
        intent("remedy", name="gap"),
        intent("record", name="gap", value="0.15 mm"),
        intent("sign", operation="gap", by="Ida", pin="2417"),
        intent("finish"),
    )
    script.do_all(
        intent("start", operation="late"),
        intent("finish"),
        intent("move", move="turn-down"),
        intent("start", operation="open-valves"),
        intent("finish"),
        intent("close"),
    )
    return script.path.read_bytes()


@pytest.fixture
def log(built: bytes, tmp_path: Path) -> ForgedLog:
    path = tmp_path / "log.jsonl"
    path.write_bytes(built)
    return ForgedLog(path)


def audited(log: ForgedLog) -> AuditReport:
    report, damage = audit_file(log.save(), read_procedure)
    assert not damage
    return report


def first_wrong(log: ForgedLog) -> AuditFinding:
    wrong = audited(log).wrong
    assert wrong
    return wrong[0]


def test_log_as_the_program_wrote_it_has_nothing_wrong(log: ForgedLog) -> None:
    report = audited(log)
    assert (report.wrong, report.notes) == ((), ())
    assert report.intents == len({draft.data["intent"] for draft in log.drafts}) - 1  # one is the second start


@pytest.mark.parametrize(
    ("kind", "number", "codes"),
    [
        ("checked", 0, "check-open"),
        ("lot", 0, "value-missing"),
        ("ticked", 3, "fastener-order"),
        ("ticked", 7, "stage-not-finished"),
        ("recorded", 1, "value-missing"),
        ("signed", 0, "hold-unsigned"),
        ("remedied", 0, "remedy-first"),
        ("moved", 0, "interference"),
        ("finished", 0, "operation-in-progress"),
    ],
)
def test_event_that_was_taken_out_is_missed(log: ForgedLog, kind: str, number: int, codes: str) -> None:
    log.drop(kind, number)
    wrong = audited(log).wrong
    assert codes in {code for finding in wrong for code in finding.codes}, wrong


def test_forbidden_order_is_named_as_interference(log: ForgedLog) -> None:
    log.move("moved", 0, "closed")
    finding = first_wrong(log)
    assert (finding.kind, finding.codes) == ("interference", ("interference",))


def test_step_before_the_one_it_comes_after_is_out_of_order(log: ForgedLog) -> None:
    intent_numbers = [draft.data["intent"] for draft in log.drafts if draft.kind == "started"]
    assert intent_numbers
    for kind in ("finished", "checked", "lot"):
        log.drop(kind)
    log.drop("started")
    finding = first_wrong(log)
    assert (finding.kind, finding.codes[0]) == ("order", "after-missing")


def test_ticks_in_another_order_are_wrong(log: ForgedLog) -> None:
    for number, fastener in ((1, 3), (2, 2)):
        log.event("ticked", number)["fastener"] = fastener
        log.sent("tick", number)["fastener"] = fastener
    assert "fastener-order" in first_wrong(log).codes


def test_widened_limit_under_the_old_digest_is_wrong(log: ForgedLog) -> None:
    log.event("opened")["procedure"] = TEXT.replace("0.20 mm", "0.30 mm")
    finding = first_wrong(log)
    assert (finding.line, finding.kind) == (1, "procedure")
    assert "SHA-256" in finding.message


def test_widened_limit_with_its_digest_contradicts_the_verdicts(log: ForgedLog) -> None:
    opened, text = log.event("opened"), TEXT.replace("0.20 mm", "0.30 mm")
    opened["procedure"], opened["procedure_sha256"] = text, sha256(text.encode()).hexdigest()
    wrong = audited(log).wrong
    assert any("limit of the event recorded" in finding.message for finding in wrong)
    assert any("verdict of the event recorded is high in the log, but ok" in finding.message for finding in wrong)


def test_changed_verdict_is_wrong(log: ForgedLog) -> None:
    log.event("recorded")["verdict"] = "ok"
    assert "verdict of the event recorded is ok in the log, but high by the rules" in first_wrong(log).message


@pytest.mark.parametrize("where", ["event", "sent"])
def test_reading_changed_only_in_the_event_or_in_the_intent_is_wrong(log: ForgedLog, where: str) -> None:
    if where == "event":
        log.event("recorded", 1)["quantity"] = {"value": "0.16", "unit": "mm", "entered": "0.16 mm"}
    else:
        log.sent("record", 1)["value"] = "0.16 mm"
    assert "quantity of the event recorded" in first_wrong(log).message


@pytest.mark.parametrize(
    ("by", "said"), [("Robin", "not an inspector"), ("Eve", "not in the shop's register"), ("ida ", "hold")]
)
def test_signature_of_another_person_is_wrong(log: ForgedLog, by: str, said: str) -> None:
    log.replace_by(log.at("signed"), by)
    log.sent("sign")["by"] = by
    wrong = audited(log).wrong
    assert wrong
    assert said in " ".join(finding.message for finding in wrong) or by == "ida "


def test_pin_of_somebody_without_one_is_wrong(log: ForgedLog) -> None:
    log.replace_by(log.at("signed"), "Max")
    log.sent("sign")["by"] = "Max"
    assert "proven of the event signed is pin in the log, but name by the rules" in first_wrong(log).message


def test_signature_by_name_of_somebody_with_a_pin_is_wrong(log: ForgedLog) -> None:
    log.event("signed")["proven"] = "name"
    assert "signs with a PIN" in first_wrong(log).message


def test_time_window_that_passed_without_a_deviation_is_wrong(log: ForgedLog) -> None:
    first = next(place for place, draft in enumerate(log.drafts) if draft.kind == "resumed")
    for place in range(first, len(log.drafts)):
        draft = log.drafts[place]
        clock = {**draft.data["clock"], "ms": draft.data["clock"]["ms"] + 3 * 3600_000}
        log.drafts[place] = type(draft)(_later(draft.at), draft.by, draft.kind, {**draft.data, "clock": clock})
    assert "too-late" in first_wrong(log).codes


def _later(at: str) -> str:
    return format_timestamp(parse_timestamp(at) + timedelta(hours=3))


def test_deviation_by_somebody_who_may_not_waive_it_is_wrong(log: ForgedLog) -> None:
    sent = {"intent": "deviate", "by": "Robin", "operation": "gap", "about": "gap", "reason": "It is good enough"}
    log.insert(
        log.at("remedied"), "deviated", sent, operation="gap", about="gap", reason="It is good enough",
        entries=[log.at("recorded") + 1], role="inspector", proven="name",
    )  # fmt: skip
    assert "not-allowed" in first_wrong(log).codes


def test_operation_undone_without_a_rework_is_wrong(log: ForgedLog) -> None:
    log.insert(log.at("closed"), "undone", None, operation="late")
    assert first_wrong(log).kind == "group"


def test_undo_added_to_the_lines_of_another_intent_is_wrong(log: ForgedLog) -> None:
    place = log.at("closed")
    log.insert(place, "undone", None, operation="late")
    log.drafts[place].data.update(intent=log.drafts[place - 1].data["intent"], of=2)
    log.drafts[place - 1].data["of"] = 2
    log.renumber()
    assert "does not make the event undone" in first_wrong(log).message


def test_line_from_another_log_is_wrong(log: ForgedLog, tmp_path: Path) -> None:
    path = tmp_path / "other"
    path.mkdir()
    other = Script(path, TEXT, shop=SHOP)
    other.do_all(open_intent(unit="job 8"), intent("note", text="something else"))
    strange = ForgedLog(other.path).drafts[1]
    log.drafts.insert(log.at("closed"), strange)
    assert first_wrong(log).kind == "group"


def test_people_changed_without_an_event_are_wrong(log: ForgedLog) -> None:
    resumed = log.event("resumed")
    resumed["people"][0]["roles"] = ["builder", "inspector"]
    assert "digest" in first_wrong(log).message
    people = tuple(PersonRecord(**{**each, "roles": tuple(each["roles"])}) for each in resumed["people"])
    resumed["shop"] = people_digest(resumed["register"], people)
    assert "“roles” of Robin is missing" in first_wrong(log).message


def test_register_that_changed_without_a_reason_is_wrong(log: ForgedLog) -> None:
    resumed = log.event("resumed")
    people = tuple(PersonRecord(**{**each, "roles": tuple(each["roles"])}) for each in resumed["people"])
    resumed.update(register="another", shop=people_digest("another", people))
    assert "no reason is given" in first_wrong(log).message


@pytest.mark.parametrize("change", ["number", "of", "sent", "clock", "boot", "rules"])
def test_numbers_and_clocks_that_the_program_does_not_write_are_wrong(log: ForgedLog, change: str) -> None:
    note: dict[str, Any] = log.event("checked")
    match change:
        case "number":
            note["intent"] = 77
        case "of":
            note["of"] = 2
        case "sent":
            del note["sent"]
        case "clock":
            note["clock"]["ms"] -= 3600_000
        case "boot":
            note["clock"]["boot"] = "ffffffff"
        case "rules":
            log.event("resumed")["rules"] = 0
    assert audited(log).wrong


def test_older_rules_leave_only_order_interference_and_evidence(
    log: ForgedLog, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("benchflow.session.state.events.RULES", RULES + 1)
    log.event("recorded")["verdict"] = "ok"
    report = audited(log)
    assert not report.wrong
    assert any("verdict" in note.message for note in report.notes)
    assert any(f"older rules {RULES}" in note.message for note in report.notes)
    log.move("moved", 0, "closed")
    assert first_wrong(log).kind == "interference"


# --- where a failed audit is told -------------------------------------------------------------------


def forged(log: ForgedLog) -> Path:
    log.event("recorded")["verdict"] = "ok"
    return log.save()


def test_review_and_sheet_begin_with_the_failed_audit(log: ForgedLog) -> None:
    loaded = with_audit(load_log(forged(log), read_procedure))
    assert loaded.warnings[0].startswith("THE AUDIT FAILS at 1 place: ")
    assert build_sheet(loaded).warnings[0] == loaded.warnings[0]
    gap = next(guard for guard in review_everything(loaded).guards if guard.operation == "gap")
    assert gap.suspect
    assert gap.reasons[0].kind == "failed-audit"


def test_review_of_a_true_log_has_no_word_of_the_audit(log: ForgedLog) -> None:
    loaded = with_audit(load_log(log.path, read_procedure))
    assert not [warning for warning in loaded.warnings if "AUDIT" in warning]
    assert not [point for guard in review_everything(loaded).guards for point in guard.reasons if "audit" in point.kind]


def test_archive_names_the_log_that_fails(log: ForgedLog, tmp_path: Path) -> None:
    path = forged(log)
    database = open_database(str(tmp_path / "archive.sqlite"))
    first = file_logs(database, [path], "bench", audited=True)
    again = file_logs(database, [path], "bench", audited=True)
    database.close()
    assert (first.failing, again.failing) == ((str(path),), (str(path),))
    assert any("fails the audit" in line for line in filing_lines(again))


def test_command_prints_each_place_and_ends_with_1(log: ForgedLog) -> None:
    path = str(forged(log))
    printed = CliRunner().invoke(audit, [path], standalone_mode=False)
    assert printed.return_value == 1
    assert "WRONG at 1 place." in printed.stdout
    assert "verdict of the event recorded is ok in the log, but high by the rules" in printed.stdout
    answer = json.loads(CliRunner().invoke(audit, [path, "--json"], standalone_mode=False).stdout)
    assert (answer["ok"], answer["wrong"][0]["kind"], answer["wrong"][0]["codes"]) == (False, "entry", [])
    assert answer["wrong"][0]["line"] == log.at("recorded") + 1


def test_command_accepts_a_true_log_and_refuses_a_file_that_is_none(log: ForgedLog, tmp_path: Path) -> None:
    assert CliRunner().invoke(audit, [str(log.path)], standalone_mode=False).return_value == 0
    other = tmp_path / "other.jsonl"
    other.write_text("no log\n")
    assert CliRunner().invoke(audit, [str(other)], standalone_mode=False).return_value == 2


def test_log_of_the_first_version_is_not_accused(log: ForgedLog) -> None:
    path = Path(__file__).parents[1] / "session" / "data" / "0.1.jsonl"
    report, _ = audit_file(path, procedure_reader_with_cache(None))
    assert report.ok
    assert "cannot be decided again" in report.notes[0].message
