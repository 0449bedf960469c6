"""The worked time of one teardown from its log. A long gap between two entries is a pause."""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from itertools import pairwise
from pathlib import Path

from msgspec import Struct

from benchflow.base.durations import rounded_duration
from benchflow.base.plaintext import clean_line, shown_path
from benchflow.review.formatting import count, local_time_with_zone
from benchflow.review.log.clock_remarks import clock_steps
from benchflow.review.log.fact_collector import log_time_of
from benchflow.review.log.pause_rule import PAUSE_SECONDS, is_pause
from benchflow.session.log.journal import Journal
from benchflow.session.state.clock import event_time
from benchflow.session.teardown.fold_teardown import record_of_lines

TEARDOWN_RULE = f"Work is the time between two entries. A gap of more than {PAUSE_SECONDS / 60:.0f} min is a pause."


class TeardownHours(Struct, frozen=True):
    """The hours of one teardown, in seconds. ``lines`` are those off at its end."""

    unit: str
    what: str
    log: str
    session: str  # hash of the first line
    events: int
    opened: str
    closed: str | None
    simulated: bool
    lines: int
    worked: float
    paused: float
    by_person: dict[str, float]
    remarks: tuple[str, ...]
    damaged: bool = False
    continues: str = ""  # SHA-256 of the damaged log that it continues, whose hours are in it
    rule: str = TEARDOWN_RULE


def teardown_hours(path: Path) -> TeardownHours:
    """The hours of the teardown at ``path``, up to the first damaged line.

    Raises:
        BenchflowError: it is not a teardown log, or it cannot be read.
    """
    with Journal.open(path, read_only=True) as journal:
        lines, damage = tuple(journal.lines), journal.damage
    record = record_of_lines(lines, path)
    # The first line of a log that continues another one is younger than the entries after it.
    earlier = lines[0].data.get("continues")
    counted = lines if earlier is None else lines[1:]
    closed = next((line for line in counted if line.kind == "teardown-closed"), None)
    by_person: dict[str, float] = defaultdict(float)
    paused = 0.0
    for before, after in pairwise(counted):
        if closed is not None and after.seq > closed.seq:
            break
        seconds = log_time_of(event_time(before)).seconds_until(log_time_of(event_time(after)))
        if is_pause(seconds, None):
            paused += seconds
        else:
            by_person[after.by] += seconds
    remarks = ["This teardown was simulated. Its times are not real."] if record.simulated else []
    if damage is not None:
        remarks.append(f"The log is damaged from line {damage.line} on. The hours after that are not known.")
    elif closed is None:
        remarks.append(f"The teardown is still open. The hours are those up to {local_time_with_zone(record.last_at)}.")
    if unsure := [step for step in clock_steps(counted) if not step.within_boot]:
        remarks.append(f"The computer clock was set back {count(len(unsure), 'time')}. The hours can be too short.")
    return TeardownHours(
        record.unit, record.what, shown_path(path), lines[0].hash, len(lines), record.opened_at,
        None if closed is None else closed.at, record.simulated, record.lines_off, sum(by_person.values()), paused,
        dict(by_person), tuple(remarks), damage is not None, str(earlier["sha256"]) if earlier else "",
    )  # fmt: skip


def teardown_hours_lines(found: TeardownHours) -> Iterator[str]:
    """The hours of one teardown for the terminal."""
    yield f"Hours of {clean_line(found.unit)}: teardown of {clean_line(found.what)}, {count(found.lines, 'line')} off"
    opened = local_time_with_zone(found.opened)
    yield f"Started {opened}." if found.closed is None else f"{opened} to {local_time_with_zone(found.closed)}"
    yield ""
    yield f"Worked  {rounded_duration(found.worked)}"
    if found.paused >= 0.5:
        yield f"Pauses  {rounded_duration(found.paused)}"
    yield ""
    if len(found.by_person) > 1:
        people = sorted(found.by_person.items(), key=lambda one: -one[1])
        yield "By person: " + ", ".join(f"{name} {rounded_duration(seconds)}" for name, seconds in people) + "."
    yield from found.remarks
    yield found.rule


def teardown_list_lines(found: Iterable[TeardownHours]) -> Iterator[str]:
    """The hours of several teardowns, one line each."""
    yield "Teardowns"
    yield ""
    for one in found:
        state = "" if one.closed else ", still open"
        simulated = ", simulated" if one.simulated else ""
        pauses = f", pauses {rounded_duration(one.paused)}" if one.paused >= 0.5 else ""
        yield (
            f"{clean_line(one.unit)}  {clean_line(one.what)}, {count(one.lines, 'line')} off: worked "
            f"{rounded_duration(one.worked)}{pauses}{state}{simulated}"
        )
    yield ""
    yield TEARDOWN_RULE
