"""Loads a procedure from its file, with a cache of compiled forms that saves time.

The name of a compiled form contains the SHA-256 of the text and a fingerprint of the reader. If the form is missing,
damaged or made by another version of the reader, the text is read and the form is written again. If it cannot be
written, the text is read again next time. Only procedures without an error are cached.
"""

import functools
from contextlib import suppress
from hashlib import sha256
from pathlib import Path

import msgspec
from msgspec import Struct

from benchflow import __version__
from benchflow.base.digest_cache import DigestCache
from benchflow.base.errors import BenchflowError
from benchflow.base.regular_file import read_regular_file
from benchflow.procedure.model import Procedure
from benchflow.procedure.problems import Problem
from benchflow.procedure.yaml_source.yaml_reader import MAX_BYTES, decode

KEPT = 64
"""The most compiled forms in a folder; the least recently used are deleted first."""


class Loaded(Struct, frozen=True):
    """A procedure file with its problems.

    ``procedure`` is ``None`` if one of the ``problems`` is an error. ``text`` is the text of the file, with its own
    line ends and without a byte order mark; ``sha256`` is the digest of ``text`` in UTF-8, in hex. Both are "" if the
    file is not UTF-8 text or too large.
    """

    procedure: Procedure | None
    text: str
    sha256: str
    problems: tuple[Problem, ...]


class _Compiled(Struct, frozen=True):
    """The compiled form of a procedure without an error."""

    procedure: Procedure
    problems: tuple[Problem, ...]


def load(path: Path, cache_folder: Path | None = None) -> Loaded:
    """Read the procedure in ``path``; ``cache_folder`` is the folder of the compiled forms, if there is one.

    Raises:
        BenchflowError: the file cannot be read.
    """
    try:
        data = read_regular_file(path, MAX_BYTES + 1)
    except OSError as error:
        raise BenchflowError(f"{path} cannot be read: {error.strerror or error}.") from error
    text, problems = decode(data, str(path))
    if text is None:
        return Loaded(None, "", "", problems.listed(None))
    return read_text(text, str(path), cache_folder)


def read_text(text: str, file: str = "procedure", cache_folder: Path | None = None) -> Loaded:
    """Like :func:`load`, but for a text, such as the one in a log. ``file`` is its name in messages."""
    encoded = text.encode("utf-8", "surrogatepass")
    source = sha256(encoded)
    digest = source.hexdigest()
    cache = None if cache_folder is None else _cache_in(cache_folder)
    name = f"{digest[:32]}-{_reader_fingerprint()}" if cache is not None else ""
    cached = None if cache is None else cache.get(name, source.digest())
    if cached is not None:
        problems = tuple(msgspec.structs.replace(problem, file=file) for problem in cached.problems)
        return Loaded(cached.procedure, text, digest, problems)
    from benchflow.procedure.reader import read  # late import: it loads the YAML parser (benchmark bench_screen)

    reading = read(text, file)
    if cache is not None and reading.procedure is not None:
        cache.put(name, source.digest(), _Compiled(reading.procedure, reading.problems))
    return Loaded(reading.procedure, text, digest, reading.problems)


# --- the compiled form ------------------------------------------------------------------------------


def _cache_in(folder: Path) -> DigestCache[_Compiled]:
    return DigestCache(folder, ".procedure", _Compiled, KEPT)


@functools.cache
def _reader_fingerprint() -> str:
    """A hash of the version and of the size and time of each source file. It changes when the reader changes."""
    package = Path(__file__).parents[1]
    fingerprint = sha256(__version__.encode())
    with suppress(OSError):  # the package is not in a folder: use the version alone
        for folder in ("base", "procedure", "quantity"):
            for path in sorted((package / folder).rglob("*.py")):
                state = path.stat()
                fingerprint.update(f"{path.relative_to(package)} {state.st_size} {state.st_mtime_ns}".encode())
    return fingerprint.hexdigest()[:16]
