"""The small notes that stand beside a log. None of them decides anything; where one cannot be written, a
person is told less, and that is all.

``<name>.held``   who writes the log (the lock itself is :mod:`benchflow.session.log.lock`)
``<name>.moved``  in which file the session goes on, after it was moved while it ran
"""

import os
import sys
from datetime import UTC, datetime
from pathlib import Path

import msgspec
from msgspec import Struct

from benchflow.session.log.timestamps import format as written
from benchflow.session.log.timestamps import parse


class Holder(Struct, frozen=True):
    """Who writes a log: process number, login name, machine, and since when (RFC 3339)."""

    pid: int
    user: str
    host: str
    since: str = ""

    @property
    def words(self) -> str:
        since = f" since {parse(self.since).astimezone():%Y-%m-%d %H:%M}" if self.since else ""
        return f"{self.user} on {self.host} (process {self.pid}){since}"


def leave_holder(log: Path) -> None:
    """Say that this process holds ``log``."""
    holder = Holder(os.getpid(), _user(), _host())
    try:
        _held(log).write_bytes(msgspec.json.encode(holder))
    except OSError:
        return


def holder_of(log: Path) -> Holder | None:
    """Whom the note names. After a crash it names somebody who holds nothing any more: ask the lock."""
    note = _held(log)
    try:
        holder = msgspec.json.decode(note.read_bytes(), type=Holder)
        since = datetime.fromtimestamp(note.stat().st_mtime, UTC)
    except (OSError, msgspec.DecodeError, UnicodeDecodeError):
        return None
    return msgspec.structs.replace(holder, since=written(since))


def remove_holder(log: Path) -> None:
    try:
        _held(log).unlink(missing_ok=True)
    except OSError:
        return


def leave_moved(log: Path, there: Path) -> None:
    """Say that the session of ``log`` goes on in ``there``."""
    try:
        _moved(log).write_text(str(there.absolute()), encoding="utf-8")
    except (OSError, UnicodeEncodeError):
        return


def moved_to(log: Path) -> Path | None:
    """Where the session of ``log`` goes on, if it was moved while it ran."""
    try:
        there = _moved(log).read_text(encoding="utf-8").strip()
    except (OSError, UnicodeDecodeError):
        return None
    return Path(there) if there else None


def _held(log: Path) -> Path:
    return log.with_name(log.name + ".held")


def _moved(log: Path) -> Path:
    return log.with_name(log.name + ".moved")


def _user() -> str:
    import getpass  # late: it brings the terminal along

    try:
        return getpass.getuser()
    except (KeyError, ImportError, OSError):  # a user number without a name; which one depends on the system
        return "somebody"


def _host() -> str:
    if sys.platform == "win32":  # pragma: no cover
        return os.environ.get("COMPUTERNAME", "this machine")
    return os.uname().nodename
