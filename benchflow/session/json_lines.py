"""Driving a session without a screen: an intent a line in, an answer a line out."""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import IO, Any

import msgspec

from benchflow.base.errors import BenchflowError
from benchflow.procedure.compiled_cache import Loaded
from benchflow.procedure.model import Procedure
from benchflow.session.controller import Answer, Clock, Desk
from benchflow.session.refusal import Reason, Refusal
from benchflow.session.shop.live_register import Register

LONGEST = 1_000_000
"""Bytes in one intent; more is not an intent."""
BOM = b"\xef\xbb\xbf"
"""Some shells put it in front of what they pipe."""


def as_json(reply: Answer) -> dict[str, Any]:
    """``{"ok": true, "events": [...]}`` or ``{"ok": false, "refused": [...]}``; a query's answer beside."""
    if isinstance(reply, Refusal):
        return {"ok": False, "refused": msgspec.to_builtins(list(reply.refused))}
    return {"ok": True, "events": msgspec.to_builtins(list(reply.lines)), **reply.answer}


def open_desk(
    source: Loaded,
    file: str,
    log: Path,
    read: Callable[[str], Procedure],
    *,
    simulated: bool,
    clock: Clock | None = None,
    register: Register | None = None,
) -> Desk:
    """The desk for ``log``: resumed where there is one, begun where there is none.

    Raises:
        BenchflowError: the log is of another procedure, or of the other kind of time.
    """
    if not log.exists() or not log.stat().st_size:
        return Desk.begin(log, source, file=file, read=read, clock=clock, register=register, simulated=simulated)
    desk = Desk.resume(log, read=read, clock=clock, register=register)
    problem = ""
    if source.procedure is not None and desk.procedure.id != source.procedure.id:
        problem = f"{log} is a session of {desk.procedure.id}, not of {source.procedure.id}"
    elif desk.simulated != simulated:
        kind = "a simulated" if desk.simulated else "a real"
        problem = f"{log} is {kind} session: drive it {'with' if desk.simulated else 'without'} --simulated"
    if problem:
        desk.close()
        raise BenchflowError(problem)
    return desk


def drive(desk: Desk, lines: IO[bytes], out: IO[bytes]) -> int:
    """Answer every line until the input ends. A refusal is an answer like any other: the exit status is 0."""
    for raw in _lines(lines):
        if not raw.strip():
            continue
        reply = _one(desk, raw)
        out.write(msgspec.json.encode(as_json(reply)) + b"\n")
        out.flush()
    return 0


def _lines(lines: IO[bytes]) -> Iterator[bytes]:
    """Line by line. Of one that is too long only the beginning is kept: the rest is read past, never stored."""
    first = True
    while raw := lines.readline(LONGEST + 1):
        if first:
            first, raw = False, raw.removeprefix(BOM)
        yield raw
        while len(raw) > LONGEST and not raw.endswith(b"\n"):
            raw = lines.readline(LONGEST + 1)
            if len(raw) <= LONGEST:
                break


def _one(desk: Desk, raw: bytes) -> Answer:
    if len(raw) > LONGEST:
        return _bad(f"a line of more than {LONGEST} bytes is no intent")
    try:
        message = msgspec.json.decode(raw)
    except (msgspec.DecodeError, RecursionError, UnicodeDecodeError) as error:
        return _bad(f"not JSON: {error}")
    if not isinstance(message, dict):
        return _bad("an intent is a JSON object")
    return desk.send(message)


def _bad(message: str) -> Refusal:
    return Refusal((Reason("bad-intent", message),))
