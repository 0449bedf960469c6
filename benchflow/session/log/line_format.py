"""The format of a log line: turns events into lines with hashes, and checks lines. It uses bytes, not files.

The hash of a line is the SHA-256 of its canonical JSON (RFC 8785) without the member ``hash``. Making the canonical
form of every line would be slow. So if a line is already canonical, its own bytes are hashed, without that member. To
check that a line is canonical, it is decoded and encoded again. msgspec with sorted keys writes canonical JSON if

- all numbers are integers within ±(2**53 - 1): the type below requires this;
- no key has a character above U+FFFF: only such keys sort differently in UTF-8 and UTF-16;
- no key is repeated: encoding again removes a repeated key, so the bytes differ.

All other lines go through ``json`` and ``rfc8785``, which is slower. A line in any other form than the canonical one
is damage, also if its hash fits: the program never writes one.

The lines that one intent wrote are a group (``intent`` and ``of`` in their data). If the last group is incomplete, all
of it is put aside, like a line that was cut.
"""

import json
from collections.abc import Iterable
from contextlib import suppress
from hashlib import sha256
from itertools import takewhile
from typing import Annotated, Any

import msgspec
from msgspec import Struct
from msgspec.structs import replace

from benchflow.base.errors import InternalError
from benchflow.session.log.timestamps import LOG_FORM, BadTimestamp, parse_timestamp

ZEROS = "0" * 64
"""``prev`` of the first line."""
NOT_A_LOG = "is not the first line of a log"
"""What is wrong with the first line of a file that another program made."""
_START = b'{"at":"0000-00-00T00:00:00.000Z","by":"'  # of every line that this program writes
_DIGITS_AS_ZERO = bytes.maketrans(b"123456789", b"0" * 9)


class Draft(Struct, frozen=True):
    """An event that is not on disk yet. ``at`` has the form of :data:`benchflow.session.log.timestamps.LOG_FORM`."""

    at: str
    by: str
    kind: str
    data: dict[str, Any]


class Line(Struct, frozen=True, gc=False):
    """One event of the log with all its fields. ``seq`` counts from 1.

    With ``gc=False`` the garbage collector skips it, so a long log is read faster. Data from JSON has no cycles.
    """

    seq: int
    at: str
    by: str
    kind: str
    data: dict[str, Any]
    prev: str
    hash: str


class Damage(Struct, frozen=True):
    """Damage in a log. ``line`` is the number of the first damaged line, from 1. ``what`` describes the damage."""

    line: int
    what: str


class UntrustedLine(Struct, frozen=True):
    """A line at or after the damage whose own hash fits. ``number`` is its line number in the file, from 1."""

    number: int
    line: Line


class ParsedLog(Struct, frozen=True):
    """The content of a log.

    ``length`` is the size of the undamaged lines in bytes. ``tail`` is an incomplete last line or group after them; it
    is empty if there is damage. ``open_end`` is true if the last event is whole, but has no newline yet. ``converted``
    is true if every line end was converted to CR LF: the events stay trusted, and sizes count the original line ends.
    ``changed`` is the first line as it reads now, if it is an event, but not as it was written: it has the procedure,
    which the lines after it need.
    """

    lines: list[Line]
    length: int
    damage: Damage | None
    tail: bytes
    untrusted: tuple[UntrustedLine, ...] = ()
    open_end: bool = False
    converted: bool = False
    changed: Line | None = None


# --- canonical lines, checked with msgspec -----------------------------------------------------------

_Int = Annotated[int, msgspec.Meta(ge=-(2**53) + 1, le=2**53 - 1)]
_Leaf = str | bool | _Int | None
# No event is nested more than six levels. msgspec does not support recursive types.
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
_LEADS_ABOVE_FFFF = tuple(bytes([lead]) for lead in range(0xF0, 0xF5))  # first byte of a four-byte character in UTF-8
_HASH_MEMBER = b',"hash":"'
_HASH_MEMBER_LENGTH = len(_HASH_MEMBER) + 64 + 1


