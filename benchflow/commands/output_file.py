"""Writes the file that a command makes: atomically, and never over a log, a procedure, a shop file or a database."""

import re
import sys
from pathlib import Path

from benchflow.base.atomic_write import Unconfirmed, atomic_write
from benchflow.base.errors import BenchflowError

STANDARD_OUTPUT = Path("-")
"""The file name that stands for standard output."""
_LOG_START = re.compile(rb'\{"at":"[^"]{20,40}","by":')  # every line of a log starts so (RFC 8785 sorts the keys)
# Every line ends so. This also finds a log whose first line is damaged, or that has other blanks.
_LOG_LINE_END = re.compile(
    rb'"hash"\s*:\s*"[0-9a-f]{64}"\s*,\s*"kind"\s*:\s*"[^"]*"\s*,\s*"prev"\s*:\s*"[0-9a-f]{64}"\s*,\s*"seq"'
)
_DATABASE_START = b"SQLite format 3\0"
_NEAR_START = 65_536  # bytes
_AUTHORED = {b"benchflow": "a procedure", b"benchflow-block": "a block", b"shop": "a shop file"}
_AUTHORED_KEY = re.compile(rb"^(benchflow|benchflow-block|shop): *['\"]?[0-9]", re.MULTILINE)


def write_output(content: str | bytes, out: Path | None, *, over_procedure: bool = False) -> None:
    """Write to the file ``out``, or to standard output if ``out`` is ``-`` or ``None``.

    With ``over_procedure``, a procedure or a block is overwritten too.

    Raises:
        BenchflowError: the file cannot be written, or is a log, a procedure, a shop file or a database. Its
            old content stays, unless the message tells otherwise.
    """
    data = content.encode() if isinstance(content, str) else content
    if out is None or out == STANDARD_OUTPUT:
        sys.stdout.flush()
        sys.stdout.buffer.write(data)
        sys.stdout.buffer.flush()
        return
    is_stream = False
    try:
        target = out.resolve()  # a link stays a link
        is_stream = target.exists() and not target.is_file() and not target.is_dir()  # a pipe or a terminal
        if is_stream:
            target.write_bytes(data)
        else:
            refuse_protected(out, over_procedure=over_procedure)
            atomic_write(target, data)
    except Unconfirmed as error:
        raise BenchflowError(
            f"{out} was written, but the disk did not confirm it: {error.strerror}. Look at it, or write it again."
        ) from error
    except (OSError, RuntimeError) as error:  # RuntimeError: circular links
        partly = " A part of it may have been written." if is_stream else ""
        raise BenchflowError(
            f"{out} cannot be written: {getattr(error, 'strerror', None) or error}.{partly} Choose another file."
        ) from error


def refuse_protected(out: Path, *, over_procedure: bool = False) -> None:
    """Refuse a file that exists and is a log, a shop file or a database, or a procedure that must stay.

    Raises:
        BenchflowError: it is one.
        OSError: it cannot be read.
    """
    target = out.resolve()  # a link stays a link
    if not target.is_file():
        return
    content = target.read_bytes()
    start = content[:_NEAR_START]
    authored = _AUTHORED_KEY.search(start)
    kind = "the log of a job" if _LOG_START.match(start) or _LOG_LINE_END.search(content) else ""
    if start.startswith(_DATABASE_START):
        kind = "a database"
    elif authored is not None and not kind:
        kind = _AUTHORED[authored[1]]
        kind = "" if over_procedure and authored[1] != b"shop" else kind
    if kind:
        raise BenchflowError(f"{out} is {kind} and is not overwritten. Choose another name.")
