"""The shop's register: who may sign, which instruments are fit, and changes to its file."""

import os
from datetime import date
from decimal import Decimal
from pathlib import Path

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchflow.procedure.model import InstrumentNeed
from benchflow.quantity import Quantity, parse_limit, parse_quantity
from benchflow.session.log.disk import Disk
from benchflow.session.shop.register import (
    Person,
    Shop,
    ShopError,
    find_instrument,
    fit_instruments,
    hash_pin,
    pin_matches,
    signature_refusal,
)
from benchflow.session.shop.register_reader import json_schema, load_shop, read_shop
from benchflow.session.shop.register_writer import (
    add_instrument,
    add_person,
    apply_changes,
    change_file,
    mark_in_doubt,
    record_calibration,
    record_uses,
    retire,
    set_pin,
    set_roles,
    set_value,
)
from benchflow.trade.instruments import FixedUncertainty, PercentUncertainty

SALT = bytes(range(16))
SIGNING = hash_pin("2417", SALT)

TEXT = f"""\
# The bench by the window; all numbers are invented.
shop: 1
name: The bench by the window
people:
  A. Builder: {{roles: [builder]}}
  B. Second:
    roles: [builder, inspector]  # signs for holds
    pin: {SIGNING}
  C. Gone: {{roles: [inspector], retired: 2025-06-30}}
instruments:
  tw-120:
    title: Click wrench
    kind: torque
    serial: "00117"
    range: 20 .. 120 N·m
    uncertainty: 4 %
    coverage-factor: 2
    calibrated: 2026-01-15
    calibration-due: 2027-01-15
    uses-since: 410
    lever: 380 mm
  tw-200: {{kind: torque, serial: T-2, range: 40 .. 200 N·m, uncertainty: 4 %, calibrated: 2025-01-10}}
  mic-50: {{kind: micrometer, range: 25 .. 50 mm, uncertainty: 0.004 mm}}
  pg: {{kind: pressure gauge, range: 0 .. 10 bar, uncertainty: 1 % of scale}}
defaults: {{by: A. Builder}}
"""
TODAY = date(2026, 3, 1)
CHANGED = "2026-03-01T18:30:00.000Z"
WRENCH = InstrumentNeed("torque-wrench", "torque", covers=parse_limit("30 .. 110 N·m"))


def shop() -> Shop:
    found = read_shop(TEXT)
    assert found.problems == ()
    assert found.shop is not None
    return found.shop


def quantity(text: str) -> Quantity:
    return parse_quantity(text)


# --- reading ----------------------------------------------------------------------------------------


def test_register_keeps_all_digits_of_serial_numbers() -> None:
    wrench = find_instrument(shop(), "00117")
    assert wrench is not None
    assert (wrench.id, wrench.serial, wrench.uses, wrench.due) == ("tw-120", "00117", 410, date(2027, 1, 15))
    assert wrench.uncertainty == PercentUncertainty(Decimal(4), "4 %")
    assert shop().defaults.by == "A. Builder"


def test_uncertainty_as_share_of_scale_becomes_a_fixed_value() -> None:
    gauge = find_instrument(shop(), "pg")
    assert gauge is not None
    assert isinstance(gauge.uncertainty, FixedUncertainty)
    assert (gauge.uncertainty.quantity.value, gauge.uncertainty.quantity.unit) == (Decimal("0.1"), "bar")