def _has_character_above_ffff(raw: bytes) -> bool:
    return any(lead in raw for lead in _LEADS_ABOVE_FFFF)


def has_own_hash(raw: bytes, digest: str) -> bool:
    """True if ``digest`` is the hash of a line in canonical form. Whether the form is canonical is not checked."""
    # Only `kind`, `prev` and `seq` come after `hash`, and quotes in them are escaped: the last match is the member.
    cut = raw.rfind(_HASH_MEMBER)
    return sha256(raw[:cut] + raw[cut + _HASH_MEMBER_LENGTH :]).hexdigest() == digest


def _canonical_line(raw: bytes) -> Line | None:
    """The event, if the line is canonical and its hash is right; otherwise ``None``."""
    try:
        line = _decode_plain(raw)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
        return None
    if _encode_sorted(line) != raw or (not raw.isascii() and _has_character_above_ffff(raw)):
        return None
    if not has_own_hash(raw, line.hash):
        return None
    return Line(line.seq, line.at, line.by, line.kind, line.data, line.prev, line.hash)


# --- any line --------------------------------------------------------------------------------------


class _LineError(Exception):
    """An error in a line. Its text continues the sentence "the line ..."."""


def _members_once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    members = dict(pairs)
    if len(members) != len(pairs):
        raise _LineError("has a key twice")
    return members


def _refuse_constant(name: str) -> Any:
    raise _LineError(f"has {name}, which is not JSON")


def _integer_as_rfc8785(digits: str) -> int | float:
    """The integer; above 53 bits the nearest double, as RFC 8785 requires."""
    return int(digits) if len(digits) < 16 or abs(float(digits)) < 2**53 else float(digits)


def _any_line(raw: bytes) -> Line:
    """Return the event in a line of any JSON form and check its hash. Raises :class:`_LineError`."""
    import rfc8785  # imported late: most logs can be read without it

    try:
        members = json.loads(
            raw.decode("utf-8"),
            object_pairs_hook=_members_once,
            parse_constant=_refuse_constant,
            parse_int=_integer_as_rfc8785,
        )
        line = msgspec.convert(members, Line)
        body = rfc8785.dumps({name: value for name, value in members.items() if name != "hash"})
    except UnicodeDecodeError:
        raise _LineError("is not UTF-8 text") from None
    except msgspec.ValidationError as error:
        raise _LineError(f"is not an event ({error})") from None
    except rfc8785.CanonicalizationError as error:
        raise _LineError(f"has no canonical form ({error})") from None
    except RecursionError:
        raise _LineError("is nested too deeply to be an event") from None
    except json.JSONDecodeError:
        raise _LineError("is not complete JSON") from None
    if sha256(body).hexdigest() != line.hash:
        raise _LineError("has been changed since it was written: its hash does not match")
    if rfc8785.dumps(members) != raw:
        raise _LineError("has blanks or another form than it was written with")
    return line


def _checked_line(raw: bytes, seq: int, prev: str) -> Line:
    """The event in ``raw``, which must have the number ``seq`` and follow ``prev``. Raises :class:`_LineError`."""
    line = _canonical_line(raw)
    if line is None:
        if not raw.strip():
            raise _LineError("is empty")
        line = _any_line(raw)
    if line.seq != seq:
        raise _LineError(f"is event {line.seq} instead of event {seq}: a line is missing, repeated or out of order")
    if line.prev != prev:
        raise _LineError("does not follow the line before it: the chain is broken here")
    if not LOG_FORM.fullmatch(line.at):
        try:
            parse_timestamp(line.at)
        except BadTimestamp as error:
            raise _LineError(f"has a time that cannot be read: {error}") from None
    return line


def logged_hash(raw: bytes) -> str:
    """The hash in a line that was verified before, without decoding the line."""
    cut = raw.rfind(_HASH_MEMBER) + len(_HASH_MEMBER)
    return raw[cut : cut + 64].decode("ascii")


