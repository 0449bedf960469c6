"""The names in intents, and what refusals say about names. All data is invented."""

from pathlib import Path

import pytest

from tests.driving.script import Json, Script, intent, open_intent, procedure_with

PLACES = "places: {cyl: [1, 2]}\n"


def message_of(script: Script, refused: Json) -> str:
    (reply,) = script.send(refused)
    return " ".join(each["message"] for each in reply["refused"])


def test_choice_carries_a_reason(tmp_path: Path) -> None:
    script = Script(
        tmp_path,
        procedure_with(
            "{id: a, title: A, record: {v: {ask: V, unit: mm}}, "
            "choose: {shim: {by: v, from: [{up to: 1 mm, take: thin}, {take: thick}]}}}"
        ),
    )
    script.do_all(open_intent(), intent("start", operation="a"), intent("record", name="v", value="0.5 mm"))
    (event,) = script.do("choose", name="shim", take="thin", reason="the only one\nhere")
    assert event["data"]["reason"] == "the only one here"
    assert script.refused("choose", name="shim", take="thin", place=3) == ["unknown-name"]


def test_choice_names_the_place_of_a_matching(tmp_path: Path) -> None:
    script = Script(
        tmp_path,
        procedure_with(
            "{id: a, title: A, record: {gap: {ask: Gap, unit: mm, readings: cyl}, "
            "hand: {ask: Shim, unit: mm, readings: 2}}, match: {shims: {measured: hand, to: cyl, so that: lash, "
            "limit: 0.1 .. 0.3 mm}}, work-out: {lash: {is: gap - shims, unit: mm}}}",
            head=PLACES,
        ),
    )
    script.do_all(open_intent(), intent("start", operation="a"))
    for name in ("gap", "hand"):
        script.do_all(*(intent("record", name=name, value=f"{n}.2 mm", reading=n) for n in (1, 2)))
    (event,) = script.do("choose", name="shims", place=2, take="1")
    assert event["data"]["name"] == "shims[2]"
    assert script.refused("choose", name="shims", place=3, take="1") == ["unknown-name"]


@pytest.mark.parametrize("about", ["a[*]", "time a[*]", "a"])
def test_deviation_names_a_window_as_the_procedure_does(tmp_path: Path, about: str) -> None:
    script = Script(
        tmp_path,
        procedure_with("{id: a, title: A, each: cyl}", "{id: b, title: B, time: {'a[*]': at least 2 h}}", head=PLACES),
    )
    script.do_all(open_intent())
    for place in (1, 2):
        script.do_all(intent("start", operation=f"a[{place}]"), intent("finish"))
    assert script.refused("start", operation="b") == ["too-early", "too-early"]
    script.do_all(intent("deviate", operation="b", about=about, reason="it is warm"), intent("start", operation="b"))


def test_missing_places_are_named_apart(tmp_path: Path) -> None:
    script = Script(
        tmp_path, procedure_with("{id: a, title: A, each: cyl}", "{id: b, title: B, after: ['a[*]']}", head=PLACES)
    )
    script.do_all(open_intent())
    message = message_of(script, intent("start", operation="b"))
    assert message == "Do “A” (cyl 1) first. Do “A” (cyl 2) first."


def test_operation_that_this_build_leaves_out_is_told(tmp_path: Path) -> None:
    script = Script(
        tmp_path,
        procedure_with(
            "{id: a, title: A, when: {o: x}}", "{id: b, title: B}", head="options: {o: {ask: O, choices: [x, y]}}\n"
        ),
    )
    script.do_all(open_intent(options={"o": "y"}))
    assert script.refused("start", operation="a") == ["unknown-name"]
    assert message_of(script, intent("start", operation="a")) == "“A” is not part of this build (o is y). Leave it out."
    assert "Unknown operation" in message_of(script, intent("start", operation="c"))


def test_state_without_a_value_says_how_not_known_is_entered(tmp_path: Path) -> None:
    script = Script(tmp_path, procedure_with("{id: a, title: A}", head="state: {s: {values: [up, down], start: up}}\n"))
    script.do_all(open_intent())
    assert "null if it is not known" in message_of(script, intent("set-state", variable="s", reason="seen"))


def test_remedy_before_its_reading_names_the_reading(tmp_path: Path) -> None:
    script = Script(
        tmp_path,
        procedure_with(
            "{id: a, title: A, record: {v: {ask: V, unit: mm, readings: 2, limit: 1 .. 2 mm, below: [{do: x}]}}}"
        ),
    )
    script.do_all(open_intent(), intent("start", operation="a"), intent("record", name="v", value="1.5 mm"))
    assert "Not entered yet: V (reading 2)" in message_of(script, intent("remedy", name="v[2]"))


@pytest.mark.parametrize(
    ("limit", "action", "shown"),
    [("below 10 min", "start", "less than 1 s too late"), ("above 10 min", "start", "Wait less than 1 s more")],
)
def test_strict_edge_of_a_window_is_told_in_words(tmp_path: Path, limit: str, action: str, shown: str) -> None:
    text = procedure_with("{id: a, title: A}", f"{{id: b, title: B, time: {{a: {limit}}}}}")
    script = Script(tmp_path, text, simulated=True)
    at = "2026-03-01T06:00:00Z"
    script.do_all(open_intent(at=at), intent("start", operation="a", at=at), intent("finish", at=at))
    assert shown in message_of(script, intent(action, operation="b", at="2026-03-01T06:10:00Z"))


def test_unfit_instrument_is_told_once(tmp_path: Path) -> None:
    text = procedure_with(
        "{id: a, title: A, record: {v: {ask: V, unit: mm, with: gauge}}}",
        head="instruments: {gauge: {kind: length}}\n",
    )
    shop = "shop: 1\ninstruments:\n  g1: {kind: length, serial: '77', calibration-due: 2020-01-01}\n"
    script = Script(tmp_path, text, shop=shop)
    script.do_all(open_intent(), intent("start", operation="a"))
    assert script.refused("record", name="v", value="1 mm", instrument="77") == ["instrument-unfit"]
    message = message_of(script, intent("record", name="v", value="1 mm", instrument="77"))
    assert message.count("2020-01-01") == 1, message