@pytest.mark.parametrize(
    ("old", "new", "line", "column", "code", "expected"),
    [
        ("shop: 1", "shop: 2", 2, 7, "not-one-of", "`2`"),
        ("shop: 1\n", "", 2, 1, "missing-key", "`shop`"),
        ("serial:", "seriel:", 14, 5, "unknown-key", "`serial`"),
        ("kind: torque\n", "title: again\n", 13, 5, "duplicate-key", "already on line"),
        ("kind: micrometer, ", "", 23, 3, "missing-key", "`kind`"),
        ("20 .. 120 N·m", "120 .. 20 N·m", 15, 12, "bad-quantity", "lower end"),
        ("380 mm", "380 N·m", 21, 16, "wrong-dimension", "length"),
        ("2027-01-15", "15.01.2027", 19, 22, "bad-date", "2026-03-01"),
        ("2027-01-15", "2025-01-15", 19, 22, "bad-date", "before its own date"),
        ("uses-since: 410", "uses-since: many", 20, 17, "bad-number", "`many`"),
        ("coverage-factor: 2", "coverage-factor: 0", 17, 22, "bad-number", "above zero"),
        ("0.004 mm", "0.004 N", 23, 63, "wrong-dimension", "different dimensions"),
        ("1 % of scale", "1 bar of scale", 24, 63, "bad-quantity", "not an uncertainty"),
        ("lever: 380 mm", "scale: 120 mm", 21, 12, "wrong-dimension", "different dimensions"),
        ("range: 0 .. 10 bar, ", "", 24, 43, "missing-key", "scale"),
        ("serial: T-2", 'serial: "00117"', 11, 3, "duplicate-item", "00117"),
        ("by: A. Builder", "by: A. Bilder", 25, 16, "unknown-name", "A. Builder"),
        (f"pin: {SIGNING}", "pin: 2417", 8, 10, "bad-pin", "salted hash"),
    ],
)
def test_error_in_the_register_has_line_column_and_code(
    old: str, new: str, line: int, column: int, code: str, expected: str
) -> None:
    assert old in TEXT
    found = read_shop(TEXT.replace(old, new, 1))
    assert found.shop is None
    named = [(p.code, p.line, p.column) for p in found.problems]
    assert (code, line, column) in named
    assert any(expected in str(problem) for problem in found.problems)


def test_plain_pin_is_not_repeated_in_the_message() -> None:
    found = read_shop(TEXT.replace(SIGNING, "748213", 1))
    assert not any("748213" in str(problem) for problem in found.problems)


def test_empty_file_is_an_empty_register() -> None:
    found = read_shop("# nothing yet\n")
    assert found.shop is not None
    assert found.shop.people == ()


def test_schema_agrees_with_the_reader() -> None:
    from ruamel.yaml import YAML

    tree = YAML(typ="safe", pure=True).load(TEXT)
    tree["shop"] = str(tree["shop"])  # the reader reads every value as text
    validator = jsonschema.Draft202012Validator(json_schema())
    dates = ("calibrated", "calibration-due", "retired")
    for part in ("people", "instruments"):
        for entry in tree[part].values():
            entry.update({key: str(entry[key]) for key in dates if key in entry})
    assert list(validator.iter_errors(tree)) == []
    tree["instruments"]["tw-120"]["seriel"] = "1"
    assert list(validator.iter_errors(tree)) != []


@settings(max_examples=60, deadline=None)
@given(st.text(alphabet=st.sampled_from("shop: 1\n{}[]&*!#%'\"-,éN·m\x00"), max_size=80), st.integers(0, len(TEXT)))
def test_reader_reports_problems_for_any_text(text: str, at: int) -> None:
    for whole in (text, TEXT[:at] + text + TEXT[at:]):
        found = read_shop(whole)
        assert (found.shop is None) == any(problem.severity == "error" for problem in found.problems)


# --- people -----------------------------------------------------------------------------------------


def test_any_name_may_sign_without_a_register() -> None:
    assert signature_refusal(None, "anybody", "inspector", None) is None


def test_refusal_for_a_missing_role_lists_who_may_sign() -> None:
    refusal = signature_refusal(shop(), "A. Builder", "inspector", None)
    assert refusal is not None
    assert refusal.code == "no-role"
    assert "B. Second" in refusal.message
    assert "C. Gone" not in refusal.message


@pytest.mark.parametrize(
    ("name", "pin", "code"),
    [("Z. Nobody", None, "unknown-person"), ("B. Second", None, "pin-missing"), ("B. Second", "2471", "pin-wrong")],
)
def test_unknown_name_and_missing_or_wrong_pin_are_refused(name: str, pin: str | None, code: str) -> None:
    refusal = signature_refusal(shop(), name, "inspector", pin)
    assert refusal is not None
    assert refusal.code == code


def test_pin_in_full_width_digits_and_name_in_other_capitals_are_accepted() -> None:
    assert signature_refusal(shop(), "b. second", "inspector", "２４１７") is None


def test_retired_person_may_sign_only_before_retirement() -> None:
    assert (gone := signature_refusal(shop(), "C. Gone", "inspector", None, on=TODAY)) is not None
    assert "has not worked here since" in gone.message
    assert signature_refusal(shop(), "C. Gone", "inspector", None, on=date(2025, 6, 29)) is None


def test_pin_is_optional_without_a_role_but_checked_if_entered() -> None:
    assert signature_refusal(shop(), "B. Second", None, None) is None
    assert (asked := signature_refusal(shop(), "B. Second", None, None, ask_pin=True)) is not None
    assert "PIN" in asked.message
    assert signature_refusal(shop(), "B. Second", None, "9999") is not None


