"""Malformed and malicious input: one answer for each line, no crash, and no control characters in the output."""

import json
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchflow.base.plaintext import unsafe_characters
from benchflow.session.intents.intent_types import INTENT_TYPES
from tests.driving.script import Json, Script, intent, open_intent

PROCEDURE = """\
benchflow: 1
id: hostile
title: Hostile
revision: "1"
options: {size: {ask: Which size?, choices: [small, large]}}
state: {lid: {values: [on, off], start: ask, ask: Is the lid on?}}
moves: {take-off: {title: Take the lid off, sets: {lid: off}}}
kit: {consumables: {oil: {title: Oil, lot: required}}}
joints: {ring: {title: Ring, layout: "1 2"}}
sections:
- title: All
  operations:
  - id: all
    title: All
    uses: [oil]
    record: {gap: {ask: Gap, unit: mm, limit: at most 1 mm}, play: {ask: Play, unit: mm, readings: 3}}
    tighten: {joint: ring, stages: [30 N·m], draw-down: a little}
    choose: {shim: {by: gap, from: [{up to: 1 mm, take: thin}]}}
    check: [it is flat]
    hold: {by: inspector, for: the ring}
    undo: {do: Undo it}
"""
CONTROL_CHARACTERS = "\x1b[31m\x9b2J\u202eevil\u2066\x00\x07\u200b\ufeff"


@pytest.fixture
def script(tmp_path: Path) -> Script:
    found = Script(tmp_path, PROCEDURE)
    found.do_all(open_intent(options={"size": "small"}), intent("start", operation="all"))
    return found


@pytest.mark.parametrize(
    "line",
    [
        b"",
        b"null",
        b"[]",
        b"17",
        b'"open"',
        b"{}",
        b'{"intent": null}',
        b'{"intent": 5}',
        b'{"intent": ["note"]}',
        b'{"intent": "note", "text": NaN}',
        b'{"intent": "note", "text": Infinity}',
        b'{"intent": "note", "text": "\xff\xfe"}',
        b'{"intent": "note", "text": "\\ud800"}',
        b'{"intent": "note", "text": "\\udc00\\ud800"}',
        b'{"intent": "tick", "joint": "ring", "fastener": 1e400}',
        b'{"intent": "tick", "joint": "ring", "fastener": 1' + b"0" * 5000 + b"}",
        b'{"intent": "start", "operation": 1' + b"0" * 5000 + b"}",
        b'{"intent": "correct", "event": 1' + b"0" * 4000 + b', "value": "1 mm", "reason": "x"}',
        b'{"intent": "open", "options": {"size": 1' + b"0" * 5000 + b"}}",
        b'{"intent": "correct", "event": -99999999999999999999999, "value": "1 mm", "reason": "x"}',
        b'{"intent": "note", "text": "unfinished',
        b'{"intent": "note"} {"intent": "note"}',
        b"[" * 200_000,
        b'{"intent": "open", "options": ' + b'{"a":' * 900 + b"1" + b"}" * 901,
        b'{"intent": "open", "options": ' + b'{"a":' * 100_000,
        b'{"intent": "start", "operation": "' + b"z" * 900_000 + b'"}',
        b'{"intent": "' + b"z" * 900_000 + b'"}',
        b'{"intent": "note", "' + b"z" * 900_000 + b'": 1}',
        b'{"intent": "note", "text": "' + b"z" * 3_000_000 + b'"}',
        b'{"intent": "record", "name": "gap", "value": "' + b"9" * 100_000 + b' mm"}',
        b'{"intent": "record", "name": "gap", "value": "9**9**9**9 mm"}',
        b'{"intent": "record", "name": "gap", "value": "1e999999999 mm"}',
    ],
)
def test_malformed_line_gets_one_short_answer_and_the_next_line_is_read(script: Script, line: bytes) -> None:
    before = len(script.log())
    replies = script.run(line + b"\n" + json.dumps(intent("status")).encode() + b"\n")
    if line:
        assert replies[0]["ok"] is False
        assert replies[0]["refused"][0]["message"]
        assert len(json.dumps(replies[0])) < 5_000
    assert replies[-1]["ok"] is True
    assert len(replies) == (2 if line else 1)
    assert len(script.log()) == before


def test_byte_order_mark_and_missing_last_newline_are_accepted(script: Script) -> None:
    replies = script.run(
        b"\xef\xbb\xbf" + b'{"intent": "note", "text": "one"}\r\n' + b'{"intent": "note", "text": "two"}'
    )
    assert [reply["ok"] for reply in replies] == [True, True]


