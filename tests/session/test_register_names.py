"""Instruments of the register: the names that a refusal offers can be entered, and it says what to do."""

from pathlib import Path

import pytest

from tests.driving.script import Script, intent, open_intent, procedure_with

PEOPLE = "shop: 1\npeople: {Ann: {roles: [builder]}, Ida: {roles: [inspector]}}\n"
HEAD = "instruments: {micrometer: {kind: length%s}}\n"
MEASURE = "{id: one, title: One, record: {gap: {ask: Gap, unit: mm, with: micrometer}}}"


def measuring(folder: Path, shop: str, unfit: str = "") -> Script:
    script = Script(folder, procedure_with(MEASURE, head=HEAD % unfit), shop=shop)
    script.do_all(open_intent(by="Ann"), intent("start", operation="one"))
    return script


def refusal(script: Script, **fields: str) -> tuple[str, str]:
    (reply,) = script.send(intent("record", name="gap", value="0.5 mm", **fields))
    (reason,) = reply["refused"]
    return reason["code"], reason["message"]


SAME_NAMES = PEOPLE + (
    "instruments:\n"
    "  micrometer: {kind: length, title: Outside micrometer, range: 0 .. 25 mm}\n"
    "  second: {kind: length, title: Second micrometer, serial: M-2, range: 0 .. 25 mm}\n"
)


@pytest.mark.parametrize(
    ("name", "serial"),
    [
        ("micrometer", "micrometer"),
        ("Outside micrometer (micrometer)", "micrometer"),
        ("outside  MICROMETER", "micrometer"),
        ("second", "M-2"),
        ("M-2", "M-2"),
        ("Second micrometer (M-2)", "M-2"),
    ],
)
def test_every_name_that_a_refusal_offers_can_be_entered(tmp_path: Path, name: str, serial: str) -> None:
    script = measuring(tmp_path, SAME_NAMES)
    code, message = refusal(script)
    assert code == "value-missing"
    assert "Fit for 0.5 mm: Outside micrometer (micrometer), Second micrometer (M-2)." in message
    event = script.do("record", name="gap", value="0.5 mm", instrument=name)[-1]
    assert event["data"]["serial"] == serial


def test_register_without_instruments_says_how_to_add_one(tmp_path: Path) -> None:
    code, message = refusal(measuring(tmp_path, PEOPLE))
    assert code == "instrument-unfit"
    assert "benchflow shop instrument ID kind=length" in message
    assert "unfit: warn" in message


def test_register_with_other_kinds_names_them(tmp_path: Path) -> None:
    script = measuring(tmp_path, PEOPLE + "instruments: {w: {kind: torque}, t: {kind: dial indicator}}\n")
    assert "Its kinds are: torque, dial indicator." in refusal(script)[1]


def test_unknown_instrument_is_refused_with_the_fit_ones(tmp_path: Path) -> None:
    code, message = refusal(measuring(tmp_path, SAME_NAMES), instrument="M-9")
    assert code == "unknown-name"
    assert "Fit for 0.5 mm" in message


def test_unfit_instruments_are_refused_with_what_to_do(tmp_path: Path) -> None:
    shop = (
        PEOPLE
        + "instruments: {m: {kind: length, range: 0 .. 25 mm, calibrated: 2020-01-01, calibration-due: 2021-01-01}}\n"
    )
    code, message = refusal(measuring(tmp_path, shop))
    assert code == "instrument-unfit"
    assert "benchflow shop calibrated ID" in message


def test_need_that_only_warns_is_met_without_an_instrument_in_the_register(tmp_path: Path) -> None:
    script = measuring(tmp_path, PEOPLE, ", unfit: warn")
    used, recorded = script.do("record", name="gap", value="0.5 mm")
    assert used["data"]["warnings"] == ["The register has no instrument of the kind length"]
    assert "serial" not in recorded["data"]
    assert [event["kind"] for event in script.do("record", name="gap", value="0.6 mm")] == ["recorded"]


def test_instrument_of_another_kind_with_the_name_of_the_need_is_not_taken_for_it(tmp_path: Path) -> None:
    shop = PEOPLE + "instruments: {micrometer: {kind: torque}, m: {kind: length, range: 0 .. 25 mm}}\n"
    event = measuring(tmp_path, shop).do("record", name="gap", value="0.5 mm", instrument="micrometer")[-1]
    assert event["data"]["serial"] == "m"
