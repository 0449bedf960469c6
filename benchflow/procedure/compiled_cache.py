"""A procedure from its file, read once: the compiled form is kept beside, found by the text's own fingerprint.

The compiled form is only ever a shortcut. It is found by the SHA-256 of the text and a fingerprint of the reader
itself; a file of it that is damaged, or written by another reader, is read past and written anew; where it cannot be
written the procedure is simply read again next time. Only procedures without an error are kept.
"""

from contextlib import suppress
from functools import cache
from hashlib import sha256
from pathlib import Path

import msgspec
from msgspec import Struct

from benchflow import __version__
from benchflow.base.digest_cache import DigestCache
from benchflow.base.errors import BenchflowError
from benchflow.procedure.model import Procedure
from benchflow.procedure.problems import Problem
from benchflow.procedure.yaml_source.yaml_reader import MAX_BYTES, decode

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
    source = sha256(encoded)
    digest = source.hexdigest()
    compiled_forms = None if cache_folder is None else _compiled_forms(cache_folder)
    name = f"{digest[:32]}-{_reader_fingerprint()}" if compiled_forms is not None else ""
    kept = None if compiled_forms is None else compiled_forms.get(name, source.digest())
    if kept is not None:
        problems = tuple(msgspec.structs.replace(problem, file=file) for problem in kept.problems)
        return Loaded(kept.procedure, text, digest, problems)
    from benchflow.procedure.reader import read  # late: brings in the YAML reader

    reading = read(text, file)
    if compiled_forms is not None and reading.procedure is not None:
        compiled_forms.put(name, source.digest(), _Compiled(reading.procedure, reading.problems))
    return Loaded(reading.procedure, text, digest, reading.problems)


# --- the compiled form ------------------------------------------------------------------------------


def _compiled_forms(folder: Path) -> DigestCache[_Compiled]:
    return DigestCache(folder, ".procedure", _Compiled, KEPT)


@cache
def _reader_fingerprint() -> str:
    """Changes whenever the reader may have changed: the program's version, and size and time of its own files."""
    package = Path(__file__).parents[1]
    found = sha256(__version__.encode())
    with suppress(OSError):  # not on a disk: the version has to do
        for folder in ("base", "procedure", "quantity"):
            for path in sorted((package / folder).rglob("*.py")):
                state = path.stat()
                found.update(f"{path.relative_to(package)} {state.st_size} {state.st_mtime_ns}".encode())
    return found.hexdigest()[:16]