def test_same_pin_has_different_hashes_with_different_salts() -> None:
    other = hash_pin("2417", bytes(16))
    assert other != SIGNING
    assert "2417" not in other.split("$")
    assert pin_matches(" 2417 ", other)


@pytest.mark.parametrize(
    "stored",
    ["", "2417", "scrypt$1073741824$8$1$00$00", SIGNING.replace("scrypt", "md5"), SIGNING[:-2], SIGNING + "zz",
     SIGNING.replace("$8$", "$-8$"), SIGNING.replace("$8$", "$99999999$")],
)  # fmt: skip
def test_invalid_or_too_costly_hash_matches_no_pin(stored: str) -> None:
    assert not pin_matches("2417", stored)


@pytest.mark.parametrize("pin", ["123", " 12 ", "x" * 65])
def test_pin_that_is_too_short_or_too_long_is_refused(pin: str) -> None:
    with pytest.raises(ShopError, match="4 to 64 characters"):
        hash_pin(pin, SALT)


# --- instruments ------------------------------------------------------------------------------------


def test_overdue_wrench_is_unfit_and_fit_ones_are_listed() -> None:
    found = fit_instruments(shop(), WRENCH, quantity("60 N·m"), TODAY)
    assert [one.id for one in found.fit] == ["tw-120"]
    assert "ran out on 2026-01-10, 50 days ago" in found.unfit[0].message
    assert "Click wrench (00117)" in found.message


def test_message_has_the_reason_for_each_unfit_instrument() -> None:
    found = fit_instruments(shop(), WRENCH, quantity("22 N·m"), TODAY)
    assert found.fit == ()
    assert "below 20 % of its scale, 24 N·m" in found.message
    assert "below its range, 40 .. 200 N·m" in found.message


def test_range_in_foot_pounds_is_compared_with_the_setting() -> None:
    found = fit_instruments(shop(), WRENCH, quantity("85 ft-lb"), TODAY)
    assert [one.id for one in found.fit] == ["tw-120"]
    assert fit_instruments(shop(), WRENCH, quantity("89 ft-lb"), TODAY).fit == ()


def test_wrench_with_the_smallest_suitable_scale_is_first() -> None:
    renewed = apply_changes(TEXT, record_calibration("tw-200", date(2026, 2, 1), None))
    register = read_shop(renewed).shop
    assert register is not None
    assert [one.id for one in fit_instruments(register, WRENCH, quantity("60 N·m"), TODAY).fit] == ["tw-120", "tw-200"]


def test_uses_of_one_session_recorded_twice_count_once() -> None:
    job_1, job_1_later = record_uses("job-1", {"tw-120": 30}), record_uses("job-1", {"tw-120": 42})
    text = apply_changes(
        TEXT, job_1, job_1_later, record_uses("job-2", {"tw-120": 8}), record_uses("job-3", {"00117": 5})
    )
    register = read_shop(text).shop
    assert register is not None
    wrench = find_instrument(register, "tw-120")
    assert wrench is not None
    assert wrench.uses == 410 + 42 + 8 + 5


# --- the file ---------------------------------------------------------------------------------------


def test_change_keeps_comments_and_digits() -> None:
    after = apply_changes(TEXT, set_roles("A. Builder", ("builder", "inspector")))
    assert "# signs for holds" in after
    assert 'serial: "00117"' in after
    made = read_shop(after).shop
    assert made is not None
    assert after.replace("roles: [builder, inspector]}", "roles: [builder]}").replace(f"id: {made.id}\n", "") == TEXT


def test_calibration_resets_the_uses_and_removes_the_doubt() -> None:
    uses = record_uses("job-1", {"tw-120": 12, "unknown": 3})
    doubted = apply_changes(TEXT, uses, mark_in_doubt("tw-120", "dropped"))
    before = read_shop(doubted).shop
    after = read_shop(apply_changes(doubted, record_calibration("tw-120", TODAY, date(2027, 3, 1)))).shop
    assert before is not None
    assert after is not None
    old, new = find_instrument(before, "tw-120"), find_instrument(after, "tw-120")
    assert (old and old.uses, old and old.doubt) == (422, "dropped")
    assert (new and new.uses, new and new.doubt, new and new.due) == (0, "", date(2027, 3, 1))


