"""What makes a line whole: every change is found where it is, and no correct writer is accused."""

import json
import random
from hashlib import sha256
from pathlib import Path
from typing import Any

import msgspec
import pytest
import rfc8785
from hypothesis import example, given, settings
from hypothesis import strategies as st

from benchflow.base.errors import InternalError
from benchflow.session.log.line_format import Draft, read, seal
from tests.driving.log_files import AT, foreign_log, note_draft, write_log


def a_log(*drafts: Draft) -> bytes:
    return seal(drafts, None)[1]


# --- changes -----------------------------------------------------------------------------------------


def test_every_changed_bit_is_found_on_its_line() -> None:
    good = a_log(note_draft(1), note_draft(2), note_draft(3))
    for place in range(len(good)):
        line = good.count(b"\n", 0, place) + 1
        for bit in range(8):
            bad = bytearray(good)
            bad[place] ^= 1 << bit
            damage = read(bytes(bad)).damage
            assert damage is not None, (place, bit)
            assert damage.line == line, (place, bit, damage)


def test_every_lost_byte_inside_the_log_is_found_on_its_line() -> None:
    good = a_log(note_draft(1), note_draft(2), note_draft(3))
    for place in range(len(good) - 1):
        damage = read(good[:place] + good[place + 1 :]).damage
        assert damage is not None, place
        assert damage.line == good.count(b"\n", 0, place) + 1, place


@pytest.mark.parametrize(
    ("order", "line", "words"),
    [
        ("1 2 4 3 5", 3, "is event 4 instead of event 3"),
        ("1 2 4 5", 3, "missing"),
        ("2 3 4 5", 1, "missing"),
        ("1 2 2 3 4 5", 3, "repeated"),
        ("1 2 3 4 5 3", 6, "is event 3"),
    ],
)
def test_a_swapped_lost_or_doubled_line_is_found(order: str, line: int, words: str) -> None:
    lines = a_log(*(note_draft(number) for number in range(5))).splitlines(keepends=True)
    found = read(b"".join(lines[int(number) - 1] for number in order.split()))
    assert found.damage is not None
    assert found.damage.line == line
    assert words in found.damage.what
    assert len(found.lines) == line - 1


def test_a_line_from_another_log_cuts_the_chain() -> None:
    ours = a_log(*(note_draft(number) for number in range(3))).splitlines(keepends=True)
    other = a_log(*(note_draft(number) for number in range(7, 10))).splitlines(keepends=True)
    found = read(ours[0] + other[1] + ours[2])
    assert found.damage is not None
    assert (found.damage.line, "chain is broken" in found.damage.what) == (2, True)


@pytest.mark.parametrize(
    ("line", "words"),
    [
        (b"", "is empty"),
        (b"not json", "is not complete JSON"),
        (b"\xff\xfe{}", "is not UTF-8"),
        (b"[1, 2]", "is not an event"),
        (b'{"seq": 1}', "is not an event"),
        (b'{"a": NaN}', "has NaN"),
        (b'{"a": 1, "a": 2}', "has a key twice"),
        (b'{"a": ' + b"[" * 100_000 + b"]" * 100_000 + b"}", "nested too deep"),
        (b'{"a": ' + b"9" * 5000 + b"}", "is not"),
        (b"\x00" * 300, "is not complete JSON"),
    ],
)
def test_what_is_no_event_is_said_in_words(line: bytes, words: str) -> None:
    found = read(line + b"\n")
    assert found.damage is not None
    assert found.damage.line == 1
    assert words in found.damage.what


def test_a_time_that_cannot_be_read_is_damage_even_under_a_right_hash() -> None:
    found = read(foreign_log([{}]).replace(AT.encode(), b"yesterday"))
    assert found.damage is not None
    line: dict[str, Any] = {"kind": "noted", "seq": 1, "prev": "0" * 64, "data": {}, "by": "R.", "at": "yesterday"}
    line["hash"] = sha256(rfc8785.dumps(line)).hexdigest()
    found = read(json.dumps(line).encode() + b"\n")
    assert found.damage is not None
    assert "time that cannot be read" in found.damage.what


# --- other writers -----------------------------------------------------------------------------------


def shuffled(value: Any) -> str:
    """JSON with its keys in another order, spaces, and everything beyond ASCII escaped."""

    def turn(inner: Any) -> Any:
        if isinstance(inner, dict):
            names = list(inner)
            random.Random(len(names)).shuffle(names)
            return {name: turn(inner[name]) for name in names}
        return [turn(each) for each in inner] if isinstance(inner, list) else inner

    return json.dumps(turn(value), separators=(" ,  ", " : "))


def plain(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False)


def sorted_by_msgspec(value: Any) -> str:
    return msgspec.json.encode(value, order="sorted").decode()


