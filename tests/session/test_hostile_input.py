"""Entries, dates and files that no one would type on purpose: each is refused with a message."""

import json
import os
from datetime import date
from pathlib import Path

import pytest

from benchflow.trade.instruments import add_months
from tests.driving.hostile_folder import run_by_modes
from tests.driving.script import Script, intent, open_intent, procedure_with

PULL = procedure_with(
    "{id: pull, title: Pull, tighten: {joint: ring, stages: [20 N·m]}}",
    head='joints: {ring: {title: Ring, layout: "1 2"}}\n',
)


@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ({"extension": "", "lever": "400 mm"}, "value-missing"),
        ({"extension": " ", "lever": "400 mm"}, "bad-quantity"),
        ({"extension": "50 mm", "lever": ""}, "value-missing"),
        ({"extension": "x", "lever": "400 mm"}, "bad-quantity"),
    ],
)
def test_wrench_without_a_length_is_refused(tmp_path: Path, fields: dict[str, str], code: str) -> None:
    script = Script(tmp_path, PULL)
    script.do_all(open_intent(), intent("start", operation="pull"))
    assert script.refused("wrench", **fields) == [code]


def test_key_that_occurs_twice_is_refused(tmp_path: Path) -> None:
    script = Script(tmp_path, PULL)
    script.do_all(open_intent())
    twice, nested, once = script.run(
        b'{"intent": "note", "text": "a", "text": "b"}\n'
        b'{"intent": "open", "options": {"a": "1", "a": "2"}}\n'
        b'{"intent": "note", "text": "text, \\"text\\""}\n'
    )
    assert (twice["ok"], nested["ok"], once["ok"]) == (False, False, True)
    assert twice["refused"][0]["message"].startswith("The key “text” occurs twice")


def test_calibration_at_the_end_of_the_calendar_has_a_due_date() -> None:
    assert add_months(date(9999, 12, 31), 12) == date.max
    assert add_months(date(2024, 2, 29), 12) == date(2025, 2, 28)
    assert add_months(date(2025, 12, 31), 2) == date(2026, 2, 28)


@pytest.mark.parametrize("day", ["2026-02-30", "0000-01-01", "20260301", "2026-W01-1", "", "９999-01-01"])
def test_day_that_does_not_exist_is_named_in_the_register(tmp_path: Path, day: str) -> None:
    (tmp_path / "home/config").mkdir(parents=True)
    register = f"shop: 1\ninstruments: {{tw: {{kind: torque, serial: T1, calibrated: '{day}'}}}}\n"
    (tmp_path / "home/config/shop.yaml").write_text(register, encoding="utf-8")
    code, _, errors = run_by_modes(tmp_path, "shop")
    assert code == 1
    assert f"`{day}` is not a date" in errors


@pytest.mark.parametrize("kind", ["pipe", "folder", "closed", "link to itself"])
def test_register_that_cannot_be_read_gives_a_message(tmp_path: Path, kind: str) -> None:
    (tmp_path / "home/config").mkdir(parents=True)
    register = tmp_path / "home/config/shop.yaml"
    if kind == "pipe":
        os.mkfifo(register)
    elif kind == "folder":
        register.mkdir()
    elif kind == "closed":
        register.touch(mode=0)
    else:
        register.symlink_to("shop.yaml")
    for call in (["shop"], ["shop", "--json"], ["shop", "person", "R."]):
        code, _, errors = run_by_modes(tmp_path, *call, seconds=20)
        assert "Traceback" not in errors
        assert code == 2 or kind == "link to itself", (call, errors)


def test_folder_settings_that_cannot_be_used_give_a_message(tmp_path: Path) -> None:
    script = Script(tmp_path, PULL)
    script.do_all(open_intent())
    (tmp_path / "p.yaml").write_text(PULL, encoding="utf-8")
    (tmp_path / "home").write_text("a file")
    for call in ("sessions", "archive", "trace --person R", "shop", "where", "check p.yaml", "review log.jsonl",
                 "log log.jsonl", "verify log.jsonl", "shop person R."):  # fmt: skip
        code, _, errors = run_by_modes(tmp_path, *call.split())
        assert code in (0, 1, 2), (call, errors)
        assert "Traceback" not in errors


def test_cache_that_cannot_be_written_is_not_needed(tmp_path: Path) -> None:
    (tmp_path / "p.yaml").write_text(PULL, encoding="utf-8")
    (tmp_path / "home").mkdir()
    (tmp_path / "home/cache").mkdir(mode=0o500)
    code, output, errors = run_by_modes(tmp_path, "check", "p.yaml", "--json")
    assert (code, errors) == (0, "")
    assert json.loads(output)["ok"] is True
