"""The commands that change the register of the shop."""

from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from benchflow.base.errors import BenchflowError
from benchflow.commands.shop import shop
from benchflow.session.shop.register import find_person, pin_matches
from benchflow.session.shop.register_reader import load_shop


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
