"""Writes the file that a command makes: atomically, and never over a log, a procedure or a shop file."""

import re
import sys
from pathlib import Path

from benchflow.base.atomic_write import atomic_write
from benchflow.base.errors import BenchflowError

STANDARD_OUTPUT = Path("-")
"""The file name that stands for standard output."""
_LOG_START = re.compile(rb'\{"at":"[^"]{20,40}","by":')  # every line of a log starts so (RFC 8785 sorts the keys)
_AUTHORED_KEY = re.compile(rb"^(benchflow|shop): *['\"]?[0-9]", re.MULTILINE)


def write_output(content: str | bytes, out: Path | None) -> None:
    """Write to the file ``out``, or to standard output if ``out`` is ``-`` or ``None``.

    Raises:
        BenchflowError: the file cannot be written, or it is a log, a procedure or a shop file. Its old content stays.
    """
    data = content.encode() if isinstance(content, str) else content
    if out is None or out == STANDARD_OUTPUT:
        sys.stdout.flush()
        sys.stdout.buffer.write(data)
        sys.stdout.buffer.flush()
        return
    try:
        target = out.resolve()  # a link stays a link
        if target.exists() and not target.is_file():  # a pipe or a terminal; a folder raises OSError
            target.write_bytes(data)
        else:
            _refuse_protected(out, target)
            atomic_write(target, data)
    except (OSError, RuntimeError) as error:  # RuntimeError: circular links
        raise BenchflowError(
            f"{out} cannot be written: {getattr(error, 'strerror', None) or error}. Choose another file."
        ) from error


def _refuse_protected(out: Path, target: Path) -> None:
    """Raise an error if ``target`` exists and is a log, a procedure or a shop file."""
    if not target.exists():
        return
    with target.open("rb") as file:
        start = file.read(4096)
    authored = _AUTHORED_KEY.search(start)
    kind = "the log of a job" if _LOG_START.match(start) else ""
    if authored is not None:
        kind = "a procedure" if authored[1] == b"benchflow" else "a shop file"
    if kind:
        raise BenchflowError(f"{out} is {kind} and is not overwritten. Choose another name.")
