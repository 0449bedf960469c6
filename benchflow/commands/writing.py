"""Writes the files of commands: atomically, and never over a log, a procedure or a shop file."""

import re
import sys
from pathlib import Path

from benchflow.base.atomic_write import atomic_write
from benchflow.base.errors import BenchflowError

_IS_LOG = re.compile(rb'\{"at":"[^"]{20,40}","by":')  # how every line of a log begins (RFC 8785 sorts the keys)
_IS_AUTHORED = re.compile(rb"^(benchflow|shop): *['\"]?[0-9]", re.MULTILINE)


def put(text: str | bytes, out: Path | None) -> None:
    """Write to ``out``; to standard output if that is ``-`` or ``None``.

    Raises:
        BenchflowError: it cannot be written, or is a log, a procedure or a shop file. The old content stays.
    """
    data = text.encode() if isinstance(text, str) else text
    if out is None or str(out) == "-":
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
    except (OSError, RuntimeError) as wrong:  # RuntimeError: circular links
        raise BenchflowError(
            f"{out} cannot be written: {getattr(wrong, 'strerror', None) or wrong}. Choose another file."
        ) from wrong


def _refuse_protected(out: Path, target: Path) -> None:
    if not target.exists():
        return
    with target.open("rb") as file:
        begins = file.read(4096)
    authored = _IS_AUTHORED.search(begins)
    what = "a session's log" if _IS_LOG.match(begins) else ""
    if authored is not None:
        what = "a procedure" if authored[1] == b"benchflow" else "a shop file"
    if what:
        raise BenchflowError(f"{out} is {what} and is not overwritten. Choose another name.")