def read(data: bytes, after: Line | None = None, *, growing: bool = False) -> ParsedLog:
    """The events in ``data``, which follows the line ``after`` (``None``: the start of the log).

    A line is written in one piece, with the newline last. So a last line without a newline is an interrupted write,
    unless it is a whole event. An error in any other line is damage. With ``growing``, another program writes the log
    now: then a last line without a newline is not complete yet.
    """
    if _is_converted(data):
        return replace(read(data.replace(b"\r\n", b"\n"), after, growing=growing), converted=True)
    seq, prev = (after.seq, after.hash) if after else (0, ZEROS)
    *complete, tail = data.split(b"\n")
    lines: list[Line] = []
    length = 0
    has_log_form = LOG_FORM.fullmatch
    for index, raw in enumerate(complete):
        line = _canonical_line(raw)
        # Any other line is checked in detail, for the message.
        if line is None or line.seq != seq + 1 or line.prev != prev or not has_log_form(line.at):
            try:
                line = _checked_line(raw, seq + 1, prev)
            except _LineError as error:
                rest = [*complete[index:], *([tail] if tail else [])]
                return _damaged(lines, length, Damage(seq + 1, str(error)), rest)
        lines.append(line)
        length += len(raw) + 1
        seq, prev = line.seq, line.hash
    if tail and not growing:
        last = _line_or_none(tail, seq + 1, prev)
        if last is not None:
            whole = ParsedLog([*lines, last], length + len(tail), None, b"", open_end=True)
            return _without_incomplete_group(whole, data)
        what, objects = _why_not_interrupted(tail, seq + 1, prev)
        if what:
            return _damaged(lines, length, Damage(seq + 1, what), objects)
    return _without_incomplete_group(ParsedLog(lines, length, None, tail), data)


def _is_converted(data: bytes) -> bool:
    """True if every line end is CR LF. No line of a log contains CR."""
    ends = data.count(b"\n")
    return ends > 0 and data.count(b"\r\n") == ends


def decode_verified(raw: bytes) -> Line:
    """The event in the bytes of a line that was verified before."""
    try:
        line = _decode_plain(raw)
    except msgspec.DecodeError:
        return _any_line(raw)
    return Line(line.seq, line.at, line.by, line.kind, line.data, line.prev, line.hash)


def _why_not_interrupted(tail: bytes, seq: int, prev: str) -> tuple[str, list[bytes]]:
    """The reason why ``tail`` is not the beginning of a line, as a clause; and the complete objects that it has.

    The beginning of a line is never a complete object. At the start of the file it is also in the form of a line:
    otherwise the file is another program's.
    """
    text, end = tail.decode("utf-8", "replace"), 0
    objects: list[bytes] = []
    with suppress(ValueError, RecursionError):
        while text.startswith("{", end):
            start = end
            _, end = json.JSONDecoder().raw_decode(text, start)
            objects.append(text[start:end].encode())
            while text[end : end + 1].isspace():
                end += 1
    if objects and objects[0] != tail:
        return "does not end in a newline: its end has been changed", objects
    if objects:
        try:
            _checked_line(tail, seq, prev)
        except _LineError as error:
            return str(error), objects
    if seq == 1 and not (_START.startswith(tail[: len(_START)].translate(_DIGITS_AS_ZERO)) and min(tail) >= 0x20):
        return NOT_A_LOG, []
    return "", []


def _line_or_none(raw: bytes, seq: int, prev: str) -> Line | None:
    """The event in ``raw`` if it is whole, has the number ``seq`` and follows ``prev``; otherwise ``None``."""
    try:
        return _checked_line(raw, seq, prev)
    except _LineError:
        return None


def _damaged(lines: list[Line], length: int, damage: Damage, rest: list[bytes]) -> ParsedLog:
    """A log with damage. ``rest`` are the lines from the damaged one on."""
    untrusted = _untrusted_lines(rest, damage.line)
    changed = None
    if damage.line == 1 and rest and not any(each.number == 1 for each in untrusted):
        with suppress(msgspec.DecodeError, UnicodeDecodeError, RecursionError):
            changed = msgspec.json.decode(rest[0], type=Line)
    return ParsedLog(lines, length, damage, b"", untrusted, changed=changed)


