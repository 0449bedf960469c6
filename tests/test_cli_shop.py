"""The commands that change the shop's register: what they must not lose or leave half said."""

from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from benchflow.base.errors import BenchflowError
from benchflow.commands.shop import shop
from benchflow.session.shop.register import find_person, pin_fits
from benchflow.session.shop.register_reader import load_shop


@pytest.fixture(autouse=True)
def _home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BENCHFLOW_HOME", str(tmp_path))


def run(*words: str, typed: str = "") -> Result:
    return CliRunner().invoke(shop, words, input=typed)


def test_naming_a_person_again_without_a_role_does_not_take_the_roles_away(tmp_path: Path) -> None:
    assert run("person", "Ann", "--role", "inspector").exception is None
    refused = run("person", "ann")
    assert isinstance(refused.exception, BenchflowError)
    assert "inspector" in str(refused.exception)
    run("person", "Ann", "--role", "builder", "--role", "inspector")
    found = load_shop(tmp_path / "config" / "shop.yaml").shop
    assert found is not None
    assert found.people[0].roles == ("builder", "inspector")


def test_a_script_can_give_a_pin_without_a_terminal_and_without_noise(tmp_path: Path) -> None:
    run("person", "Ann", "--role", "inspector")
    given = run("pin", "Ann", typed="4711\n")
    assert given.exception is None
    assert "echo" not in given.output
    register = load_shop(tmp_path / "config" / "shop.yaml").shop
    assert register is not None
    person = find_person(register, "Ann")
    assert person is not None
    assert pin_fits("4711", person.pin)


@pytest.mark.parametrize("words", [("pin", "Nobody"), ("retire", "Nobody")])
def test_who_is_not_in_the_register_is_said_before_anything_is_asked_for(words: tuple[str, ...]) -> None:
    run("person", "Ann", "--role", "inspector")
    refused = run(*words)
    assert isinstance(refused.exception, BenchflowError)
    assert "Nobody" in str(refused.exception)


def test_every_key_of_an_instrument_can_be_read_off_the_help() -> None:
    from benchflow.session.shop.register_reader import json_schema

    told = run("instrument", "--help").output
    keys = json_schema()["$defs"]["instrument"]["properties"]
    # Uses by session are counted, a doubt and leaving the shop have commands of their own.
    for key in keys.keys() - {"uses-in", "in-doubt", "retired"}:
        assert key in told, key
