"""Loads a procedure from its file, with a cache of compiled forms that saves time.

The name of a compiled form contains the SHA-256 of the text and a fingerprint of the reader. If the form is missing,
damaged or made by another version of the reader, the text is read and the form is written again. If it cannot be
written, the text is read again next time. Only procedures without an error are cached.

A procedure that uses blocks is written out before it is read (:mod:`benchflow.procedure.blocks`). The name of its
compiled form also contains the digest of all block files that it can find.
"""

import functools
from collections.abc import Iterator, Mapping
from contextlib import suppress
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING

import msgspec
from msgspec import Struct

from benchflow import __version__
from benchflow.base.digest_cache import DigestCache
from benchflow.base.errors import BenchflowError
from benchflow.base.regular_file import read_regular_file
from benchflow.procedure.blocks.block_folder import BlockFolder, UsedBlock, may_use_blocks
from benchflow.procedure.blocks.block_library import BlockLibrary
from benchflow.procedure.blocks.source_map import SourceMap
from benchflow.procedure.model import Procedure
from benchflow.procedure.problems import Problem
from benchflow.procedure.yaml_source.yaml_reader import MAX_BYTES, decode

if TYPE_CHECKING:
    from benchflow.procedure.blocks.block_expansion import Expansion

KEPT = 64
"""The most compiled forms in a folder; the least recently used are deleted first."""


class Loaded(Struct, frozen=True):
    """A procedure file with its problems.

    ``procedure`` is ``None`` if one of the ``problems`` is an error. ``text`` is the text of the file, with its own
    line ends and without a byte order mark; ``sha256`` is the digest of ``text`` in UTF-8, in hex. Both are "" if the
    file is not UTF-8 text or too large. If the file uses ``blocks``, ``text`` is the procedure written out, and
    ``source_map`` leads from its lines to those of the file. The marks in ``procedure`` are lines of ``text``; the
    ``problems`` are at lines of the file.
    """

    procedure: Procedure | None
    text: str
    sha256: str
    problems: tuple[Problem, ...]
    blocks: tuple[UsedBlock, ...] = ()
    source_map: SourceMap | None = None


class _Compiled(Struct, frozen=True):
    """The compiled form of a procedure without an error."""

    procedure: Procedure
    problems: tuple[Problem, ...]
    written_out: "_WrittenOut | None" = None


class _WrittenOut(Struct, frozen=True):
    """The text of a procedure with blocks."""

    text: str
    blocks: tuple[UsedBlock, ...]
    source_map: SourceMap


BLOCKS_FOLDER = "blocks"
"""The folder beside a procedure in which its blocks are looked up first."""


