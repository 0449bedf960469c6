"""The check of log lines: every change is found in its line, and every valid log is accepted."""

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


def test_every_changed_bit_is_found_in_its_line() -> None:
    good = a_log(note_draft(1), note_draft(2), note_draft(3))
    for place in range(len(good)):
        line = good.count(b"\n", 0, place) + 1
        for bit in range(8):
            bad = bytearray(good)
            bad[place] ^= 1 << bit
            damage = read(bytes(bad)).damage
            assert damage is not None, (place, bit)
            assert damage.line == line, (place, bit, damage)


def test_line_with_a_wrong_number_and_a_right_hash_is_damage() -> None:
    (first,), written = seal([note_draft(1)], None)
    _, skipped = seal([note_draft(2)], msgspec.structs.replace(first, seq=4))  # hashed as line 5, after line 1
    found = read(written + skipped)
    assert found.damage is not None
    assert (found.damage.line, [line.seq for line in found.lines]) == (2, [1])


def test_every_lost_byte_is_found_in_its_line() -> None:
    good = a_log(note_draft(1), note_draft(2), note_draft(3))
    for place in range(len(good) - 1):
        damage = read(good[:place] + good[place + 1 :]).damage
        assert damage is not None, place
        assert damage.line == good.count(b"\n", 0, place) + 1, place


@pytest.mark.parametrize(
    ("order", "line", "message"),
    [
        ("1 2 4 3 5", 3, "is event 4 instead of event 3"),
        ("1 2 4 5", 3, "missing"),
        ("2 3 4 5", 1, "missing"),
        ("1 2 2 3 4 5", 3, "repeated"),
        ("1 2 3 4 5 3", 6, "is event 3"),
    ],
)
def test_swapped_lost_or_repeated_line_is_found(order: str, line: int, message: str) -> None:
    lines = a_log(*(note_draft(number) for number in range(5))).splitlines(keepends=True)
    found = read(b"".join(lines[int(number) - 1] for number in order.split()))
    assert found.damage is not None
    assert found.damage.line == line
    assert message in found.damage.what
    assert len(found.lines) == line - 1


def test_line_from_another_log_breaks_the_hash_chain() -> None:
    ours = a_log(*(note_draft(number) for number in range(3))).splitlines(keepends=True)
    other = a_log(*(note_draft(number) for number in range(7, 10))).splitlines(keepends=True)
    found = read(ours[0] + other[1] + ours[2])
    assert found.damage is not None
    assert (found.damage.line, "chain is broken" in found.damage.what) == (2, True)