def test_person_added_to_a_new_file_can_sign(tmp_path: Path) -> None:
    path = tmp_path / "shop.yaml"
    change_file(path, add_person("D. New", ("inspector",)), set_pin("D. New", SIGNING, CHANGED))
    found = load_shop(path)
    assert found.shop is not None
    assert found.shop.people == (Person("D. New", ("inspector",), SIGNING, pin_changed=CHANGED),)
    assert signature_refusal(found.shop, "D. New", "inspector", "2417") is None


def test_retired_instrument_stays_in_the_register(tmp_path: Path) -> None:
    path = tmp_path / "shop.yaml"
    path.write_text(TEXT, encoding="utf-8")
    change_file(path, add_instrument("mic-75", {"kind": "micrometer", "range": "50 .. 75 mm"}))
    register = change_file(path, retire("instruments", "mic-75", TODAY), set_value("mic-75", "note", "worn"))
    mic = find_instrument(register, "mic-75")
    assert (mic and mic.retired, mic and mic.note) == (TODAY, "worn")


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        (add_person("A. Builder", ()), "already"),
        (add_instrument("tw-120", {"kind": "torque"}), "already"),
        (set_pin("Z. Nobody", SIGNING), "It has: A. Builder"),
        (set_value("tw-120", "range", "plenty"), "would have errors"),
        (add_instrument("x", {"knd": "torque"}), "`kind`"),
    ],
)
def test_impossible_change_leaves_the_file_unchanged(change: object, expected: str, tmp_path: Path) -> None:
    path = tmp_path / "shop.yaml"
    path.write_text(TEXT, encoding="utf-8")
    with pytest.raises(ShopError, match=expected):
        change_file(path, change)  # type: ignore[arg-type]  # parametrized: a Change
    assert path.read_text(encoding="utf-8") == TEXT
    assert sorted(one.name for one in tmp_path.iterdir()) == ["shop.yaml", "shop.yaml.lock"]


class FullDisk(Disk):
    """A disk on which every sync fails because it is full."""

    def sync(self, fd: int) -> None:
        raise OSError(28, "No space left on device")


class ChangedByEditor(Disk):
    """A disk on which an editor changes the register during the sync."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def sync(self, fd: int) -> None:
        super().sync(fd)
        self.path.write_text(TEXT + "# mine\n", encoding="utf-8")


def test_full_disk_leaves_the_register_unchanged(tmp_path: Path) -> None:
    path = tmp_path / "shop.yaml"
    path.write_text(TEXT, encoding="utf-8")
    with pytest.raises(ShopError, match="No space left"):
        change_file(path, add_person("D. New", ("inspector",)), disk=FullDisk())
    assert path.read_text(encoding="utf-8") == TEXT
    assert len(list(tmp_path.iterdir())) == 2


def test_change_by_another_program_is_not_overwritten(tmp_path: Path) -> None:
    path = tmp_path / "shop.yaml"
    path.write_text(TEXT, encoding="utf-8")
    with pytest.raises(ShopError, match="Another program has just changed"):
        change_file(path, add_person("D. New", ("inspector",)), disk=ChangedByEditor(path))
    assert path.read_text(encoding="utf-8").endswith("# mine\n")


def test_register_locked_by_another_program_is_not_changed(tmp_path: Path) -> None:
    from benchflow.session.log import lock

    path = tmp_path / "shop.yaml"
    path.write_text(TEXT, encoding="utf-8")
    fd = os.open(tmp_path / "shop.yaml.lock", os.O_RDWR | os.O_CREAT)
    try:
        assert lock.acquire(fd)
        with pytest.raises(ShopError, match="Another program is changing"):
            change_file(path, add_person("D. New", ("inspector",)))
    finally:
        os.close(fd)


def test_register_keeps_its_file_permissions(tmp_path: Path) -> None:
    path = tmp_path / "shop.yaml"
    path.write_text(TEXT, encoding="utf-8")
    path.chmod(0o600)
    change_file(path, add_person("D. New", ("inspector",)))
    assert path.stat().st_mode & 0o777 == 0o600


def test_file_with_errors_is_not_changed(tmp_path: Path) -> None:
    path = tmp_path / "shop.yaml"
    path.write_text(TEXT.replace("kind: torque\n", "knd: torque\n", 1), encoding="utf-8")
    with pytest.raises(ShopError, match="Correct them first"):
        change_file(path, add_person("D. New", ("inspector",)))