def canonical(value: Any) -> str:
    return rfc8785.dumps(value).decode()


def as_double(digits: str) -> int | float:
    """Numbers as RFC 8785 has them: a double where 53 bits do not hold the integer."""
    return int(digits) if abs(int(digits)) < 2**53 else float(digits)


_safe = st.integers(-(2**53) + 1, 2**53 - 1)
_text = st.text(st.characters(codec="utf-8"), max_size=6)
_json = st.recursive(
    st.none() | st.booleans() | _safe | _text | st.floats(allow_nan=False, allow_infinity=False),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(_text, inner, max_size=4),
    max_leaves=12,
)
_data = st.dictionaries(_text, _json, max_size=4)


@settings(max_examples=150, deadline=None)
@given(_data, st.sampled_from([shuffled, plain, sorted_by_msgspec, canonical]))
@example({"\ufb33": 1, "\U0001f600": 2}, sorted_by_msgspec)  # UTF-8 and UTF-16 order these keys differently
@example({"a": 1e22}, sorted_by_msgspec)  # written 1e+22 in canonical form
@example({"a": {"hash": "0" * 64, "kind": '","hash":"x"'}}, canonical)
@example({"a": [[[[[[[[1]]]]]]]]}, canonical)
def test_a_correct_log_verifies_whoever_wrote_it_and_however_it_is_spelled(data: dict[str, Any], dump: Any) -> None:
    found = read(foreign_log([data, {"last": True}], dump))
    assert found.damage is None
    assert [line.seq for line in found.lines] == [1, 2]
    assert found.lines[0].data == json.loads(dump(data), parse_int=as_double)


@settings(max_examples=150, deadline=None)
@given(_data)
@example({"\ufb33": 1, "\U0001f600": 2})
@example({"a": 1e22})
@example({"a": 2**53})
@example({"a": -0.0})
def test_a_hash_over_anything_but_the_canonical_form_is_not_taken(data: dict[str, Any]) -> None:
    """The short way of checking must not take what the definition does not."""
    body = {"at": AT, "by": "R.", "data": data, "kind": "noted", "prev": "0" * 64, "seq": 1}
    as_written = msgspec.json.encode(body, order="sorted")
    line = msgspec.json.encode({**body, "hash": sha256(as_written).hexdigest()}, order="sorted")
    try:
        right = rfc8785.dumps(json.loads(as_written, parse_int=as_double)) == as_written
    except rfc8785.CanonicalizationError:
        right = False
    assert (read(line + b"\n").damage is None) == right


def test_a_log_with_windows_line_ends_still_verifies() -> None:
    good = a_log(note_draft(1), note_draft(2))
    assert read(good.replace(b"\n", b"\r\n")).damage is None


# --- what may be written -----------------------------------------------------------------------------


@settings(max_examples=100, deadline=None)
@given(
    st.recursive(
        st.none() | st.booleans() | _safe | _text,
        lambda inner: st.lists(inner, max_size=3) | st.dictionaries(_text, inner, max_size=4),
        max_leaves=12,
    )
)
def test_what_is_written_reads_back_the_same_and_is_canonical(value: Any) -> None:
    lines, written = seal([note_draft(1, value=value), note_draft(2)], None)
    assert tuple(read(written).lines) == lines
    assert lines[0].data["value"] == value
    for raw in written.splitlines():
        assert rfc8785.dumps(json.loads(raw)) == raw


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (0.045, r"value\.deep\[0\] has the float"),
        (2.0, "float"),
        (float("nan"), "float"),
        (2**53, "cannot be logged"),
        ("\ud800", "cannot be logged"),
        (b"bytes", "cannot be logged"),
        ({1: "a"}, "cannot be logged"),
    ],
)
def test_a_number_is_never_logged_as_a_float_nor_anything_json_cannot_hold(value: Any, words: str) -> None:
    with pytest.raises(InternalError, match=words):
        seal([note_draft(1, value={"deep": [value]})], None)


@pytest.mark.parametrize("at", ["2026-03-01T18:30:00Z", "2026-03-01T19:30:00.000+01:00", "now"])
def test_a_time_is_only_logged_in_the_form_of_the_log(at: str) -> None:
    with pytest.raises(InternalError, match="not in the form"):
        seal([Draft(at, "R.", "noted", {})], None)


def test_the_hash_of_a_line_can_be_worked_out_by_the_definition_alone(tmp_path: Path) -> None:
    prev = "0" * 64
    for raw in write_log(tmp_path / "log.jsonl", 3).splitlines():
        line = json.loads(raw)
        assert line["prev"] == prev
        prev = line.pop("hash")
        assert sha256(rfc8785.dumps(line)).hexdigest() == prev
