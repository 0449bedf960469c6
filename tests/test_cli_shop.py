"""The commands that change the register of the shop."""

import json
import os
import re
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from benchflow.base.errors import BenchflowError
from benchflow.commands.shop import shop
from benchflow.session.shop.pin_change import change_pin
from benchflow.session.shop.register import find_person, pin_matches
from benchflow.session.shop.register_reader import load_shop
from tests.driving.session_driver import stopped_clock


@pytest.fixture(autouse=True)
def _home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BENCHFLOW_HOME", str(tmp_path))


def run(*arguments: str, typed: str = "") -> Result:
    return CliRunner().invoke(shop, arguments, input=typed)


def test_known_person_without_role_option_keeps_the_roles(tmp_path: Path) -> None:
    assert run("person", "Ann", "--role", "inspector").exception is None
    refused = run("person", "ann")
    assert isinstance(refused.exception, BenchflowError)
    assert "inspector" in str(refused.exception)
    run("person", "Ann", "--role", "builder", "--role", "inspector")
    found = load_shop(tmp_path / "config" / "shop.yaml").shop
    assert found is not None
    assert found.people[0].roles == ("builder", "inspector")


def test_pin_is_read_from_standard_input(tmp_path: Path) -> None:
    run("person", "Ann", "--role", "inspector")
    given = run("pin", "Ann", typed="4711\n")
    assert given.exception is None
    assert "echo" not in given.output
    register = load_shop(tmp_path / "config" / "shop.yaml").shop
    assert register is not None
    person = find_person(register, "Ann")
    assert person is not None
    assert pin_matches("4711", person.pin)


def pin_of_ann(home: Path) -> str:
    register = load_shop(home / "config" / "shop.yaml").shop
    person = None if register is None else find_person(register, "Ann")
    assert person is not None
    return person.pin


def wait_is_over(home: Path) -> None:
    (home / "config" / "shop.yaml.lock").write_text("")


def stop_clock(patch: pytest.MonkeyPatch) -> None:
    """Let no time pass between two tries, however busy the machine is."""
    clock = stopped_clock()
    patch.setattr("benchflow.session.shop.pin_change.Clock", lambda: clock)


def test_changing_a_pin_asks_for_the_present_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    stop_clock(monkeypatch)
    run("person", "Ann", "--role", "inspector")
    run("pin", "Ann", typed="4711\n")
    refused = run("pin", "Ann", typed="0815\n0815\n")
    assert "not the present PIN of Ann" in str(refused.exception)
    assert pin_matches("4711", pin_of_ann(tmp_path))
    waiting = run("pin", "Ann", typed="4711\n0815\n")
    assert "Wait 2 s" in str(waiting.exception)
    assert pin_matches("4711", pin_of_ann(tmp_path))
    wait_is_over(tmp_path)
    assert run("pin", "Ann", typed="4711\n0815\n").exception is None
    assert pin_matches("0815", pin_of_ann(tmp_path))


def test_removing_a_pin_asks_for_it(tmp_path: Path) -> None:
    run("person", "Ann", "--role", "inspector")
    assert "has no PIN" in str(run("pin", "Ann", "--remove").exception)
    run("pin", "Ann", typed="4711\n")
    for typed in ("", "\n", "4712\n"):
        wait_is_over(tmp_path)
        assert "not the present PIN" in str(run("pin", "Ann", "--remove", typed=typed).exception)
    wait_is_over(tmp_path)
    assert run("pin", "Ann", "--remove", typed="4711\n").exception is None
    assert pin_of_ann(tmp_path) == ""
    assert "PIN removed" in run().output