@pytest.mark.parametrize(
    ("line", "message"),
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
def test_line_that_is_not_an_event_is_described(line: bytes, message: str) -> None:
    found = read(line + b"\n")
    assert found.damage is not None
    assert found.damage.line == 1
    assert message in found.damage.what


def test_invalid_time_is_damage_even_with_a_right_hash() -> None:
    found = read(foreign_log([{}]).replace(AT.encode(), b"yesterday"))
    assert found.damage is not None
    line: dict[str, Any] = {"kind": "noted", "seq": 1, "prev": "0" * 64, "data": {}, "by": "R.", "at": "yesterday"}
    line["hash"] = sha256(rfc8785.dumps(line)).hexdigest()
    found = read(rfc8785.dumps(line) + b"\n")
    assert found.damage is not None
    assert "time that cannot be read" in found.damage.what


# --- other writers -----------------------------------------------------------------------------------


def shuffled(value: Any) -> str:
    """JSON with its keys in another order, spaces, and everything beyond ASCII escaped."""

    def with_deeper_value(inner: Any) -> Any:
        if isinstance(inner, dict):
            names = list(inner)
            random.Random(len(names)).shuffle(names)
            return {name: with_deeper_value(inner[name]) for name in names}
        return [with_deeper_value(each) for each in inner] if isinstance(inner, list) else inner

    return json.dumps(with_deeper_value(value), separators=(" ,  ", " : "))


def plain(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False)


def sorted_by_msgspec(value: Any) -> str:
    return msgspec.json.encode(value, order="sorted").decode()


def canonical(value: Any) -> str:
    return rfc8785.dumps(value).decode()


def as_double(digits: str) -> int | float:
    """An integer as RFC 8785 writes it: as a double if it needs more than 53 bits."""
    return int(digits) if abs(int(digits)) < 2**53 else float(digits)


_safe = st.integers(-(2**53) + 1, 2**53 - 1)
_text = st.text(st.characters(codec="utf-8"), max_size=6)
_json = st.recursive(
    st.none() | st.booleans() | _safe | _text | st.floats(allow_nan=False, allow_infinity=False),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(_text, inner, max_size=4),
    max_leaves=12,
)
_data = st.dictionaries(_text, _json, max_size=4)


EVERY_PLANE = {"\ufb33": 0, "\U0001f600": 1, "\U00040000": 2, "\U00080000": 3, "\U000c0000": 4, "\U00100000": 5}
"""Keys with each first byte that a four-byte character can have. UTF-8 and UTF-16 order the first two differently."""


@settings(max_examples=150, deadline=None)
@given(_data, st.sampled_from([shuffled, plain, sorted_by_msgspec, canonical]))
@example({"\ufb33": 1, "\U0001f600": 2}, sorted_by_msgspec)  # UTF-8 and UTF-16 order these keys differently
@example(EVERY_PLANE, sorted_by_msgspec)
@example({"a": 1e22}, sorted_by_msgspec)  # written 1e+22 in canonical form
@example({"a": {"hash": "0" * 64, "kind": '","hash":"x"'}}, canonical)
@example({"a": [[[[[[[[1]]]]]]]]}, canonical)
def test_only_the_canonical_form_of_a_line_is_accepted(data: dict[str, Any], dump: Any) -> None:
    log = foreign_log([data, {"last": True}], dump)
    found = read(log)
    if all(rfc8785.dumps(json.loads(raw, parse_int=as_double)) == raw for raw in log.splitlines()):
        assert found.damage is None
        assert [line.seq for line in found.lines] == [1, 2]
        assert found.lines[0].data == json.loads(dump(data), parse_int=as_double)
    else:
        assert found.damage is not None
        assert "another form" in found.damage.what


@pytest.mark.parametrize("blank", [b" ", b"\t", b"\r"])
def test_inserted_blank_is_damage_and_the_lines_after_it_are_not_trusted(blank: bytes) -> None:
    good = a_log(*(note_draft(number) for number in range(4))).splitlines(keepends=True)
    found = read(good[0] + good[1].replace(b',"kind"', blank + b',"kind"') + good[2] + good[3])
    assert found.damage is not None
    assert (len(found.lines), found.damage.line) == (1, 2)
    assert [(each.number, each.line.seq) for each in found.untrusted] == [(3, 3), (4, 4)]


def test_lines_after_a_changed_first_line_are_listed_as_not_trusted() -> None:
    good = a_log(*(note_draft(number) for number in range(3)))
    found = read(good.replace(b"note 0", b"note 7"))
    assert found.damage is not None
    assert (found.damage.line, found.lines) == (1, [])
    assert [each.number for each in found.untrusted] == [2, 3]


@pytest.mark.parametrize("cut", range(1, 4))
def test_incomplete_last_group_is_put_aside_whole(cut: int) -> None:
    first, group = note_draft(0, intent=1, of=1), [note_draft(number, intent=2, of=3) for number in (1, 2, 3)]
    good = a_log(first, *group)
    whole = good.splitlines(keepends=True)
    found = read(b"".join(whole[: 1 + cut]))
    assert (len(found.lines), found.tail) == ((4, b"") if cut == 3 else (1, b"".join(whole[1 : 1 + cut])))
    assert read(good[:-1]).open_end
    torn = read(b"".join(whole[: 1 + cut])[:-5])
    assert (len(torn.lines), torn.tail) == (1, b"".join(whole[1 : 1 + cut])[:-5])


def test_event_without_its_newline_is_kept_but_not_while_another_program_writes() -> None:
    good = a_log(note_draft(1), note_draft(2))
    assert (len(read(good[:-1]).lines), read(good[:-1]).open_end) == (2, True)
    assert (len(read(good[:-1], growing=True).lines), read(good[:-1], growing=True).open_end) == (1, False)


@settings(max_examples=150, deadline=None)
@given(_data)
@example({"\ufb33": 1, "\U0001f600": 2})
@example(EVERY_PLANE)
@example({"a": 1e22})
@example({"a": 2**53})
@example({"a": -0.0})
def test_hash_of_a_form_that_is_not_canonical_is_refused(data: dict[str, Any]) -> None:
    """The fast check must not accept a line that the definition refuses."""
    body = {"at": AT, "by": "R.", "data": data, "kind": "noted", "prev": "0" * 64, "seq": 1}
    as_written = msgspec.json.encode(body, order="sorted")
    line = msgspec.json.encode({**body, "hash": sha256(as_written).hexdigest()}, order="sorted")
    try:
        right = rfc8785.dumps(json.loads(as_written, parse_int=as_double)) == as_written
    except rfc8785.CanonicalizationError:
        right = False
    assert (read(line + b"\n").damage is None) == right


def test_log_whose_line_ends_were_converted_is_trusted_and_reported() -> None:
    good = a_log(note_draft(1), note_draft(2))
    found = read(good.replace(b"\n", b"\r\n"))
    assert (len(found.lines), found.damage, found.converted) == (2, None, True)
    one = read(good.replace(b"\n", b"\r\n", 1))
    assert (one.converted, one.damage is not None) == (False, True)


# --- writing -----------------------------------------------------------------------------------------


@settings(max_examples=100, deadline=None)
@given(
    st.recursive(
        st.none() | st.booleans() | _safe | _text,
        lambda inner: st.lists(inner, max_size=3) | st.dictionaries(_text, inner, max_size=4),
        max_leaves=12,
    )
)
def test_sealed_line_is_canonical_and_reads_back_the_same(value: Any) -> None:
    lines, written = seal([note_draft(1, value=value), note_draft(2)], None)
    assert tuple(read(written).lines) == lines
    assert lines[0].data["value"] == value
    for raw in written.splitlines():
        assert rfc8785.dumps(json.loads(raw)) == raw


@pytest.mark.parametrize(
    ("value", "message"),
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
def test_floats_and_values_without_json_form_are_not_logged(value: Any, message: str) -> None:
    with pytest.raises(InternalError, match=message):
        seal([note_draft(1, value={"deep": [value]})], None)


@pytest.mark.parametrize("at", ["2026-03-01T18:30:00Z", "2026-03-01T19:30:00.000+01:00", "now"])
def test_time_in_another_form_is_not_logged(at: str) -> None:
    with pytest.raises(InternalError, match="not a timestamp of the log"):
        seal([Draft(at, "R.", "noted", {})], None)


def test_hash_of_a_line_equals_its_documented_definition(tmp_path: Path) -> None:
    prev = "0" * 64
    for raw in write_log(tmp_path / "log.jsonl", 3).splitlines():
        line = json.loads(raw)
        assert line["prev"] == prev
        prev = line.pop("hash")
        assert sha256(rfc8785.dumps(line)).hexdigest() == prev
