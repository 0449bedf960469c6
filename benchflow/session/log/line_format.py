"""One line of the log: how it is sealed, and how it is checked. Bytes in, events out; no files.

The hash of a line is the SHA-256 of its canonical JSON (RFC 8785) without the member ``hash``.
Checking every line through a canonicaliser would be slow, so a line that is *already* canonical is hashed
as it lies, with that member cut out. That a line is canonical is shown by writing it out again:
msgspec, told to sort, writes what RFC 8785 asks for as long as there are

- no numbers but integers within ±(2**53 - 1), which the type below admits alone;
- no keys whose order differs between UTF-8 and UTF-16, which takes a character beyond the basic plane;
- no repeated keys, which do not survive being written out again.

Every other line, however it is spaced and ordered, goes the long way through ``json`` and ``rfc8785``.
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
"""What the first line has for ``prev``."""


class Draft(Struct, frozen=True):
    """An event that is not on disk yet. ``at`` is as :func:`benchflow.session.log.timestamps.format` writes it."""

    at: str
    by: str
    kind: str
    data: dict[str, Any]


class Line(Struct, frozen=True, gc=False):
    """One event of the log, field for field. ``seq`` counts from 1.

    Not looked at by the garbage collector (``gc=False``): what came out of JSON makes no circles, and a
    long log is read faster so.
    """

    seq: int
    at: str
    by: str
    kind: str
    data: dict[str, Any]
    prev: str
    hash: str


class Damage(Struct, frozen=True):
    """``line`` is the number of the first line that cannot be trusted, from 1; ``what`` is for people."""

    line: int
    what: str


class Read(Struct, frozen=True):
    """What a log's bytes hold.

    ``length`` is how many bytes the whole, undamaged lines take up. ``tail`` is what follows them when
    the last line was torn; it is empty when there is damage, which is another thing altogether.
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
    """The line, if it is in the canonical form that can be hashed as it lies, and its hash fits."""
    try:
        line = _decode_plain(raw)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
        return None
    if _encode_sorted(line) != raw or (not raw.isascii() and _beyond_basic_plane(raw)):
        return None
    # Behind `hash` come `kind`, `prev` and `seq`, whose quotes are escaped: the last match is the member.
    cut = raw.rfind(_HASH_MEMBER)
    if sha256(raw[:cut] + raw[cut + _HASH_MEMBER_LENGTH :]).hexdigest() != line.hash:
        return None
    return Line(line.seq, line.at, line.by, line.kind, line.data, line.prev, line.hash)


# --- any line --------------------------------------------------------------------------------------


class _Wrong(Exception):
    """What is wrong with a line, in words."""