def load(path: Path, cache_folder: Path | None = None, block_folders: tuple[BlockFolder, ...] = ()) -> Loaded:
    """Read the procedure in ``path``; ``cache_folder`` is the folder of the compiled forms, if there is one.

    Blocks are looked up in the folder `blocks` beside the file, then in ``block_folders``.

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
    beside = BlockFolder(path.parent / BLOCKS_FOLDER, "beside")
    return read_text(text, str(path), cache_folder, (beside, *block_folders))


def read_author_text(path: Path) -> str | None:
    """The author's text of the procedure in ``path``; ``None`` if it is not UTF-8 text or too large.

    Raises:
        BenchflowError: the file cannot be read.
    """
    try:
        return decode(read_regular_file(path, MAX_BYTES + 1), str(path))[0]
    except OSError as error:
        raise BenchflowError(f"{path} cannot be read: {error.strerror or error}.") from error


def read_text(
    text: str,
    file: str = "procedure",
    cache_folder: Path | None = None,
    block_folders: tuple[BlockFolder, ...] = (),
) -> Loaded:
    """Like :func:`load`, but for a text, such as the one in a log. ``file`` is its name in messages."""
    if may_use_blocks(text):
        return _read_with_blocks(text, file, cache_folder, BlockLibrary(block_folders))
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


def _read_with_blocks(text: str, file: str, cache_folder: Path | None, library: BlockLibrary) -> Loaded:
    """Like :func:`read_text`, for a text that can use blocks."""
    source = sha256(text.encode("utf-8", "surrogatepass") + b"\0" + library.digest())
    cache = None if cache_folder is None else _cache_in(cache_folder)
    name = f"{source.hexdigest()[:32]}-{_reader_fingerprint()}" if cache is not None else ""
    cached = None if cache is None else cache.get(name, source.digest())
    if cached is not None:
        problems = tuple(msgspec.structs.replace(problem, file=file) for problem in cached.problems)
        return _loaded(cached.procedure, text, cached.written_out, problems)
    from benchflow.procedure.blocks.block_expansion import expand_blocks  # late imports, as above
    from benchflow.procedure.reader import read

    expansion = expand_blocks(text, file, library)
    if expansion is None:
        written_out, reading = None, read(text, file)
        procedure, problems = reading.procedure, reading.problems
    else:
        written_out = _WrittenOut(expansion.text, expansion.blocks, expansion.source_map)
        procedure, problems = _read_expansion(expansion, file)
    if cache is not None and procedure is not None:
        cache.put(name, source.digest(), _Compiled(procedure, problems, written_out))
    return _loaded(procedure, text, written_out, problems)


_FOLLOWS_FROM_OTHERS = frozenset({"unknown-name", "never-called", "never-found", "unused", "too-few"})
"""Problems of the written-out text that can come from a block that could not be expanded."""


def _read_expansion(expansion: "Expansion", file: str) -> tuple[Procedure | None, tuple[Problem, ...]]:
    """Read a procedure that is written out. Its problems are at the author's lines."""
    from benchflow.procedure.reader import read

    if not expansion.text:
        return None, expansion.problems
    reading = read(expansion.text, file, expansion.tree)
    problems = [expansion.source_map.in_author_file(problem) for problem in reading.problems]
    if expansion.any_error:
        at_fault = {(mark.line, mark.column) for mark in expansion.failed}
        problems = [
            each for each in problems
            if (each.line, each.column) not in at_fault
            and (not each.block or each.severity == "error")
            and (expansion.is_complete or each.code not in _FOLLOWS_FROM_OTHERS)
        ]  # fmt: skip
    known = {(each.code, each.line) for each in expansion.problems}  # of a given value, the column can differ
    problems = [each for each in dict.fromkeys(problems) if not each.block or (each.code, each.line) not in known]
    problems = [_with_suggestion(each, expansion.suggestions) for each in problems]
    prefixes = {use.line: use.prefix for use in reversed(expansion.uses) if len(use.chain) == 1}
    problems = list(_one_for_each_use(problems, prefixes))
    together = sorted((*expansion.problems, *problems), key=lambda each: (each.line, each.column))
    return None if expansion.any_error else reading.procedure, tuple(together)


def _with_suggestion(problem: Problem, suggestions: Mapping[str, str]) -> Problem:
    """The problem with the hint about a placeholder on its line of the block, if there is one."""
    hint = suggestions.get(problem.block) if problem.severity == "error" else None
    return problem if hint is None else msgspec.structs.replace(problem, hint=hint)


def _one_for_each_use(problems: list[Problem], prefixes: Mapping[int, str]) -> Iterator[Problem]:
    """The problems, of ids that occur twice only one for each use of a block. ``prefixes`` are those of the uses."""
    found: set[tuple[int, int]] = set()
    for problem in problems:
        if problem.code != "duplicate-name" or not problem.block:
            yield problem
        elif (problem.line, problem.column) not in found:
            found.add((problem.line, problem.column))
            prefix = prefixes.get(problem.line, "")
            hint = (
                f"Write another prefix than `as: {prefix}`, or another name for this id under `names`"
                if prefix
                else "Write `as: NAME` beside `use`, so that the ids of the block get a prefix, or a name under `names`"
            )
            yield msgspec.structs.replace(problem, hint=hint)


def _loaded(
    procedure: Procedure | None, text: str, written_out: _WrittenOut | None, problems: tuple[Problem, ...]
) -> Loaded:
    blocks, source_map = ((), None) if written_out is None else (written_out.blocks, written_out.source_map)
    kept = text if written_out is None else written_out.text
    digest = sha256(kept.encode("utf-8", "surrogatepass")).hexdigest()
    return Loaded(procedure, kept, digest, problems, blocks, source_map)


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