def test_program_killed_during_a_try_still_makes_the_next_one_wait(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    stop_clock(monkeypatch)
    run("person", "Ann", "--role", "inspector")
    run("pin", "Ann", typed="4711\n")
    with monkeypatch.context() as patch:
        patch.setattr("benchflow.session.shop.pin_change.pin_matches", lambda pin, stored: 1 / 0)
        assert isinstance(run("pin", "Ann", typed="4712\n0815\n").exception, ZeroDivisionError)
    assert "Wait 2 s" in str(run("pin", "Ann", typed="4711\n0815\n").exception)


def test_pin_that_is_not_utf_8_is_a_pin(tmp_path: Path) -> None:
    run("person", "Ann", "--role", "inspector")
    change_pin(tmp_path / "config" / "shop.yaml", "Ann", "", "\udcb0\udcb012")
    assert pin_matches("\udcb0\udcb012", pin_of_ann(tmp_path))
    assert not pin_matches("\udcb0\udcb112", pin_of_ann(tmp_path))


def test_hash_of_one_person_copied_to_another_is_an_error(tmp_path: Path) -> None:
    for name in ("Ann", "Eve"):
        run("person", name, "--role", "inspector")
        run("pin", name, typed=f"{name}4711\n")
    path = tmp_path / "config" / "shop.yaml"
    text = path.read_text(encoding="utf-8")
    ann, eve = re.findall(r"pin: (scrypt\S+?),", text)
    path.write_text(text.replace(ann, eve), encoding="utf-8")
    (problem,) = load_shop(path).problems
    assert (problem.code, "another person than Ann" in str(problem)) == ("bad-pin", True)
    assert "shop pin 'Ann'" in str(problem)


def test_two_people_whose_names_look_alike_are_an_error(tmp_path: Path) -> None:
    run("person", "Ida Inn", "--role", "inspector")
    path = tmp_path / "config" / "shop.yaml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("  Ida Inn:", "  IDA  inn: {roles: [inspector]}\n  Ida Inn:"), encoding="utf-8")
    assert [problem.code for problem in load_shop(path).problems] == ["duplicate-item"]


def test_list_has_the_id_and_since_when_a_pin_is_set(tmp_path: Path) -> None:
    run("person", "Ann", "--role", "inspector")
    run("person", "Ben", "--role", "builder")
    run("pin", "Ann", typed="4711\n")
    listed = json.loads(run("--json").output)
    register = load_shop(tmp_path / "config" / "shop.yaml").shop
    assert register is not None
    assert listed["id"] == register.id
    assert [(one["name"], one["pin"], one["pin-changed"] is not None) for one in listed["people"]] == [
        ("Ann", True, True),
        ("Ben", False, False),
    ]
    shown = run().output
    assert register.id in shown
    assert re.search(r"Ann: inspector, PIN set \d{4}-", shown)
    assert "Ben: builder, no PIN" in shown


@pytest.mark.skipif(os.name != "posix", reason="files have no permissions here")
def test_file_with_hashes_is_made_private_with_the_next_change(tmp_path: Path) -> None:
    path = tmp_path / "config" / "shop.yaml"
    run("person", "Ann", "--role", "inspector")
    run("pin", "Ann", typed="4711\n")
    path.chmod(0o664)
    assert "chmod 600" in run().output
    assert "Now only you" in run("person", "Ben", "--role", "builder").output
    assert path.stat().st_mode & 0o777 == 0o600
    assert "Now only you" not in run("person", "Cid", "--role", "builder").output


@pytest.mark.parametrize("arguments", [("pin", "Nobody"), ("retire", "Nobody")])
def test_unknown_person_is_refused(arguments: tuple[str, ...]) -> None:
    run("person", "Ann", "--role", "inspector")
    refused = run(*arguments)
    assert isinstance(refused.exception, BenchflowError)
    assert "Nobody" in str(refused.exception)


def test_help_lists_every_key_of_an_instrument() -> None:
    from benchflow.session.shop.register_reader import json_schema

    text = run("instrument", "--help").output
    keys = json_schema()["$defs"]["instrument"]["properties"]
    # The program counts `uses-in`. The other two are set by `shop doubt` and `shop retire`.
    for key in keys.keys() - {"uses-in", "in-doubt", "retired"}:
        assert key in text, key


# --- the letterhead -----------------------------------------------------------------------------------


def letterhead(home: Path) -> dict[str, object]:
    found: dict[str, object] = json.loads(run("--json").output)["letterhead"]
    return found


def test_letterhead_is_set_changed_shown_and_removed(tmp_path: Path) -> None:
    set_ = run("letterhead", "name=A bench", "address=12 Quay Road; Smalltown", "telephone=01234 567890")
    assert set_.exception is None
    assert letterhead(tmp_path) == {
        "name": "A bench", "address": ["12 Quay Road", "Smalltown"], "telephone": "01234 567890", "email": "",
        "logo": "",
    }  # fmt: skip
    assert "12 Quay Road\nSmalltown\n01234 567890" in run().output
    run("letterhead", "address=Newtown", "telephone=")
    assert (letterhead(tmp_path)["address"], letterhead(tmp_path)["telephone"]) == (["Newtown"], "")


@pytest.mark.parametrize(
    ("value", "words"),
    [
        ("email=nobody", "is not an e-mail address"),
        ("telephone=ring twice", "is not a telephone number"),
        ("fax=1", "Its keys are: name, address, telephone, email, logo"),
        ("telephone=1; 2", "is not a telephone number"),
        ("Smalltown", "is not KEY=VALUE"),
        ("logo=missing.png", "cannot be read"),
    ],
)
def test_bad_letterhead_is_refused_and_changes_nothing(tmp_path: Path, value: str, words: str) -> None:
    run("person", "Ann", "--role", "builder")
    before = (tmp_path / "config" / "shop.yaml").read_bytes()
    refused = run("letterhead", value)
    assert isinstance(refused.exception, BenchflowError)
    assert words in str(refused.exception)
    assert (tmp_path / "config" / "shop.yaml").read_bytes() == before


def test_doubt_is_marked_with_its_dates_and_kept_after_the_calibration() -> None:
    run("instrument", "tw", "kind=torque", "serial=TW", "calibrated=2025-11-03")
    assert isinstance(run("doubt", "tw", "dropped", "--found", "2199-01-01").exception, BenchflowError)
    refused = run("doubt", "tw", "dropped", "--found", "2026-05-01", "--last-good", "2026-06-01")
    assert "The last good check 2026-06-01 is after" in str(refused.exception)
    assert isinstance(run("doubt", "tw", "dropped", "--last-good", "May").exception, BenchflowError)
    assert run("doubt", "tw", "dropped", "--found", "2026-05-01").exception is None
    assert "IN DOUBT: dropped (found 2026-05-01, last good check 2025-11-03)" in run().output
    assert run("calibrated", "tw", "--on", "2026-06-01").exception is None
    (found,) = json.loads(run("--json").output)["instruments"]
    assert (found["in-doubt"], found["in-doubt-found"]) == ("", None)
    assert found["doubts"] == [
        {"reason": "dropped", "found": "2026-05-01", "last-good": "2025-11-03", "calibrated": "2026-06-01"}
    ]
