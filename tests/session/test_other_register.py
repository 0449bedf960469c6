"""Attempts to have an inspector's hold signed by somebody who is no inspector of this shop."""

import shutil
from pathlib import Path
from typing import Any

import pytest

from benchflow.review.log.loaded_log import load_log
from benchflow.review.sheets.build_sheet import build_sheet
from benchflow.session.controller import SessionController
from benchflow.session.job_register import OtherRegister
from benchflow.session.refusal import Refusal
from benchflow.session.shop.live_register import Register
from benchflow.session.shop.pin_change import change_pin
from benchflow.session.shop.register import ShopError, hash_pin
from benchflow.session.shop.register_writer import change_file, set_pin, set_roles
from benchflow.session.state.clock import PIN_WAIT
from tests.driving.log_files import texts_in
from tests.driving.script import Script, open_intent, procedure_with, read_procedure
from tests.driving.script import intent as intent_of
from tests.driving.session_driver import stopped_clock

SHOP = f"""\
shop: 1
people:
  Ann: {{roles: [builder]}}
  Ida: {{roles: [inspector], pin: {hash_pin("2417", bytes(16))}}}
"""
OTHERS = SHOP.replace("  Ida:", "  Eve: {roles: [inspector]}\n  Ida:")
SIGN = {"operation": "look", "by": "Ida", "pin": "2417"}
LOOK = "{id: look, title: Look, check: [It is clean], hold: {by: inspector, for: the look of it}}"


@pytest.fixture
def script(tmp_path: Path) -> Script:
    found = Script(tmp_path, procedure_with(LOOK), shop=SHOP)
    found.do_all(open_intent(by="Ann"), intent_of("start", operation="look"))
    return found


def other_shop(folder: Path) -> Path:
    """Another register, in which Eve is an inspector."""
    path = folder / "other" / "shop.yaml"
    path.parent.mkdir()
    path.write_text(OTHERS, encoding="utf-8")
    return path


def resume(script: Script, register: Path | None, **options: Any) -> SessionController:
    return SessionController.resume(
        script.path, read=read_procedure, register=None if register is None else Register(register), **options
    )


@pytest.mark.parametrize("with_file", [True, False])
def test_job_does_not_go_on_with_another_register_or_none(script: Script, tmp_path: Path, with_file: bool) -> None:
    before = script.path.read_bytes()
    with pytest.raises(OtherRegister, match="--other-register REASON"):
        resume(script, other_shop(tmp_path) if with_file else tmp_path / "none.yaml")
    assert script.path.read_bytes() == before


def test_reason_for_another_register_is_in_the_log_the_review_and_the_sheet(script: Script, tmp_path: Path) -> None:
    controller = resume(script, other_shop(tmp_path), other_register="the office burned down")
    controller.send(intent_of("sign", operation="look", by="Eve"))
    controller.close()
    loaded = load_log(script.path, read_procedure)
    assert [line.data.get("other_register") for line in loaded.lines if line.kind == "resumed"][-1:] == [
        "the office burned down"
    ]
    assert any("ANOTHER REGISTER; reason: the office burned down" in warning for warning in loaded.warnings)
    assert any("ANOTHER REGISTER" in warning for warning in build_sheet(loaded).warnings)


def test_copy_of_the_register_with_its_id_shows_what_was_changed_in_it(script: Script, tmp_path: Path) -> None:
    copied = tmp_path / "copy.yaml"
    shutil.copy(script.shop, copied)
    change_file(copied, set_roles("Ann", ("builder", "inspector")), set_pin("Ida", ""))
    controller = resume(script, copied)
    controller.send(intent_of("sign", operation="look", by="Ann"))
    controller.close()
    warnings = load_log(script.path, read_procedure).warnings
    assert any("roles of Ann CHANGED from builder to builder, inspector" in warning for warning in warnings)
    assert any("PIN of Ida CHANGED from set to no PIN" in warning for warning in warnings)


def test_wrong_pins_are_counted_by_the_review_and_found_in_no_file(script: Script, tmp_path: Path) -> None:
    (reply,) = script.send(intent_of("sign", operation="look", by="Ida", pin="777123"))
    assert reply["ok"] is False
    loaded = load_log(script.path, read_procedure)
    assert "A wrong PIN was entered for Ida 1 time." in loaded.warnings
    for path in tmp_path.iterdir():
        assert "777123" not in path.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    "by",
    [
        "Ann",
        "ann",
        " A n n ",
        "\u0391nn",
        "Id\u0430",
        "Ida, Ann",
        "Ida\nAnn",
        "inspector",
        "Ann\u200b",
        "",
        " ",
        "\x1b[2J",
    ],
)  # fmt: skip
def test_no_spelling_of_a_name_signs_without_the_role_or_the_pin(script: Script, by: str) -> None:
    codes = script.refused("sign", operation="look", by=by)
    assert codes in (["not-allowed"], ["value-missing"])
    assert [line["kind"] for line in script.log()].count("signed") == 0


@pytest.mark.parametrize("by", ["Ida", "IDA", " ida ", "Ida\u202e", "Ｉｄａ"])
def test_no_spelling_of_the_inspector_signs_without_the_pin(script: Script, by: str) -> None:
    assert script.refused("sign", operation="look", by=by) == ["not-allowed"]
    assert script.refused("sign", operation="look", by=by, pin="") == ["not-allowed"]


