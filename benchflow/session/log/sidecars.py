"""Sidecar files of a log. They only inform people: a failed write never fails the session.

``<name>.held``   who writes the log (the lock itself is :mod:`benchflow.session.log.lock`)
``<name>.moved``  the file in which the session continues, after it was moved while it ran
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
    def started(self) -> str:
        """``since`` in local time: ``15:55``, on another day ``2026-03-01 15:55``."""
        since = parse(self.since).astimezone()
        return f"{since:%H:%M}" if since.date() == datetime.now().date() else f"{since:%Y-%m-%d %H:%M}"

    @property
    def words(self) -> str:
        """``root on vm (process 16441) since 15:55``."""
        since = f" since {self.started}" if self.since else ""
        return f"{self.user} on {self.host} (process {self.pid}){since}"


def leave_holder(log: Path) -> None:
    """Write that this process holds ``log``."""
    holder = Holder(os.getpid(), _user(), _host())
    try:
        _held(log).write_bytes(msgspec.json.encode(holder))
    except OSError:
        return


def holder_of(log: Path) -> Holder | None:
    """The holder that the sidecar file names. After a crash it is out of date: only the lock is certain."""
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
    """Write that the session of ``log`` continues in ``there``."""
    try:
        _moved(log).write_text(str(there.absolute()), encoding="utf-8")
    except (OSError, UnicodeEncodeError):
        return


def moved_to(log: Path) -> Path | None:
    """The file in which the session of ``log`` continues, if it was moved while it ran."""
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
    import getpass  # late: it imports the terminal

    try:
        return getpass.getuser()
    except (KeyError, ImportError, OSError):  # a user number without a name; which one depends on the system
        return "somebody"


def _host() -> str:
    if sys.platform == "win32":  # pragma: no cover
        return os.environ.get("COMPUTERNAME", "this machine")
    return os.uname().nodename
