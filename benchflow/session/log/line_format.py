"""The format of a log line: sealing and checking. Bytes in, events out; no files.

The hash of a line is the SHA-256 of its canonical JSON (RFC 8785) without the member ``hash``.
Canonicalising every line would be slow, so a line that is *already* canonical is hashed as it is, with that member
cut out. To show that a line is canonical it is encoded again: msgspec with sorted keys writes the form of RFC 8785 if

- all numbers are integers within ±(2**53 - 1), which the type below enforces;
- no key has a character beyond the basic plane, since only those sort differently in UTF-8 and UTF-16;
- no key is repeated, which encoding again would show.

Every other line takes the slow path through ``json`` and ``rfc8785``.
"""

import json
from collections.abc import Iterable
from hashlib import sha256
from typing import Annotated, Any

import msgspec
from msgspec import Struct

from benchflow.base.errors import InternalError
from benchflow.session.log.timestamps import WRITTEN, BadTimestamp, parse

ZEROS = "0" * 64
"""``prev`` of the first line."""


class Draft(Struct, frozen=True):
    """An event that is not on disk yet; ``at`` as written by :func:`benchflow.session.log.timestamps.format`."""

    at: str
    by: str
    kind: str
    data: dict[str, Any]


class Line(Struct, frozen=True, gc=False):
    """One event of the log, field for field. ``seq`` counts from 1.

    The garbage collector skips it (``gc=False``): data from JSON has no cycles, and a long log is read faster.
    """

    seq: int
    at: str
    by: str
    kind: str
    data: dict[str, Any]
    prev: str
    hash: str


class Damage(Struct, frozen=True):
    """Damage in a log: ``line`` is the first line that cannot be trusted, from 1; ``what`` describes it."""

    line: int
    what: str


class ParsedLog(Struct, frozen=True):
    """The content of a log.

    ``length`` is the size of the undamaged lines in bytes. ``tail`` is an incomplete last line behind them; it is
    empty where there is damage.
    """

    lines: list[Line]
    length: int
    damage: Damage | None
    tail: bytes


# --- the part of JSON whose canonical form msgspec writes itself ------------------------------------

_Int = Annotated[int, msgspec.Meta(ge=-(2**53) + 1, le=2**53 - 1)]
_Leaf = str | bool | _Int | None
# Six levels are more than any event has; msgspec knows no recursive alias.
_V1 = _Leaf | list[_Leaf] | dict[str, _Leaf]
_V2 = _Leaf | list[_V1] | dict[str, _V1]
_V3 = _Leaf | list[_V2] | dict[str, _V2]
_V4 = _Leaf | list[_V3] | dict[str, _V3]
_V5 = _Leaf | list[_V4] | dict[str, _V4]


class _PlainBody(Struct, frozen=True, gc=False):
    seq: _Int
    at: str
    by: str
    kind: str
    data: dict[str, _V5]
    prev: str


class _Plain(_PlainBody, frozen=True, gc=False):
    hash: str


_decode_plain = msgspec.json.Decoder(_Plain).decode
_encode_sorted = msgspec.json.Encoder(order="sorted").encode
_BEYOND_BASIC_PLANE = tuple(bytes([lead]) for lead in range(0xF0, 0xF5))  # first bytes of 4 in UTF-8
_HASH_MEMBER = b',"hash":"'
_HASH_MEMBER_LENGTH = len(_HASH_MEMBER) + 64 + 1


def _beyond_basic_plane(raw: bytes) -> bool:
    return any(lead in raw for lead in _BEYOND_BASIC_PLANE)


def _plain(raw: bytes) -> Line | None:
    """The line, if it is in the canonical form that can be hashed as it is, and its hash is right."""
    try:
        line = _decode_plain(raw)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
        return None
    if _encode_sorted(line) != raw or (not raw.isascii() and _beyond_basic_plane(raw)):
        return None
    # `kind`, `prev` and `seq` follow `hash`, and their quotes are escaped: the last match is the member.
    cut = raw.rfind(_HASH_MEMBER)
    if sha256(raw[:cut] + raw[cut + _HASH_MEMBER_LENGTH :]).hexdigest() != line.hash:
        return None
    return Line(line.seq, line.at, line.by, line.kind, line.data, line.prev, line.hash)


# --- any line --------------------------------------------------------------------------------------


class _LineError(Exception):
    """What is wrong with a line, in words."""