@pytest.mark.parametrize(("retired", "signs"), [("2026-03-02", True), ("2026-03-01", False)])
def test_person_signs_until_the_day_of_leaving(tmp_path: Path, retired: str, signs: bool) -> None:
    shop = SHOP.replace("Ida: {roles: [inspector]", f"Ida: {{roles: [inspector], retired: {retired}")
    script = Script(tmp_path, procedure_with(LOOK), shop=shop, simulated=True)
    at = "2026-03-01T12:00:00Z"
    script.do_all(open_intent(by="Ann", at=at), intent_of("start", operation="look", at=at))
    (reply,) = script.send(intent_of("sign", at=at, **SIGN))
    assert reply["ok"] is signs, reply


def test_hold_cannot_be_waived_by_somebody_without_the_role(script: Script) -> None:
    for by in ("Ann", "Ida"):
        deviation = {"operation": "look", "about": "hold", "reason": "she is ill", "by": by}
        assert script.refused("deviate", **deviation) == ["not-allowed"]


def test_register_edited_between_two_intents_of_one_run_is_logged_before_the_signature(script: Script) -> None:
    controller = resume(script, script.shop)
    try:
        controller.send(intent_of("note", text="still here"))
        change_file(script.shop, set_roles("Ann", ("builder", "inspector")))
        controller.send(intent_of("sign", operation="look", by="Ann"))
    finally:
        controller.close()
    kinds = [line["kind"] for line in script.log()]
    assert kinds[-2:] == ["register-changed", "signed"]


def test_register_taken_away_during_a_run_lets_nobody_sign(script: Script) -> None:
    controller = resume(script, script.shop)
    try:
        controller.send(intent_of("note", text="still here"))
        script.shop.unlink()
        for by in ("Ann", "Eve", "Ida"):
            answer = controller.send(intent_of("sign", operation="look", by=by, pin="2417"))
            assert "not there" in answer.refused[0].message  # type: ignore[union-attr]
        script.shop.write_text(OTHERS, encoding="utf-8")  # another one in its place
        answer = controller.send(intent_of("sign", operation="look", by="Eve"))
        assert "not there" in answer.refused[0].message  # type: ignore[union-attr]
    finally:
        controller.close()


def test_register_taken_away_before_the_first_intent_of_a_run_lets_nobody_sign(script: Script) -> None:
    controller = resume(script, script.shop)
    try:
        script.shop.unlink()
        answer = controller.send(intent_of("sign", operation="look", by="Ida", pin="2417"))
        assert "not there" in answer.refused[0].message  # type: ignore[union-attr]
    finally:
        controller.close()


def test_second_window_cannot_sign_in_a_job_that_the_first_one_has_open(script: Script, tmp_path: Path) -> None:
    first = resume(script, script.shop)
    try:
        first.send(intent_of("note", text="mine"))
        before = script.path.read_bytes()
        second = resume(script, other_shop(tmp_path))
        answer = second.send(intent_of("sign", operation="look", by="Eve"))
        second.close()
        assert answer.refused[0].code == "not-saved"  # type: ignore[union-attr]
        assert script.path.read_bytes() == before
    finally:
        first.close()


def test_wrong_pin_in_one_job_makes_another_job_and_the_command_wait(script: Script, tmp_path: Path) -> None:
    folder = tmp_path / "second"
    folder.mkdir()
    second = Script(folder, script.text)
    second.shop = script.shop
    clock = script.clock = second.clock = stopped_clock()
    second.do_all(open_intent(by="Ann"), intent_of("start", operation="look"))
    (reply,) = script.send(intent_of("sign", operation="look", by="Ida", pin="777123"))
    assert reply["refused"][0]["code"] == "not-allowed"
    assert second.refused("sign", **SIGN) == ["pin-wait"]
    with pytest.raises(ShopError, match="Wait 2 s"):
        change_pin(script.shop, "Ida", "2417", "1357", clock)
    clock.advance(PIN_WAIT)
    second.do("sign", **SIGN)


def test_log_has_no_pin_and_no_hash(script: Script) -> None:
    script.do("tick-check", operation="look", check=1)
    script.do("sign", **SIGN)
    for text in texts_in(script.path):
        assert "2417" not in text
        assert "scrypt" not in text


def test_register_put_in_the_place_of_another_during_a_run_is_not_taken(script: Script, tmp_path: Path) -> None:
    """A note after the exchange must not make the other register that of the job."""
    controller = resume(script, script.shop)
    own = script.shop.read_text(encoding="utf-8")
    shutil.copy(other_shop(tmp_path), script.shop)
    controller.send(intent_of("note", text="the phone rang"))
    reply = controller.send(intent_of("sign", operation="look", by="Eve"))
    assert isinstance(reply, Refusal)
    assert "The register of this job" in reply.refused[0].message
    script.shop.write_text(own, encoding="utf-8")
    controller.send(intent_of("sign", **SIGN))
    controller.close()
    kinds = [event["kind"] for event in script.log()]
    assert kinds[-3:] == ["resumed", "noted", "signed"]
    assert "register-changed" not in kinds