INTENTS_WITH_CONTROL_CHARACTERS: list[Json] = [
    intent("note", text=CONTROL_CHARACTERS),
    intent("note", text="x", by=CONTROL_CHARACTERS),
    intent("lot", consumable="oil", lot=CONTROL_CHARACTERS),
    intent("lot", consumable=CONTROL_CHARACTERS, lot="1"),
    intent("record", name="gap", value="0.5 mm", instrument=CONTROL_CHARACTERS),
    intent("record", name=CONTROL_CHARACTERS, value="0.5 mm"),
    intent("record", name="gap", value=CONTROL_CHARACTERS),
    intent("record", name="gap", value="0.5 mm" + CONTROL_CHARACTERS),
    intent("record", name="gap", value="0.5 mm", reading=CONTROL_CHARACTERS),
    intent("record", name="gap", value="0.5 mm", place=CONTROL_CHARACTERS),
    intent("tick", joint=CONTROL_CHARACTERS, fastener=1),
    intent("tick", joint="ring", fastener=CONTROL_CHARACTERS),
    intent("tick", joint="ring", fastener=1, value=CONTROL_CHARACTERS),
    intent("tick", joint="ring", fastener=1, instrument=CONTROL_CHARACTERS),
    intent("tick-check", check=CONTROL_CHARACTERS),
    intent("choose", name=CONTROL_CHARACTERS, take="thin"),
    intent("choose", name="shim", take=CONTROL_CHARACTERS),
    intent("sign", operation="all", by=CONTROL_CHARACTERS),
    intent("sign", operation=CONTROL_CHARACTERS, by="Kim"),
    intent("deviate", operation="all", about="hold", reason=CONTROL_CHARACTERS),
    intent("deviate", operation="all", about=CONTROL_CHARACTERS, reason="x"),
    intent("rework", operation="all", reason=CONTROL_CHARACTERS),
    intent("move", move=CONTROL_CHARACTERS),
    intent("why", operation=CONTROL_CHARACTERS),
    intent("route", operation=CONTROL_CHARACTERS),
    intent("close", unfinished=CONTROL_CHARACTERS),
    intent("set-state", variable="lid", value=None, reason=CONTROL_CHARACTERS),
    intent("set-state", variable=CONTROL_CHARACTERS, value=None),
    intent("wrench", extension=CONTROL_CHARACTERS),
    intent("lubricant", joint="ring", lubricant=CONTROL_CHARACTERS),
    intent("draw-down", joint="ring", fastener=CONTROL_CHARACTERS),
    intent(CONTROL_CHARACTERS),
    {"intent": "note", "text": "x", CONTROL_CHARACTERS: "y"},
    {
        "intent": "open",
        "by": CONTROL_CHARACTERS,
        "options": {CONTROL_CHARACTERS: CONTROL_CHARACTERS},
        "start": {CONTROL_CHARACTERS: CONTROL_CHARACTERS},
    },
]


def strings(value: object) -> list[str]:
    if isinstance(value, dict):
        return [found for pair in value.items() for each in pair for found in strings(each)]
    if isinstance(value, list):
        return [found for each in value for found in strings(each)]
    return [value] if isinstance(value, str) else []


@pytest.mark.parametrize(
    "hostile", INTENTS_WITH_CONTROL_CHARACTERS, ids=lambda each: "-".join(map(str, each))[:40].encode("ascii", "ignore")
)
def test_control_characters_reach_neither_the_log_nor_an_answer(script: Script, hostile: Json) -> None:
    script.send(intent("record", name="gap", value="0.4 mm"))
    (reply,) = script.send(hostile)
    texts = strings(reply) + [text for line in script.log() for text in strings(line)]
    assert [text for text in texts if unsafe_characters(text)] == []


def test_control_characters_are_removed_from_the_unit_and_the_builder(tmp_path: Path) -> None:
    script = Script(tmp_path, PROCEDURE)
    assert script.refused("open", by="\x1b\u202e\x00", options={"size": "small"}) == ["value-missing"]
    (opened,) = script.do("open", by="Ro\x1b[31mbin\nX", unit=CONTROL_CHARACTERS, options={"size": "small"})
    assert opened["by"] == "Ro[31mbin X"
    assert unsafe_characters(opened["data"]["unit"]) == ()


def test_thousand_readings_of_one_value_are_all_kept(script: Script) -> None:
    line = json.dumps(intent("record", name="gap", value="0.5 mm")).encode() + b"\n"
    replies = script.run(line * 1_000)
    assert all(reply["ok"] for reply in replies)
    assert len(script.log()) == 3 + 1_000


field_values = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.floats(allow_nan=False, allow_infinity=False),
    st.text(max_size=20),
    st.sampled_from(["all", "gap", "play", "ring", "oil", "thin", "shim", "0.5 mm", "lid", "off", "Kim", "hold"]),
    st.lists(st.text(max_size=5), max_size=3),
    st.dictionaries(st.text(max_size=5), st.text(max_size=5), max_size=3),
)
INTENTS = sorted(INTENT_TYPES)
NAMES = sorted({name for kind in INTENT_TYPES.values() for name in kind.__struct_encode_fields__})


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(st.sampled_from(INTENTS), st.dictionaries(st.sampled_from(NAMES), field_values)), max_size=12)
)
def test_random_intents_are_all_answered_and_the_log_can_be_continued(sent: list[tuple[str, Json]]) -> None:
    with TemporaryDirectory() as folder:
        script = Script(Path(folder), PROCEDURE)
        script.do_all(open_intent(options={"size": "small"}), intent("start", operation="all"))
        for reply in script.send(*({**fields, "intent": kind} for kind, fields in sent)):
            assert reply["ok"] is True or reply["refused"][0]["code"]
        assert script.send(intent("status"))[0]["ok"] is True
