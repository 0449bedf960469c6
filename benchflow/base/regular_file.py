"""Reads a regular file. A pipe or a device is refused, because reading it could wait or go on for ever."""

import errno
import os
import stat
from pathlib import Path

_FLAGS = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)


def read_regular_file(path: Path, limit: int | None = None) -> bytes:
    """The content of ``path``, or its first ``limit`` bytes.

    Raises:
        OSError: the file cannot be read, or is not a regular file.
    """
    fd = os.open(path, _FLAGS)
    try:
        mode = os.fstat(fd).st_mode
        if stat.S_ISDIR(mode):
            raise IsADirectoryError(errno.EISDIR, "it is a folder", str(path))
        if not stat.S_ISREG(mode):
            raise OSError(errno.EINVAL, "it is a pipe or a device, not a file", str(path))
        with open(fd, "rb", closefd=False) as file:
            return file.read() if limit is None else file.read(limit)
    finally:
        os.close(fd)