def _untrusted_lines(pieces: list[bytes], number: int) -> tuple[UntrustedLine, ...]:
    """The lines whose own hash fits. The first piece is line ``number`` of the file."""
    found: list[UntrustedLine] = []
    for at, raw in enumerate(pieces, number):
        try:
            found.append(UntrustedLine(at, _canonical_line(raw) or _any_line(raw)))
        except _LineError:
            continue
    return tuple(found)


def _without_incomplete_group(parsed: ParsedLog, data: bytes) -> ParsedLog:
    """``parsed`` without its last group, if that has fewer lines than it states; they are in ``tail`` then."""
    if not parsed.lines:
        return parsed
    number, size = (parsed.lines[-1].data.get(name) for name in ("intent", "of"))
    if not isinstance(number, int) or not isinstance(size, int):
        return parsed
    group = takewhile(lambda line: line.data.get("intent") == number, reversed(parsed.lines))
    present = sum(1 for _ in group)
    if present >= size:
        return parsed
    kept = parsed.lines[:-present]
    length = sum(len(raw) + 1 for raw in data.split(b"\n")[: len(kept)])
    return ParsedLog(kept, length, None, data[length:])


# --- writing ---------------------------------------------------------------------------------------


def seal(drafts: Iterable[Draft], after: Line | None) -> tuple[tuple[Line, ...], bytes]:
    """Make lines with hashes from ``drafts``. Returns the lines, which follow ``after``, and their bytes.

    Raises:
        InternalError: a draft cannot be logged. It has a float (digits would be lost), a value that JSON does not
            support, or a timestamp in another form.
    """
    seq, prev = (after.seq, after.hash) if after else (0, ZEROS)
    lines: list[Line] = []
    pieces: list[bytes] = []
    for draft in drafts:
        seq += 1
        if not LOG_FORM.fullmatch(draft.at):
            raise InternalError(f"A {draft.kind} event has the time {draft.at!r}, which is not a timestamp of the log.")
        body = _canonical(draft, seq, prev)
        # In the canonical form the member `hash` comes before `kind`.
        cut = body.rfind(b',"kind":"')
        raw = b"".join((body[:cut], _HASH_MEMBER, sha256(body).hexdigest().encode(), b'"', body[cut:]))
        # The line is parsed from the bytes, so it equals the line that will be read later.
        line = _checked_line(raw, seq, prev)
        lines.append(line)
        pieces.append(raw + b"\n")
        prev = line.hash
    return tuple(lines), b"".join(pieces)


def _canonical(draft: Draft, seq: int, prev: str) -> bytes:
    """The canonical JSON of a line without ``hash``, from msgspec if possible, else from ``rfc8785``."""
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
        if not _has_character_above_ffff(body):
            return body
    except (msgspec.ValidationError, UnicodeEncodeError):
        pass  # rfc8785 encodes it below, or reports the error
    import rfc8785  # imported late: few events need it

    refuse_floats(draft.data, draft.kind)
    try:
        return rfc8785.dumps(members)
    except rfc8785.CanonicalizationError as error:
        raise InternalError(f"A {draft.kind} event cannot be logged: {error}.") from error


def line_text(line: Line) -> str:
    """A line as it is in the log, without its newline."""
    members = msgspec.structs.asdict(line)
    try:
        body = _encode_sorted(msgspec.convert(members, _Plain))
        if not _has_character_above_ffff(body):
            return body.decode()
    except msgspec.ValidationError:
        pass
    import rfc8785

    return rfc8785.dumps(members).decode()


def refuse_floats(value: Any, where: str) -> None:
    """Check that ``value`` contains no float at any depth.

    Raises:
        InternalError: it contains one.
    """
    if isinstance(value, float):
        raise InternalError(
            f"{where} has the float {value!r}. The log stores numbers as text, with all digits entered."
        )
    if isinstance(value, dict):
        for name, inner in value.items():
            refuse_floats(inner, f"{where}.{name}")
    elif isinstance(value, (list, tuple)):
        for number, inner in enumerate(value):
            refuse_floats(inner, f"{where}[{number}]")
