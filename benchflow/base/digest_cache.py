"""A folder of decoded files. Each entry is checked against the digest of its source and against its own digest."""

import os
from contextlib import suppress
from hashlib import sha256
from pathlib import Path
from typing import Generic, TypeVar

import msgspec

from benchflow.base.atomic_write import atomic_write
from benchflow.base.regular_file import read_regular_file

T = TypeVar("T")
_LENGTH = 32  # bytes of a SHA-256


class DigestCache(Generic[T]):
    """Values of one type, kept as MessagePack in ``folder``, one file ``<name><suffix>`` per entry.

    The cache only saves time. An entry that is missing, damaged or made from another source is read as ``None``. An
    entry that cannot be written is skipped without an error. At most ``limit`` entries are kept; the least recently
    used are deleted first.
    """

    def __init__(self, folder: Path, suffix: str, type_: type[T], limit: int = 64, mode: int | None = None) -> None:
        """``mode`` is the permission bits of new entries. By default the umask decides."""
        self._folder, self._suffix, self._type, self._limit, self._mode = folder, suffix, type_, limit, mode

    def get(self, name: str, source: bytes) -> T | None:
        """The entry ``name`` if it is complete and was made from the source with the SHA-256 ``source``."""
        path = self._path(name)
        try:
            data = read_regular_file(path)
            kept_source, digest, body = data[:_LENGTH], data[_LENGTH : 2 * _LENGTH], data[2 * _LENGTH :]
            if kept_source != source or sha256(body).digest() != digest:
                return None
            value = msgspec.msgpack.decode(body, type=self._type)
        except (OSError, msgspec.MsgspecError, UnicodeDecodeError, RecursionError):
            return None
        with suppress(OSError):
            os.utime(path)  # marks the entry as recently used
        return value

    def put(self, name: str, source: bytes, value: T) -> None:
        """Write an entry. ``source`` is the SHA-256 of the data that ``value`` was made from."""
        body = msgspec.msgpack.encode(value)
        with suppress(OSError):
            self._folder.mkdir(parents=True, exist_ok=True)
            atomic_write(self._path(name), source + sha256(body).digest() + body, mode=self._mode, durable=False)
            self._delete_oldest()

    def _path(self, name: str) -> Path:
        return self._folder / f"{name}{self._suffix}"

    def _delete_oldest(self) -> None:
        entries = sorted(self._folder.glob(f"*{self._suffix}"), key=lambda path: path.stat().st_mtime_ns, reverse=True)
        for path in entries[self._limit :]:
            with suppress(OSError):
                path.unlink()