def _no_repeats(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    members = dict(pairs)
    if len(members) != len(pairs):
        raise _LineError("has a key twice")
    return members


def _no_constant(name: str) -> Any:
    raise _LineError(f"has {name}, which is not JSON")


def _as_rfc8785_counts(digits: str) -> int | float:
    """An integer; beyond the 53 bits of a double RFC 8785 takes the nearest double."""
    return int(digits) if len(digits) < 16 or abs(float(digits)) < 2**53 else float(digits)


def _any_line(raw: bytes) -> Line:
    """The slow path: any JSON text of a line, with its hash checked. Raises :class:`_LineError`."""
    import rfc8785  # late: most logs can be read without it

    try:
        members = json.loads(
            raw.decode("utf-8"),
            object_pairs_hook=_no_repeats,
            parse_constant=_no_constant,
            parse_int=_as_rfc8785_counts,
        )
        line = msgspec.convert(members, Line)
        body = rfc8785.dumps({name: value for name, value in members.items() if name != "hash"})
    except UnicodeDecodeError:
        raise _LineError("is not UTF-8 text") from None
    except msgspec.ValidationError as wrong:
        raise _LineError(f"is not an event ({wrong})") from None
    except rfc8785.CanonicalizationError as wrong:
        raise _LineError(f"has no canonical form ({wrong})") from None
    except RecursionError:
        raise _LineError("is nested too deeply to be an event") from None
    except json.JSONDecodeError:
        raise _LineError("is not complete JSON") from None
    if sha256(body).hexdigest() != line.hash:
        raise _LineError("has been changed since it was written: its hash does not match")
    return line


def _checked(raw: bytes, seq: int, prev: str) -> Line:
    """The event in ``raw``, which must have the number ``seq`` and follow ``prev``. Raises :class:`_LineError`."""
    line = _plain(raw)
    if line is None:
        if not raw.strip():
            raise _LineError("is empty")
        line = _any_line(raw)
    if line.seq != seq:
        raise _LineError(f"is event {line.seq} instead of event {seq}: a line is missing, repeated or out of order")
    if line.prev != prev:
        raise _LineError("does not follow the line before it: the chain is broken here")
    if not WRITTEN.fullmatch(line.at):
        try:
            parse(line.at)
        except BadTimestamp as wrong:
            raise _LineError(f"has a time that cannot be read: {wrong}") from None
    return line


def read(data: bytes, after: Line | None = None) -> ParsedLog:
    """The events in ``data``, which follows the line ``after`` (``None``: the start of the log).

    A line is written in one piece with its newline last. So an end without a newline is a line whose writing was
    interrupted; anything wrong before a newline is damage.
    """
    seq, prev = (after.seq, after.hash) if after else (0, ZEROS)
    *whole, tail = data.split(b"\n")
    lines: list[Line] = []
    length = 0
    is_written = WRITTEN.fullmatch
    for raw in whole:
        line = _plain(raw)
        # The normal case needs no more; any other line is checked in detail for the message.
        if line is None or line.seq != seq + 1 or line.prev != prev or not is_written(line.at):
            try:
                line = _checked(raw, seq + 1, prev)
            except _LineError as wrong:
                return ParsedLog(lines, length, Damage(seq + 1, str(wrong)), b"")
        lines.append(line)
        length += len(raw) + 1
        seq, prev = line.seq, line.hash
    if tail and _end_changed(tail, seq + 1, prev):
        return ParsedLog(lines, length, Damage(seq + 1, "does not end in a newline: its end has been changed"), b"")
    return ParsedLog(lines, length, None, tail)


def _end_changed(tail: bytes, seq: int, prev: str) -> bool:
    """Whether ``tail`` is a complete event whose newline was changed to another byte: damage, not interruption."""
    try:
        _checked(tail[:-1], seq, prev)
    except _LineError:
        return False
    return True


# --- writing ---------------------------------------------------------------------------------------


def seal(drafts: Iterable[Draft], after: Line | None) -> tuple[tuple[Line, ...], bytes]:
    """The drafts as lines that follow ``after``, and the bytes to be written for them.

    Raises:
        InternalError: a draft must not be logged: it has a float (digits would be lost), a value that JSON does not
            have, or a timestamp in another form.
    """
    seq, prev = (after.seq, after.hash) if after else (0, ZEROS)
    lines: list[Line] = []
    pieces: list[bytes] = []
    for draft in drafts:
        seq += 1
        if not WRITTEN.fullmatch(draft.at):
            raise InternalError(f"a {draft.kind} event has the time {draft.at!r}, not in the form of the log")
        body = _canonical(draft, seq, prev)
        # The member `hash` has its canonical place before `kind`.
        cut = body.rfind(b',"kind":"')
        raw = b"".join((body[:cut], _HASH_MEMBER, sha256(body).hexdigest().encode(), b'"', body[cut:]))
        # Parsed from the bytes, so that what is shown now is what is read later.
        line = _checked(raw, seq, prev)
        lines.append(line)
        pieces.append(raw + b"\n")
        prev = line.hash
    return tuple(lines), b"".join(pieces)


def _canonical(draft: Draft, seq: int, prev: str) -> bytes:
    """The canonical form of a line without ``hash``, by the fast path where that is equal."""
    members: dict[str, Any] = {
        "seq": seq,
        "at": draft.at,
        "by": draft.by,
        "kind": draft.kind,
        "data": draft.data,
        "prev": prev,
    }
    try:
        body = _encode_sorted(msgspec.convert(members, _PlainBody))
        if not _beyond_basic_plane(body):
            return body
    except (msgspec.ValidationError, UnicodeEncodeError):
        pass  # not plain: the slow path reports what is wrong, if anything is
    import rfc8785  # late: few events need it

    refuse_floats(draft.data, draft.kind)
    try:
        return rfc8785.dumps(members)
    except rfc8785.CanonicalizationError as wrong:
        raise InternalError(f"a {draft.kind} event cannot be logged: {wrong}") from wrong


def refuse_floats(value: Any, where: str) -> None:
    """Refuse a float anywhere in ``value``.

    Raises:
        InternalError: there is one.
    """
    if isinstance(value, float):
        raise InternalError(f"{where} has the float {value!r}: the log stores digits as entered, as text")
    if isinstance(value, dict):
        for name, inner in value.items():
            refuse_floats(inner, f"{where}.{name}")
    elif isinstance(value, (list, tuple)):
        for number, inner in enumerate(value):
            refuse_floats(inner, f"{where}[{number}]")
