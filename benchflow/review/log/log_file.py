"""A log file read for review: never opened to be written, never waited for, whoever holds it."""

from hashlib import sha256
from pathlib import Path

from msgspec import Struct

from benchflow.base.errors import BenchflowError
from benchflow.review.log.facts import Facts
from benchflow.review.log.interpretation import NotASession, PlanOf, interpret
from benchflow.review.log.versions import is_newer
from benchflow.session.log.line_format import Damage, Line, read
from benchflow.session.state.state import State

SUFFIX = ".jsonl"


class NoLog(BenchflowError):
    """There is no session to be read at that place."""


class Log(Struct, frozen=True):
    """A log as far as it can be trusted. ``damage`` is what is wrong with it, if anything is; ``torn``
    says that a last line is not whole, as after a power cut or while somebody is writing."""

    path: str
    lines: tuple[Line, ...]
    state: State
    facts: Facts
    procedure: str  # its text, as it was that day
    damage: Damage | None
    torn: bool


class Unusable(Struct, frozen=True):
    """Why a file is kept out of the archive, in words."""

    why: str


def read_log(path: Path, plan_of: PlanOf) -> Log:
    """The log at ``path`` as far as its chain holds.

    Raises:
        NoLog: it cannot be read, or holds no session at all.
        BenchflowError: ``plan_of`` cannot read the procedure in it.
    """
    try:
        data = a_file(path).read_bytes()
    except OSError as wrong:
        raise NoLog(f"{path} cannot be read: {wrong.strerror}.") from wrong
    found = read(data)
    if not found.lines and found.damage is not None:
        raise NoLog(f"{path} is not the log of a session: line 1 {found.damage.what}.")
    try:
        read_as = interpret(found.lines, plan_of)
    except NotASession as wrong:
        raise NoLog(f"{path} {_not_a_session(found.lines, str(wrong))}.") from wrong
    state = read_as.state
    lines, torn = tuple(found.lines), bool(found.tail)
    return Log(str(path), lines, state, read_as.facts, state.opened.procedure, found.damage, torn)


def a_file(path: Path) -> Path:
    """``path`` itself. Raises :class:`NoLog` for a folder, and for a pipe or a device, which would be waited for."""
    if path.is_dir():
        raise NoLog(f"{path} is a folder. Name the log of one session.")
    if path.exists() and not path.is_file():
        raise NoLog(f"{path} is not a file. A log is a file whose lines are events.")
    return path


def sound_facts(data: bytes, plan_of: PlanOf) -> Facts | Unusable:
    """The facts of a log that verifies from its first line to its last."""
    found = read(data)
    if found.damage is not None:
        return Unusable(f"does not verify: line {found.damage.line} {found.damage.what}")
    try:
        read_as = interpret(found.lines, plan_of)
    except NotASession as wrong:
        return Unusable(_not_a_session(found.lines, str(wrong)))
    opened = read_as.state.opened
    if sha256(opened.procedure.encode()).hexdigest() != opened.procedure_sha256:
        return Unusable("does not verify: line 1 names another SHA-256 than its procedure's text has")
    return read_as.facts


def _not_a_session(lines: list[Line], wrong: str) -> str:
    version = lines[0].data.get("version") if lines else None
    if isinstance(version, str) and is_newer(version):
        return f"was written by a newer version ({version}) and cannot be read by this one: {wrong}"
    return f"is not the log of a session: {wrong}"


def logs_under(folder: Path) -> list[Path]:
    """Every log in a folder and the folders in it, in the order of their names.

    Raises:
        NoLog: it is no folder.
    """
    if not folder.is_dir():
        raise NoLog(f"There is no folder {folder}.")
    return sorted(path for path in folder.rglob(f"*{SUFFIX}") if path.is_file())
