"""The audit of honest jobs with signatures by PIN, wrong PINs, and changes of the register in between."""

from pathlib import Path

from benchflow.review.audit.audit_file import audit_file
from benchflow.session.controller import SessionController
from benchflow.session.shop.live_register import Register
from benchflow.session.shop.register import hash_pin
from benchflow.session.shop.register_writer import add_person, change_file, set_pin, set_roles
from benchflow.session.state.clock import PIN_WAIT
from tests.driving.script import Script, intent, open_intent, procedure_with, read_procedure
from tests.driving.session_driver import stopped_clock

SHOP = f"""\
shop: 1
people:
  Ann: {{roles: [builder]}}
  Ida: {{roles: [inspector], pin: {hash_pin("2417", bytes(16))}}}
"""
HEAD = """\
state:
  casing: {values: [hot, cold], start: hot, found: inspector}
  seal: {values: [out, in], start: out, found: inspector}
  valve: {values: [open, shut], start: ask, found: inspector}
interference:
- {never: {casing: hot, seal: in}, because: heat destroys the seal}
"""
COOL = """\
{id: cool, title: Cool, sets: {casing: cold}, waive: inspector, hold: {by: inspector, for: the look of it},
 record: {t: {ask: T, unit: °C, limit: at most 40 °C, proves: casing, above: [{do: Stop here, stop: true}]},
          room: {ask: Room, unit: °C, limit: at most 30 °C}}}"""
FIT = "{id: fit, title: Fit the seal, after: [cool], sets: {seal: in}}"


def findings(script: Script) -> list[str]:
    report, _ = audit_file(script.path, read_procedure)
    return [f"{finding.line}: {finding.message}" for finding in report.wrong]


def test_honest_job_with_every_kind_of_signature_is_not_accused(tmp_path: Path) -> None:
    script = Script(tmp_path, procedure_with(COOL, FIT, head=HEAD), shop=SHOP)
    clock = script.clock = stopped_clock()
    script.shop.chmod(0o444)  # known by its path at first
    assert script.refused("open", unit="7", by="Ann", start={"valve": "shut"}) == ["not-allowed"]
    script.do_all(intent("open", unit="7", by="Ann", start={"valve": None}), intent("start", operation="cool"))
    script.shop.chmod(0o600)
    change_file(script.shop, add_person("Max", ("builder", "inspector")))
    (wrong,) = script.do("record", name="t", value="95 °C")
    correction = intent("correct", event=wrong["seq"], value="35 °C", reason="misread", by="Ida")
    replies = script.send({**correction, "pin": "9999"}, {**correction, "pin": "2417"})
    assert [reason["code"] for reply in replies for reason in reply["refused"]] == ["not-allowed", "pin-wait"]
    change_file(script.shop, set_pin("Ida", ""))
    script.do_all(correction)
    script.do("set-state", variable="valve", value="shut", reason="seen", by="Max")
    change_file(script.shop, set_pin("Max", hash_pin("1357", bytes(16))))
    script.do("record", name="room", value="35 °C")
    clock.advance(PIN_WAIT)
    script.do("deviate", operation="cool", about="room", reason="a hot day", by="Max", pin="1357")
    change_file(script.shop, set_roles("Ann", ("builder", "inspector")))
    script.do("sign", operation="cool", by="Max", pin="1357")
    script.do_all(intent("finish"), intent("start", operation="fit"), intent("finish"))
    script.do("set-state", variable="seal", value=None, reason="it fell out", by="Ann")
    script.do("set-state", variable="seal", value="in", reason="put back", by="Ida")
    script.do("close")
    assert findings(script) == []


def test_honest_job_that_went_on_with_another_register_is_not_accused(tmp_path: Path) -> None:
    script = Script(tmp_path, procedure_with(COOL, FIT, head=HEAD), shop=SHOP)
    script.do_all(open_intent(by="Ann", start={"valve": None}), intent("start", operation="cool"))
    other = tmp_path / "other.yaml"
    other.write_text(SHOP.replace("Ida", "Eve"), encoding="utf-8")
    for register, by, pin in ((other, "Eve", "2417"), (tmp_path / "none.yaml", "Anybody", None)):
        controller = SessionController.resume(
            script.path, read=read_procedure, register=Register(register), other_register="moved"
        )
        controller.send(intent("set-state", variable="valve", value="shut", reason="seen", by=by, pin=pin))
        controller.send(intent("sign", operation="cool", by=by, pin=pin))
        controller.close()
    assert [line["kind"] for line in script.log()].count("state-set") == 2
    assert findings(script) == []


def test_person_who_leaves_later_signs_and_is_not_accused(tmp_path: Path) -> None:
    shop = SHOP.replace("Ida: {roles: [inspector]", "Ida: {roles: [inspector], retired: 2026-03-02")
    script = Script(tmp_path, procedure_with(COOL, FIT, head=HEAD), shop=shop, simulated=True)
    at = "2026-03-01T23:30:00Z"
    script.do_all(open_intent(by="Ann", start={"valve": None}, at=at), intent("start", operation="cool", at=at))
    script.do("sign", operation="cool", by="Ida", pin="2417", at=at)
    assert script.refused("sign", operation="cool", by="Ida", pin="2417", at="2026-03-02T00:00:00Z") == ["not-allowed"]
    assert findings(script) == []
