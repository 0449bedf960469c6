"""Weak points of signatures by the register of the job, or by that of today. People are invented."""

from pathlib import Path

from benchflow.review.evidence.ranking import WeakPoint
from benchflow.review.evidence.weak_points import weak_points_of
from benchflow.review.evidence.weights import RECORD_CEILING
from benchflow.review.log.loaded_log import load_log
from benchflow.session.shop.register import Person, Shop, hash_pin
from tests.driving.script import Script, intent, open_intent, procedure_with, read_procedure

LOOK = procedure_with("{id: look, title: Look, hold: {by: inspector, for: Looked at}}")
PIN = hash_pin("4711", bytes(16))
SIGN = intent("sign", operation="look", by="Ines")
WORK = (intent("start", operation="look"), SIGN, intent("finish"))


def shop_text(ines: str, id_: str = "0" * 32) -> str:
    return f"shop: 1\nid: '{id_}'\npeople: {{Robin: {{roles: [builder]}}, Ines: {{roles: [{ines}]}}}}\n"


def points(script: Script, shop: Shop | None = None) -> dict[str, WeakPoint]:
    log = load_log(script.path, read_procedure)
    return {point.kind: point for point in weak_points_of(log, log.plan.steps["look"], shop)}


def test_signer_of_a_job_without_register_is_looked_up_in_that_of_today(tmp_path: Path) -> None:
    script = Script(tmp_path, LOOK)
    script.do_all(open_intent(), *WORK)
    assert points(script)["no-register"].grade < 20
    known = Shop(people=(Person("ines", ("inspector",)),))
    assert not {"unknown-signer", "waived-without-role", "no-register"} & set(points(script, known))
    stranger = points(script, Shop(people=(Person("Robin", ("inspector",)),)))["unknown-signer"]
    assert stranger.words == (
        "the hold point for the inspector was signed by Ines, who is not in the register of today"
    )
    assert 20 <= stranger.grade <= RECORD_CEILING
    builder = points(script, Shop(people=(Person("Ines", ("builder",)),)))["waived-without-role"]
    assert builder.words.endswith("Ines, who is not an inspector in the register of today")


def test_register_of_the_job_decides_before_that_of_today(tmp_path: Path) -> None:
    script = Script(tmp_path, LOOK, shop=shop_text("inspector"))
    script.do_all(open_intent(), *WORK)
    assert "unknown-signer" not in points(script, Shop(people=(Person("Robin", ("builder",)),)))


def test_role_that_was_added_during_the_job_is_mentioned(tmp_path: Path) -> None:
    script = Script(tmp_path, LOOK, shop=shop_text("builder"))
    script.do_all(open_intent())
    script.shop.write_text(shop_text("inspector"), encoding="utf-8")
    script.do_all(*WORK)
    found = points(script)["role-added"]
    assert found.words.endswith("signed by Ines, who became an inspector in the register during the job")
    assert found.grade < 20


def test_wrong_pins_before_a_signature_are_counted_at_its_step(tmp_path: Path) -> None:
    shop = shop_text("inspector").replace("[inspector]", f"[inspector], pin: {PIN}")
    script = Script(tmp_path, LOOK, shop=shop)
    script.do_all(open_intent(), intent("start", operation="look"))
    refused = script.send({**SIGN, "pin": "0000"})
    assert refused[0]["ok"] is False
    found = points(script)["pin-wrong"]
    assert found.words == "a wrong PIN was entered for Ines 1 time"
    assert found.grade < 20
