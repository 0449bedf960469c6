"""A procedure from its file, read once: the compiled form is kept beside, found by the text's own fingerprint.

The compiled form is only ever a shortcut. It is found by the SHA-256 of the text and a fingerprint of the reader
itself; a file of it that is damaged, or written by another reader, is read past and written anew; where it cannot be
written the procedure is simply read again next time. Only procedures without an error are kept.
"""

import os
from contextlib import suppress
from functools import cache
from hashlib import sha256
from pathlib import Path

import msgspec
from msgspec import Struct

from benchflow import __version__
from benchflow.errors import BenchflowError
from benchflow.procedure.model import Procedure
from benchflow.procedure.problems import Problem
from benchflow.procedure.source import MAX_BYTES, decode

KEPT = 64
"""Compiled procedures kept in a folder; the longest unused go first."""


class Loaded(Struct, frozen=True):
    """``procedure`` is ``None`` when there are errors among ``problems``. ``text`` is the file as it stands (line
    ends as written, without a byte order mark); ``sha256`` is that of ``text`` in UTF-8, in hex. Both are "" where the
    file is no text or too large."""

    procedure: Procedure | None
    text: str
    sha256: str
    problems: tuple[Problem, ...]


class _Compiled(Struct, frozen=True):
    procedure: Procedure
    problems: tuple[Problem, ...]


def load(path: Path, cache_folder: Path | None = None) -> Loaded:
    """Read the procedure in ``path``. With a ``cache_folder`` the compiled form is looked for there, and kept there.

    Raises:
        BenchflowError: the file cannot be opened.
    """
    try:
        with path.open("rb") as stream:
            data = stream.read(MAX_BYTES + 1)
    except OSError as error:
        raise BenchflowError(f"{path} cannot be read: {error.strerror or error}") from error
    text, problems = decode(data, str(path))
    if text is None:
        return Loaded(None, "", "", problems.listed(None))
    return read_text(text, str(path), cache_folder)


def read_text(text: str, file: str = "procedure", cache_folder: Path | None = None) -> Loaded:
    """Read a procedure's text, such as the one that a session's log carries. ``file`` names it in messages."""
    encoded = text.encode("utf-8", "surrogatepass")
    digest = sha256(encoded).hexdigest()
    kept = None if cache_folder is None else _kept(cache_folder, digest, file)
    if kept is not None:
        return Loaded(kept.procedure, text, digest, kept.problems)
    from benchflow.procedure.reader import read  # late: brings in the YAML reader

    reading = read(text, file)
    if cache_folder is not None and reading.procedure is not None:
        _keep(cache_folder, digest, _Compiled(reading.procedure, reading.problems))
    return Loaded(reading.procedure, text, digest, reading.problems)


# --- the compiled form ------------------------------------------------------------------------------


@cache
def _reader_fingerprint() -> str:
    """Changes whenever the reader may have changed: the program's version, and the state of its own files."""
    here = Path(__file__).parent
    found = sha256(__version__.encode())
    with suppress(OSError):  # not on a disk: the version has to do
        for folder in (here, here / "formula", here.parent / "quantity"):
            for entry in sorted(os.scandir(folder), key=lambda entry: entry.name):
                if entry.name.endswith(".py"):
                    state = entry.stat()
                    found.update(f"{entry.name} {state.st_size} {state.st_mtime_ns}".encode())
    return found.hexdigest()[:16]


def _path(folder: Path, digest: str) -> Path:
    return folder / f"{digest[:32]}-{_reader_fingerprint()}.procedure"


def _kept(folder: Path, digest: str, file: str) -> _Compiled | None:
    """The compiled form, if a whole one is there. It begins with the SHA-256 of all that follows."""
    path = _path(folder, digest)
    try:
        data = path.read_bytes()
        if sha256(data[32:]).digest() != data[:32]:
            return None
        compiled = msgspec.msgpack.decode(data[32:], type=_Compiled)
    except (OSError, msgspec.MsgspecError):
        return None
    with suppress(OSError):
        os.utime(path)  # used just now
    problems = tuple(msgspec.structs.replace(problem, file=file) for problem in compiled.problems)
    return _Compiled(compiled.procedure, problems)


def _keep(folder: Path, digest: str, compiled: _Compiled) -> None:
    """Write the compiled form, whole or not at all. A folder that cannot be written is no mistake of anybody's."""
    body = msgspec.msgpack.encode(compiled)
    path = _path(folder, digest)
    part = path.with_name(f"{path.name}.{os.getpid()}")
    with suppress(OSError):
        folder.mkdir(parents=True, exist_ok=True)
        part.write_bytes(sha256(body).digest() + body)
        part.replace(path)
        _tidy(folder)


def _tidy(folder: Path) -> None:
    kept = sorted(folder.glob("*.procedure"), key=lambda path: path.stat().st_mtime_ns, reverse=True)
    for path in kept[KEPT:]:
        with suppress(OSError):
            path.unlink()