def _no_repeats(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    members = dict(pairs)
    if len(members) != len(pairs):
        raise _Wrong("has a key twice")
    return members


def _no_constant(name: str) -> Any:
    raise _Wrong(f"has {name}, which is no JSON")


def _as_rfc8785_counts(digits: str) -> int | float:
    """An integer. One too long for a double's 53 bits is, to RFC 8785, the nearest double."""
    return int(digits) if len(digits) < 16 or abs(float(digits)) < 2**53 else float(digits)


def _any_line(raw: bytes) -> Line:
    """The long way: any JSON text for the line, its hash checked. Raises :class:`_Wrong`."""
    import rfc8785  # late: most logs never need it to be read

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
        raise _Wrong("is not UTF-8 text") from None
    except msgspec.ValidationError as wrong:
        raise _Wrong(f"is not an event ({wrong})") from None
    except rfc8785.CanonicalizationError as wrong:
        raise _Wrong(f"has no canonical form ({wrong})") from None
    except RecursionError:
        raise _Wrong("is nested too deep to be an event") from None
    except json.JSONDecodeError:
        raise _Wrong("is not whole JSON") from None
    if sha256(body).hexdigest() != line.hash:
        raise _Wrong("has been changed since it was written: its hash does not fit")
    return line


def _checked(raw: bytes, seq: int, prev: str) -> Line:
    """The event in ``raw``, which has to be number ``seq`` and to follow ``prev``. Raises :class:`_Wrong`."""
    line = _plain(raw)
    if line is None:
        if not raw.strip():
            raise _Wrong("is empty")
        line = _any_line(raw)
    if line.seq != seq:
        raise _Wrong(f"holds event {line.seq} where event {seq} belongs: a line is missing, doubled or out of order")
    if line.prev != prev:
        raise _Wrong("does not follow from the line before it: the chain is cut here")
    if not WRITTEN.fullmatch(line.at):
        try:
            parse(line.at)
        except BadTimestamp as wrong:
            raise _Wrong(f"has a time that cannot be read: {wrong}") from None
    return line


def read(data: bytes, after: Line | None = None) -> Read:
    """The events in ``data``, which begins behind the line ``after`` (at the start of the log if ``None``).

    A line is written in one piece with its newline last. So an end without newline is a line that was
    torn while it was being written; whatever is wrong in front of a newline is damage.
    """
    seq, prev = (after.seq, after.hash) if after else (0, ZEROS)
    *whole, tail = data.split(b"\n")
    lines: list[Line] = []
    length = 0
    is_written = WRITTEN.fullmatch
    for raw in whole:
        line = _plain(raw)
        # As a rule that is all; anything else is looked at closely, and said in words.
        if line is None or line.seq != seq + 1 or line.prev != prev or not is_written(line.at):
            try:
                line = _checked(raw, seq + 1, prev)
            except _Wrong as wrong:
                return Read(lines, length, Damage(seq + 1, str(wrong)), b"")
        lines.append(line)
        length += len(raw) + 1
        seq, prev = line.seq, line.hash
    if tail and _end_changed(tail, seq + 1, prev):
        return Read(lines, length, Damage(seq + 1, "does not end in a newline: its end has been changed"), b"")
    return Read(lines, length, None, tail)


def _end_changed(tail: bytes, seq: int, prev: str) -> bool:
    """Whether ``tail`` is a whole event whose newline has become another byte: changed, not torn."""
    try:
        _checked(tail[:-1], seq, prev)
    except _Wrong:
        return False
    return True


# --- writing ---------------------------------------------------------------------------------------


def seal(drafts: Iterable[Draft], after: Line | None) -> tuple[tuple[Line, ...], bytes]:
    """The drafts as lines behind ``after``, and the bytes to be written for them.

    Raises :class:`~benchflow.base.errors.InternalError` for a draft that may not be logged: a float (digits would be
    lost), what JSON cannot hold, a time not in the log's form.
    """
    seq, prev = (after.seq, after.hash) if after else (0, ZEROS)
    lines: list[Line] = []
    pieces: list[bytes] = []
    for draft in drafts:
        seq += 1
        if not WRITTEN.fullmatch(draft.at):
            raise InternalError(f"a {draft.kind} event has the time {draft.at!r}, not in the form of the log")
        body = _canonical(draft, seq, prev)
        # The member `hash` has its canonical place before `kind`; what follows that is escaped.
        cut = body.rfind(b',"kind":"')
        raw = b"".join((body[:cut], _HASH_MEMBER, sha256(body).hexdigest().encode(), b'"', body[cut:]))
        # Taken from the bytes, so that what is shown now is what will be read back later.
        line = _checked(raw, seq, prev)
        lines.append(line)
        pieces.append(raw + b"\n")
        prev = line.hash
    return tuple(lines), b"".join(pieces)


def _canonical(draft: Draft, seq: int, prev: str) -> bytes:
    """The line without ``hash``, in canonical form; the short way where it is known to give the same."""
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
        pass  # not plain: the long way says what is wrong, if anything is
    import rfc8785  # late: few events need it

    refuse_floats(draft.data, draft.kind)
    try:
        return rfc8785.dumps(members)
    except rfc8785.CanonicalizationError as wrong:
        raise InternalError(f"a {draft.kind} event cannot be logged: {wrong}") from wrong


def refuse_floats(value: Any, where: str) -> None:
    """Raise :class:`~benchflow.base.errors.InternalError` when there is a float anywhere in ``value``."""
    if isinstance(value, float):
        raise InternalError(f"{where} holds the float {value!r}: the log keeps digits as entered, as text")
    if isinstance(value, dict):
        for name, inner in value.items():
            refuse_floats(inner, f"{where}.{name}")
    elif isinstance(value, (list, tuple)):
        for number, inner in enumerate(value):
            refuse_floats(inner, f"{where}[{number}]")
