"""Continues a damaged teardown in a new log.

The new log has its own first line, which names the old log, and the same entries as its whole lines: with the same
number, time and person, so that a reference to an entry stays valid. Because the first line differs, no witness
takes the new log for a fork of the old one.
"""

from hashlib import sha256
from pathlib import Path

import msgspec
from msgspec.structs import replace

from benchflow import __version__
from benchflow.base.errors import BenchflowError
from benchflow.base.plaintext import clean_line
from benchflow.base.regular_file import read_regular_file
from benchflow.session.log.journal import Journal
from benchflow.session.log.line_format import Damage, Draft
from benchflow.session.log_writer import line_of_event
from benchflow.session.machine_clock import Clock
from benchflow.session.teardown import teardown_events as ev
from benchflow.session.teardown.fold_teardown import replay_teardown


def digest_of_log(path: Path) -> str:
    """The SHA-256 of a whole log file.

    Raises:
        BenchflowError: it cannot be read.
    """
    try:
        return sha256(read_regular_file(path)).hexdigest()
    except OSError as error:
        raise BenchflowError(f"{path} cannot be read: {error.strerror}.") from error


def drafts_of_whole_lines(old: Journal, damage: Damage, clock: Clock) -> list[Draft]:
    """The lines of a new log that continues ``old``, with a new first line.

    Raises:
        NoTeardown: ``old`` has no whole line, or is another log.
        BenchflowError: it is a simulated teardown, or it cannot be read.
    """
    record = replay_teardown(old.lines, old.path).record
    if record.simulated:
        raise BenchflowError(f"{old.path} is the log of a simulated teardown, so no builder continues it.")
    lines = list(old.lines)
    continues = ev.ContinuedTeardown(
        file=clean_line(old.path.name), sha256=digest_of_log(old.path), head=lines[-1].hash, events=len(lines),
        line=damage.line, damage=clean_line(damage.what), untrusted=len(old.untrusted), opened_at=record.opened_at,
    )  # fmt: skip
    opened = msgspec.convert(lines[0].data, ev.TeardownOpened)
    opened = replace(opened, version=__version__, format=ev.TEARDOWN_FORMAT, boot=clock.boot_id, continues=continues)
    group = {name: value for name, value in lines[0].data.items() if name in ("intent", "of", "sent")}
    first = line_of_event(opened, lines[0].by, clock.now(), group)
    return [first, *(Draft(each.at, each.by, each.kind, each.data) for each in lines[1:])]
